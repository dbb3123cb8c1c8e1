"""Every pair of state and event of both tables: a row leads where the table says, no row changes nothing."""

import itertools

import pytest

from gatekeeper.control.machine import NoRow, TableMachine
from gatekeeper.control.tables import GATE_INITIAL, GATE_TABLE, MOTOR_INITIAL, MOTOR_TABLE, GateState, MotorState

GATE = TableMachine("gate", GateState, GATE_TABLE, GATE_INITIAL)
MOTOR = TableMachine("motor", MotorState, MOTOR_TABLE, MOTOR_INITIAL)
PAIRS = [(m, state, event) for m in (GATE, MOTOR) for state, event in itertools.product(m.states, m.events)]


class Model:
    pass


@pytest.mark.parametrize(
    ("machine", "state", "event"), PAIRS, ids=lambda part: getattr(part, "name", None) or str(part)
)
def test_each_pair(machine, state, event):
    model = Model()
    machine.add(model)
    model.state = state
    rows = [row for row in machine.table if (row.event, row.source) == (event, state)]
    if rows:
        assert machine.has(event, state)
        machine.fire(model, event)
        assert model.state is rows[0].target
    else:
        assert not machine.has(event, state)
        with pytest.raises(NoRow):
            machine.fire(model, event)
        assert model.state is state


def test_a_gate_is_believed_open_by_an_arrival_or_a_switch_only():
    into = {
        (row.event, row.source) for row in GATE_TABLE if row.target is GateState.OPEN and row.source is not row.target
    }
    assert into == {("arrived", GateState.OPENING)} | {
        ("saw_open", state) for state in (GateState.SHUT, GateState.OPENING, GateState.UNPROVEN)
    }


def test_only_a_release_leaves_stuck():
    assert [row.event for row in GATE_TABLE if row.source is GateState.STUCK and row.target is not row.source] == [
        "released"
    ]


def test_only_one_row_switches_a_motor_on():
    commanded_on = {MotorState.STARTING, MotorState.RUNNING, MotorState.SPIN_DOWN}
    into = [row for row in MOTOR_TABLE if row.target in commanded_on and row.source not in commanded_on]
    assert [(row.event, row.source) for row in into] == [("switched_on", MotorState.WAITING)]


def test_gate_diagram():
    assert GATE.mermaid().splitlines() == [
        "stateDiagram-v2",
        "    [*] --> unproven",
        "    shut --> opening: order_open",
        "    unproven --> opening: order_open",
        "    shutting --> opening: order_open",
        "    shaking --> opening: order_open",
        "    open --> shutting: order_shut",
        "    opening --> shutting: order_shut",
        "    unproven --> shutting: order_shut",
        "    unproven --> shaking: order_shake",
        "    opening --> unproven: halted, missed",
        "    shutting --> unproven: halted, missed",
        "    shaking --> unproven: halted, missed",
        "    opening --> open: arrived, saw_open",
        "    shutting --> shut: arrived, saw_shut",
        "    shut --> unproven: missed, saw_between",
        "    open --> unproven: missed, saw_between",
        "    unproven --> stuck: gave_up",
        "    shut --> open: saw_open",
        "    unproven --> open: saw_open",
        "    open --> shut: saw_shut",
        "    unproven --> shut: saw_shut",
        "    stuck --> unproven: released",
    ]


def test_motor_diagram_starts_at_rest_and_names_every_state():
    lines = MOTOR.mermaid().splitlines()
    assert lines[:3] == ["stateDiagram-v2", "    [*] --> at_rest", "    at_rest --> waiting: asked"]
    assert {line.split("-->")[1].split(":")[0].strip() for line in lines[1:]} == set(MotorState)
