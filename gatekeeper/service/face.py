"""What the web may see of the running controller, and what it may ask: frozen views and protocols, no logic.

The controller hands out one immutable ``ShopView`` per change. Everything in it is finished: sentences are whole, the
offers are those that make sense now, and nothing has to be worked out from rules. Two things are left to whoever
draws it: units on the screen, and the time that passes. For the second, every instant that is named ``_s`` lies on
the controller's own monotonic clock, whose present value is ``ShopView.now_s``; every instant that is named
``_wall_s`` is seconds since 1970 by the wall clock and is for people only.

Nothing here imports devices, records or any web library.
"""

from concurrent.futures import Future
from typing import Protocol

from gatekeeper.control.messages import RequestWhat, Who
from gatekeeper.service.face_bench import Bench, BenchChoice, BenchControl
from gatekeeper.service.face_calibration import (
    CalibrationOffer,
    CalibrationPress,
    CalibrationStep,
    CalibrationView,
    CurrentPoint,
)
from gatekeeper.service.face_history import DayLine, DayNumber, DayView, Lane, LaneSpan
from gatekeeper.service.face_parts import Answer, Attention, Offer, OutOfService, Saying, SpinDown, Starts, StopView
from gatekeeper.service.face_shop import Beat, DuctView, GateView, MessageView, MotorView, ShopView, ToolView
from gatekeeper.service.face_words import GateWord, HandWord, Heap, Press, SensorWord, StopWord, Units

__all__ = [
    "Answer",
    "Attention",
    "Beat",
    "Bench",
    "BenchChoice",
    "BenchControl",
    "CalibrationOffer",
    "CalibrationPress",
    "CalibrationStep",
    "CalibrationView",
    "CurrentPoint",
    "DayLine",
    "DayNumber",
    "DayView",
    "DuctView",
    "Face",
    "GateView",
    "GateWord",
    "HandWord",
    "Heap",
    "Lane",
    "LaneSpan",
    "MessageView",
    "MotorView",
    "Offer",
    "OutOfService",
    "Press",
    "RequestWhat",
    "Saying",
    "SensorWord",
    "ShopView",
    "SpinDown",
    "Starts",
    "StopView",
    "StopWord",
    "ToolView",
    "Units",
    "Who",
]


class Face(Protocol):
    """The running controller as the web sees it. Every method may be called from any thread.

    ``view``, ``beat``, ``request``, ``set_spin_down`` and ``undo`` return at once; a ``Future`` is done when the
    core has answered and, where the answer promises something durable, when that is on the disk.
    """

    def view(self) -> ShopView:
        """The newest view; the same object until something changes."""
        ...

    def beat(self) -> Beat:
        """The control thread's last sign of life."""
        ...

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        """Block the calling thread until the view is newer than ``version``. False when ``timeout_s`` went by."""
        ...

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        """Ask the core. ``address``: where the asker sits, for the history and for "who stopped"."""
        ...

    def set_spin_down(
        self, subject: str, value_s: float | None, who: Who, address: str | None = None
    ) -> "Future[Answer]":
        """Change the spin-down delay of a motor or tool, at once. None takes a tool's own away again."""
        ...

    def undo(self, subject: str, who: Who, address: str | None = None) -> "Future[Answer]":
        """Bring back the spin-down delay of a motor or tool as it was before the last change.

        A finger that drags the scale makes many changes: those from one address less than ten seconds apart count
        as one, and ``SpinDown.previous_s`` is the value before the first of them.
        """
        ...

    def calibrate(self, machine: str, press: CalibrationPress, who: Who, address: str | None = None) -> Answer:
        """Walk through the calibration of a machine, one press at a time; ``ShopView.calibration`` shows where it is.

        One walk at a time. May write the shop's file: call it from a worker thread.
        """
        ...

    def history(self, day: str | None) -> DayView:
        """A day's record, today for None. Reads files: call it from a worker thread.

        Raises:
            LookupError: there is no record of that day.
        """
        ...
