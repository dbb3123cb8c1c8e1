"""Commissioning in the terminal: what is said, what a typed word does, and what the terminal itself makes of keys."""

import os
import pty
import sys
import termios
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
from commissioning_views import IDLE, JOG, LOOKING, OVER, READING, STAGES, FakeCommissioning
from fake_face import FakeBench

from gatekeeper.commissioning_terminal import HELP, TerminalWalk
from gatekeeper.service.face import Answer, Press
from gatekeeper.service.face_commissioning import CommissioningView, StepState
from gatekeeper.status_line import EndOfTyping, Terminal

#: Nothing is typed for one look.
WAIT = None


class Typed:
    """What a person types, line by line; a callable changes the shop in between."""

    def __init__(self, *typed: str | Callable[[], None] | None) -> None:
        self._typed = list(typed)
        self.said: list[str] = []
        self.status: list[str] = []

    def say(self, line: str) -> None:
        self.said.append(line)

    def read(self, status: str, wait_s: float) -> str | None:
        self.status.append(status)
        if not self._typed:
            raise EndOfTyping
        one = self._typed.pop(0)
        if callable(one):
            one()
            return None
        return one


def walked(
    tried: FakeCommissioning, *typed: str | Callable[[], None] | None, bench: FakeBench | None = None
) -> tuple[list[str], bool, Typed]:
    """What was said after the opening words, and what the walk came to."""
    screen = Typed(*typed)
    is_over = TerminalWalk(tried, screen, "Ada", lambda: 1000.0, bench).go()
    said = screen.said
    return said[said.index("") + 1 :], is_over, screen


def show(tried: FakeCommissioning, view: CommissioningView) -> Callable[[], None]:
    def put() -> None:
        tried.shown = view

    return put


def test_it_opens_with_the_cautions_the_help_and_the_next_step() -> None:
    screen = Typed()
    assert TerminalWalk(FakeCommissioning(), screen, "Ada", lambda: 0.0).go() is False
    assert screen.said == [
        "  - Two people: one at the machine, one at the red button.",
        "  - Mains wiring is looked at by a licensed electrician first.",
        "Enter begins the next step, a number does what is offered. ? explains, list shows every step, go 7",
        "takes step 7, leave it out leaves a step out and asks why, back puts it by, Ctrl-C stops and keeps",
        "what is done.",
        "",
        "3 of 6 steps are done; 1 did not do what it should.",
        "",
        "Stage 2 of 3: Gates",
        "  Each gate is moved by itself and timed. Nobody's hand is in a gate that moves.",
        "",
        "Next: Planer gate: jog it and time it (Enter begins it)",
        "",
    ]
    assert " ".join(screen.said[2:5]) == HELP


def test_enter_begins_the_next_step_and_its_words_come_once() -> None:
    tried = FakeCommissioning()
    said, is_over, screen = walked(tried, "", show(tried, LOOKING), WAIT, WAIT)
    assert tried.asked == [("gates/Planer gate", "begin", "Ada", {}, None)]
    assert said[6:] == [
        "",
        "Stage 1 of 3: Machines",
        "  The contactor stays in Hand today. Each machine is switched on once, and the page must name it and",
        "  no other.",
        "",
        "Planer: switch it on",
        "  - Lock the disconnect of Collector: it could start by the wrong input.",
        "  Switch Planer on now, and nothing else. Given up in 60 s.",
        "    seen: Clamp board, channel 2: 0.02 A",
        "    seen: Clamp board, channel 3: 0.01 A",
        "    seen: Button at the bench: open",
        "",
    ]
    assert screen.status[-1] == (
        "Clamp board, channel 2: 0.02 A, Clamp board, channel 3: 0.01 A, Button at the bench: open, 60 s left"
    )
    assert is_over is False


def test_what_moves_something_wants_a_yes() -> None:
    tried = FakeCommissioning(JOG)
    said, _, _ = walked(tried, "", "1", "no", "2", WAIT, " YES ")
    assert "Type a number, 1 to 2." in said
    assert said.count("  This moves Planer gate. Keep its slot free.") == 2
    assert "  Open Planer gate: type yes:" in said
    assert "Not done." in said
    assert tried.asked == [("gates/Planer gate", "shut", "Ada", {}, 4)]


def test_fields_are_asked_with_their_example_and_a_number_picks_from_a_list() -> None:
    tried = FakeCommissioning(READING)
    said, _, _ = walked(tried, "", "1", " 6.4  in ", "2")
    assert "Type 1." in said
    assert "  Suction at the inlet, in water (such as 6.2):" in said
    at = said.index("    1 inlet")
    assert said[at : at + 4] == ["    1 inlet", "    2 main", "  Where (Enter: inlet):", "suction/Collector: written."]
    assert tried.asked == [("suction/Collector", "written", "Ada", {"suction": "6.4 in", "tap": "main"}, 4)]
    walked(tried, "1", "6.4", "")
    assert tried.asked[-1][3] == {"suction": "6.4", "tap": "inlet"}


def test_leaving_out_asks_why_and_back_puts_it_by() -> None:
    tried = FakeCommissioning(LOOKING)
    said, _, _ = walked(tried, "Leave it  out", "no ladder", "back", "")
    assert "  Why it is left out (such as no ladder today):" in said
    assert tried.asked == [
        ("tools/Planer", "leave_out", "Ada", {"why": "no ladder"}, 4),
        ("tools/Planer", "put_by", "Ada", {}, 4),
    ]
    assert "What is seen ends this step by itself. ? explains." in said


def test_a_step_that_ended_by_itself_says_what_came_of_it() -> None:
    tried = FakeCommissioning(LOOKING)
    said, _, _ = walked(tried, WAIT, show(tried, IDLE), WAIT)
    assert "[x] Planer: switch it on: did what it should. Seen on channel 2. Ada, 2026-09-21 14:03." in said


def test_the_end_is_reached_when_nothing_is_due() -> None:
    tried = FakeCommissioning(OVER)
    said, is_over, _ = walked(tried)
    assert is_over is True
    assert said == ["All 6 steps are done."]


def test_the_list_has_every_step_with_a_number_that_go_takes() -> None:
    tried = FakeCommissioning()
    said, _, _ = walked(tried, "list", "go 3", "go 9", "go x")
    at = said.index("Machines")
    assert said[at : at + 10] == [
        "Machines",
        "  1 [x] Planer: switch it on",
        "  2 [!] Bandsaw: switch it on",
        "  3 [-] Lathe: switch it on",
        "Gates",
        "  4 [ ] Planer gate: jog it and time it",
        "  5 [~] Bandsaw gate: jog it and time it",
        "Suction",
        "  6 [ ] Collector",
        "3 of 6 steps are done; 1 did not do what it should.",
    ]
    assert tried.asked == [("tools/Lathe", "begin", "Ada", {}, None)]
    assert said.count("There are steps 1 to 6; list shows them.") == 2


def test_another_step_may_be_taken_while_one_is_in_hand_and_not_the_same_again() -> None:
    tried = FakeCommissioning(JOG)
    said, _, _ = walked(tried, "go 4", "go 1")
    assert "That step cannot be begun now." in said
    assert tried.asked == [("tools/Planer", "begin", "Ada", {}, None)]


def test_words_that_mean_nothing_are_told_what_would() -> None:
    said, _, _ = walked(FakeCommissioning(), "open sesame")
    assert "'open sesame' is not understood here. Enter begins the next step; ? explains." in said
    said, _, _ = walked(FakeCommissioning(JOG), "7", "sesame")
    assert "'7' is not understood here. Type a number, 1 to 2, or ? for help." in said
    assert "'sesame' is not understood here. Type a number, 1 to 2, or ? for help." in said


def test_a_question_mark_says_the_stage_the_step_and_the_words() -> None:
    said, _, _ = walked(FakeCommissioning(JOG), "?")
    assert said.count("  - Nobody's hand, sleeve or tool is in the slot.") == 2
    assert said.count("  Each gate is moved by itself and timed. Nobody's hand is in a gate that moves.") == 2


def test_a_step_that_moves_something_by_beginning_wants_a_yes_too() -> None:
    stage = STAGES[1]
    begins = replace(stage.steps[0].offers[0], how=Press.HOLD, caution="This moves Planer gate.")
    first = replace(stage.steps[0], offers=(begins,))
    view = replace(IDLE, stages=(STAGES[0], replace(stage, steps=(first, stage.steps[1])), STAGES[2]))
    tried = FakeCommissioning(view)
    said, _, _ = walked(tried, "", "no", "", "yes")
    assert said.count("  This moves Planer gate.") == 2
    assert tried.asked == [("gates/Planer gate", "begin", "Ada", {}, None)]


def test_the_bench_of_a_virtual_shop_is_worked_from_here() -> None:
    tried, bench = FakeCommissioning(LOOKING), FakeBench()
    said, _, _ = walked(tried, "b1", "bench", "b1", "b7", bench=bench)
    assert said.count("Type bench first; it numbers what can be done.") == 2
    assert "  b1 Planer (off): Switch on" in said
    assert "Planer is running." in said
    assert bench.runs is True
    assert not any("Board" in line or "plug" in line for line in said)
    said, _, _ = walked(FakeCommissioning(LOOKING), "bench all", bench=bench)
    assert "  b3 The board's plug (in): Pull the plug" in said
    said, _, _ = walked(FakeCommissioning(LOOKING), "bench")
    assert "There is no bench here: this shop is real. Switch the machine itself." in said


def test_a_refusal_of_the_engine_is_said() -> None:
    tried = FakeCommissioning()
    tried.refuses = Answer(False, "busy", "Another phone has a step in hand.")
    said, _, _ = walked(tried, "")
    assert "Another phone has a step in hand." in said


def test_a_controller_that_wakes_is_waited_for() -> None:
    tried = FakeCommissioning()
    tried.refuses = Answer(False, "waking", "The controller has just woken. Wait a moment.")

    def awake() -> None:
        tried.refuses = None

    said, _, screen = walked(tried, "", WAIT, awake)
    assert len(tried.asked) == 3
    assert screen.status[1:3] == ["The controller has just woken. Wait a moment."] * 2
    assert "The controller has just woken. Wait a moment." not in said


def test_ctrl_c_ends_the_walk_and_nothing_else() -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    tried = FakeCommissioning(replace(IDLE, due=0))
    _, is_over, _ = walked(tried, interrupt)
    assert is_over is True
    _, is_over, _ = walked(FakeCommissioning(JOG), "1", interrupt)
    assert is_over is False


def test_a_controller_that_ended_by_itself_ends_the_walk() -> None:
    screen = Typed(WAIT, WAIT)
    lives = iter((True, False))
    walk = TerminalWalk(FakeCommissioning(JOG), screen, "Ada", lambda: 0.0, None, lambda: next(lives))
    assert walk.go() is False
    assert screen.said[-1] == "The controller has ended by a fault. Every motor was switched off."
    assert len(screen.status) == 1


def test_every_state_has_its_own_mark() -> None:
    from gatekeeper.commissioning_terminal import MARKS

    assert set(MARKS) == set(StepState)
    assert len(set(MARKS.values())) == len(StepState)


# ---------------------------------------------------------------- keys


class Screen:
    """A terminal's own end to type into, and what is printed on it."""

    def __init__(self) -> None:
        self.keys, self.fd = pty.openpty()
        self.printed: list[str] = []

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return self.fd

    def write(self, text: str) -> int:
        self.printed.append(text)
        return len(text)

    def flush(self) -> None:
        return

    def close(self) -> None:
        os.close(self.keys)
        os.close(self.fd)


def test_keys_come_one_by_one_under_a_status_that_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    master, printed = screen.keys, screen.printed
    # In the test itself: between a fixture and its test the streams are put back.
    monkeypatch.setattr(sys, "stdin", screen)
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setenv("COLUMNS", "60")
    said: list[str] = []
    terminal = Terminal(said.append)
    before = termios.tcgetattr(sys.stdin.fileno())
    with terminal.open():
        os.write(master, b"li")
        assert terminal.read("Planer gate: shut", 0.05) is None
        assert printed[-1] == "\r\x1b[KPlaner gate: shut > li"
        os.write(master, "x\x7f\x1b[Ds\x1bOAt\u00e4\x7f\x1b[3~\x1b\r".encode())
        assert terminal.read("Planer gate: open", 30.0) == "list"
        assert said == ["> list"]
        os.write(master, b"a\nb\n")
        assert [terminal.read("", 30.0), terminal.read("", 30.0)] == ["a", "b"]
        long = "a status that is much longer than the screen is wide, so that it is cut"
        os.write(master, b"yes")
        assert terminal.read(long, 0.05) is None
        assert printed[-1] == f"\r\x1b[K{long[:53]} > yes"
        os.write(master, b"\x04")  # in the middle of a line it means nothing
        assert terminal.read("", 0.05) is None
        os.write(master, b"\r\x04")
        assert terminal.read("", 30.0) == "yes"
        with pytest.raises(EndOfTyping):
            terminal.read("", 30.0)
    assert termios.tcgetattr(sys.stdin.fileno())[3] == before[3]
    screen.close()


def test_through_a_pipe_lines_are_taken_one_by_one_and_no_status_is_drawn(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    reading, writing = os.pipe()

    class In:
        @staticmethod
        def fileno() -> int:
            return reading

    monkeypatch.setattr(sys, "stdin", In)
    terminal = Terminal(print)
    os.write(writing, b"one\n\ntwo")
    os.close(writing)
    with terminal.open():
        assert [terminal.read("seen", 30.0), terminal.read("seen", 30.0)] == ["one", ""]
        with pytest.raises(EndOfTyping):
            terminal.read("seen", 30.0)
    os.close(reading)
    assert capsys.readouterr().out == ""
