"""Steps of a shop, the facts that they prove, and what is due again after a change: nothing but that."""

from dataclasses import replace

import pytest

from gatekeeper.commissioning.facts import of_gate, of_motor
from gatekeeper.commissioning.plan import due_after, motors_stopped_by, motors_woken_by, steps_of
from gatekeeper.commissioning.steps import Kind, Stage
from gatekeeper.commissioning.words import BEFORE, CAUTIONS, TITLES, WHYS, how_far
from gatekeeper.interview.commissioning import to_commission
from gatekeeper.shop.examples import example, names
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

REFUSED = ("safe", "compliant", "approved", "certified", "protected")


def shop_of(name: str) -> Shop:
    shop = load_shop(example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return shop


def keys(shop: Shop, kind: Kind) -> list[str]:
    return [step.subject for step in steps_of(shop) if step.kind is kind]


@pytest.mark.parametrize("name", names())
def test_every_example_has_every_part_of_it_once(name: str) -> None:
    shop = shop_of(name)
    steps = steps_of(shop)
    assert len({step.key for step in steps}) == len(steps)
    assert [step.stage for step in steps] == sorted((step.stage for step in steps), key=list(Stage).index)
    assert keys(shop, Kind.SEE_TOOL) == keys(shop, Kind.START) == list(shop.tools)
    assert [*keys(shop, Kind.JOG), *keys(shop, Kind.HAND_GATE)] == sorted(
        shop.gates, key=lambda gate: not shop.gates[gate].is_actuated
    )
    assert keys(shop, Kind.TURN) == list(shop.motors)
    assert keys(shop, Kind.BOND) == (
        list(shop.ducts) or [f"ducts of {motor.name}" for motor in shop.motors.values() if motor.has_ducts]
    )
    told = " ".join([*BEFORE, *TITLES.values(), *WHYS.values(), *(step.title for step in steps)])
    assert [word for word in REFUSED if word in told.lower().split()] == []


def test_the_one_evening_shop_is_an_evening_of_steps() -> None:
    assert [step.key for step in steps_of(shop_of("one-evening"))] == [
        "tool/table saw",
        "hand gate/saw gate",
        "hand gate/planer gate",
        "contactor/collector",
        "rotation/collector",
        "bond/ducts of collector",
        "start/table saw",
        "suction/collector",
    ]


def test_what_stops_speaks_for_its_motors() -> None:
    shop = shop_of("shared-twelve")
    assert motors_stopped_by(shop, shop.inputs["red buttons"]) == tuple(shop.motors)
    assert motors_stopped_by(shop, shop.inputs["filter door"]) == ("collector", "shaker")
    cleaners = [motor.name for motor in shop.motors.values() if motor.kind.value == "air cleaner"]
    assert motors_woken_by(shop, "table saw") == ("collector", *cleaners)


def test_a_change_makes_due_only_what_it_touches() -> None:
    old = shop_of("garage-one-collector")
    gate = replace(old.gates["planer gate"], travel_s=2.5)
    new = replace(old, gates={**old.gates, "planer gate": gate})
    assert [step.key for step in due_after(old, new)] == ["gate/planer gate", "start/planer"]
    motor = replace(old.motors["collector"], spin_down_s=30.0)
    assert due_after(old, replace(old, motors={"collector": motor})) == ()
    sensor = old.tools["jointer"].sensor
    assert sensor is not None
    jointer = replace(old.tools["jointer"], sensor=replace(sensor, trip_a=0.4))
    assert due_after(old, replace(old, tools={**old.tools, "jointer": jointer})) == ()
    assert sensor.channel is not None
    moved = replace(sensor, channel=replace(sensor.channel, channel=6))
    jointer = replace(old.tools["jointer"], sensor=moved)
    due = due_after(old, replace(old, tools={**old.tools, "jointer": jointer}))
    assert [step.key for step in due] == ["tool/jointer", "start/jointer"]


def test_what_the_interview_says_is_to_be_tried_is_due_here_too() -> None:
    """The two must not disagree: each part that one names as new or changed has a step that is due in the other."""
    old = shop_of("garage-one-collector")
    gates = {name: gate for name, gate in old.gates.items() if name != "mitre gate"}
    tools = {name: tool for name, tool in old.tools.items() if name != "mitre saw"}
    ducts = {name: duct for name, duct in old.ducts.items() if name != "mitre drop"}
    before = replace(old, gates=gates, tools=tools, ducts=ducts)
    named = {line.partition(":")[0] for line in to_commission(before, old, "garage")}
    due = {step.subject for step in due_after(before, old)}
    assert {"mitre saw", "mitre gate", "mitre drop"} <= named & due
    wider = replace(old.gates["planer gate"], diameter_m=0.125)
    changed = replace(old, gates={**old.gates, "planer gate": wider})
    named = {line.partition(":")[0] for line in to_commission(old, changed, "garage") if not line.startswith("Nothing")}
    assert named == {"planer gate"}
    assert {"planer gate"} <= {step.subject for step in due_after(old, changed)}


def test_facts_are_words_that_stay_the_same() -> None:
    """Results are kept with them: changed words would make every shop due again."""
    shop = shop_of("garage-one-collector")
    assert of_gate(shop.gates["saw gate"]) == (
        ("moved by", "servo on GPIO12"),
        ("width", "102 mm"),
        ("travel", "1.5 s"),
        ("open pulse", "2 ms"),
        ("shut pulse", "1 ms"),
    )
    assert of_motor(shop.motors["collector"]) == (
        ("switched by", "relay on GPIO17"),
        ("power", "1491 W"),
        ("phases", "1"),
        ("seen by", "channel 7 of clamp board, within 3 s"),
        ("air proved by", "GPIO22, normally open"),
    )
    facts = {step.key: dict(step.facts) for step in steps_of(shop)}
    assert facts["tool/planer"] == {"wire": "channel 2 of clamp board"}
    assert facts["contact/input:stop mushroom"] == {"contact": "GPIO5, normally closed", "kind": "red button"}
    assert facts["bond/saw drop"]["length"] == "3.05 m, of which 0.91 m hose"
    assert facts["start/planer"] == {
        "wire": "channel 2 of clamp board",
        "planer gate": "servo on GPIO16, 1.5 s",
        "collector": "relay on GPIO17",
    }


def test_how_far_it_has_come_in_words() -> None:
    assert how_far(0, 0, failed=0, left_out=0, stale=0) == "This shop has nothing to try yet."
    assert how_far(24, 24, failed=0, left_out=0, stale=0) == "0 of 24 are done."
    assert how_far(24, 15, failed=1, left_out=2, stale=1) == (
        "9 of 24 are done; 1 did not do what it should, 2 were left out, 1 is due again because the shop file changed."
    )


def test_cautions_are_there_where_something_moves_or_starts() -> None:
    assert {Kind.JOG, Kind.ENDS, Kind.TURN, Kind.START, Kind.CLICK, Kind.SEE_TOOL} <= set(CAUTIONS)
