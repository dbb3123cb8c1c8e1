"""A small walk of every state of two shops; the large one is ``tests/bench/walk.py``."""

import importlib.util
import sys
from pathlib import Path

import pytest

from gatekeeper.control.messages import Woke
from gatekeeper.control.supervisor import Supervisor

spec = importlib.util.spec_from_file_location("walk", Path(__file__).parents[1] / "bench" / "walk.py")
walk = importlib.util.module_from_spec(spec)
sys.modules["walk"] = walk
spec.loader.exec_module(walk)


@pytest.mark.slow
@pytest.mark.parametrize("shop", sorted(walk.ALPHABETS))
def test_no_step_breaks_an_invariant(shop):
    plan, alphabet = walk.ALPHABETS[shop]
    walked = walk.Walk(plan, alphabet, 1500)
    walked.run()
    assert walked.states >= 1500
    assert walked.transitions > walked.states
    print(f"{shop}: {walked.states} states, {walked.transitions} transitions, {len(walked.reached)} rows")


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


def test_every_row_of_the_tables_is_known_to_the_walk():
    core = Supervisor(walk.TWO)
    core.handle(Woke(), 0.0)
    assert walk.REASONS.keys() <= walk.all_rows(core)
