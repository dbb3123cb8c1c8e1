"""Every kind of gate and of thing at a drop: what is asked for it, and the exact lines that come of it."""

import pytest
from interview_files import LATHE, SHED, TWO_BROKERS, asked_about, at_question, draft_of, lines_of, pinned

from gatekeeper.interview.new import new_shop
from gatekeeper.interview.writing import assumed_lines, draft_text, waiting_machines


@pytest.mark.parametrize(
    ("answers", "line"),
    [
        ({"gate": "by hand"}, "{diameter: 100 mm}"),
        ({"gate": "by hand, with"}, "{diameter: 100 mm, open_contact: to be chosen}"),
        ({"gate": "servo"}, "{diameter: 100 mm, servo: {pin: to be chosen}}"),
        (
            {"gate": "servo on", "stall": "2.5 A"},
            "{diameter: 100 mm, servo: {pin: to be chosen, stall_current: 2.5 A}}",
        ),
        (
            {"gate": "motor by an"},
            "{diameter: 100 mm, bridge: {open: to be chosen, shut: to be chosen}, travel: 6 s}",
        ),
        (
            {"gate": "motor by two", "ends": "at both", "travel": "8 s", "stall": "3 A"},
            "{diameter: 100 mm, relays: {open: to be chosen, shut: to be chosen, stall_current: 3 A}, travel: 8 s, "
            "open_contact: to be chosen, shut_contact: to be chosen}",
        ),
        ({"gate": "solenoid"}, "{diameter: 100 mm, coil: {pin: to be chosen, holds: shut}}"),
        (
            {"gate": "solenoid", "spring": "shut", "stall": "400 mA"},
            "{diameter: 100 mm, coil: {pin: to be chosen, holds: open, current: 400 mA}}",
        ),
        (
            {"gate": "behind"},
            "{diameter: 100 mm, behind_broker: {broker: broker, commands_to: lathe-gate/set, "
            "states_from: lathe-gate/state}}",
        ),
    ],
)
def test_each_kind_of_gate_asks_for_what_it_needs_and_is_one_line(answers: dict[str, str], line: str) -> None:
    assert lines_of("gates", **LATHE, **answers) == [f"lathe gate: {line}"]


def test_what_nobody_knows_of_a_gate_is_an_estimate_and_said_to_be() -> None:
    assert lines_of("gates", **LATHE, gate="motor by two", travel="unknown") == [
        "# assumed: a whole move takes 6 s at most",
        "lathe gate: {diameter: 100 mm, relays: {open: to be chosen, shut: to be chosen}}",
    ]
    draft = draft_of(**LATHE, gate="behind", broker="unknown")
    assert assumed_lines(draft_text(draft)) == ["lathe gate, the broker is on this board"]
    assert "brokers:\n  broker: {host: localhost}\n" in draft_text(draft)
    draft = draft_of(**LATHE, gate="solenoid", spring="unknown")
    assert assumed_lines(draft_text(draft)) == ["lathe gate, its spring puts it open"]


def test_one_servo_is_on_a_pin_and_from_the_second_on_all_are_on_a_bank() -> None:
    three = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "sensor": "clamp"}
    gates = ["servo", "servo on", ""]
    told_apart = lines_of("gates", **{**three, "gate": gates})
    assert [line.partition("servo: ")[2] for line in told_apart] == [
        "{pin: to be chosen}}",
        "{pin: to be chosen}}",
        "{pin: to be chosen}}",
    ]
    gates = ["servo", "servo on", "servo"]
    told_apart = lines_of("gates", **{**three, "gate": gates, "stall": "2 A"})
    assert [line.partition("servo: ")[2] for line in told_apart] == [
        "{bank: servo bank, channel: 0, stall_current: 2 A}}",
        "{pin: to be chosen, stall_current: 2 A}}",
        "{bank: servo bank, channel: 1, stall_current: 2 A}}",
    ]
    assert lines_of("servo_banks", **{**three, "gate": "servo"}) == [
        "# A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
        "servo bank: {enable: to be chosen}",
    ]


def test_the_seventeenth_servo_begins_a_second_bank() -> None:
    many = {**SHED, "at_the_collector": ["machine"] * 18, "machine": [f"m {number}" for number in range(18)]}
    draft = draft_of(**many, gate="servo", sensor=["current", *["nothing yet"] * 17])
    assert [len(gates) for gates in draft.banks().values()] == [16, 2]
    text = draft_text(draft)
    assert "  servo bank 2: {enable: to be chosen, address: 0x41}\n" in text
    assert "  m 17 gate: {diameter: 100 mm, servo: {bank: servo bank 2, channel: 1}}\n" in text
    assert len(pinned(text).servo_banks) == 2


def test_the_stall_current_is_asked_once_for_all_gates_of_a_kind() -> None:
    two = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "sensor": "clamp"}
    lines = lines_of("gates", **two, gate=["motor by two", "motor by an", "solenoid"], stall=["4 A", "300 mA"])
    assert [line.count("stall_current: 4 A") for line in lines] == [1, 1, 0]
    assert "current: 300 mA" in lines[2]


def test_a_button_and_a_lamp_at_a_drop_are_one_question_and_only_when_wanted() -> None:
    two = {**SHED, "at_the_collector": ["machine"] * 2, "machine": ["lathe", "planer"], "at_each_machine": "a button"}
    answers = {**two, "sensor": ["current", "nothing"], "at_the_drop": ["both", "button"]}
    assert lines_of("inputs", **answers) == [
        "lathe button: {kind: air here, pin: to be chosen, at: lathe}",
        "planer button: {kind: air here, pin: to be chosen, at: planer gate}",
    ]
    assert lines_of("signs", **answers) == ["lathe sign: {pin: to be chosen, at: lathe}"]
    abouts = asked_about(**LATHE)
    assert "at the drop" not in abouts
    assert "need" not in abouts
    assert asked_about(**{**LATHE, "at_each_machine": "both"}).count("at the drop") == 1


def test_a_sign_is_offered_only_where_the_machine_is_seen() -> None:
    choices = {}
    interview = new_shop()
    for answer in ("Shed", "metric", "", "1.5 kW", "", "", "", "", "", "", "a button", "machine", "", "lathe", "", ""):
        interview = interview.answered(answer)
    for seen in ("nothing yet", "current switch"):
        question = interview.answered(seen).stand().question
        assert question is not None
        assert question.said == "What hangs at the lathe beside its gate?"
        choices[seen] = question.choices
    assert choices == {
        "nothing yet": ("neither", "button"),
        "current switch": ("neither", "button", "sign lamp", "both"),
    }


def test_a_machine_that_nothing_sees_waits_in_a_comment_that_says_how_its_gate_moves() -> None:
    two = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"]}
    answers = {**two, "gate": ["by hand", "servo", "by hand"], "sensor": ["", "", "current"]}
    assert lines_of("tools", **answers)[:2] == [
        "# lathe: not wired yet, its gate is moved by whoever works there.",
        "# planer: not wired yet, its gate opens from the page or at a button.",
    ]
    assert waiting_machines(draft_text(draft_of(**answers))) == ("lathe", "planer")


def test_two_gates_whose_names_read_alike_get_topics_of_their_own() -> None:
    lines = lines_of("gates", **TWO_BROKERS)
    assert "commands_to: lathe-gate-2/set, states_from: lathe-gate-2/state" in lines[1]
    assert draft_text(draft_of(**TWO_BROKERS)).count("host: ") == 1


def test_a_machine_like_the_one_before_takes_one_question() -> None:
    three = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "alike": ""}
    answers = {**three, "port": "60 mm", "gate": "motor by two", "ends": "at the open", "sensor": "clamp for 40"}
    question = at_question("alike", **answers).stand().question
    assert question is not None
    assert question.said == (
        "Is the bandsaw like the planer: a port of 60 mm, its gate by a motor on two relays, a clamp for 40 A?"
    )
    assert asked_about(**answers).count("gate") == 1
    assert lines_of("gates", **answers)[2] == (
        "bandsaw gate: {diameter: 100 mm, relays: {open: to be chosen, shut: to be chosen}, travel: 6 s, "
        "open_contact: to be chosen}"
    )
    assert lines_of("tools", **answers)[-4:] == [
        "bandsaw:",
        "  gates: bandsaw gate",
        "  port: 60 mm",
        "  sensor: {converter: clamp board, channel: 2, range: 40 A}",
    ]
    assert asked_about(**{**answers, "gate": "behind", "ends": ""}).count("alike") == 0


def test_what_is_like_the_one_before_has_its_pins_and_its_own_width() -> None:
    many = {**SHED, "at_the_collector": ["machine"] * 8, "machine": [f"m {number}" for number in range(8)], "alike": ""}
    answers = {**many, "gate": ["motor by two", ""], "sensor": "current", "diameter": ["100 mm", "80 mm"]}
    asked = asked_about(**answers)
    # Six pairs of relays beside the relay of the collector; the seventh has no pins, and the eighth is like it.
    assert (asked.count("alike"), asked.count("gate")) == (6, 2)
    assert "\n  m 1:\n    gates: m 1 gate\n    port: 100 mm\n" in draft_text(draft_of(**answers))


def test_a_side_arm_and_a_hose_are_taken_as_wide_and_long_as_the_ones_before() -> None:
    answers: dict[str, str | list[str]] = {
        **SHED,
        "inlet": "160 mm",
        "at_the_collector": ["length", ""],
        "length": "2 m",
        "sensor": "current",
        "diameter": ["", "125 mm", ""],
        "next": ["45 wye", "machine", "60 elbow", "tee", "1 m", "machine", "3 m", "nothing more"],
        "machine": ["lathe", "planer"],
        "hose": ["1.5 m", ""],
    }
    assert lines_of("ducts", **answers) == [
        "main 1: {towards: collector, diameter: 160 mm, length: 2 m}",
        "lathe drop: {towards: main 1, diameter: 125 mm, length: 2 m, fittings: [45 wye], flex: 1.5 m}",
        "main 2: {towards: main 1, diameter: 160 mm, length: 0 m, fittings: [60 elbow]}",
        "planer drop: {towards: main 2, diameter: 125 mm, length: 3 m, fittings: [tee], flex: 1.5 m}",
    ]
