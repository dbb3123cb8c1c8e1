"""From entries of a record to what was seen, with figures worked out by hand."""

from collections.abc import Iterable
from typing import Any

import pytest

from gatekeeper.commissioning.judging import (
    GateOf,
    MotorOf,
    first_start,
    move_of,
    reset_at,
    run_of,
    started_by_itself,
    stopped_after,
    told_off,
    tools_seen,
)
from gatekeeper.commissioning.travel import proposed_s, whole_s
from gatekeeper.control.messages import Entry

Line = tuple[float, int, str, str | None, Any]


def record(lines: Iterable[Line | tuple[float, int, str, str | None, Any, str, str]]) -> list[Entry]:
    entries = []
    for seq, (t_s, step, kind, subject, value, *more) in enumerate(lines, 1):
        rule, why = more if more else (None, None)
        entries.append(Entry(seq, step, t_s, "b", "r", kind, subject, value, None, rule, why))
    return entries


# ---------------------------------------------------------------- gates


def move(lines: list[Line], *, now_s: float = 100.0, dead_s: float = 0.0) -> Any:
    return move_of(record(lines), "g", "open", travel_s=2.0, dead_s=dead_s, now_s=now_s)


def test_a_move_is_timed_from_its_command_to_its_switch() -> None:
    found = move(
        [
            (9.0, 1, "gate_command", "other", "open"),
            (9.5, 2, "gate_command", "g", "shut"),  # not what was asked for
            (10.0, 3, "gate_command", "g", "open"),
            (11.7, 4, "switch", "g", "between"),
            (11.8, 5, "switch", "g", "open"),
            (11.8, 5, "gate_belief", "g", {"what": "open", "proof": "switch"}),
            (30.0, 6, "gate_command", "g", "shut"),
        ]
    )
    assert (found.begun_s, found.arrived_s, found.by_switch, found.misses) == (10.0, 11.8, True, 0)
    assert found.driven_s == pytest.approx(1.8)


def test_a_slow_gate_is_driven_in_attempts_and_a_shake_takes_back() -> None:
    found = move(
        [
            (10.0, 1, "gate_command", "g", "open"),
            (12.0, 2, "miss", "g", None),
            (12.0, 3, "gate_command", "g", "shut"),  # the shake of C10
            (13.0, 4, "gate_command", "g", "open"),
            (14.6, 5, "switch", "g", "open"),
        ]
    )
    assert (found.misses, found.arrived_s) == (1, 14.6)
    assert found.driven_s == pytest.approx(2.0 - 1.0 + 1.6)


def test_a_reversal_waits_for_its_dead_time_and_a_drive_ends_with_its_travel() -> None:
    lines: list[Line] = [
        (10.0, 1, "gate_command", "g", "open"),
        (12.0, 2, "miss", "g", None),
        (12.0, 3, "gate_command", "g", "shut"),
        (13.0, 4, "gate_command", "g", "open"),
    ]
    found = move(lines, dead_s=0.5, now_s=50.0)
    # 2 s open, half a second shut after the pause, then open again from 13.5 for the travel time.
    assert found.driven_s == pytest.approx(2.0 - 0.5 + 2.0)
    assert found.arrived_s is None


def test_a_gate_that_gives_up_or_is_halted_or_waits() -> None:
    assert move([(9.0, 1, "queued", "g", "open")]) is None
    gone: list[Line] = [
        (10.0, 1, "gate_command", "g", "open"),
        (12.0, 2, "miss", "g", None),
        (12.0, 2, "gate_belief", "g", {"what": "stuck", "proof": None}),
    ]
    assert move(gone).gave_up
    halted: list[Line] = [(10.0, 1, "gate_command", "g", "open"), (11.0, 2, "gate_command", "g", "halt")]
    assert (move(halted).halted, move(halted).driven_s) == (True, pytest.approx(1.0))


def test_time_is_the_proof_where_there_is_no_switch() -> None:
    lines: list[Line] = [
        (10.0, 1, "gate_command", "g", "open"),
        (12.0, 2, "gate_belief", "g", {"what": "open", "proof": "time"}),
    ]
    assert (move(lines).arrived_s, move(lines).by_switch) == (12.0, False)


def test_a_longer_travel_is_proposed_with_room_to_spare() -> None:
    assert proposed_s(2.0, arrived=True) == 2.3
    assert proposed_s(1.95, arrived=True) == 2.3
    assert proposed_s(3.75, arrived=False) == 5.7
    assert proposed_s(200.0, arrived=True) == 60.0
    assert whole_s(2.0, 0.8) == 2.5


# ---------------------------------------------------------------- machines and motors


def test_machines_are_named_in_the_order_in_which_they_were_seen() -> None:
    entries = record(
        [
            (1.0, 1, "tool", "planer", "running"),
            (1.1, 2, "tool", "saw", {"what": "running", "fresh": False}),
            (2.0, 3, "tool", "planer", "stopped"),
            (2.5, 4, "tool", "lathe", "stale"),
        ]
    )
    assert tools_seen(entries) == ("planer", "saw")
    assert (stopped_after(entries, "planer"), stopped_after(entries, "saw")) == (True, False)
    assert not stopped_after(record([(1.0, 1, "tool", "saw", "stopped")]), "saw")


def test_a_run_with_its_retry_latch_and_confirmations() -> None:
    entries = record(
        [
            (0.5, 1, "waiting", "fan", {"what": "waiting", "until_s": 2.0}, "C22", "fan waits: an inrush"),
            (2.0, 2, "motor_command", "fan", {"what": "on", "until_s": 7.0}),
            (2.4, 3, "motor_seen", "fan", "running"),
            (3.0, 4, "air", "fan", True),
            (7.0, 5, "motor_command", "fan", "off"),
            (7.6, 6, "motor_seen", "fan", "still"),
            (9.0, 7, "motor_command", "fan", "off"),
            (9.0, 7, "motor_command", "other", {"what": "on", "until_s": 7.0}),
        ]
    )
    run = run_of(entries, "fan")
    assert (run.ons, run.offs, run.seen_s, run.still_s, run.air_s) == ((2.0,), (7.0,), 2.4, 7.6, 3.0)
    assert (run.is_off, run.latched, run.overrun, run.waits) == (True, False, False, None)
    early = run_of(entries[:1], "fan")
    assert (early.waits, early.is_off) == (("fan waits: an inrush", 2.0), False)
    bad = record(
        [
            (2.0, 2, "motor_command", "fan", {"what": "on", "until_s": 7.0}),
            (4.0, 3, "motor_command", "fan", "off"),
            (4.0, 3, "state", "fan", {"what": "latched"}),
            (5.0, 4, "message", "fan", {"what": "raised", "code": "runs_when_off", "heap": "now"}),
        ]
    )
    assert (run_of(bad, "fan").latched, run_of(bad, "fan").overrun) == (True, True)


# ---------------------------------------------------------------- what stops everything


def test_told_off_means_every_motor_in_the_very_step() -> None:
    lines: list[Line] = [
        (1.0, 1, "motor_command", "fan", {"what": "on", "until_s": 6.0}),
        (5.0, 2, "emergency", "red", "open"),
        (5.0, 2, "motor_command", "fan", "off"),
        (5.0, 3, "motor_command", "vac", "off"),
    ]
    told = told_off(record(lines), "red", ("fan", "vac"))
    assert told is not None
    assert (told.at_s, told.missing, told.ran) == (5.0, ("vac",), ("fan",))
    assert told_off(record(lines), "other", ("fan",)) is None
    assert told_off(record([(5.0, 2, "emergency", "red", "made")]), "red", ("fan",)) is None


def test_a_stop_button_asks_motor_by_motor() -> None:
    lines: list[Line] = [
        (5.0, 2, "request", "fan", {"what": "stop", "who": "input", "for_s": None}),
        (5.0, 2, "motor_command", "fan", "off"),
        (5.0, 3, "request", "vac", {"what": "stop", "who": "input", "for_s": None}),
        (5.0, 3, "motor_command", "vac", "off"),
    ]
    told = told_off(record(lines), "stop", ("fan", "vac"), asks="stop")
    assert told is not None
    assert told.missing == ()
    page: list[Line] = [(5.0, 2, "request", "fan", {"what": "stop", "who": "page", "for_s": None})]
    assert told_off(record(page), "stop", ("fan",), asks="stop") is None


def test_reset_and_what_starts_after_it() -> None:
    refused: list[Any] = [
        (6.0, 3, "request", None, {"what": "reset", "who": "page", "for_s": None}),
        (6.0, 3, "refusal", None, "still_open"),
        (8.0, 4, "request", None, {"what": "reset", "who": "page", "for_s": None}),
        (9.0, 5, "motor_command", "fan", {"what": "on", "until_s": 14.0}),
    ]
    entries = record(refused)
    assert reset_at(entries, 0) == 8.0
    assert started_by_itself(entries, 8.0) == ("fan",)
    for cause in (
        (8.5, 5, "tool", "saw", "running"),
        (8.5, 5, "request", "fan", {"what": "run", "who": "page", "for_s": 5.0}),
    ):
        assert started_by_itself(record([*refused[:3], cause, refused[3]]), 8.0) == ()


# ---------------------------------------------------------------- first starts

GATE = GateOf("g", True, 2.0, was_open=False)
FAN = MotorOf("fan", 1.0, was_on=False)
GOOD: list[Any] = [
    (10.0, 5, "tool", "saw", "running"),
    (10.0, 5, "gate_command", "g", "open"),
    (10.0, 5, "waiting", "fan", {"what": "waiting", "until_s": None}, "C2", "fan waits: no open gate is proven yet"),
    (12.0, 6, "gate_belief", "g", {"what": "open", "proof": "time"}),
    (12.0, 7, "motor_command", "fan", {"what": "on", "until_s": 17.0}),
    (12.4, 8, "motor_seen", "fan", "running"),
]


def judged(lines: list[Any], gate: GateOf = GATE, fan: MotorOf = FAN) -> list[tuple[str, bool, bool]]:
    checks = first_start(record(lines), "saw", [gate], [fan])
    assert checks is not None
    return [(check.figure.value, check.is_kept, check.later) for check in checks]


def test_everything_in_time() -> None:
    assert judged(GOOD) == [
        ("0.000 s", True, False),
        ("2.000 s by its travel time, no switch", True, False),
        ("2.000 s", True, False),
        ("0.400 s", True, False),
    ]
    checks = first_start(record(GOOD), "saw", [GATE], [FAN])
    assert checks is not None
    assert checks[2].figure.against == "within 3.00 s: 1 s, once no open gate is proven yet"
    assert first_start(record(GOOD[1:]), "saw", [GATE], [FAN]) is None


def test_each_promise_that_is_broken_is_told_by_itself() -> None:
    told_later = [GOOD[0], (10.4, 6, "gate_command", "g", "open"), *GOOD[2:]]
    assert judged(told_later)[0] == ("0.400 s", False, False)
    proven_later = [*GOOD[:3], (13.0, 6, "gate_belief", "g", {"what": "open", "proof": "switch"}), *GOOD[4:]]
    assert judged(proven_later)[1] == ("3.000 s by its switch", False, False)
    on_later = [*GOOD[:4], (13.2, 7, "motor_command", "fan", {"what": "on", "until_s": 18.0}), *GOOD[5:]]
    assert judged(on_later)[2] == ("3.200 s", False, False)
    seen_later = [*GOOD[:5], (13.3, 8, "motor_seen", "fan", "running")]
    assert judged(seen_later)[3] == ("1.300 s", False, False)


def test_what_has_not_come_may_still_come() -> None:
    assert judged(GOOD[:2])[1:] == [("not proven", False, True), ("not told on", False, True)]
    assert judged(GOOD[:3])[2] == ("not told on: no open gate is proven yet", False, True)
    assert judged(GOOD[:5])[3] == ("not seen", False, True)


def test_a_wait_for_an_inrush_has_its_own_end() -> None:
    waits = [
        GOOD[0],
        (
            10.0,
            5,
            "waiting",
            "fan",
            {"what": "waiting", "until_s": 12.0},
            "C22",
            "fan waits: an inrush dies away first",
        ),
        (12.9, 7, "motor_command", "fan", {"what": "on", "until_s": 17.0}),
        (13.0, 8, "motor_seen", "fan", "running"),
    ]
    assert judged(waits, GateOf("g", True, 2.0, was_open=True)) == [
        ("open already", True, False), ("2.900 s", True, False), ("0.100 s", True, False)
    ]  # fmt: skip
    waits[2] = (13.2, 7, "motor_command", "fan", {"what": "on", "until_s": 17.0})
    assert judged(waits, GateOf("g", True, 2.0, was_open=True))[1] == ("3.200 s", False, False)


def test_hand_gates_queues_and_motors_that_run_already() -> None:
    assert judged(GOOD, GateOf("g", False, 0.0, was_open=False))[0] == ("moved by hand", True, False)
    queued = [GOOD[0], (10.0, 5, "queued", "g", "open"), (11.0, 6, "gate_command", "g", "open")]
    assert judged(queued)[0] == ("1.000 s", True, False)
    assert judged(GOOD, fan=MotorOf("fan", 1.0, was_on=True))[2] == ("on already", True, False)
    assert len(judged(GOOD, fan=MotorOf("fan", None, was_on=False))) == 3
