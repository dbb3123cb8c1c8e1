"""The two state tables of the core, as data.

Theory of operation
-------------------
A table row is (event, from, to). Events are facts that have already happened to one gate or motor: a command was
sent, time ran out, a switch spoke. The tables decide nothing: the supervisor looks at the whole shop, the guard has
the last word, and only what really left for the wires is told to a table. So a table can never be ahead of the
wires, and a state always says what may be *believed*, not what is wished.

A gate is believed open only in OPEN. UNPROVEN is the honest answer for everything else that does not move: after
waking, after a halt in mid-travel, after a missed move, after a hand touched it. STUCK is UNPROVEN after the last
retry: nothing moves it until a person releases it. A gate that is held keeps its state; the hold stands beside it.

A motor is commanded on in STARTING, RUNNING and SPIN_DOWN and in no other state. WAITING means that a cause stands and
a rule still forbids the start. COASTING is told off, with air still moving. BLOCKED is a person's or a circuit's
word (emergency, fire, out of service, door, switch at Off), BY_HAND the switch at Hand. LATCHED waits for a person.

An event without a row for the state it meets is an error of ours: ``NoRow`` in a test, a recorded fault in the shop.
The diagrams in DEVELOPERS.md are drawn from these tables and a test holds them equal.
"""

from enum import StrEnum
from typing import NamedTuple


class GateState(StrEnum):
    """What is believed of one gate."""

    SHUT = "shut"
    OPENING = "opening"
    OPEN = "open"
    SHUTTING = "shutting"
    UNPROVEN = "unproven"
    SHAKING = "shaking"
    STUCK = "stuck"


class MotorState(StrEnum):
    """What one motor is doing on our word."""

    AT_REST = "at_rest"
    WAITING = "waiting"
    STARTING = "starting"
    RUNNING = "running"
    SPIN_DOWN = "spin_down"
    COASTING = "coasting"
    LATCHED = "latched"
    BY_HAND = "by_hand"
    BLOCKED = "blocked"


class Row(NamedTuple):
    """One transition."""

    event: str
    source: StrEnum
    target: StrEnum


def _rows(event: str, **moves: StrEnum) -> tuple[Row, ...]:
    states = type(next(iter(moves.values())))
    return tuple(Row(event, states[source], target) for source, target in moves.items())


_G = GateState
GATE_TABLE: tuple[Row, ...] = (
    *_rows(
        "order_open",
        SHUT=_G.OPENING,
        UNPROVEN=_G.OPENING,
        SHUTTING=_G.OPENING,
        SHAKING=_G.OPENING,
    ),
    *_rows("order_shut", OPEN=_G.SHUTTING, OPENING=_G.SHUTTING, UNPROVEN=_G.SHUTTING),
    # The back-and-forth of C10: a short move towards shut, from a gate that did not open.
    *_rows("order_shake", UNPROVEN=_G.SHAKING),
    *_rows(
        "halted",
        SHUT=_G.SHUT,
        OPENING=_G.UNPROVEN,
        OPEN=_G.OPEN,
        SHUTTING=_G.UNPROVEN,
        UNPROVEN=_G.UNPROVEN,
        SHAKING=_G.UNPROVEN,
        STUCK=_G.STUCK,
    ),
    *_rows("arrived", OPENING=_G.OPEN, SHUTTING=_G.SHUT),
    *_rows(
        "missed",
        SHUT=_G.UNPROVEN,
        OPENING=_G.UNPROVEN,
        OPEN=_G.UNPROVEN,
        SHUTTING=_G.UNPROVEN,
        UNPROVEN=_G.UNPROVEN,
        SHAKING=_G.UNPROVEN,
        STUCK=_G.STUCK,
    ),
    *_rows("gave_up", UNPROVEN=_G.STUCK),
    # A switch that still says "open" while the gate begins to shut is only telling where it comes from.
    *_rows(
        "saw_open",
        SHUT=_G.OPEN,
        OPENING=_G.OPEN,
        OPEN=_G.OPEN,
        SHUTTING=_G.SHUTTING,
        UNPROVEN=_G.OPEN,
        SHAKING=_G.SHAKING,
        STUCK=_G.STUCK,
    ),
    *_rows(
        "saw_shut",
        SHUT=_G.SHUT,
        OPENING=_G.OPENING,
        OPEN=_G.SHUT,
        SHUTTING=_G.SHUT,
        UNPROVEN=_G.SHUT,
        SHAKING=_G.SHAKING,
        STUCK=_G.STUCK,
    ),
    *_rows(
        "saw_between",
        SHUT=_G.UNPROVEN,
        OPENING=_G.OPENING,
        OPEN=_G.UNPROVEN,
        SHUTTING=_G.SHUTTING,
        UNPROVEN=_G.UNPROVEN,
        SHAKING=_G.SHAKING,
        STUCK=_G.STUCK,
    ),
    *_rows("released", STUCK=_G.UNPROVEN),
)

_M = MotorState
MOTOR_TABLE: tuple[Row, ...] = (
    *_rows("asked", AT_REST=_M.WAITING, COASTING=_M.WAITING),
    *_rows("unasked", WAITING=_M.AT_REST),
    *_rows("switched_on", WAITING=_M.STARTING),
    *_rows("proved", STARTING=_M.RUNNING),
    *_rows("emptied", STARTING=_M.SPIN_DOWN, RUNNING=_M.SPIN_DOWN),
    *_rows("wanted", SPIN_DOWN=_M.RUNNING),
    *_rows("switched_off", STARTING=_M.COASTING, RUNNING=_M.COASTING, SPIN_DOWN=_M.COASTING),
    *_rows("stilled", COASTING=_M.AT_REST),
    *_rows("latched", COASTING=_M.LATCHED, WAITING=_M.LATCHED, AT_REST=_M.LATCHED),
    *_rows("cleared", LATCHED=_M.AT_REST),
    *_rows(
        "blocked",
        AT_REST=_M.BLOCKED,
        WAITING=_M.BLOCKED,
        COASTING=_M.BLOCKED,
        LATCHED=_M.BLOCKED,
    ),
    *_rows("unblocked", BLOCKED=_M.AT_REST),
    *_rows(
        "hand_taken",
        AT_REST=_M.BY_HAND,
        WAITING=_M.BY_HAND,
        COASTING=_M.BY_HAND,
        LATCHED=_M.BY_HAND,
        BLOCKED=_M.BY_HAND,
    ),
    *_rows("hand_left", BY_HAND=_M.COASTING),
)

#: Asked for each gate several times a step; a name is found ten times as fast as an enum's member.
STUCK = GateState.STUCK
OPEN = GateState.OPEN

#: Where the two machines begin: every gate is unproven and every motor at rest when the process wakes.
GATE_INITIAL = GateState.UNPROVEN
MOTOR_INITIAL = MotorState.AT_REST
