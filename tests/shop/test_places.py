"""The one reader of YAML: raw text, exact places, and nothing that YAML guesses."""

from gatekeeper.shop.faults import Fault, Faults, Mark
from gatekeeper.shop.places import DEEPEST, Leaf, Tree, read_through, read_tree


def tree_of(text: str) -> Tree:
    tree = read_tree(text, "a.yaml")
    assert isinstance(tree, Tree)
    return tree


def faults_of(text: str) -> tuple[Fault, ...]:
    faults = read_tree(text, "a.yaml")
    assert isinstance(faults, Faults)
    return faults.each


def test_values_stay_as_they_were_written() -> None:
    tree = tree_of("on: off\ntime: 1:30\nlist: [010, yes, ~, 1e400, '']\n")

    assert tree.plain() == {"on": "off", "time": "1:30", "list": ["010", "yes", "~", "1e400", ""]}


def test_every_key_and_value_knows_its_place() -> None:
    tree = tree_of("a: 1\nü b:\n  - x\n  - {y: z}\n")

    assert tree.mark_of(("a",)) == Mark(1, 4)
    assert tree.mark_of(("a",), key=True) == Mark(1, 1)
    assert tree.mark_of(("ü b", 1, "y")) == Mark(4, 9)
    assert tree.mark_of(("ü b", 1, "y"), key=True) == Mark(4, 6)


def test_a_place_that_is_not_there_is_that_of_the_key_above() -> None:
    tree = tree_of("a:\n  b:\n    c: 1\n")

    assert tree.mark_of(("a", "b", "missing")) == Mark(2, 3)
    assert tree.mark_of(("nowhere",)) == Mark(1, 1)
    assert tree.at(("a", "b", "c", "deeper")) is None


def test_leaves_follow_a_pattern_through_names_and_lists() -> None:
    tree = tree_of("gates:\n  one: {duct: main}\n  two: {duct: [a, b]}\n  three: {other: x}\n")

    assert list(tree.leaves("gates", "*", "duct")) == [
        (("gates", "one", "duct"), "main"),
        (("gates", "two", "duct", 0), "a"),
        (("gates", "two", "duct", 1), "b"),
    ]


def test_the_first_syntax_fault_is_said_to_hide_the_rest() -> None:
    assert faults_of("a: 1\n\tb: 2\nc: &x 1\n") == (
        Fault(
            Mark(2, 1),
            (),
            "a tab stands here; indent with spaces. "
            "Nothing after this place was checked: mend it first, then check again",
        ),
    )


def test_a_bell_character_has_a_place() -> None:
    (fault,) = faults_of("a: 1\nbc\x07: 2\n")

    assert fault.mark == Mark(2, 3)
    assert fault.said.startswith("an unprintable character stands here; take it out.")


def test_ten_thousand_brackets_do_no_harm() -> None:
    (fault,) = faults_of("a: " + "[" * 10_000 + "]" * 10_000)

    assert fault.said.startswith(f"this is nested more than {DEEPEST} deep; write it flatter.")
    assert fault.mark == Mark(1, 4 + DEEPEST - 1)


def test_a_huge_file_is_not_read() -> None:
    (fault,) = faults_of("a: " + "x" * 1_000_001)

    assert fault.said == "this file has 1000004 characters; at most 1000000 can be read"


def test_a_byte_order_mark_is_not_part_of_the_first_key() -> None:
    assert tree_of("\ufeffa: 1\n").plain() == {"a": "1"}


def test_a_tree_with_refused_parts_can_still_be_read_through() -> None:
    tree = read_through("a: &x 1\nb: *x\nc:\nd: 4\n", "a.yaml")

    assert isinstance(tree, Tree)
    assert [fault.mark for fault in tree.faults] == [Mark(1, 4), Mark(2, 4), Mark(3, 1)]
    assert tree.at(("d",)) == Leaf(Mark(4, 4), "4")
    assert tree.mark_of(("b",)) == tree.faults[1].mark
    assert tree.mark_of(("c",)) == tree.faults[2].mark


def test_a_fault_shows_its_line_with_a_caret_even_in_a_very_long_line() -> None:
    text = "a: [" + "x, " * 200 + "&y z]\n"
    faults = read_tree(text, "a.yaml")
    assert isinstance(faults, Faults)

    head, source, caret = faults.lines()

    assert head == "a.yaml:1:605: a > item 201: anchors (&y) are not read; take it out"
    assert source[caret.index("^")] == "&"
    assert len(source) < 125
