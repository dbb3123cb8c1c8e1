"""Was a stop seen to work? Watches every stop in mid-run until the motor's own sensor says that it stands.

Only a stop that did not come by the spin-down counts: somebody pressed Stop, or a circuit opened. ``take`` runs in the
control thread and does next to nothing; ``found`` hands over what was seen.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from gatekeeper.control.snapshot import CoreView


@dataclass(frozen=True, slots=True)
class StopSeen:
    """One stop in mid-run.

    Args:
        motor: which.
        took_s: from the command to "still"; None where the core says that it runs although it was told off.
        allowed_s: the time that the shop file and the sensor allow.
    """

    motor: str
    took_s: float | None
    allowed_s: float


class StopProof:
    """Follows every motor that has a sensor of its own.

    Args:
        allowed_s: by motor with a sensor, how long it may take until it is seen still.
    """

    def __init__(self, allowed_s: Mapping[str, float]) -> None:
        self._allowed_s = dict(allowed_s)
        self._was: dict[str, tuple[bool, str]] = {}
        self._off_s: dict[str, float] = {}
        self._found: deque[StopSeen] = deque(maxlen=64)

    def take(self, view: CoreView) -> None:
        """A new view of the core; in the control thread."""
        for motor in view.motors:
            allowed_s = self._allowed_s.get(motor.name)
            if allowed_s is None:
                continue
            was_on, was_state = self._was.get(motor.name, (False, ""))
            self._was[motor.name] = motor.on, motor.state
            if motor.on:
                self._off_s.pop(motor.name, None)
            elif was_on and was_state == "running":
                self._off_s[motor.name] = view.now_s
            off_s = self._off_s.get(motor.name)
            if off_s is None:
                continue
            took_s = view.now_s - off_s
            if motor.seen == "still" and took_s <= allowed_s:
                self._end(StopSeen(motor.name, took_s, allowed_s))
            elif motor.overrun:
                self._end(StopSeen(motor.name, None, allowed_s))
            elif took_s > allowed_s and motor.seen != "running":
                # Its sensor was lost meanwhile, or spoke late: nothing was proved, and nothing was found wrong.
                del self._off_s[motor.name]

    def _end(self, seen: StopSeen) -> None:
        del self._off_s[seen.motor]
        self._found.append(seen)

    def found(self) -> list[StopSeen]:
        """What was seen since the last call; from one other thread."""
        seen = []
        while self._found:
            seen.append(self._found.popleft())
        return seen
