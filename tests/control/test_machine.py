"""The machine built from a table distrusts both the table and the library."""

from enum import StrEnum

import pytest

from gatekeeper.control.machine import NoRow, TableMachine
from gatekeeper.control.tables import Row


class Lamp(StrEnum):
    DARK = "dark"
    LIT = "lit"


PRESSED = Row("pressed", Lamp.DARK, Lamp.LIT)
LET_GO = Row("let_go", Lamp.LIT, Lamp.DARK)


class Model:
    state: Lamp


def lamp(*rows):
    return TableMachine("lamp", Lamp, rows or (PRESSED, LET_GO), Lamp.DARK)


def test_a_row_moves_the_model():
    machine, model = lamp(), Model()
    machine.add(model)
    assert model.state is Lamp.DARK
    machine.fire(model, "pressed")
    assert model.state is Lamp.LIT


def test_an_event_without_a_row_changes_nothing():
    machine, model = lamp(), Model()
    machine.add(model)
    with pytest.raises(NoRow, match=r"^lamp: no row for let_go in dark$"):
        machine.fire(model, "let_go")
    assert model.state is Lamp.DARK


def test_no_transition_is_made_by_itself():
    machine, model = lamp(), Model()
    machine.add(model)
    assert not hasattr(model, "to_LIT")
    assert not hasattr(model, "to_lit")


def test_two_rows_for_one_event_and_state_are_refused():
    with pytest.raises(ValueError, match=r"^lamp: two rows for pressed in dark$"):
        lamp(PRESSED, LET_GO, Row("pressed", Lamp.DARK, Lamp.DARK))


def test_a_state_that_is_never_reached_is_refused():
    with pytest.raises(ValueError, match=r"^lamp: never reached: lit$"):
        lamp(LET_GO)


def test_a_state_of_another_kind_is_refused():
    class Door(StrEnum):
        OPEN = "open door"

    with pytest.raises(ValueError, match="names a state that is not in Lamp"):
        lamp(PRESSED, Row("pressed", Lamp.LIT, Door.OPEN))


def test_a_model_that_already_has_an_event_s_name_is_refused():
    model = Model()
    model.pressed = None
    with pytest.raises(ValueError, match=r"^lamp: the model already has pressed$"):
        lamp().add(model)


def test_rows_are_counted_where_that_is_asked_for():
    from collections import Counter

    machine, model = lamp(), Model()
    machine.reached = Counter()
    machine.add(model)
    machine.fire(model, "pressed")
    assert machine.reached == {("pressed", Lamp.DARK): 1}


def test_the_diagram_shows_each_move_once():
    assert lamp().mermaid() == "stateDiagram-v2\n    [*] --> dark\n    dark --> lit: pressed\n    lit --> dark: let_go"
