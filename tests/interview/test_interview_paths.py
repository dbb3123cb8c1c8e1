"""Whatever is answered, the file that comes of it is a shop; a change of a shop touches its own parts only."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from interview_paths import walked

from gatekeeper.interview.adding import PartsDraft, add_machine, move_machine, retire_machine
from gatekeeper.interview.adding_motor import add_motor
from gatekeeper.interview.engine import Interview
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import draft_text
from gatekeeper.shop.choosing import choices_for, with_pins
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.lines import TO_BE_CHOSEN
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import Tree, read_tree
from gatekeeper.shop.rewrite import CannotRewrite

SHOPS = ("garage-one-collector", "long-narrow", "one-evening", "shared-twelve")
_SETTINGS = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@_SETTINGS
@given(data=st.data())
def test_every_order_of_answers_gives_a_file_without_faults(data: st.DataObject) -> None:
    interview = walked(new_shop(), data)
    draft = interview.stand().draft
    for as_wired in (False, True):
        text = draft_text(draft, as_wired=as_wired)
        shop = load_shop(text, "new.yaml")
        assert not isinstance(shop, Faults), shop.lines()
        assert set(shop.gates) == {machine.gate_name for machine in draft.machines}
        assert set(shop.motors) == {motor.name for motor in draft.standing()}
    room = draft.room
    fits = room.outputs >= 0 and room.lines >= 0
    assert fits or len(draft.motors) > 1, "nothing is offered that there is no pin for, but another motor"
    if fits:
        text = draft_text(draft)
        assert TO_BE_CHOSEN not in with_pins(text, "new.yaml", choices_for(text, "new.yaml"))
    assert new_shop().taken_up(interview.answers).answers == interview.answers


@settings(_SETTINGS, max_examples=20)
@given(name=st.sampled_from(SHOPS), add=st.sampled_from([add_machine, add_motor]), data=st.data())
def test_a_machine_or_motor_more_changes_only_its_own_parts(
    name: str, add: Callable[[Shop, str], Interview[PartsDraft]], data: st.DataObject
) -> None:
    text = example(name).read_text(encoding="utf-8")
    draft = walked(add(_shop(text), text), data).stand().draft
    for edits in (draft.edits, draft.studied):
        changed = with_parts(text, name, edits)
        lines = iter(changed.splitlines())
        assert all(line in lines for line in text.splitlines()), "every old line is there, in its order"
        before, after = _tree(text).plain(), _tree(changed).plain()
        for section, parts in before.items():
            assert {part: after[section][part] for part in parts} == parts


@_SETTINGS
@given(data=st.data(), name=st.sampled_from(SHOPS[:2]))
def test_a_machine_that_moves_changes_its_duct_only(data: st.DataObject, name: str) -> None:
    text = example(name).read_text(encoding="utf-8")
    shop = _shop(text)
    tool = data.draw(st.sampled_from([tool for tool in shop.tools if shop.tools[tool].gates != ("bench gate",)]))
    draft = walked(move_machine(shop, text, tool), data).stand().draft
    changed = with_parts(text, name, draft.edits)
    before, after = text.splitlines(), changed.splitlines()
    own = {shop.gates[gate].duct for gate in shop.tools[tool].gates}
    gone = [line for line in before if line not in after]
    assert len(gone) <= 1
    assert all(line.strip().split(":")[0] in own for line in gone)


@_SETTINGS
@given(data=st.data(), name=st.sampled_from(SHOPS))
def test_a_machine_that_leaves_takes_its_own_parts_along(data: st.DataObject, name: str) -> None:
    text = example(name).read_text(encoding="utf-8")
    shop = _shop(text)
    tool = data.draw(st.sampled_from(list(shop.tools)))
    draft = walked(retire_machine(shop, text, tool), data).stand().draft
    if name == "one-evening":
        with pytest.raises(CannotRewrite) as refused:
            with_parts(text, name, draft.edits)
        assert "this shop has no tools and no outlets" in str(refused.value)
        return
    changed = _shop(with_parts(text, name, draft.edits))
    assert set(shop.tools) - set(changed.tools) == {tool}
    assert set(shop.gates) - set(changed.gates) <= set(shop.tools[tool].gates)
    assert dict(changed.tools) == {other: shop.tools[other] for other in shop.tools if other != tool}


def _shop(text: str) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def _tree(text: str) -> Tree:
    tree = read_tree(text, "shop.yaml")
    assert not isinstance(tree, Faults)
    return tree
