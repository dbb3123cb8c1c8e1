"""One more gate in a shop that is there: what it hangs on there, and nothing offered that has no pin."""

from contextlib import suppress
from dataclasses import replace

import pytest
from interview_paths import told

from gatekeeper.interview.adding import PartsDraft, add_machine
from gatekeeper.interview.adding_motor import add_motor
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.engine import Interview
from gatekeeper.interview.motors import MotorScene, ask_motor
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.room import Pins, Room, text_room
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import draft_text
from gatekeeper.shop.choosing import choices_for, with_pins
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.kinds import MotorKind
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

HEAD = """\
shop: {name: Shed, mains: 50 Hz}
motors:
  collector: {power: 1.5 kW, inlet: 100 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
"""
ONE_BY_HAND = f"""{HEAD}
gates:
  saw gate: {{diameter: 100 mm}}
tools:
  table saw: {{gates: saw gate, sensor: {{current_switch: GPIO5}}}}
"""
ONE_SERVO = ONE_BY_HAND.replace("100 mm}\ntools", "100 mm, servo: {pin: GPIO12, stall_current: 2 A}}\ntools")
ON_A_BANK = f"""{ONE_BY_HAND.replace("100 mm}", "100 mm, servo: {bank: bank, channel: 0}}")}servo_banks:
  bank: {{enable: GPIO6}}
"""
LATHE = {"machine": "lathe", "place": "on collector"}
SHED = {"name": "Shed", "units": "metric", "power": "1.5 kW", "inlet": "100 mm", "alike": "no"}


def _shop(text: str) -> Shop:
    shop = load_shop(text, "x")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def _added(text: str, **answers: str | list[str]) -> tuple[list[str], list[str]]:
    """The lines that one more machine adds, its pins chosen, and the short words of what was asked."""
    interview: Interview[PartsDraft] = told(add_machine(_shop(text), text), **{**LATHE, **answers})
    changed = with_parts(text, "x", interview.stand().draft.edits)
    changed = with_pins(changed, "x", choices_for(changed, "x", move=False))
    _shop(changed)
    lines = iter(changed.splitlines())
    assert all(line in lines for line in text.splitlines()), "every old line is there, in its order"
    asked = []
    for count in range(len(interview.answers)):
        question = replace(interview, answers=interview.answers[:count]).stand().question
        assert question is not None
        asked.append(question.about)
    return [line for line in changed.splitlines() if line and line not in text.splitlines()], asked


def test_a_first_servo_is_put_on_a_pin() -> None:
    added, asked = _added(ONE_BY_HAND, gate="servo", stall="2.5 A", sensor="current")
    assert added == [
        "  lathe gate: {diameter: 100 mm, servo: {pin: GPIO12, stall_current: 2.5 A}}",
        "  lathe:",
        "    gates: lathe gate",
        "    sensor: {current_switch: GPIO6}",
    ]
    assert asked == ["machine", "place", "diameter", "port", "need", "gate", "stall", "sensor", "at the drop"]


def test_a_second_servo_gets_a_bank_and_draws_what_the_first_draws() -> None:
    added, asked = _added(ONE_SERVO, sensor="nothing yet")
    assert added == [
        "  lathe gate: {diameter: 100 mm, servo: {bank: servo bank, channel: 0, stall_current: 2 A}}",
        "  # lathe: not wired yet, its gate opens from the page or at a button.",
        "servo_banks:",
        "  # A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
        "  servo bank: {enable: GPIO6}",
    ]
    assert "stall" not in asked


def test_a_servo_more_takes_the_next_channel_of_the_bank_that_is_there() -> None:
    added, _ = _added(ON_A_BANK, gate="servo", sensor="nothing yet")
    assert added[0] == "  lathe gate: {diameter: 100 mm, servo: {bank: bank, channel: 1}}"
    assert len(added) == 2


def test_a_full_bank_gets_a_second_one_beside_it_at_its_own_address() -> None:
    gates = "\n".join(f"  g {n}: {{diameter: 100 mm, servo: {{bank: bank, channel: {n}}}}}" for n in range(1, 16))
    text = ON_A_BANK.replace("\ntools:", f"\n{gates}\ntools:")
    added, _ = _added(text, gate="servo", sensor="nothing yet")
    assert added[0] == "  lathe gate: {diameter: 100 mm, servo: {bank: servo bank, channel: 0}}"
    assert added[-1] == "  servo bank: {enable: GPIO12, address: 0x41}"


def test_where_i2c_is_taken_a_second_servo_stays_on_a_pin() -> None:
    added, _ = _added(ONE_SERVO.replace("current_switch: GPIO5", "current_switch: GPIO2"), sensor="nothing yet")
    assert added[0] == "  lathe gate: {diameter: 100 mm, servo: {pin: GPIO13, stall_current: 2 A}}"


def test_a_gate_behind_a_broker_brings_one_or_takes_that_of_the_shop() -> None:
    added, asked = _added(ONE_BY_HAND, gate="behind", broker="192.168.1.5", sensor="nothing yet")
    assert added[0] == (
        "  lathe gate: {diameter: 100 mm, behind_broker: {broker: broker, commands_to: lathe-gate/set, "
        "states_from: lathe-gate/state}}"
    )
    assert added[-2:] == ["brokers:", "  broker: {host: 192.168.1.5}"]
    assert asked.count("broker") == 1
    text = f"{ONE_BY_HAND}brokers:\n  house: {{host: 10.0.0.2}}\n"
    added, asked = _added(text, gate="behind", commands_to="shop/lathe/set", sensor="nothing yet")
    assert added[0] == (
        "  lathe gate: {diameter: 100 mm, behind_broker: {broker: house, commands_to: shop/lathe/set, "
        "states_from: lathe-gate/state}}"
    )
    assert "broker" not in asked


def test_a_button_and_a_lamp_come_with_the_machine() -> None:
    added, _ = _added(ONE_BY_HAND, sensor="current", at_the_drop="both")
    assert added[-4:] == [
        "inputs:",
        "  lathe button: {kind: air here, pin: GPIO4, at: lathe}",
        "signs:",
        "  lathe sign: {pin: GPIO12, at: lathe}",
    ]


@pytest.mark.parametrize(
    ("gate", "line"),
    [
        ("by hand, with", "{diameter: 100 mm, open_contact: GPIO6}"),
        ("motor by two", "{diameter: 100 mm, relays: {open: GPIO22, shut: GPIO23}, travel: 6 s}"),
        ("solenoid", "{diameter: 100 mm, coil: {pin: GPIO22, holds: shut}}"),
    ],
)
def test_other_gates_are_added_too(gate: str, line: str) -> None:
    added, _ = _added(ONE_BY_HAND, gate=gate, sensor="nothing yet")
    assert added[0] == f"  lathe gate: {line}"


# ---------------------------------------------------------------- a motor more

ON_DUCTS = f"""{HEAD}ducts:
  main: {{towards: collector, diameter: 100 mm, length: 2 m}}
gates:
  saw gate: {{duct: main}}
converters:
  clamps: {{kind: MCP3208, chip_select: 0}}
tools:
  table saw: {{gates: saw gate, sensor: {{converter: clamps, channel: 0, range: 30 A}}}}
inputs:
  stop: {{kind: red button, pin: GPIO5, motors: collector}}
"""


def _motor_added(text: str, **answers: str | list[str]) -> tuple[list[str], Interview[PartsDraft]]:
    interview: Interview[PartsDraft] = told(add_motor(_shop(text), text), **answers)
    changed = with_parts(text, "x", interview.stand().draft.edits)
    _shop(changed)
    return [line for line in changed.splitlines() if line and line not in text.splitlines()], interview


def test_a_vacuum_more_comes_with_its_first_machine() -> None:
    answers = {"another_motor": "tool vacuum", "power": "1.2 kW", "confirmed": "clamp", "machine": "router table"}
    added, interview = _motor_added(ON_DUCTS, **answers, length="0 m", sensor="clamp for 20 A")
    assert added == [
        "  vacuum:",
        "    kind: tool vacuum",
        "    power: 1.2 kW  # from the plate",
        "    inlet: 63 mm",
        "    # The relay feeds its socket and drops when the board dies.",
        "    switched_by: {pin: to be chosen, when_board_dies: drops}",
        "    confirmed_by: {converter: clamps, channel: 1, range: 30 A}",
        "  router table drop: {towards: vacuum, diameter: 63 mm, length: 0 m, flex: 1 m}",
        "  router table gate: {duct: router table drop}",
        "  router table:",
        "    gates: router table gate",
        "    sensor: {converter: clamps, channel: 2, range: 20 A}",
    ]
    assert interview.stand().draft.machine == "router table"


def test_a_collector_more_is_named_and_a_gate_too_small_for_it_gets_a_port_that_stays_open() -> None:
    answers = {"another_motor": "collector", "motor_name": "south collector", "power": "3 kW", "inlet": "250 mm"}
    added, _ = _motor_added(ON_DUCTS, **answers, machine="planer", length="2 m", wired=["bin"])
    assert added == [
        "  south collector:",
        "    power: 3 kW  # from the plate",
        "    phases: single",
        "    inlet: 250 mm",
        "    relief_port: 80 mm",
        "    # The relay feeds the coil of the motor's contactor and drops when the board dies.",
        "    switched_by: {pin: to be chosen, when_board_dies: drops}",
        "  planer drop: {towards: south collector, diameter: 100 mm, length: 2 m, flex: 1 m}",
        "  planer gate: {duct: planer drop}",
        "  # planer: not wired yet, its gate is moved by whoever works there.",
        "  south collector bin: {kind: bin full, pin: to be chosen, motors: south collector}",
    ]


def test_what_a_shop_has_once_or_not_at_all_is_not_offered_to_a_second_motor() -> None:
    _, interview = _motor_added(ON_DUCTS, another_motor="collector", power="3 kW", machine="planer", length="1 m")
    offered = {}
    for count in range(len(interview.answers)):
        question = replace(interview, answers=interview.answers[:count]).stand().question
        assert question is not None
        offered[question.about] = question.choices
    assert offered["wired"] == ("hand-off-auto switch", "fire detector", "bin contact", "nothing more")
    # Nobody is said to be always there in this file.
    assert "push-button starter" not in offered["switched by"]


def test_an_air_cleaner_is_added_to_any_shop_and_more_to_one_whose_gates_have_ducts() -> None:
    added, interview = _motor_added(ONE_BY_HAND, power="150 W")
    assert added == [
        "  air cleaner:",
        "    kind: air cleaner",
        "    power: 150 W  # from the plate",
        "    # The relay feeds its socket and drops when the board dies.",
        "    switched_by: {pin: to be chosen, when_board_dies: drops}",
    ]
    question = add_motor(_shop(ONE_BY_HAND), ONE_BY_HAND).stand().question
    assert question is not None
    assert question.said == (
        "What is it? Another collector can follow once saw gate and every other gate has a duct in the file."
    )
    assert question.choices == ("air cleaner",)
    assert interview.answers == ("air cleaner", "150 W", "socket relay")


# ---------------------------------------------------------------- pins


def test_what_is_left_is_counted_from_the_file() -> None:
    assert text_room(HEAD, has_i2c=False) == Room(13, 25, True)
    assert text_room(ONE_SERVO, has_i2c=False) == Room(12, 23, True)
    assert text_room(ON_A_BANK, has_i2c=True) == Room(13, 21, True)
    wants = ONE_BY_HAND.replace("100 mm}", "100 mm, coil: {pin: to be chosen, holds: shut}}")
    assert text_room(wants, has_i2c=False) == Room(12, 23, True)
    assert text_room(ONE_BY_HAND.replace("GPIO5", "GPIO3"), has_i2c=False) == Room(13, 24, False)


def test_what_has_no_pin_is_not_offered_and_the_question_says_why() -> None:
    numbers = {"at_the_collector": ["machine"] * 8, "machine": [f"m {number}" for number in range(8)]}
    many = {**SHED, **numbers, "at_each_machine": "a button"}
    gates = [*["motor by two"] * 6, "solenoid", ""]
    draft = _draft(**many, gate=gates, sensor=["current"])
    assert draft.room == Room(0, 4, True)
    offered = _asked("gate", **many, gate=gates, sensor=["current"])
    assert offered[0] == (
        "What moves the gate of the m 0?",
        (
            *("by hand", "by hand, with a switch", "servo", "servo on a pin", "motor by an H-bridge"),
            *("motor by two relays", "solenoid or air valve", "behind a broker"),
        ),
    )
    assert offered[-2] == (
        "What moves the gate of the m 6? The board has no pins left for more than this.",
        (
            *("by hand", "by hand, with a switch", "servo", "servo on a pin", "solenoid or air valve"),
            "behind a broker",
        ),
    )
    assert offered[-1][1] == ("by hand", "by hand, with a switch", "behind a broker")
    things = _asked("at the drop", **many, gate=gates, sensor=["current"])
    assert things[0][1] == ("neither", "button", "sign lamp", "both")
    assert things[-1] == (
        "What hangs at the m 7 beside its gate? The board has no pins left for more than this.",
        ("neither",),
    )


@pytest.mark.parametrize(
    ("answers", "outputs", "lines"),
    [
        ({"gate": "by hand, with"}, 0, 1),
        ({"gate": "servo"}, 1, 1),
        ({"gate": "motor by an", "ends": "at both"}, 2, 4),
        ({"gate": "solenoid"}, 1, 1),
        ({"gate": "behind"}, 0, 0),
        ({"sensor": "clamp"}, 0, 3),
        ({"sensor": "clamp", "confirmed": "clamp"}, 0, 3),
        ({"confirmed": "current"}, 0, 1),
        ({"switched_by": "push", "attended": "yes"}, 1, 2),
        ({"switched_by": "by hand"}, 0, 2),
        ({"wired": ["hand"]}, 0, 2),
        ({"wired": ["red"]}, 0, 1),
        ({"wired": ["fire"]}, 0, 2),
        ({"wired": ["bin"]}, 0, 1),
        ({"at_each_machine": "a button", "at_the_drop": "both"}, 1, 2),
        ({"at_the_collector": ["machine"] * 2, "machine": ["lathe", "saw"], "gate": "servo"}, 0, 4),
        ({"at_the_collector": ["machine"] * 2, "machine": ["lathe", "saw"], "gate": "servo on"}, 2, 3),
    ],
)
def test_what_each_thing_takes_of_the_board(answers: dict[str, str], outputs: int, lines: int) -> None:
    plain = {**SHED, "at_the_collector": ["machine"], "machine": "lathe", "sensor": "current"}
    before, after = _draft(**plain).room, _draft(**{**plain, **answers}).room
    assert before == Room(13, 24)
    assert (before.outputs - after.outputs, before.lines - after.lines) == (outputs, lines)


def test_a_motor_on_the_last_pins_is_asked_for_nothing_that_has_no_pin() -> None:
    asked = []
    steps = ask_motor("vacuum", MotorKind.TOOL_VACUUM, MotorScene(Room(1, 1), None, is_inch=False))
    question = next(steps)
    with suppress(StopIteration):
        while True:
            asked.append((question.about, question.choices))
            question = steps.send(question.meaning(question.default or "1 kW"))
    assert asked[-1] == ("confirmed", ("nothing yet",))


def test_what_takes_no_pin_always_fits() -> None:
    full = Room(1, 2).less(Pins(3, 1))
    assert full == Room(-2, -2)
    assert full.has(Pins())
    assert not full.has(Pins(contacts=1))
    assert not Room(0, 5).has(Pins(outputs=1))
    assert not Room(2, 2).has(Pins(2, 1))


def test_one_pin_is_kept_for_the_first_sensor() -> None:
    assert ShopDraft().room == Room().less(Pins(contacts=1))
    many = {**SHED, "at_the_collector": ["machine"] * 25}
    answers = {**many, "machine": [f"m {number}" for number in range(25)], "sensor": [""] * 24}
    draft = _draft(**answers, gate=["by hand, with"] * 24)
    assert draft.room.lines == 0
    assert draft.free_channel() is None, "a board of clamps takes four lines of its own"
    text = draft_text(draft)
    assert "not wired yet" in text
    kept = _asked("sensor", **answers, gate=["by hand, with"] * 24)[24]
    assert kept == ("What tells that the m 24 runs?", ("nothing yet", "current switch"))
    given = {**answers, "sensor": ["current", *["nothing yet"] * 23]}
    assert _asked("sensor", **given, gate=["by hand, with"] * 24)[24] == (
        "What tells that the m 24 runs? The board has no pins left for more than this.",
        ("nothing yet",),
    )
    _shop(with_pins(text, "x", choices_for(text, "x")))


def _draft(**answers: str | list[str]) -> ShopDraft:
    draft: ShopDraft = told(new_shop(), **answers).stand().draft
    return draft


def _asked(about: str, **answers: str | list[str]) -> list[tuple[str, tuple[str, ...]]]:
    """Every question of one short word, and what was offered there."""
    interview = told(new_shop(), **answers)
    found = []
    for count in range(len(interview.answers)):
        question = replace(interview, answers=interview.answers[:count]).stand().question
        assert question is not None
        if question.about == about:
            found.append((question.said, question.choices))
    return found
