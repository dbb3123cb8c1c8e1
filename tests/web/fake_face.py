"""A controller's face for tests: it keeps the face's rules, records what was asked, and has a clock that is set."""

import threading
import time
from concurrent.futures import Future
from dataclasses import replace

from gatekeeper.service.face import (
    Answer,
    Beat,
    BenchChoice,
    BenchControl,
    CalibrationPress,
    DayLine,
    DayNumber,
    DayView,
    Lane,
    LaneSpan,
    RequestWhat,
    ShopView,
    SpinDown,
    StopView,
    StopWord,
    Who,
)

PIN = "481516"
ORIGIN = "http://shop.local"
DAY = DayView(
    "2026-09-21",
    ("2026-09-22", "2026-09-21", "2026-09-20"),
    (
        Lane("Collector", (LaneSpan(9.2 * 3600, 9.6 * 3600, "ran"), LaneSpan(13 * 3600, 15.5 * 3600, "ran"))),
        Lane("Planer", (LaneSpan(9.2 * 3600, 9.55 * 3600, "ran"),)),
        Lane("Table saw", (LaneSpan(13 * 3600, 15.4 * 3600, "ran"),)),
    ),
    (DayNumber("Hours of the collector", "2.9 h"), DayNumber("Starts of the collector", "7")),
    (DayLine("09:12:04", "Planer started."), DayLine("09:12:05", "Planer gate opens for the planer.")),
)


class FakeFace:
    """Hands out one view; ``show`` replaces it and gives it the next version.

    ``mute``: requests are recorded and never answered. ``hung_at_s``: the control thread's last step stays there.
    """

    def __init__(self, view: ShopView, *, moving_clock: bool = False) -> None:
        self._changed = threading.Condition()
        self._view = view
        self._start_s = time.monotonic() if moving_clock else None
        self.mute = False
        self.confirms = True
        self.hung_at_s: float | None = None
        self.refuses: Answer | None = None
        self.asked: list[tuple[object, ...]] = []

    def now_s(self) -> float:
        if self._start_s is None:
            return self._view.now_s
        return 1000.0 + time.monotonic() - self._start_s

    def show(self, view: ShopView) -> None:
        with self._changed:
            now_s = view.now_s if self._start_s is None else self.now_s()
            self._view = replace(view, version=self._view.version + 1, now_s=now_s)
            self._changed.notify_all()

    def view(self) -> ShopView:
        return self._view

    def beat(self) -> Beat:
        now_s = self.now_s()
        return Beat(now_s, now_s if self.hung_at_s is None else self.hung_at_s)

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        with self._changed:
            return self._changed.wait_for(lambda: self._view.version > version, timeout_s)

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        self.asked.append((what, subject, who, for_s, text, address))
        if what == "stop" and not self.mute:
            self._stop(subject, address)
        return self._answer(Answer(True, "ok", f"{what} {subject or 'all'}: done."))

    def set_spin_down(
        self, subject: str, value_s: float | None, who: Who, address: str | None = None
    ) -> "Future[Answer]":
        self.asked.append(("spin_down", subject, value_s, who, address))
        if not self.mute and self.refuses is None:
            self._set(subject, value_s)
        return self._answer(Answer(True, "ok", f"{subject}: the delay is set."))

    def undo(self, subject: str, who: Who, address: str | None = None) -> "Future[Answer]":
        self.asked.append(("undo", subject, who, address))
        spin = self._spin(subject)
        if not spin.can_undo:
            return self._answer(Answer(False, "nothing", "There is nothing to undo."))
        self._set(subject, spin.previous_s, undoing=True)
        return self._answer(Answer(True, "ok", f"{subject}: the delay is as it was."))

    def calibrate(self, machine: str, press: CalibrationPress, who: Who, address: str | None = None) -> Answer:
        self.asked.append(("calibrate", machine, press, who, address))
        return self.refuses or Answer(True, "ok", f"{machine}: {press}.")

    def history(self, day: str | None) -> DayView:
        if day not in (None, *DAY.days):
            raise LookupError(day)
        return replace(DAY, day=day or DAY.days[0])

    # ------------------------------------------------------------ inside

    def _answer(self, answer: Answer) -> "Future[Answer]":
        future: Future[Answer] = Future()
        if not self.mute:
            future.set_result(self.refuses or answer)
        return future

    def _stop(self, subject: str | None, address: str | None) -> None:
        word = StopWord.STOPPING if self.confirms else StopWord.SENT
        stop = StopView(word, f"Stopped from the page by {address} at 14:03.")
        view = self._view
        motors = tuple(replace(m, stop=stop, stops_at_s=None) if subject in (None, m.name) else m for m in view.motors)
        self.show(replace(view, motors=motors))

    def _spin(self, subject: str) -> SpinDown:
        for things in (self._view.motors, self._view.tools):
            for thing in things:
                if thing.name == subject and thing.spin_down is not None:
                    return thing.spin_down
        raise KeyError(subject)

    def _set(self, subject: str, value_s: float | None, undoing: bool = False) -> None:
        view = self._view
        now_s = self.now_s()
        old = self._spin(subject)
        in_a_row = old.undo_until_s is not None and now_s < old.undo_until_s
        new = replace(
            old,
            value_s=value_s,
            previous_s=None if undoing else old.previous_s if in_a_row else old.value_s,
            can_undo=not undoing,
            undo_until_s=None if undoing else now_s + 10,
            changed_by="the page, from 192.168.1.23",
            changed_wall_s=view.wall_s,
        )
        motors = tuple(
            replace(
                m,
                spin_down=new,
                stops_at_s=None if m.stops_at_s is None else m.stops_at_s + (value_s or 0) - (old.value_s or 0),
            )
            if m.name == subject
            else m
            for m in view.motors
        )
        tools = tuple(replace(t, spin_down=new) if t.name == subject else t for t in view.tools)
        self.show(replace(view, motors=motors, tools=tools))


class FakeBench:
    """One virtual machine and one plug."""

    def __init__(self) -> None:
        self.runs = False

    def controls(self) -> tuple[BenchControl, ...]:
        to = BenchChoice("off", "Switch off") if self.runs else BenchChoice("on", "Switch on")
        return (
            BenchControl("tool:Planer", "Machines", "Planer", "running" if self.runs else "off", (to,)),
            BenchControl("gate:Bandsaw gate", "Gates", "Bandsaw gate", "free", (BenchChoice("jam", "Jam"),)),
            BenchControl("plug", "Board", "The board's plug", "in", (BenchChoice("pull", "Pull the plug"),)),
        )

    def work(self, key: str, to: str) -> Answer:
        if key != "tool:Planer" or to not in ("on", "off"):
            return Answer(False, "no_such_part", f"There is no {key} on the bench that can be {to}.")
        self.runs = to == "on"
        return Answer(True, "ok", f"Planer is {'running' if self.runs else 'off'}.")
