"""The whole interview for a new shop: the shop, its motors, what hangs on each, and what sees the first machine."""

from collections.abc import Iterator
from dataclasses import replace

from gatekeeper.interview.draft import COLLECTOR, ShopDraft
from gatekeeper.interview.engine import Interview, Question, Walk
from gatekeeper.interview.motors import ask_motor, relief_question
from gatekeeper.interview.pipes import missing_path_m2, walk_pipes
from gatekeeper.interview.reading import (
    NO_MORE,
    choice_question,
    free_motor_name,
    motor_name,
    shop_name,
    yes_no_question,
)
from gatekeeper.interview.sensors import SWITCH, ask_seen
from gatekeeper.shop.kinds import MotorKind, Units

AIR, DROPS, BOTH = "how much air it needs", "a button or a sign lamp there", "both"
MOST = {MotorKind.COLLECTOR: 2, MotorKind.TOOL_VACUUM: 2, MotorKind.AIR_CLEANER: 1}
"""How many of each the questions go to; more are written into the file."""


def new_shop() -> Interview[ShopDraft]:
    """The interview, with nothing answered yet."""
    return Interview(ShopDraft, _walk)


def _walk(draft: ShopDraft) -> Walk[None]:
    yield from _shop(draft)
    draft.motors.append((yield from ask_motor(COLLECTOR, MotorKind.COLLECTOR, draft.motor_scene())))
    yield from _air_goes(draft)
    yield from _at_each_machine(draft)
    yield from _ducts(draft)
    yield from _more_motors(draft)
    yield from _first_sensor(draft)
    phones: str | None = yield yes_no_question(
        "page",
        "May phones in your network open the page?",
        "Whoever is in that network may look and press Stop; anything else asks for a PIN. Otherwise the page opens "
        "on the board itself only.",
        "yes",
        "It is taken as no.",
    )
    draft.phones = phones == "yes"


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


def _air_goes(draft: ShopDraft) -> Walk[None]:
    draft.air_goes = yield choice_question(
        "air goes",
        "Where does the collector's air go after the filter?",
        "Inside: back into the room. Outside: then as much air has to come in somewhere.",
        ("inside", "outside", "both"),
        "inside",
    )
    if draft.air_goes == "inside":
        return
    flue: str | None = yield yes_no_question(
        "flue",
        "Is there a stove, boiler or heater that takes its air from these rooms?",
        "A collector that blows outside can pull its flue gas into the room.",
        "yes",
        "It is taken as yes, which is the careful answer.",
    )
    draft.open_flue = flue or "yes"


def _at_each_machine(draft: ShopDraft) -> Walk[None]:
    """What is asked at each machine beside the rest; most people care for neither."""
    more: str = yield choice_question(
        "at each machine",
        "Is there more to tell at each machine?",
        "How much air it needs, where its manual says so; else a usual figure by its name and port is taken. A button "
        "that asks for air, or a sign lamp that says whether air is there.",
        ("no", AIR, DROPS, BOTH),
        "no",
    )
    draft.with_needs, draft.with_drops = more in (AIR, BOTH), more in (DROPS, BOTH)


def _ducts(draft: ShopDraft) -> Walk[None]:
    """The ducts of the motor that was told last, and a port that stays open where they are too narrow for it."""
    yield from walk_pipes(draft)
    missing_m2 = missing_path_m2(draft)
    if missing_m2 > 0:
        relief = yield relief_question(missing_m2, draft.here.name, is_inch=draft.is_inch)
        draft.motors[-1] = replace(draft.here, relief=relief)


def _more_motors(draft: ShopDraft) -> Walk[None]:
    while True:
        offered = list(_motors_offered(draft))
        if not offered:
            return
        word: str = yield choice_question(
            "another motor",
            "What else moves air in this shop?",
            "Another collector or a tool vacuum with ducts or a hose of its own, or an air cleaner that filters the "
            "room's air after the work. A machine with a port on two of them is named at both.",
            (NO_MORE, *(kind.value for kind in offered)),
            NO_MORE,
        )
        if word == NO_MORE:
            return
        kind = MotorKind(word)
        name = free_motor_name({MotorKind.TOOL_VACUUM: "vacuum"}.get(kind, kind.value), draft.taken)
        if kind is MotorKind.COLLECTOR:
            name = yield Question(
                "motor name",
                "What is this collector called?",
                "The page and the plan show this name, such as north collector.",
                motor_name(draft.taken),
                name,
            )
        draft.motors.append((yield from ask_motor(name, kind, draft.motor_scene())))
        if draft.here.has_ducts:
            yield from _ducts(draft)


def _motors_offered(draft: ShopDraft) -> Iterator[MotorKind]:
    for kind, most in MOST.items():
        if sum(motor.kind is kind for motor in draft.motors) < most:
            yield kind


def _first_sensor(draft: ShopDraft) -> Walk[None]:
    """Something has to be seen, or nothing would ever start the collector."""
    if any(machine.seen is not None for machine in draft.machines):
        return
    names = tuple(machine.name for machine in draft.machines if not machine.is_again)
    which = names[0]
    if len(names) > 1:
        which = yield choice_question(
            "first machine",
            "Nothing is seen yet, so nothing would start the collector. Which machine gets the first sensor?",
            "Take the one that makes the most dust. The others follow on other evenings.",
            names,
            names[0],
        )
    seen = yield from ask_seen(which, draft.free_channel(), must=True, usual=SWITCH)
    place = next(place for place, machine in enumerate(draft.machines) if machine.name == which)
    draft.machines[place] = replace(draft.machines[place], seen=seen)
