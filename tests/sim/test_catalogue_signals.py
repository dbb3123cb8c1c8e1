"""Every fault that is tried on signals is put in, played, and held to its written outcome and to the rules."""

from collections.abc import Sequence
from typing import Any

import pytest
from catalogue_stories import FROM_S, STORIES, Trial, happenings_of, stage, tried

from gatekeeper.control.alarms import FAULTS
from sim.catalogue import BY_NAME, on
from sim.catalogue_row import Layer
from sim.checker import check_record
from sim.happening import What

ROWS = [row.name for row in on(Layer.SIGNALS)]


def test_every_row_has_its_story() -> None:
    assert list(STORIES) == ROWS


@pytest.mark.parametrize("name", ROWS)
def test_the_subject_of_a_story_is_one_that_the_row_names(name: str) -> None:
    story = STORIES[name]
    assert story.subject in BY_NAME[name].subjects(stage(story.shop).shop)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", ROWS)
def test_the_written_outcome_holds(name: str, seed: int) -> None:
    trial, entries = tried(name, seed)
    holds = BY_NAME[name].holds
    assert holds is not None
    assert holds(trial) is None
    assert not [entry for entry in entries if entry.kind in ("dropped", "fault")]
    stands_still = any(one.what is What.STANDS_STILL for one in happenings_of(name, seed))
    said = [entry.as_json() for entry in entries if not entry.kind.startswith("truth_")]
    assert check_record(said, punctual=not stands_still) == []


def spoilt(entries: Sequence[Any]) -> list[list[Any]]:
    """The record as a worse controller might have written it, each in one way."""
    last = {"seq": 10**6, "step": 10**6, "boot": "", "run": "", "cause": None, "rule": None, "why": None}
    gates = {entry["subject"]: 0 for entry in entries if entry["kind"] == "gate_belief"}
    motors = {entry["subject"]: 0 for entry in entries if entry["kind"] == "state"}
    after = max(FROM_S, *(entry["t_s"] for entry in entries if entry["kind"] == "wake")) + 4.0

    def late(kind: str, subject: str, value: Any, t_s: float = after) -> Any:
        return last | {"t_s": t_s, "kind": kind, "subject": subject, "value": value}

    def with_more(*more: Any) -> list[Any]:
        return sorted([*entries, *more], key=lambda entry: entry["t_s"])

    def without(*kinds: str) -> list[Any]:
        return [entry for entry in entries if entry["kind"] not in kinds or entry["t_s"] < FROM_S]

    alarms = [
        late("message", subject, {"what": "raised", "code": code, "heap": "now"}, FROM_S + 1.0)
        for code in FAULTS
        for subject in (*gates, *motors)
    ]
    moves = [late("gate_command", gate, "shut") for gate in gates]
    never_open = [
        entry
        for entry in entries
        if not (entry["kind"] == "gate_belief" and entry["t_s"] >= FROM_S and entry["value"]["what"] == "open")
    ]
    return [
        never_open,
        without("message"),
        without("motor_command"),
        without("gate_command", "gate_belief"),
        with_more(*(late("motor_command", motor, {"what": "on", "until_s": 0.0}) for motor in motors)),
        with_more(*moves, *(late("gate_command", gate, "open") for gate in gates)),
        with_more(*(late("sign", tool, "ready") for tool in ("saw", "planer", "lathe"))),
        with_more(*alarms),
        with_more(
            *(
                late("motor_command", motor, {"what": "on", "until_s": 0.0}, FROM_S + k)
                for motor in motors
                for k in range(9)
            )
        ),
    ]


@pytest.mark.parametrize("name", ROWS)
def test_a_worse_controller_would_be_blamed(name: str) -> None:
    trial, _ = tried(name)
    holds = BY_NAME[name].holds
    assert holds is not None
    complaints = [holds(Trial(trial.subject, trial.from_s, trial.until_s, worse)) for worse in spoilt(trial.entries)]
    assert any(complaint is not None for complaint in complaints)


def test_without_its_fault_the_outcome_does_not_come_about() -> None:
    """A sentence that holds on a day without the fault says nothing of it; these say what must never be, and only that.

    The others also look for the fault's own mark in the record or in the truth.
    """
    quiet = set()
    for name in ROWS:
        holds = BY_NAME[name].holds
        assert holds is not None
        if holds(tried(name, with_fault=False)[0]) is None:
            quiet.add(name)
    assert quiet == {
        "air switch stuck on",
        "blocked filter that nothing watches",
        "clock step",
        "full bin",
        "open clean-out",
        "silent contactor that nothing watches",
        "stuck gate that nothing watches",
    }
