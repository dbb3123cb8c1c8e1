"""Starting the controller anew so that it runs by its file as it is now: asked for from the page, only at rest."""

import time
from collections.abc import Callable

from gatekeeper.service.face import CalibrationStep, GateWord, SensorWord, ShopView

_OFFERED_LATER = "Once everything stands still, starting anew is offered here."
#: Something may begin to move in the instant between the press and the end; so long rest is waited for again. Ours.
PATIENCE_S = 10.0
_OVER = (CalibrationStep.WRITTEN, CalibrationStep.REFUSED)


class TakeOver:
    """The wish to start anew, from the page's thread to the one that ends the controller.

    Args:
        view: what is so now.
        clock: monotonic seconds.
    """

    def __init__(self, view: Callable[[], ShopView], clock: Callable[[], float] = time.monotonic) -> None:
        self._view, self._clock = view, clock
        self._asked_s: float | None = None
        #: The controller ends for this and for nothing else.
        self.is_taken = False

    def stays(self) -> str | None:
        """Why it cannot be now, one sentence or two; None where nothing runs."""
        why = in_the_way(self._view())
        return None if why is None else f"{why} {_OFFERED_LATER}"

    def ask(self) -> None:
        """Somebody asks for it. From any thread."""
        self._asked_s = self._clock()

    def is_due(self) -> bool:
        """Whether the controller is to end now. A wish that something came in the way of for long is dropped."""
        asked_s = self._asked_s
        if asked_s is None:
            return False
        self.is_taken = self.stays() is None
        if self.is_taken or self._clock() - asked_s > PATIENCE_S:
            self._asked_s = None
        return self.is_taken


def in_the_way(view: ShopView) -> str | None:
    """What runs or moves, or may; None where everything stands still. One sentence."""
    for motor in view.motors:
        if motor.runs:
            return f"{_title(motor.name)} runs."
    for tool in view.tools:
        if tool.sensor is SensorWord.RUNNING:
            return f"{_title(tool.name)} runs."
        if tool.sensor is SensorWord.LOST:
            return f"The sensor of {tool.name} says nothing, so it may run."
    for gate in view.gates:
        if gate.word in (GateWord.OPENING, GateWord.SHUTTING):
            return f"{_title(gate.name)} moves."
    if view.calibration is not None and view.calibration.step not in _OVER:
        return f"{_title(view.calibration.machine)} is being calibrated."
    return None


def _title(name: str) -> str:
    return name[:1].upper() + name[1:]
