"""Inside the emulated board: what its lines are driven to, what every driver of ours told the kernel, and contacts."""

import ctypes
import mmap
import os
import re
import time
from pathlib import Path

PINS = Path("/sys/kernel/debug/pinctrl")
TRACE = Path("/sys/kernel/tracing")
REGISTERS, SET, CLEAR = 0x3F200000, 0x1C, 0x28  # BCM2835 ARM peripherals, section 6.1, on a BCM2837
#: Functions of the kernel's own GPIO driver, and what of their arguments tells line and level.
PROBES = {
    "claim": "bcm2835_gpio_direction_output line=%x1:u32 level=%x2:s32",
    "set": "bcm2835_gpio_set line=%x1:u32 level=%x2:s32",
    "input": "bcm2835_gpio_direction_input line=%x1:u32",
    "free": "bcm2835_pmx_free line=%x1:u32",
}
LINES = 54  # of a BCM2837
_PIN = re.compile(r"^pin (\d+) \(gpio\d+\) .*?function (\S+) in (hi|lo)", re.MULTILINE)
_EVENT = re.compile(r" (claim|set|input|free): .*line=(\d+)(?: level=(-?\d+))?")


def truth() -> dict[int, str]:
    """What the kernel's pin controller says of each line: "high" or "low" while driven, else "let go"."""
    (file,) = PINS.glob("*.gpio-pinctrl-bcm2835/pins")
    said = file.read_text()
    found = _PIN.findall(said)
    if len(found) < LINES:
        raise RuntimeError(f"the pin controller speaks otherwise than known: {said[:400]}")
    levels = {"hi": "high", "lo": "low"}
    return {int(pin): levels[level] if function == "gpio_out" else "let go" for pin, function, level in found}


class Trace:
    """Every call of the kernel's GPIO driver, in order: nothing between two looks is missed."""

    def __init__(self) -> None:
        (TRACE / "kprobe_events").write_text("\n".join(f"p:gpio/{name} {what}" for name, what in PROBES.items()))
        (TRACE / "events/gpio/enable").write_text("1")

    def forget(self) -> None:
        """Begin anew."""
        (TRACE / "trace").write_text("")

    def calls(self) -> list[tuple[str, int, int]]:
        """What was called since, as (function, line, level)."""
        found = _EVENT.findall((TRACE / "trace").read_text())
        return [(name, int(line), int(level or 0)) for name, line, level in found]


class Contacts:
    """Closes and opens contacts on inputs.

    The emulator drives no inputs, but what it answers for an input is what was last written to the line's output
    latch. So a contact is "wired" by writing that latch past the kernel.
    """

    def __init__(self) -> None:
        file = os.open("/dev/mem", os.O_RDWR | os.O_SYNC)
        self._map = mmap.mmap(file, mmap.PAGESIZE, offset=REGISTERS)
        os.close(file)

    def put(self, pin: int, made: bool) -> None:
        """Contacts are pulled up: made is low."""
        ctypes.c_uint32.from_buffer(self._map, CLEAR if made else SET).value = 1 << pin


def until(true, otherwise: str, longest_s: float) -> None:  # type: ignore[no-untyped-def]
    """Wait; raises TimeoutError with ``otherwise``."""
    ends_s = time.monotonic() + longest_s
    while not true():
        if time.monotonic() > ends_s:
            raise TimeoutError(otherwise)
        time.sleep(0.05)
