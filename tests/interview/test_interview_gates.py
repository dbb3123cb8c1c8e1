"""A gate that is there and gets something else to move it: its own part changes, and nothing else."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from interview_paths import told, walked

from gatekeeper.interview.adding import CannotAdd, PartsDraft
from gatekeeper.interview.changing_gate import change_gate
from gatekeeper.interview.commissioning import to_commission
from gatekeeper.interview.engine import Interview
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import with_moved_gate
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import Tree, read_tree

SHOPS = ("garage-one-collector", "long-narrow", "one-evening", "shared-twelve")


def _shop(text: str) -> Shop:
    shop = load_shop(text, "x")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def _changed(name: str, which: str, **answers: str) -> tuple[list[str], list[str]]:
    """The lines that are new and those that are gone."""
    text = example(name).read_text(encoding="utf-8")
    interview: Interview[PartsDraft] = told(change_gate(_shop(text), text, which), **answers)
    changed = with_parts(text, "x", interview.stand().draft.edits)
    before, after = text.splitlines(), changed.splitlines()
    return [line for line in after if line and line not in before], [line for line in before if line not in after]


@pytest.mark.parametrize(
    ("shop", "gate", "answers", "new"),
    [
        ("one-evening", "saw gate", {}, ["  saw gate: {diameter: 4 in, servo: {pin: to be chosen}}"]),
        (
            "long-narrow",
            "bandsaw gate",
            {"gate": "solenoid", "spring": "open"},
            ["  bandsaw gate: {duct: bandsaw drop, coil: {pin: to be chosen, holds: shut}, open_contact: GPIO25}"],
        ),
        (
            "one-evening",
            "saw gate",
            {"gate": "motor by an", "ends": "at the open", "travel": "5 s", "stall": "4 A"},
            [
                "  saw gate: {diameter: 4 in, bridge: {open: to be chosen, shut: to be chosen, stall_current: 4 A}, "
                "travel: 5 s, open_contact: to be chosen}"
            ],
        ),
        ("long-narrow", "bandsaw gate", {"gate": "by hand"}, ["  bandsaw gate: {duct: bandsaw drop}"]),
        (
            "garage-one-collector",
            "mitre gate",
            {"gate": "by hand, with"},
            ["  mitre gate: {duct: mitre drop, as_extra: no, open_contact: to be chosen}"],
        ),
        (
            "garage-one-collector",
            "mitre gate",
            {"gate": "servo"},
            [
                "  mitre gate: {duct: mitre drop, as_extra: no, servo: {bank: servo bank, channel: 0}}",
                "servo_banks:",
                "  # A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
                "  servo bank: {enable: to be chosen}",
            ],
        ),
    ],
)
def test_what_moves_a_gate_changes_and_the_rest_of_it_stays(
    shop: str, gate: str, answers: dict[str, str], new: list[str]
) -> None:
    added, gone = _changed(shop, gate, **answers)
    assert added == new
    assert len(gone) == 1
    assert gone[0].startswith(f"  {gate}: ")


def test_the_machine_is_named_and_enter_takes_a_servo() -> None:
    text = example("one-evening").read_text(encoding="utf-8")
    asked = [change_gate(_shop(text), text, gate).stand().question for gate in ("saw gate", "planer gate")]
    assert [(question.said, question.default) for question in asked if question is not None] == [
        ("What moves the gate of the table saw?", "servo"),
        ("What moves the gate of the planer?", "servo"),
    ]
    with pytest.raises(CannotAdd) as refused:
        change_gate(_shop(text), text, "lathe gate")
    assert str(refused.value) == '"lathe gate" is no gate of this shop.'


def test_the_comment_of_a_machine_that_waits_says_how_its_gate_moves_then() -> None:
    text = "  # planer (port: 3 in): not wired yet, its gate is moved by whoever works there.\n  saw:\n"
    assert with_moved_gate(text, "planer gate") == (
        "  # planer (port: 3 in): not wired yet, its gate opens from the page or at a button.\n  saw:\n"
    )
    assert with_moved_gate(text, "saw gate") == text


def test_the_first_automatic_gate_after_the_first_evening(tmp_path: Path) -> None:
    (tmp_path / "shed.yaml").write_bytes(example("one-evening").read_bytes())
    command = [sys.executable, "-m", "gatekeeper", "add", "shed.yaml", "--gate"]
    done = subprocess.run([*command, "saw gate"], input="\n\n\n", cwd=tmp_path, text=True, capture_output=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert (
        "  - saw gate: it moves by itself now: jog it to both ends, set them, time a whole move, and hang its sign.\n"
    ) in done.stdout
    assert "  saw gate: {diameter: 4 in, servo: {pin: GPIO12}}\n" in (tmp_path / "shed.yaml").read_text()
    wrong = subprocess.run([*command, "sow gate"], cwd=tmp_path, text=True, capture_output=True)
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr == (
        '"sow gate" is no gate of this shop; they are saw gate and planer gate; did you mean "saw gate"?\n'
    )


_FIRST = (
    "collector: from now on it only runs where the controller knows of an open gate; start it once with only its "
    "smallest gate open."
)
_AGAIN = (
    "collector: nothing tells it any more whether a gate is open, so open one before it runs; start it once with only "
    "its smallest gate open."
)
_BY_ITSELF = "saw gate: it moves by itself now: jog it to both ends, set them, time a whole move, and hang its sign."
_BY_HAND = (
    "saw gate: it is moved by hand now: disconnect its actuator, then move it to both ends; it must seal when shut."
)
_OTHERWISE = "saw gate: it is moved otherwise now: jog it to both ends, set them, and time a whole move."
_SWITCH = "saw gate: a switch tells that it is open: move it to both ends and see that the page follows."
_PLAIN, _SERVO = "{diameter: 4 in}", "{diameter: 4 in, servo: {pin: GPIO12}}"
_COIL = "{diameter: 4 in, coil: {pin: GPIO12, holds: shut}}"
_SEEN = "{diameter: 4 in, open_contact: GPIO25}"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (_PLAIN, _SERVO, [_FIRST, _BY_ITSELF]),
        (_SERVO, _PLAIN, [_AGAIN, _BY_HAND]),
        (_SERVO, _COIL, [_OTHERWISE]),
        (_PLAIN, _SEEN, [_FIRST, _SWITCH]),
    ],
)
def test_what_is_to_try_at_a_gate_says_what_became_of_it(before: str, after: str, said: list[str]) -> None:
    text = example("one-evening").read_text(encoding="utf-8")
    old, new = (_shop(text.replace(f"saw gate: {_PLAIN}", f"saw gate: {how}")) for how in (before, after))
    assert [line for line in to_commission(old, new, "shed") if not line.startswith("Nothing else")] == said


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(name=st.sampled_from(SHOPS), data=st.data())
def test_whatever_is_answered_only_that_gate_changes(name: str, data: st.DataObject) -> None:
    text = example(name).read_text(encoding="utf-8")
    shop = _shop(text)
    gate = data.draw(st.sampled_from(list(shop.gates)))
    draft = walked(change_gate(shop, text, gate), data).stand().draft
    changed = with_parts(text, name, draft.edits)
    after = _shop(changed)
    assert {other: after.gates[other] for other in shop.gates if other != gate} == {
        other: part for other, part in shop.gates.items() if other != gate
    }
    assert after.gates[gate].duct == shop.gates[gate].duct
    assert after.gates[gate].diameter_m == shop.gates[gate].diameter_m
    old, new = _tree(text).plain(), _tree(changed).plain()
    assert {section for section in new if new[section] != old.get(section)} <= {"gates", "servo_banks", "brokers"}


def _tree(text: str) -> Tree:
    tree = read_tree(text, "x")
    assert not isinstance(tree, Faults)
    return tree
