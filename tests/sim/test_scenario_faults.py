"""Wrong scenario files: every fault at once, each with its place and a sentence that says what to write."""

import pytest

from gatekeeper.shop import examples
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from sim.scenario import load_scenario

TOOLS = "it has table saw, jointer, planer, bandsaw, drum sander and mitre saw"


def faults(text: str, shop: str = "garage-one-collector", days: int | None = None) -> list[tuple[int, int, str, str]]:
    """Line, column, path and sentence of every fault."""
    loaded = load_shop(examples.example(shop).read_text(encoding="utf-8"), shop)
    assert not isinstance(loaded, Faults)
    found = load_scenario(text, "try.yaml", loaded, days=days)
    assert isinstance(found, Faults)
    return [(one.mark.line, one.mark.column, " > ".join(one.path), one.said) for one in found.each]


def in_happens(item: str, shop: str = "garage-one-collector") -> list[str]:
    text = f"scenario: {{name: A try, lasts: 2 min}}\nhappens:\n  - {item}\n"
    return [said for _, _, _, said in faults(text, shop)]


def in_expects(item: str) -> list[str]:
    text = f"scenario: {{name: A try}}\nhappens: [{{at: 1 s, starts: planer}}]\nexpects:\n  - {item}\n"
    return [said for _, _, _, said in faults(text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", [(1, 1, "", "this file is empty; write sections such as scenario:, happens:, expects:")]),
        (
            "scenario: {name: A try}\n",
            [(1, 1, "scenario", 'nothing happens here; write a list "happens", or a "pattern" of days')],
        ),
        (
            "scenario: {name: A try}\nhappens: {at: 1 s}\n",
            [(2, 10, "happens", "a list is due here; begin each item with a dash on its own line")],
        ),
        (
            "scenario: {name: A try}\nhappens: [planer]\n",
            [
                (
                    2,
                    11,
                    "happens > item 1",
                    "one value stands where keys are due; the keys are at, every, times, lasting, starts, stops, "
                    "breaks, mends, how, asks, about, through, sets, spin_down, input, pulls, to and controller",
                )
            ],
        ),
        (
            "scenario: {name: A try, begin: 8:00}\nhapens: []\nhappens: []\n",
            [
                (
                    1,
                    25,
                    "scenario",
                    '"begin" is not a key here; the keys are name, shop, begins and lasts; did you mean "begins"?',
                ),
                (
                    2,
                    1,
                    "",
                    '"hapens" is not a key here; the keys are scenario, happens, pattern and expects; '
                    'did you mean "happens"?',
                ),
            ],
        ),
        (
            "happens: [{at: 1 s, starts: planer}]\n",
            [(1, 1, "", 'the key "scenario" is missing here. What it is about')],
        ),
        (
            "scenario: {name: A try}\nhappens: [{at: 1 s, starts: &x planer}]\n",
            [(2, 29, "happens > item 1 > starts", "anchors (&x) are not read; take it out")],
        ),
    ],
)
def test_the_form_of_the_file(text: str, expected: list[tuple[int, int, str, str]]) -> None:
    assert faults(text) == expected


def test_every_fault_is_said_at_once_with_its_place() -> None:
    text = (
        "scenario: {name: A try}\n"
        "happens:\n"
        "  - {at: 10, starts: planner}\n"
        "  - {at: 1 s, stops: saw}\n"
        "expects:\n"
        "  - {motor: colector, must_be: running}\n"
    )
    assert faults(text) == [
        (
            3,
            10,
            "happens > item 1 > at",
            '"10" is no time; write a number and a unit, such as 12 s, 1 min 30 s, 8:05 or day 2 8:05',
        ),
        (
            3,
            22,
            "happens > item 1 > starts",
            f'"planner" is no tool of Back-wall garage; {TOOLS}; did you mean "planer"?',
        ),
        (
            4,
            22,
            "happens > item 2 > stops",
            f'"saw" is no tool of Back-wall garage; {TOOLS}; did you mean "bandsaw"?',
        ),
        (
            6,
            13,
            "expects > item 1 > motor",
            '"colector" is no motor of Back-wall garage; it has collector; did you mean "collector"?',
        ),
    ]


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (
            "{at: 5, starts: planer}",
            '"5" is no time; write a number and a unit, such as 12 s, 1 min 30 s, 8:05 or day 2 8:05',
        ),
        (
            "{at: 5 sec 3, starts: planer}",
            '"5 sec 3" is no time; write a number and a unit, such as 12 s, 1 min 30 s, 8:05 or day 2 8:05',
        ),
        ("{at: 5 m, starts: planer}", '"m" in "5 m" is not a unit of time here; use ms, s, min or h'),
        ("{at: 600000 min, starts: planer}", '"600000 min" is out of range; a play lasts 366 days at most'),
        ("{at: 7:59, starts: planer}", "this is before the play begins, at 8:00"),
        ("{at: 3 min, starts: planer}", "this is after the end of the play, which lasts 2 min"),
        (
            "{at: 1 s}",
            "this says when, but not what happens; add one of starts, stops, breaks, mends, asks, sets, input, pulls "
            "or controller",
        ),
        ("{at: 1 s, starts: planer, stops: planer}", '"starts" and "stops" stand in one item; write an item for each'),
        (
            "{at: 1 s, starts: planer, how: stuck gate}",
            '"how" goes with breaks and mends, not with starts; take it out',
        ),
        ("{at: 1 s, breaks: saw gate}", 'the key "how" is missing beside breaks; write such as how: stuck gate'),
        (
            "{at: 1 s, breaks: planer, how: stuck gate}",
            '"stuck gate" is a fault of a gate, and planer is none; name a gate',
        ),
        (
            "{at: 1 s, breaks: saw gate, how: dead position switch}",
            "saw gate has no position switch that could break",
        ),
        (
            "{at: 1 s, mends: saw gate}",
            "nothing that this scenario breaks on saw gate could be mended; say first what breaks",
        ),
        ("{at: 1 s, asks: run}", 'the key "about" is missing beside asks: run; name a motor'),
        ("{at: 1 s, asks: reset, about: collector}", '"reset" is asked of the whole shop; take "about" out'),
        (
            "{at: 1 s, asks: release, about: saw gate, lasting: 3 s}",
            '"release" is not asked for a time; only open, air here, run or sweep are',
        ),
        (
            "{at: 1 s, asks: run, about: planer}",
            '"planer" is no motor of Back-wall garage; it has collector',
        ),
        ("{at: 1 s, sets: collector}", 'the key "spin_down" is missing beside sets; write such as spin_down: 20 s'),
        ("{at: 1 s, sets: collector, spin_down: 31 min}", '"31 min" is out of range; it lies between 0 s and 30 min'),
        (
            "{at: 1 s, input: stop mushroom, to: open}",
            '"open" is no place of stop mushroom (red button); write pressed or pulled out',
        ),
        (
            "{at: 1 s, input: saw air button, to: pressed, lasting: 1 s}",
            "saw air button is pressed for a moment only; take this out",
        ),
        ("{at: 1 s, pulls: saw gate, to: pressed}", 'a gate is pulled open or shut, not "pressed"'),
        (
            "{at: 1 s, controller: stands still}",
            'the key "lasting" is missing beside controller: stands still; write such as lasting: 3 s',
        ),
        ("{at: 1 s, starts: planer, every: 3 s}", '"every" needs "times" beside it, such as every: 30 s, times: 20'),
        (
            "{at: 1 s, starts: planer, lasting: 2 s, every: 30 s, times: 9}",
            "the last of them is at 4 min 1 s, after the end of the play, which lasts 2 min",
        ),
        (
            "{at: 1 s, starts: planer, lasting: 5 s, every: 3 s, times: 9}",
            "each lasts 5 s and begins again after 3 s; make lasting shorter than every",
        ),
    ],
)
def test_what_happens(item: str, said: str) -> None:
    assert in_happens(item) == [said]


def test_what_is_not_undone_by_itself() -> None:
    items = "{at: 1 s, controller: power cut}\n  - {at: 3 s, controller: power back, lasting: 3 s}"
    assert in_happens(items) == ['"power back" is not undone by itself; take this out']


def test_the_controller_begins_and_ends_in_turn() -> None:
    text = """scenario: {name: A try}
happens:
  - {at: 1 s, controller: started}
  - {at: 2 s, controller: power cut, lasting: 10 s}
  - {at: 3 s, controller: killed}
  - {at: 4 s, controller: plug out}
  - {at: 5 s, controller: started}
  - {at: 20 s, controller: power back}
  - {at: 30 s, controller: ended}
  - {at: 40 s, controller: stands still, lasting: 3 s}
"""
    assert [(line, said) for line, _, _, said in faults(text)] == [
        (3, "at 1 s the controller runs already; mend the times"),
        (5, "at 3 s the controller does not run; mend the times"),
        (6, "at 4 s the controller has no power already; mend the times"),
        (7, "at 5 s the controller has no power; mend the times"),
        (8, "at 20 s the controller has its power; mend the times"),
        (10, "at 40 s the controller does not run; mend the times"),
    ]


def test_what_a_shop_has_not_cannot_break() -> None:
    assert in_happens("{at: 1 s, breaks: air cleaner, how: dead motor sensor}", "shared-twelve") == [
        "air cleaner has no sensor that could break; nothing confirms that it runs"
    ]
    assert in_happens("{at: 1 s, breaks: shaker, how: dead air switch}", "shared-twelve") == [
        "shaker has no pressure or flow switch that could break"
    ]


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (
            "{by: 8 s}",
            "this does not say what must be so; add one of gate, motor, tool, message, no_message, figure or "
            "motor_starts_apart",
        ),
        ("{gate: saw gate, by: 8 s}", 'one of "must_be" and "never" is due here, such as must_be: open'),
        (
            "{gate: saw gate, must_be: opened}",
            '"opened" is not one of open, shut, running, off, still or collected; did you mean "open"?',
        ),
        ("{gate: saw gate, must_be: running}", 'a gate is never called "running" here; write open or shut'),
        ("{gate: saw gate, never: open, by: 8 s}", '"never" goes with since and until, not with by; take it out'),
        (
            "{gate: saw gate, must_be: open, by: 8 s, until: 9 s}",
            '"by" and "until" stand in one item; write one of them',
        ),
        (
            "{gate: saw gate, must_be: open, at: 8 s, since: 2 s}",
            '"at" and "since" stand in one item; write one of them',
        ),
        (
            "{gate: saw gate, must_be: open, since: 9 s, until: 8 s}",
            "this is not after 9 s, where it begins; put them in order",
        ),
        ("{gate: saw gate, must_be: open, since: 9 s, by: 8 s}", "this is before since (9 s); put them in order"),
        (
            "{figure: gate moves, by: 8 s, at_most: 3}",
            '"by" goes with gate, motor, tool and message, not with figure; take it out',
        ),
        ("{figure: gate moves}", "the limit is missing beside figure; write at_most or at_least"),
        ("{figure: gate moves, at_most: 30 g}", '"30 g" does not fit gate moves; write a plain number'),
        ("{figure: chips left, at_most: 30}", '"30" does not fit chips left; write it with g, kg, oz or lb'),
        ("{figure: late air, at_most: 30 g}", '"30 g" is no time; write it with ms, s, min or h'),
        (
            "{figure: energy, at_most: lots}",
            '"lots" is no limit; write a number, with its unit where it has one, such as 30 or 200 g',
        ),
        ("{figure: gate moves, of: saw gate, at_most: 3}", '"gate moves" is a figure of the whole shop; take this out'),
        ("{figure: cuts, at_least: 5, at_most: 3}", "this is more than at_most; put them in order"),
    ],
)
def test_what_is_expected(item: str, said: str) -> None:
    assert in_expects(item) == [said]


def test_a_message_that_there_is_not() -> None:
    (said,) = in_expects("{message: gate stick}")
    assert said.startswith('"gate stick" is no message; they are fire, sparks, emergency, not collected, no air, ')
    assert said.endswith('; did you mean "gate stuck"?')


def test_a_pattern() -> None:
    text = (
        "scenario: {name: A try}\n"
        "pattern:\n"
        "  open: 8:00 to 12:00\n"
        "  breaks: 12:30 to 13:00\n"
        "  closed: [Sonday]\n"
        "  tools:\n"
        "    plane: {jobs: 1, cuts: 2 to 3, cut: 5 s to 3 s, pause: 9 s}\n"
    )
    assert faults(text) == [
        (4, 11, "pattern > breaks", "break 1 does not lie inside of the working hours, 8:00 to 12:00"),
        (
            5,
            11,
            "pattern > closed",
            '"Sonday" is not one of Monday, Tuesday, Wednesday, Thursday, Friday, Saturday or Sunday; '
            'did you mean "Sunday"?',
        ),
        (
            7,
            5,
            "pattern > tools > plane",
            f'"plane" is no tool of Back-wall garage; {TOOLS}; did you mean "planer"?',
        ),
        (
            7,
            41,
            "pattern > tools > plane > cut",
            '"5 s to 3 s" is out of range; times lie between 200 ms and 4 h, the smaller one first',
        ),
    ]


def test_breaks_that_overlap_and_a_week_without_work() -> None:
    text = "scenario: {name: A try}\npattern: {breaks: [9:00 to 10:00, 9:30 to 11:00], people: 0}\n"
    assert [said for _, _, _, said in faults(text)] == [
        "two of these breaks overlap; write them one after the other",
        '"0" is not a whole number from 1 to 24',
    ]
    week = "[Monday, Tuesday, Wednesday, Thursday, Friday, Saturday, Sunday]"
    (found,) = faults(f"scenario: {{name: A try}}\npattern: {{closed: {week}}}\n")
    assert found[3] == "every day of the week is closed; leave one on which people work"
