"""Every kind of gate, switch and thing at a drop: what is asked for it, and the exact lines that come of it."""

import pytest
from interview_paths import told

from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.engine import Interview, NotUnderstood
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.writing import assumed_lines, draft_text, waiting_machines
from gatekeeper.shop.choosing import choices_for, with_pins
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.kinds import InputKind, MotorKind
from gatekeeper.shop.lines import TO_BE_CHOSEN
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

SHED = {
    "name": "Shed",
    "units": "metric",
    "power": "1.5 kW",
    "inlet": "100 mm",
    "at_the_collector": ["machine"],
    "alike": "no",
}
LATHE = {**SHED, "machine": "lathe", "sensor": "current"}


def _draft(**answers: str | list[str]) -> ShopDraft:
    draft: ShopDraft = told(new_shop(), **answers).stand().draft
    return draft


def _lines(section: str, **answers: str | list[str]) -> list[str]:
    """The lines of one section of the file; the file is a shop, and every pin of it can be chosen."""
    text = draft_text(_draft(**answers))
    shop = _pinned(text)
    assert not isinstance(shop, Faults)
    lines = iter(text.splitlines())
    assert f"{section}:" in lines
    found = []
    for line in lines:
        if not line:
            break
        found.append(line.removeprefix("  "))
    return found


def _pinned(text: str) -> Shop:
    pinned = with_pins(text, "x", choices_for(text, "x"))
    assert TO_BE_CHOSEN not in pinned
    shop = load_shop(pinned, "x")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


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
    assert _lines("gates", **LATHE, **answers) == [f"lathe gate: {line}"]


def test_what_nobody_knows_of_a_gate_is_an_estimate_and_said_to_be() -> None:
    assert _lines("gates", **LATHE, gate="motor by two", travel="unknown") == [
        "# assumed: a whole move takes 6 s at most",
        "lathe gate: {diameter: 100 mm, relays: {open: to be chosen, shut: to be chosen}}",
    ]
    draft = _draft(**LATHE, gate="behind", broker="unknown")
    assert assumed_lines(draft_text(draft)) == ["lathe gate, the broker is on this board"]
    assert "brokers:\n  broker: {host: localhost}\n" in draft_text(draft)
    draft = _draft(**LATHE, gate="solenoid", spring="unknown")
    assert assumed_lines(draft_text(draft)) == ["lathe gate, its spring puts it open"]


def test_one_servo_is_on_a_pin_and_from_the_second_on_all_are_on_a_bank() -> None:
    three = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "sensor": "clamp"}
    gates = ["servo", "servo on", ""]
    told_apart = _lines("gates", **{**three, "gate": gates})
    assert [line.partition("servo: ")[2] for line in told_apart] == [
        "{pin: to be chosen}}",
        "{pin: to be chosen}}",
        "{pin: to be chosen}}",
    ]
    gates = ["servo", "servo on", "servo"]
    told_apart = _lines("gates", **{**three, "gate": gates, "stall": "2 A"})
    assert [line.partition("servo: ")[2] for line in told_apart] == [
        "{bank: servo bank, channel: 0, stall_current: 2 A}}",
        "{pin: to be chosen, stall_current: 2 A}}",
        "{bank: servo bank, channel: 1, stall_current: 2 A}}",
    ]
    assert _lines("servo_banks", **{**three, "gate": "servo"}) == [
        "# A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
        "servo bank: {enable: to be chosen}",
    ]


def test_the_seventeenth_servo_begins_a_second_bank() -> None:
    many = {**SHED, "at_the_collector": ["machine"] * 18, "machine": [f"m {number}" for number in range(18)]}
    draft = _draft(**many, gate="servo", sensor=["current", *["nothing yet"] * 17])
    assert [len(gates) for gates in draft.banks().values()] == [16, 2]
    text = draft_text(draft)
    assert "  servo bank 2: {enable: to be chosen, address: 0x41}\n" in text
    assert "  m 17 gate: {diameter: 100 mm, servo: {bank: servo bank 2, channel: 1}}\n" in text
    assert len(_pinned(text).servo_banks) == 2


def test_the_stall_current_is_asked_once_for_all_gates_of_a_kind() -> None:
    two = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "sensor": "clamp"}
    lines = _lines("gates", **two, gate=["motor by two", "motor by an", "solenoid"], stall=["4 A", "300 mA"])
    assert [line.count("stall_current: 4 A") for line in lines] == [1, 1, 0]
    assert "current: 300 mA" in lines[2]


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
    assert _lines("motors", **LATHE, **answers) == [*head, *lines]


DRIVE = {
    "switched_by": "variable",
    "drive_command": "0x2000",
    "drive_start": "1",
    "drive_stop": "5",
    "drive_status": "0x2100",
}


def test_a_drive_is_asked_for_by_its_manual_and_confirms_itself() -> None:
    answers = {**LATHE, **DRIVE, "drive_running": "0x1 of 0x3", "drive_line": "192.168.1.20", "drive_silence": "3 s"}
    assert _lines("motors", **answers)[4:] == [
        "  # Set loss of communication in the drive to 3 s: nothing else stops it when the board dies.",
        "  switched_by: {drive: collector drive, when_board_dies: drops after 3 s}",
        "  confirmed_by: {drive: collector drive}",
    ]
    assert _lines("drives", **answers) == [
        "collector drive: {host: 192.168.1.20, command: 0x2000, start: 1, stop: 5, status: 0x2100, running: 0x1, "
        "running_mask: 0x3}"
    ]
    answers = {**LATHE, **DRIVE, "drive_running": "1", "drive_line": "unknown"}
    assert _lines("drives", **answers) == [
        "# assumed: the line that it hangs on",
        "collector drive: {serial: /dev/ttyUSB0, command: 0x2000, start: 1, stop: 5, status: 0x2100, running: 1}",
    ]


def test_a_starter_that_holds_itself_needs_somebody_there_and_a_confirmation() -> None:
    text = draft_text(_draft(**LATHE, switched_by="push", attended="yes"))
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
    assert _lines("inputs", **LATHE, switched_by="by hand") == [
        "# With nothing on these pins it stands at Hand: the collector is yours to start and stop. Wire the",
        "# relay and a Hand-Off-Auto switch, its Hand contact normally closed, and Auto is the program's.",
        "collector switch: {kind: hand-off-auto, hand_pin: to be chosen normally closed, auto_pin: to be chosen, "
        "motors: collector}",
    ]
    switch = _pinned(draft_text(_draft(**LATHE, switched_by="by hand"))).inputs["collector switch"]
    assert switch.hand_contact is not None
    assert switch.hand_contact.normally_closed
    assert switch.auto_contact is not None
    assert not switch.auto_contact.normally_closed


def test_what_else_is_wired_at_the_collector_is_named_one_after_the_other() -> None:
    every = ["hand", "red", "fire", "bin"]
    assert _lines("inputs", **LATHE, wired=every) == [
        "collector switch: {kind: hand-off-auto, hand_pin: to be chosen, auto_pin: to be chosen, motors: collector}",
        "red button: {kind: red button, pin: to be chosen}",
        "fire detector: {kind: fire, pin: to be chosen}",
        "reset key: {kind: reset, pin: to be chosen}",
        "collector bin: {kind: bin full, pin: to be chosen, motors: collector}",
    ]
    kinds = {part.kind for part in _pinned(draft_text(_draft(**LATHE, wired=every))).inputs.values()}
    assert InputKind.RESET in kinds


def test_a_button_and_a_lamp_at_a_drop_are_one_question_and_only_when_wanted() -> None:
    two = {**SHED, "at_the_collector": ["machine"] * 2, "machine": ["lathe", "planer"], "at_each_machine": "a button"}
    answers = {**two, "sensor": ["current", "nothing"], "at_the_drop": ["both", "button"]}
    assert _lines("inputs", **answers) == [
        "lathe button: {kind: air here, pin: to be chosen, at: lathe}",
        "planer button: {kind: air here, pin: to be chosen, at: planer gate}",
    ]
    assert _lines("signs", **answers) == ["lathe sign: {pin: to be chosen, at: lathe}"]
    abouts = _asked_about(**LATHE)
    assert "at the drop" not in abouts
    assert "need" not in abouts
    assert _asked_about(**{**LATHE, "at_each_machine": "both"}).count("at the drop") == 1


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
    assert _lines("tools", **answers)[:2] == [
        "# lathe: not wired yet, its gate is moved by whoever works there.",
        "# planer: not wired yet, its gate opens from the page or at a button.",
    ]
    assert waiting_machines(draft_text(_draft(**answers))) == ("lathe", "planer")


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
    text = draft_text(_draft(**TWO_COLLECTORS))
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
    shop = _pinned(text)
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


def _asked_about(**answers: str | list[str]) -> list[str]:
    """The short words of all questions that were asked."""
    interview: Interview[ShopDraft] = told(new_shop(), **answers)
    asked = []
    for count in range(len(interview.answers)):
        question = new_shop().taken_up(interview.answers[:count]).stand().question
        assert question is not None
        asked.append(question.about)
    return asked


def _at(about: str, **answers: str | list[str]) -> Interview[ShopDraft]:
    """The interview where a question of this short word is due for the last time."""
    whole = told(new_shop(), **answers)
    places = [place for place, word in enumerate(_asked_about(**answers)) if word == about]
    return new_shop().taken_up(whole.answers[: places[-1]])


TWO_BROKERS = {
    **SHED,
    "at_the_collector": ["machine"] * 2,
    "machine": ["lathe +", "lathe"],
    "gate": "behind",
    "sensor": "current",
}


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
        _at(about, **answers).answered(answer)
    assert str(refused.value) == said


def test_two_gates_whose_names_read_alike_get_topics_of_their_own() -> None:
    lines = _lines("gates", **TWO_BROKERS)
    assert "commands_to: lathe-gate-2/set, states_from: lathe-gate-2/state" in lines[1]
    assert draft_text(_draft(**TWO_BROKERS)).count("host: ") == 1


def test_with_two_systems_a_gate_on_a_hose_gets_a_duct_that_says_of_which() -> None:
    two = {**TWO_COLLECTORS, "another_motor": ["tool vacuum"], "power": ["1.5 kW", "1.2 kW"], "inlet": "100 mm"}
    two |= {"at_the_collector": ["machine", "", "machine", ""], "machine": ["panel saw", "lathe"], "diameter": ""}
    del two["motor_name"]
    assert _lines("ducts", **{**two, "confirmed": ""}) == [
        "# assumed: the hose",
        "panel saw drop: {towards: collector, diameter: 100 mm, length: 0 m, flex: 1 m}",
        "# assumed: the hose",
        "lathe drop: {towards: vacuum, diameter: 100 mm, length: 0 m, flex: 1 m}",
    ]


def test_a_hand_off_auto_switch_is_not_asked_for_where_it_is_there_for_starting_by_hand() -> None:
    question = _at("wired", **LATHE, switched_by="by hand").stand().question
    assert question is not None
    assert question.choices == ("red button", "fire detector", "bin contact", "nothing more")


def test_somebody_who_is_always_there_is_asked_for_once() -> None:
    answers = {**TWO_COLLECTORS, "switched_by": ["push", "push"], "attended": "yes", "confirmed": "current"}
    assert _asked_about(**answers).count("attended") == 1


def test_a_machine_like_the_one_before_takes_one_question() -> None:
    three = {**SHED, "at_the_collector": ["machine"] * 3, "machine": ["lathe", "planer", "bandsaw"], "alike": ""}
    answers = {**three, "port": "60 mm", "gate": "motor by two", "ends": "at the open", "sensor": "clamp for 40"}
    question = _at("alike", **answers).stand().question
    assert question is not None
    assert question.said == (
        "Is the bandsaw like the planer: a port of 60 mm, its gate by a motor on two relays, a clamp for 40 A?"
    )
    assert _asked_about(**answers).count("gate") == 1
    assert _lines("gates", **answers)[2] == (
        "bandsaw gate: {diameter: 100 mm, relays: {open: to be chosen, shut: to be chosen}, travel: 6 s, "
        "open_contact: to be chosen}"
    )
    assert _lines("tools", **answers)[-4:] == [
        "bandsaw:",
        "  gates: bandsaw gate",
        "  port: 60 mm",
        "  sensor: {converter: clamp board, channel: 2, range: 40 A}",
    ]
    assert _asked_about(**{**answers, "gate": "behind", "ends": ""}).count("alike") == 0


def test_what_is_like_the_one_before_has_its_pins_and_its_own_width() -> None:
    many = {**SHED, "at_the_collector": ["machine"] * 8, "machine": [f"m {number}" for number in range(8)], "alike": ""}
    answers = {**many, "gate": ["motor by two", ""], "sensor": "current", "diameter": ["100 mm", "80 mm"]}
    asked = _asked_about(**answers)
    # Six pairs of relays beside the relay of the collector; the seventh has no pins, and the eighth is like it.
    assert (asked.count("alike"), asked.count("gate")) == (6, 2)
    assert "\n  m 1:\n    gates: m 1 gate\n    port: 100 mm\n" in draft_text(_draft(**answers))
