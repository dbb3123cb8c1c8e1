"""A busy half-hour of a working shop, drawn from a seed, with faults of the catalogue at random moments of it.

Busier than any day: short cuts, tools that start into each other's spin-down, people who press the wrong thing. A
fault comes, every other time, within moments of something that happens anyway; then somebody may mend it and go round
the shop putting everything right, or nobody does.
"""

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatekeeper.control.messages import Requested, RequestWhat, SettingChanged, Who
from gatekeeper.shop.model import InputKind, Shop
from sim.catalogue_row import Fault
from sim.happening import Controller, Happening, What

HALF_HOUR_S = 1800.0
#: How long a cut and a pause last, seconds: drawn evenly on a logarithmic scale. Our own assumptions.
CUTS_S, PAUSES_S = (1.5, 240.0), (1.0, 300.0)
#: A person asks for something this often, seconds in the mean; most requests are about what goes on anyway.
ASKS_EVERY_S = 400.0
#: Within this time of another happening every other fault comes.
NEAR_S = 4.0
#: How long a fault stands where somebody mends it, and how long until that person puts the rest right, seconds.
STANDS_S, PUT_RIGHT_S = (0.5, 600.0), (1.0, 40.0)
MENDED = 0.75

_ASKED: tuple[RequestWhat, ...] = (
    "open", "shut", "hold", "release", "air_here", "run", "stop", "sweep", "flush", "reset", "clear", "stopped",
    "still_running", "out_of_service", "back_in_service",
)  # fmt: skip
#: What would leave a shop dead for the rest of the half-hour is undone after a while.
_UNDONE: Mapping[str, RequestWhat] = {"hold": "release", "out_of_service": "back_in_service"}
UNDONE_S = (2.0, 120.0)
_PLUG = (Controller.PLUG_OUT, Controller.PLUG_IN)
_DOORS: tuple[Who, ...] = ("local", "page", "page", "button", "broker", "input")
_DELAYS_S = (None, 0.0, 2.0, 15.0, 120.0, 400.0)
_FOR_S = (None, None, 0.0, 10.0, 60.0)


@dataclass(frozen=True, slots=True)
class Put:
    """One fault of a half-hour: which row, about what, from when until when (infinite: nobody takes it away)."""

    fault: Fault
    subject: str
    from_s: float
    until_s: float

    def __str__(self) -> str:
        about = f" ({self.subject})" if self.subject else ""
        until = f"{self.until_s:.2f} s" if math.isfinite(self.until_s) else "the end"
        return f"{self.fault.name}{about}, {self.from_s:.2f} s to {until}"


def busy(shop: Shop, draw: random.Random, until_s: float = HALF_HOUR_S) -> list[Happening]:
    """A half-hour without a fault: cuts, pauses, and people who ask for things."""
    found: list[Happening] = []
    free = list(shop.tools)
    for _ in range(draw.choice((1, 1, 2, 2, 3))):
        if not free:
            break
        # Each person has machines of their own: nobody switches off what somebody else works at.
        own = [free.pop(draw.randrange(len(free))) for _ in range(min(len(free), draw.randint(1, 3)))]
        at_s = log_drawn(draw, PAUSES_S)
        while at_s < until_s:
            tool, cut_s = draw.choice(own), log_drawn(draw, CUTS_S)
            found.append(Happening(at_s, What.TOOL_ON, tool))
            found.append(Happening(at_s + cut_s, What.TOOL_OFF, tool))
            at_s += cut_s + log_drawn(draw, PAUSES_S)
    found += asked_by_people(shop, draw, until_s, ASKS_EVERY_S)
    return in_order(found, until_s)


def asked_by_people(shop: Shop, draw: random.Random, until_s: float, every_s: float) -> list[Happening]:
    """Requests and settings, right and wrong ones, one every so many seconds in the mean."""
    found: list[Happening] = []
    at_s = draw.expovariate(1 / every_s)
    while at_s < until_s:
        found += _asked(shop, draw, at_s)
        at_s += draw.expovariate(1 / every_s)
    return found


def with_faults(
    shop: Shop, draw: random.Random, faults: Sequence[Fault], until_s: float = HALF_HOUR_S
) -> tuple[list[Happening], list[Put]]:
    """A busy half-hour with these faults in it.

    Raises:
        ValueError: the shop has nothing that one of them could befall.
    """
    found = busy(shop, draw, until_s)
    puts = []
    near = list(found)
    for fault in faults:
        happenings, put = put_in(shop, draw, fault, near, 0.0, until_s, math.inf)
        puts.append(put)
        found += happenings
        if math.isfinite(put.until_s):
            found += put_right(shop, put.until_s + log_drawn(draw, PUT_RIGHT_S))
    return possible(in_order(found, until_s)), puts


def put_in(
    shop: Shop,
    draw: random.Random,
    fault: Fault,
    near: Sequence[Happening],
    from_s: float,
    until_s: float,
    at_last_s: float,
) -> tuple[list[Happening], Put]:
    """One fault at a random moment between two instants, every other time close to something that happens anyway.

    Args:
        near: what happens anyway.
        at_last_s: when it is mended where nobody does so before; infinite for never.

    Raises:
        ValueError: the shop has nothing that it could befall.
    """
    subjects = fault.subjects(shop)
    if not subjects or fault.happens is None:
        raise ValueError(f"Nothing in {shop.name} can have the fault {fault.name}.")
    length_s = until_s - from_s
    close_s = draw.choice(near).at_s + draw.uniform(-NEAR_S, NEAR_S) if near else from_s
    comes_s = close_s if draw.random() < 0.5 else draw.uniform(from_s, from_s + 0.9 * length_s)
    comes_s = min(max(comes_s, from_s + 0.5), from_s + 0.95 * length_s)
    ends_s = comes_s + log_drawn(draw, STANDS_S)
    ends_s = ends_s if draw.random() < MENDED and ends_s < until_s else at_last_s
    put = Put(fault, draw.choice(subjects), comes_s, ends_s)
    return fault.happens(shop, put.subject, comes_s, ends_s, draw), put


def put_right(shop: Shop, at_s: float) -> list[Happening]:
    """Somebody goes round the shop: buttons out, selectors at Auto, reset, back in service, clear, release."""
    found = []
    for name, part in shop.inputs.items():
        if part.kind in (InputKind.RED_BUTTON, InputKind.FIRE, InputKind.DOOR):
            found.append(Happening(at_s, What.INPUT, name, False))
        elif part.kind is InputKind.HAND_OFF_AUTO:
            found.append(Happening(at_s, What.HAND_SWITCH, name, "auto"))
    asked: list[tuple[RequestWhat, str | None]] = [("reset", None), ("back_in_service", None)]
    asked += [("clear", motor) for motor in shop.motors]
    asked += [("release", gate) for gate in shop.gates]
    # A circuit counts as made only after it held for a moment; a person's hands are no quicker.
    found += [
        Happening(at_s + 1.0 + 0.2 * number, What.REQUEST, None, Requested(what, subject, "local"))
        for number, (what, subject) in enumerate(asked)
    ]
    return found


def in_order(happenings: Sequence[Happening], until_s: float) -> list[Happening]:
    """Happenings by their instants, those after the end left out; at one instant they keep their order."""
    return sorted((one for one in happenings if one.at_s < until_s), key=lambda one: one.at_s)


def possible(happenings: Sequence[Happening]) -> list[Happening]:
    """Two faults of the board may get in each other's way: nobody starts a program that runs, or on a dark board."""
    found, runs, is_live = [], True, True
    for one in happenings:
        if one.what is What.CONTROLLER:
            if one.value is Controller.START and (runs or not is_live):
                continue
            is_live = one.value is not Controller.PLUG_OUT if one.value in _PLUG else is_live
            runs = one.value in (Controller.START, Controller.PLUG_IN)
        elif one.what is What.MAINS:
            runs = is_live = bool(one.value)
        found.append(one)
    return found


def log_drawn(draw: random.Random, span: tuple[float, float]) -> float:
    """Evenly on a logarithmic scale, to the millisecond."""
    least, most = span
    return float(round(least * (most / least) ** draw.random(), 3))


def _asked(shop: Shop, draw: random.Random, at_s: float) -> list[Happening]:
    if draw.random() < 0.15:
        changed = SettingChanged(
            draw.choice((*shop.motors, *shop.tools)), "spin_down_s", draw.choice(_DELAYS_S), "page"
        )
        return [Happening(at_s, What.SETTING, None, changed)]
    what = draw.choice(_ASKED)
    gates, motors, tools = tuple(shop.gates), tuple(shop.motors), tuple(shop.tools)
    subjects: Mapping[str, Sequence[str | None]] = {
        "open": gates, "shut": gates, "hold": gates, "release": gates, "air_here": (*tools, *gates), "run": motors,
        "stop": (None, *motors), "sweep": (None, *motors), "flush": motors, "reset": (None,),
        "clear": (*motors, *gates, None), "stopped": tools, "still_running": tools, "out_of_service": motors,
        "back_in_service": (None, *motors),
    }  # fmt: skip
    about = draw.choice(subjects[what])
    found = [Happening(at_s, What.REQUEST, None, Requested(what, about, draw.choice(_DOORS), draw.choice(_FOR_S)))]
    if what in _UNDONE:
        undone = Requested(_UNDONE[what], about, "local")
        found.append(Happening(at_s + log_drawn(draw, UNDONE_S), What.REQUEST, None, undone))
    return found
