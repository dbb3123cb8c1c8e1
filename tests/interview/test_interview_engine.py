"""The engine: what is asked, what is understood, what is taken back; the texts as people read them."""

import pytest

from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.drawing import draft_drawing
from gatekeeper.interview.engine import Interview, NotUnderstood
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.writing import draft_text

BEGUN = ("Shed", "inch", "60 Hz", "2 hp", "single", "6 in", "relay", "nothing yet", "nothing more", "inside", "both")
AT_A_DUCT = (*BEGUN, "length of duct", "smooth steel", "6 in")
AT_A_MACHINE = (*AT_A_DUCT, "8 ft", "machine")

SHED_FILE = """\
# From the questions of gatekeeper new, walking from the collector outward. What nobody knew is an
# estimate and said to be assumed: measure it and mend the line.
shop:
  name: Shed
  units: inch
  mains: 60 Hz
  air_goes: inside

motors:
  collector:
    power: 2 hp  # from the plate
    phases: single
    inlet: 6 in
    # The relay feeds the coil of the motor's contactor and drops when the board dies.
    switched_by: {pin: to be chosen, when_board_dies: drops}

ducts:
  main 1: {towards: collector, diameter: 6 in, length: 8 ft, fittings: [90 elbow]}
  bandsaw drop: {towards: main 1, diameter: 4 in, length: 7 ft, fittings: [45 wye], flex: 3 ft}
  # assumed: 10 ft of its length
  planer drop: {towards: main 1, diameter: 4 in, length: 10 ft, fittings: [45 wye], flex: 3 ft}

gates:
  bandsaw gate: {duct: bandsaw drop}
  planer gate: {duct: planer drop, servo: {pin: to be chosen}}

tools:
  # bandsaw: not wired yet, its gate is moved by whoever works there.
  planer:
    gates: planer gate
    needs: 450 cfm
    sensor: {current_switch: to be chosen}

page:
  listen: 0.0.0.0  # phones in your network may look and press Stop
"""


def _asked(*answers: str) -> Interview[ShopDraft]:
    interview = new_shop()
    for answer in answers:
        interview = interview.answered(answer)
    return interview


@pytest.mark.parametrize(
    ("before", "answer", "said"),
    [
        ((), "", "There is no default here; write an answer, or ? for what is meant."),
        ((), "Sh\x07ed", "This answer has a character that cannot be printed; write it again."),
        ((), "x" * 81, "This is too long for the name of a shop; at most 80 characters fit."),
        (("Shed",), "yards", '"yards" is not one of these. Write its number or its word.'),
        (
            ("Shed", "inch", ""),
            "unknown",
            "This has to be known. How often the motor may start follows from it. Write it as on the plate, such as "
            "2 hp.",
        ),
        (("Shed", "inch", ""), "2", '"2" has no unit; write it with W, kW or hp.'),
        (
            ("Shed", "inch", ""),
            "26 hp",
            "The published table of motor starts ends at 25 hp (18.6 kW). A larger motor is written into the file by "
            "hand, with starts_per_hour and rest from its maker.",
        ),
        (BEGUN[:5], "10 mm", '"10 mm" is out of range; it lies between 20 mm and 1 m.'),
        (AT_A_DUCT, "12", '"12" has no unit; write it with mm, cm, m, in or ft.'),
        (AT_A_DUCT, "3,5 m", '"3,5 m" has a comma; write the number with a point and no thousands mark.'),
        (
            (*AT_A_DUCT, "150 m", "length of duct"),
            "60 m",
            "With what is there already this duct is longer than 200 m; mend the length.",
        ),
        (
            (*AT_A_DUCT, "8 ft"),
            "length or elbow",
            '"length or elbow" is not one of these. Write its number or its word.',
        ),
        (
            AT_A_MACHINE,
            "bench grinder",
            'By its name ("grinder") this makes sparks, flame, ash or vapour, and wood dust burns. Give it a collector '
            "made for that, on ducts of its own, and leave it out here.",
        ),
        *(
            (
                AT_A_MACHINE,
                name,
                f'The shop has "{name}" already; give this machine a name of its own, such as {other}.',
            )
            for name, other in (("collector switch", "collector switch 2"), ("servo bank", "servo bank 3"))
        ),
        (AT_A_MACHINE, "none", '"none" means something else here; give the machine another name.'),
        (
            AT_A_MACHINE,
            "m" * 33,
            f'"{"m" * 33}" is too long: its gate is named after it. At most 32 characters fit.',
        ),
        (
            (*AT_A_MACHINE, "lathe", "", "", "", "current switch", "", "", "machine", "4 in"),
            "lathe",
            'The shop has "lathe" already; give this machine a name of its own, such as lathe 2.',
        ),
        (
            (*AT_A_MACHINE, "lathe", "", "", "", "current switch", "", "", "machine", "4 in"),
            "LATHE",
            'The shop has "LATHE" already; give this machine a name of its own, such as LATHE 2.',
        ),
    ],
)
def test_answers_that_are_not_understood_say_what_to_do(before: tuple[str, ...], answer: str, said: str) -> None:
    interview = _asked(*before)
    with pytest.raises(NotUnderstood) as refused:
        interview.answered(answer)
    assert str(refused.value) == said


def test_the_shed_becomes_the_file_that_a_person_would_write(shed: tuple[str, ...]) -> None:
    stand = _asked(*shed).stand()
    assert stand.question is None
    assert draft_text(stand.draft) == SHED_FILE
    assert draft_drawing(stand.draft) == [
        "collector",
        "`-- main 1: 6 in, 8 ft, 90 elbow",
        "    |-- bandsaw drop: 4 in, 7 ft, 45 wye, hose 3 ft, to bandsaw",
        "    `-- planer drop: 4 in, 10 ft, 45 wye, hose 3 ft, to planer",
    ]


def test_back_takes_exactly_the_last_answer_back(shed: tuple[str, ...]) -> None:
    interview = new_shop()
    assert interview.back() == interview
    for answer in shed:
        further = interview.answered(answer)
        assert further.back() == interview
        interview = further


def test_earlier_answers_are_taken_up_as_far_as_they_are_understood(shed: tuple[str, ...]) -> None:
    whole = _asked(*shed)
    assert new_shop().taken_up(whole.answers) == whole
    assert new_shop().taken_up((*whole.answers, "more")) == whole
    assert new_shop().taken_up((*whole.answers[:3], "no power", *whole.answers[4:])).answers == whole.answers[:3]


def test_figures_keep_the_person_s_own_units_and_several_lengths_are_one() -> None:
    draft = _asked(*AT_A_DUCT, "8 ft", "length", "1 m", "length", "unknown", "nothing more").stand().draft
    assert draft.ducts == []
    ending = ("machine", "lathe", "50 cm", '3"', "by hand", "clamp for 20 A", "", "600 m3/h", "", "", "")
    text = draft_text(_asked(*AT_A_DUCT, "8 ft", "length", "1 m", "length", "unknown", *ending).stand().draft)
    assert "  # assumed: 10 ft of its length\n" in text
    assert "  lathe drop: {towards: collector, diameter: 6 in, length: 21.28 ft, flex: 50 cm}\n" in text
    assert "    needs: 600 m3/h\n    port: 3 in\n" in text
    assert "  clamp board: {kind: MCP3208, bus: 0, chip_select: 0}\n" in text
    assert "    sensor: {converter: clamp board, channel: 0, range: 20 A}\n" in text


def test_where_nothing_is_seen_the_first_machine_gets_a_sensor() -> None:
    interview = _asked(*BEGUN, *("machine", "6 in", "lathe", *[""] * 5), *("machine", "6 in", "planer", *[""] * 4))
    question = interview.stand().question
    assert question is not None
    assert question.said == (
        "Nothing is seen yet, so nothing would start the collector. Which machine gets the first sensor?"
    )
    question = interview.answered("planer").stand().question
    assert question is not None
    assert (question.said, question.choices, question.default) == (
        "What tells that the planer runs?",
        ("current switch", "clamp", "clamp for 20 A", "clamp for 40 A"),
        "current switch",
    )
    text = draft_text(_asked(*interview.answers, "planer", "", "").stand().draft)
    assert "  # lathe: not wired yet, its gate is moved by whoever works there.\n  planer:\n" in text


def test_gates_too_small_for_the_inlet_ask_for_a_port_that_stays_open() -> None:
    interview = _asked(*BEGUN[:5], "10 in", *BEGUN[6:], "machine", "4 in", "lathe", "", "", "current", "", "", "")
    question = interview.stand().question
    assert question is not None
    assert (question.about, question.default) == ("relief port", "3 in")
    with pytest.raises(NotUnderstood) as refused:
        interview.answered("2 in")
    assert str(refused.value) == "That is too small; with these gates at least 3 in have to stay open."
    assert "    relief_port: 3 in\n" in draft_text(interview.answered("").stand().draft)
