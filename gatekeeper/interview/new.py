"""The whole interview for a new shop: the shop, its collector, what hangs on it, and what sees the first machine."""

import math
from dataclasses import replace

from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.engine import Interview, NotUnderstood, Question, Walk
from gatekeeper.interview.machine import ask_seen
from gatekeeper.interview.pipes import DIAMETERS, missing_path_m2, walk_pipes
from gatekeeper.interview.reading import (
    Size,
    choice_question,
    shop_name,
    size,
    size_question,
    yes_no_question,
)
from gatekeeper.shop.model import Units
from gatekeeper.shop.motor_starts import starts_allowed

POLES = 2


def new_shop() -> Interview[ShopDraft]:
    """The interview, with nothing answered yet."""
    return Interview(ShopDraft, _walk)


def _walk(draft: ShopDraft) -> Walk[None]:
    yield from _shop(draft)
    yield from _collector(draft)
    yield from walk_pipes(draft)
    yield from _first_sensor(draft)
    yield from _relief(draft)


def _shop(draft: ShopDraft) -> Walk[None]:
    draft.name = yield Question(
        "name", "What is the shop called?", "The page shows this name, such as Shed behind the house.", shop_name
    )
    units: str = yield choice_question(
        "units",
        "In which units do you read lengths and flows?",
        "Screens use them. Answers may be written in any unit all the same.",
        tuple(one.value for one in Units),
    )
    draft.units = Units(units)
    draft.mains = yield choice_question(
        "mains",
        "What is the frequency of your mains?",
        "60 Hz in North America and some other countries, 50 Hz in most of the world. It stands on every motor plate.",
        ("50 Hz", "60 Hz"),
        "60 Hz" if draft.is_inch else "50 Hz",
    )


def _collector(draft: ShopDraft) -> Walk[None]:
    draft.power = yield _power_question("2 hp" if draft.is_inch else "1.5 kW")
    draft.phases = yield choice_question(
        "phases",
        "How is that motor fed: single phase or three?",
        "On the plate: 1 or 3 behind PH, or 1~ or 3~.",
        ("single", "three"),
        "single",
    )
    draft.inlet = yield size_question(
        "inlet",
        "How wide is the inlet of the collector?",
        "The diameter of the one opening that all air goes through.",
        DIAMETERS,
        "6 in" if draft.is_inch else "150 mm",
        "The inlet is taken as wide as the widest duct on it.",
    )
    draft.air_goes = yield choice_question(
        "air goes",
        "Where does its air go after the filter?",
        "Inside: back into the room. Outside: then as much air has to come in somewhere.",
        ("inside", "outside", "both"),
        "inside",
    )
    flue: str | None = yield yes_no_question(
        "flue",
        "Is there a stove, boiler or heater that takes its air from these rooms?",
        "A collector that blows outside can pull its flue gas into the room.",
        "yes",
        "It is taken as yes, which is the careful answer.",
    )
    draft.open_flue = flue or "yes"
    confirmed: str | None = yield yes_no_question(
        "confirmed",
        "Is there a current switch on the collector's own wire?",
        "It tells that the motor really runs and really stops. It can be fitted later.",
        "no",
        "It is taken as no.",
    )
    draft.confirmed = confirmed == "yes"


def _power_question(example: str) -> Question:
    plain = size("power", "50 W", "50 kW")

    def read(answer: str) -> Size:
        power: Size = plain(answer)
        if starts_allowed(power.si, POLES, None) is None:
            raise NotUnderstood(
                "The published table of motor starts ends at 25 hp (18.6 kW). A larger motor is written into the file "
                "by hand, with starts_per_hour and rest from its maker."
            )
        return power

    return Question(
        "power",
        "What power is on the plate of the collector's motor?",
        f"How often the motor may start follows from it. Write it as on the plate, such as {example}.",
        read,
        kind="power",
    )


def _first_sensor(draft: ShopDraft) -> Walk[None]:
    """Something has to be seen, or nothing would ever start the collector."""
    if any(machine.seen is not None for machine in draft.machines):
        return
    names = tuple(machine.name for machine in draft.machines)
    which = names[0]
    if len(names) > 1:
        which = yield choice_question(
            "first machine",
            "Nothing is seen yet, so nothing would start the collector. Which machine gets the first sensor?",
            "Take the one that makes the most dust. The others follow on other evenings.",
            names,
            names[0],
        )
    place = names.index(which)
    seen = yield from ask_seen(which, draft.free_channel(), must=True)
    draft.machines[place] = replace(draft.machines[place], seen=seen)


def _relief(draft: ShopDraft) -> Walk[None]:
    """Gates that are small beside the inlet: the collector could never run, unless a port on its main stays open."""
    missing_m2 = missing_path_m2(draft)
    if missing_m2 <= 0:
        return
    least_m = math.sqrt(missing_m2 * 4 / math.pi)
    step_m = 0.0254 if draft.is_inch else 0.01
    number = math.ceil(max(least_m, 0.02) / step_m - 1e-6)
    usual = f"{number} in" if draft.is_inch else f"{number * 10} mm"
    plain = size(*DIAMETERS)

    def read(answer: str) -> Size:
        port: Size = plain(answer)
        if port.si < least_m * (1 - 1e-9):
            raise NotUnderstood(f"That is too small; with these gates at least {usual} have to stay open.")
        return port

    draft.relief = yield Question(
        "relief port",
        "The gates together are less than a quarter of the inlet, so the collector could never run. How wide is the "
        "port on its main that is never shut?",
        f"A hole that always lets air in, here at least {usual}. It costs some air at the machines. Mend the inlet "
        "or the gates (back) if one of those was wrong.",
        read,
        usual,
        kind="length",
    )
