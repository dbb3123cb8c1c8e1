"""A small walk of every state of three shops; the large one is ``tests/bench/walk.py``."""

import importlib.util
import sys
from collections import Counter
from pathlib import Path

import pytest

from gatekeeper.control.messages import Woke
from gatekeeper.control.supervisor import Supervisor

spec = importlib.util.spec_from_file_location("walk", Path(__file__).parents[1] / "bench" / "walk.py")
walk = importlib.util.module_from_spec(spec)
sys.modules["walk"] = walk
spec.loader.exec_module(walk)


@pytest.mark.slow
def test_no_step_breaks_an_invariant_and_every_row_of_the_tables_is_reached():
    reached = Counter()
    for shop, (plan, alphabet) in walk.ALPHABETS.items():
        walked = walk.Walk(plan, alphabet, 1000, walk.LEADS[shop])
        walked.run()
        assert walked.states >= 1000
        assert walked.transitions > walked.states
        reached += walked.reached
        print(f"{shop}: {walked.states} states, {walked.transitions} transitions, {len(walked.reached)} rows")
    core = Supervisor(walk.TWO)
    core.handle(Woke(), 0.0)
    assert walk.all_rows(core) - reached.keys() == walk.REASONS.keys()


def test_states_that_differ_only_by_the_clock_are_the_same():
    keys = []
    for now_s in (100.0, 5000.0):
        core = Supervisor(walk.TWO, strict=True)
        core.handle(Woke(), now_s)
        core.handle(walk.InputSeen("red", "made"), now_s)
        core.handle(walk.ToolSeen("saw", "stopped"), now_s)
        core.handle(walk.ToolSeen("saw", "running"), now_s + 1.0)
        keys.append(walk.key_of(core, now_s + 1.0))
    assert keys[0] == keys[1]


def test_a_broken_step_is_told_with_its_path(monkeypatch):
    plan, alphabet = walk.ALPHABETS["two"]
    monkeypatch.setattr(walk.Walk, "_judge", lambda *_: (_ for _ in ()).throw(walk.Wrong("on purpose")))
    with pytest.raises(walk.Wrong, match=r"(?s)^Wrong: on purpose\n.*Woke\(\).*the checker says:"):
        walk.Walk(plan, alphabet, 10).run()


def test_a_lead_that_jumps_where_nothing_is_due_is_told():
    plan, alphabet = walk.ALPHABETS["two"]
    with pytest.raises(walk.Wrong, match=r"^a lead jumps where nothing is due\n"):
        walk.Walk(plan, alphabet, 10, ((walk.JUMP,) * 50,)).run()
