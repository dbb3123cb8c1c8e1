"""Every way to switch and confirm a motor, what is wired at it, motors beside the first, and what is refused."""

import pytest
from interview_files import DRIVE, LATHE, SHED, TWO_BROKERS, asked_about, at_question, draft_of, lines_of, pinned
from interview_paths import told

from gatekeeper.interview.engine import NotUnderstood
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.writing import draft_text
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.kinds import InputKind, MotorKind
from gatekeeper.shop.load import load_shop


@pytest.mark.parametrize(
    ("answers", "lines"),
    [
        (
            {},
            [
                "  # The relay feeds the coil of the motor's contactor and drops when the board dies.",
                "  switched_by: {pin: to be chosen, when_board_dies: drops}",
            ],
        ),
        (
            {"switched_by": "relay on", "confirmed": "current"},
            [
                "  # The relay holds only while its pin keeps changing, so that a hung program lets it drop too.",
                "  # assumed: the relay of the collector drops 500 ms after its last pulse",
                "  switched_by: {pin: to be chosen, steady_pulse: yes, when_board_dies: drops after 500 ms}",
                "  confirmed_by: {current_switch: to be chosen}",
            ],
        ),
        (
            {"switched_by": "push", "attended": "yes"},
            [
                "  # Two relays press the buttons of a starter that holds itself, also when the board dies.",
                "  switched_by: {start: to be chosen, stop: to be chosen, when_board_dies: stays}",
                "  confirmed_by: {current_switch: to be chosen}",
            ],
        ),
        (
            {"switched_by": "by hand"},
            [
                "  # Started by hand: this pin is for the relay of its contactor, and nothing is wired to it yet.",
                "  switched_by: {pin: to be chosen, when_board_dies: drops}",
            ],
        ),
        (
            {"switched_by": "variable", "drive_command": "unknown"},
            [
                "  # Started by hand: this pin is for the relay of its contactor, and nothing is wired to it yet.",
                "  switched_by: {pin: to be chosen, when_board_dies: drops}",
            ],
        ),
        (
            {"confirmed": "clamp for 40"},
            [
                "  # The relay feeds the coil of the motor's contactor and drops when the board dies.",
                "  switched_by: {pin: to be chosen, when_board_dies: drops}",
                "  confirmed_by: {converter: clamp board, channel: 0, range: 40 A}",
            ],
        ),
    ],
)
def test_each_way_to_switch_a_collector(answers: dict[str, str], lines: list[str]) -> None:
    head = ["collector:", "  power: 1.5 kW  # from the plate", "  phases: single", "  inlet: 100 mm"]
    assert lines_of("motors", **LATHE, **answers) == [*head, *lines]


def test_a_drive_is_asked_for_by_its_manual_and_confirms_itself() -> None:
    answers = {**LATHE, **DRIVE, "drive_running": "0x1 of 0x3", "drive_line": "192.168.1.20", "drive_silence": "3 s"}
    assert lines_of("motors", **answers)[4:] == [
        "  # Set loss of communication in the drive to 3 s: nothing else stops it when the board dies.",
        "  switched_by: {drive: collector drive, when_board_dies: drops after 3 s}",
        "  confirmed_by: {drive: collector drive}",
    ]
    assert lines_of("drives", **answers) == [
        "collector drive: {host: 192.168.1.20, command: 0x2000, start: 1, stop: 5, status: 0x2100, running: 0x1, "
        "running_mask: 0x3}"
    ]
    answers = {**LATHE, **DRIVE, "drive_running": "1", "drive_line": "unknown"}
    assert lines_of("drives", **answers) == [
        "# assumed: the line that it hangs on",
        "collector drive: {serial: /dev/ttyUSB0, command: 0x2000, start: 1, stop: 5, status: 0x2100, running: 1}",
    ]


def test_a_starter_that_holds_itself_needs_somebody_there_and_a_confirmation() -> None:
    text = draft_text(draft_of(**LATHE, switched_by="push", attended="yes"))
    assert "  attended: yes  # somebody is always there while motors may run\n" in text
    interview = new_shop()
    for answer in ("Shed", "metric", "", "1.5 kW", "", "", "push"):
        interview = interview.answered(answer)
    with pytest.raises(NotUnderstood) as refused:
        interview.answered("no")
    assert str(refused.value) == (
        "Then take another switch for the collector (back): its starter holds itself when the board dies, and the "
        "motor would run on alone."
    )
    question = interview.answered("yes").stand().question
    assert question is not None
    assert question.choices == ("current switch", "clamp", "clamp for 20 A", "clamp for 40 A")
    with pytest.raises(NotUnderstood):
        interview.answered("yes").answered("unknown")


def test_a_collector_started_by_hand_stands_at_hand_while_nothing_is_wired() -> None:
    assert lines_of("inputs", **LATHE, switched_by="by hand") == [
        "# With nothing on these pins it stands at Hand: the collector is yours to start and stop. Wire the",
        "# relay and a Hand-Off-Auto switch, its Hand contact normally closed, and Auto is the program's.",
        "collector switch: {kind: hand-off-auto, hand_pin: to be chosen normally closed, auto_pin: to be chosen, "
        "motors: collector}",
    ]
    switch = pinned(draft_text(draft_of(**LATHE, switched_by="by hand"))).inputs["collector switch"]
    assert switch.hand_contact is not None
    assert switch.hand_contact.normally_closed
    assert switch.auto_contact is not None
    assert not switch.auto_contact.normally_closed


def test_what_else_is_wired_at_the_collector_is_named_one_after_the_other() -> None:
    every = ["hand", "red", "fire", "bin"]
    assert lines_of("inputs", **LATHE, wired=every) == [
        "collector switch: {kind: hand-off-auto, hand_pin: to be chosen, auto_pin: to be chosen, motors: collector}",
        "red button: {kind: red button, pin: to be chosen}",
        "fire detector: {kind: fire, pin: to be chosen}",
        "reset key: {kind: reset, pin: to be chosen}",
        "collector bin: {kind: bin full, pin: to be chosen, motors: collector}",
    ]
    kinds = {part.kind for part in pinned(draft_text(draft_of(**LATHE, wired=every))).inputs.values()}
    assert InputKind.RESET in kinds


# ---------------------------------------------------------------- several motors

TWO_COLLECTORS = {
    **SHED,
    "at_the_collector": ["machine", "", "machine", "", "machine", ""],
    "machine": ["panel saw", "lathe", "panel saw"],
    "another_motor": ["collector", "tool vacuum", "air cleaner"],
    "motor_name": "south collector",
    "power": ["1.5 kW", "4 kW", "1.2 kW", "150 W"],
    "inlet": ["100 mm", "100 mm", "50 mm"],
    "diameter": ["", "", "50 mm"],
    "sensor": "current",
    "confirmed": ["", "current"],
    "page": "no",
}


def test_a_second_collector_a_vacuum_and_an_air_cleaner_follow_the_first_one_s_ducts() -> None:
    text = draft_text(draft_of(**TWO_COLLECTORS))
    assert (
        text.partition("motors:\n")[2]
        == """\
  collector:
    power: 1.5 kW  # from the plate
    phases: single
    inlet: 100 mm
    # The relay feeds the coil of the motor's contactor and drops when the board dies.
    switched_by: {pin: to be chosen, when_board_dies: drops}
  south collector:
    power: 4 kW  # from the plate
    phases: three
    inlet: 100 mm
    # The relay feeds the coil of the motor's contactor and drops when the board dies.
    switched_by: {pin: to be chosen, when_board_dies: drops}
    confirmed_by: {current_switch: to be chosen}
  vacuum:
    kind: tool vacuum
    power: 1.2 kW  # from the plate
    inlet: 50 mm
    # The relay feeds its socket and drops when the board dies.
    switched_by: {pin: to be chosen, when_board_dies: drops}
  air cleaner:
    kind: air cleaner
    power: 150 W  # from the plate
    # The relay feeds its socket and drops when the board dies.
    switched_by: {pin: to be chosen, when_board_dies: drops}

ducts:
  # assumed: the hose
  panel saw drop: {towards: collector, diameter: 100 mm, length: 0 m, flex: 1 m}
  # assumed: the hose
  lathe drop: {towards: south collector, diameter: 100 mm, length: 0 m, flex: 1 m}
  # assumed: the hose
  panel saw drop 2: {towards: vacuum, diameter: 50 mm, length: 0 m, flex: 1 m}

gates:
  panel saw gate: {duct: panel saw drop}
  lathe gate: {duct: lathe drop}
  panel saw gate 2: {duct: panel saw drop 2}

tools:
  panel saw:
    gates: [panel saw gate, panel saw gate 2]
    sensor: {current_switch: to be chosen}
  lathe:
    gates: lathe gate
    sensor: {current_switch: to be chosen}
"""
    )
    shop = pinned(text)
    assert shop.tools["panel saw"].systems == ("collector", "vacuum")
    assert [motor.kind for motor in shop.motors.values()] == [
        MotorKind.COLLECTOR,
        MotorKind.COLLECTOR,
        MotorKind.TOOL_VACUUM,
        MotorKind.AIR_CLEANER,
    ]


def test_a_motor_that_nothing_hangs_on_yet_is_no_part_of_the_shop() -> None:
    whole = told(new_shop(), **TWO_COLLECTORS)
    place = whole.answers.index("south collector")
    begun = new_shop().taken_up(whole.answers[: place + 7]).stand()
    assert [motor.name for motor in begun.draft.motors] == ["collector", "south collector"]
    shop = load_shop(draft_text(begun.draft), "x")
    assert not isinstance(shop, Faults)
    assert list(shop.motors) == ["collector"]


def test_the_red_button_and_the_fire_detector_are_the_shop_s_and_offered_once() -> None:
    interview = told(new_shop(), **{**TWO_COLLECTORS, "wired": ["red", "fire"]})
    offered = [
        question.choices
        for count in range(len(interview.answers))
        if (question := new_shop().taken_up(interview.answers[:count]).stand().question) is not None
        and question.about == "wired"
    ]
    assert offered[0] == ("hand-off-auto switch", "red button", "fire detector", "bin contact", "nothing more")
    assert offered[-1] == ("hand-off-auto switch", "bin contact", "nothing more")


@pytest.mark.parametrize(
    ("about", "answers", "answer", "said"),
    [
        (
            "commands to",
            TWO_BROKERS,
            "lathe-gate/set",
            "Another gate or another use has this topic already; each has its own.",
        ),
        (
            "states from",
            TWO_BROKERS,
            "lathe-gate-2/set",
            "Another gate or another use has this topic already; each has its own.",
        ),
        *(
            (
                "commands to",
                TWO_BROKERS,
                topic,
                "This is no topic; write the words and slashes that are set in the gate's controller, without + and #.",
            )
            for topic in ("a+b", "a#b", "$a", "x" * 201)
        ),
        ("broker", TWO_BROKERS, "x" * 81, "This is too long for an address; at most 80 characters fit."),
        (
            "drive command",
            {**LATHE, **DRIVE, "drive_running": "1"},
            "65536",
            "This is no register or word of a drive; write 0 to 65535, or 0x0 to 0xFFFF.",
        ),
        ("drive stop", {**LATHE, **DRIVE, "drive_running": "1"}, "0x1", "That word starts it; look it up again."),
        (
            "drive running",
            {**LATHE, **DRIVE, "drive_running": "1"},
            "4 of 3",
            "The first number has bits that the second leaves out, so it would never run.",
        ),
        (
            "drive line",
            {**LATHE, **DRIVE, "drive_running": "1"},
            "/etc/passwd",
            "This is no serial line; write such as /dev/ttyUSB0.",
        ),
        (
            "drive line",
            {**LATHE, **DRIVE, "drive_running": "1"},
            "x" * 81,
            "This is too long for an address; at most 80 characters fit.",
        ),
        (
            "motor name",
            TWO_COLLECTORS,
            "collector",
            '"collector" means something else here already; give it another name.',
        ),
        (
            "motor name",
            {**TWO_COLLECTORS, "machine": ["big bin", "lathe", "big bin"]},
            "big",
            '"big" means something else here already; give it another name.',
        ),
        ("motor name", TWO_COLLECTORS, "x" * 33, f'"{"x" * 33}" is too long; at most 32 characters fit.'),
    ],
)
def test_what_cannot_be_is_refused_and_says_why(
    about: str, answers: dict[str, str | list[str]], answer: str, said: str
) -> None:
    with pytest.raises(NotUnderstood) as refused:
        at_question(about, **answers).answered(answer)
    assert str(refused.value) == said


def test_with_two_systems_a_gate_on_a_hose_gets_a_duct_that_says_of_which() -> None:
    two = {**TWO_COLLECTORS, "another_motor": ["tool vacuum"], "power": ["1.5 kW", "1.2 kW"], "inlet": "100 mm"}
    two |= {"at_the_collector": ["machine", "", "machine", ""], "machine": ["panel saw", "lathe"], "diameter": ""}
    del two["motor_name"]
    assert lines_of("ducts", **{**two, "confirmed": ""}) == [
        "# assumed: the hose",
        "panel saw drop: {towards: collector, diameter: 100 mm, length: 0 m, flex: 1 m}",
        "# assumed: the hose",
        "lathe drop: {towards: vacuum, diameter: 100 mm, length: 0 m, flex: 1 m}",
    ]


def test_a_hand_off_auto_switch_is_not_asked_for_where_it_is_there_for_starting_by_hand() -> None:
    question = at_question("wired", **LATHE, switched_by="by hand").stand().question
    assert question is not None
    assert question.choices == ("red button", "fire detector", "bin contact", "nothing more")


def test_somebody_who_is_always_there_is_asked_for_once() -> None:
    answers = {**TWO_COLLECTORS, "switched_by": ["push", "push"], "attended": "yes", "confirmed": "current"}
    assert asked_about(**answers).count("attended") == 1


def test_a_second_collector_counts_its_own_gates_only() -> None:
    answers = {**TWO_COLLECTORS, "another_motor": ["collector"], "power": "1.5 kW", "inlet": ["100 mm", "250 mm"]}
    two = {**answers, "at_the_collector": ["machine", "", "machine", ""], "machine": ["saw", "lathe"], "diameter": ""}
    assert [line for line in lines_of("motors", **two) if "relief" in line or not line.startswith(" ")] == [
        "collector:",
        "south collector:",
        "  relief_port: 80 mm",
    ]
