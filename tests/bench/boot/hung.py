"""Inside the emulated board: the program itself with one fault in its control thread, which comes once it is told."""

import time
from pathlib import Path

from gatekeeper.cli import main
from gatekeeper.service.loop import ControlLoop

STAND_STILL, FAIL = Path("/run/stand-still"), Path("/run/fail")
_step = ControlLoop.step


def step(self: ControlLoop) -> None:
    if FAIL.exists():
        raise RuntimeError("planted by the boot job")
    while STAND_STILL.exists():
        time.sleep(0.1)
    _step(self)


ControlLoop.step = step  # type: ignore[method-assign]
main()
