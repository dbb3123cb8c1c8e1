"""Where a machine can stand in a shop that is there already, and the walk down to it from a duct."""

import math
from dataclasses import dataclass

from gatekeeper.interview.draft import USUAL_MATERIAL, DraftDuct
from gatekeeper.interview.engine import Walk
from gatekeeper.interview.machine import ask_hose
from gatekeeper.interview.pipes import ELBOWS, ask_branch, ask_diameter, ask_length, elbow_question
from gatekeeper.interview.reading import Size, choice_question
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.model import Gate, Shop, Units
from gatekeeper.shop.units import parse

NO_ELBOW = "no elbow"


@dataclass(frozen=True, slots=True)
class Place:
    """One place to join: a ``gate`` without a machine, a ``duct``, or straight on a ``motor``; the others are None.

    ``width``: what a duct there is likely to be wide.
    """

    said: str
    gate: Gate | None = None
    duct: str | None = None
    motor: str | None = None
    width: Size | None = None


def idle_gates(shop: Shop) -> list[Place]:
    """Gates that no machine which is seen stands at."""
    used = {gate for tool in shop.tools.values() for gate in tool.gates}
    return [Place(f"at {gate.name}", gate=gate) for gate in shop.gates.values() if gate.name not in used]


def joints(shop: Shop, without: str = "") -> list[Place]:
    """Ducts that another duct may lead into, none with a gate on it; ``without``: a duct that is taken away."""
    gated = {gate.duct for gate in shop.gates.values()}
    ducts = [Place(f"into {duct}", duct=duct) for duct in shop.ducts if duct not in gated and duct != without]
    motors = [Place(f"on {motor.name}", motor=motor.name) for motor in shop.motors.values() if motor.has_ducts]
    return ducts + motors


def ask_place(said: str, places: list[Place], usual: str = "") -> Walk[Place]:
    """One of the places; ``usual``: how the one is called that an empty answer takes, where it is among them."""
    words = tuple(place.said for place in places)
    word: str = yield choice_question(
        "place",
        said,
        "At a gate that is there and has no machine, into a duct by a new branch, or straight on the collector.",
        words,
        usual if usual in words else words[0] if len(words) == 1 else None,
    )
    return places[words.index(word)]


def ask_drop(name: str, place: Place, shop: Shop) -> Walk[DraftDuct]:
    """The duct from a place down to a machine, called ``name``; made of the same as the duct that it joins."""
    say = Measures(shop.units)
    is_inch = shop.units is Units.INCH
    kinds: tuple[str, ...] = ()
    if place.duct is not None:
        kinds = ((yield from ask_branch()),)
    width, words = yield from ask_diameter("How wide is the duct to the machine?", usual_width(place, shop))
    length, is_assumed = yield from ask_length(0.0, is_inch=is_inch)
    if is_assumed:
        words = (*words, f"{length.text} of its length")
    while True:
        elbow: str = yield elbow_question((NO_ELBOW, *ELBOWS), NO_ELBOW)
        if elbow == NO_ELBOW:
            break
        kinds = (*kinds, elbow)
    hose, hose_assumed = yield from ask_hose(say)
    if hose_assumed:
        words = (*words, "the hose")
    joined = shop.ducts.get(place.duct or "")
    kept = (("material", joined.material),) if joined is not None and joined.material != USUAL_MATERIAL else ()
    return DraftDuct(name, place.duct or place.motor or "", width, (length,), kinds, hose, words, kept)


def usual_width(place: Place, shop: Shop) -> Size:
    """A branch of 4 in or 100 mm, or less where the duct that it joins is narrower."""
    usual = place.width or (Size("4 in", 0.1016) if shop.units is Units.INCH else Size("100 mm", 0.1))
    duct = shop.ducts.get(place.duct or "")
    return usual if duct is None or duct.diameter_m >= usual.si else exact(duct.diameter_m, shop.units)


def exact(diameter_m: float, units: Units) -> Size:
    """A diameter in the shop's units where a quarter of an inch or a millimetre says it, else as exact as need be."""
    text = Measures(units).diameter(diameter_m)
    if math.isclose(parse(text, "length"), diameter_m, rel_tol=1e-9):
        return Size(text, diameter_m)
    return Size(f"{diameter_m * 1000:.6g} mm", diameter_m)
