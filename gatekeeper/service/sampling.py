"""The threads that read the converters: one each, so that a slow bus never holds up a gate."""

import threading
from collections.abc import Callable

from gatekeeper.control.messages import Event
from gatekeeper.devices.base import Block, ConverterBank, DeviceError
from gatekeeper.service.clock import Clock
from gatekeeper.service.hearing import Currents
from gatekeeper.service.wiring_sensors import SCANS

#: Pause after a read that failed.
AGAIN_S = 0.25


class Sampler:
    """Reads one converter for ever and posts what its currents prove.

    Args:
        name: the converter's name.
        bank: its driver.
        currents: what the channels mean; each channel belongs to one sampler only.
        post: takes the events; must not block.
        clock: monotonic time.
        scans: samples of each channel in one read.
    """

    def __init__(
        self,
        name: str,
        bank: ConverterBank,
        currents: Currents,
        post: Callable[[Event], None],
        clock: Clock,
        scans: int = SCANS,
    ) -> None:
        self.name = name
        self._bank = bank
        self._currents = currents
        self._post = post
        self._clock = clock
        self._scans = scans
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"sampling {name}", daemon=True)
        #: When the last block came, and the measured rate, for the watchdog and the page.
        self.read_s = clock.now()
        self.rate_hz = 0.0
        #: When the last look ended, whatever came of it: a bus that fails is a lost sensor, one that hangs a dead thread.
        self.looked_s = self.read_s
        self.trouble: str | None = None
        #: Gets every block that was read, in this thread; must not block. For whoever calibrates.
        self.tap: Callable[[str, Block], None] | None = None

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self, timeout_s: float = 1.0) -> None:
        """End after the read that is under way."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def use(self, currents: Currents) -> None:
        """Hear with these from the next read on. From any thread."""
        self._currents = currents

    def step(self) -> None:
        """Read one block and post what it proves; a bus that fails becomes lost sensors, never an end."""
        try:
            block = self._bank.read(self._scans)
            events = self._currents.hear(self.name, block)
        except (DeviceError, ValueError) as fault:
            # ValueError: the bus gave too few samples a mains cycle to tell a current from them.
            self.trouble = f"Converter {self.name}: {fault}"
            events = self._currents.lost(self.name, self._clock.now())
            self._ending.wait(AGAIN_S)
        else:
            self.trouble = None
            self.read_s = self._clock.now()
            self.rate_hz = block.rate_hz
            tap = self.tap
            if tap is not None:
                tap(self.name, block)
        for event in events:
            self._post(event)
        self.looked_s = self._clock.now()

    def _run(self) -> None:
        while not self._ending.is_set():
            self.step()
