"""The threads that read the converters: one each, so that a slow bus never holds up a gate."""

import logging
import threading
import time
from collections.abc import Callable

from gatekeeper.control.messages import Event
from gatekeeper.devices.base import Block, ConverterBank, DeviceError
from gatekeeper.service.clock import Clock
from gatekeeper.service.hearing import Currents
from gatekeeper.service.wiring_sensors import SCANS

#: Pause after a read that failed.
AGAIN_S = 0.25
#: A read that takes longer hangs: many times a block of samples on the slowest bus.
HANGS_S = 2.0

_LOG = logging.getLogger(__name__)


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
        #: Its own thread hears what came, the control thread that nothing came.
        self._hearing = threading.Lock()
        self._thread = threading.Thread(target=self._run, name=f"sampling {name}", daemon=True)
        #: When the last block came, and the measured rate, for the page.
        self.read_s = clock.now()
        self.rate_hz = 0.0
        #: When the last look ended, whatever came of it, by the board's own clock: a bus hangs in real time, however
        #: fast a virtual shop's runs.
        self._back_s = time.monotonic()
        self.trouble: str | None = None
        #: Gets every block that was read, in this thread; must not block. For whoever calibrates.
        self.tap: Callable[[str, Block], None] | None = None
        #: The same for the gauges on it.
        self.gauges: Callable[[str, Block], None] | None = None

    def start(self) -> None:
        """Begin to read."""
        self._back_s = time.monotonic()
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
            with self._hearing:
                events = self._currents.hear(self.name, block)
        except (DeviceError, ValueError) as fault:
            # ValueError: the bus gave too few samples a mains cycle to tell a current from them.
            events = self._failed(str(fault))
        except Exception as fault:
            # A fault of the program or of a library: this thread must stay, and its sensors count as lost.
            if self.trouble is None:
                _LOG.exception("converter %s could not be read", self.name)
            events = self._failed(f"reading it failed in the program ({type(fault).__name__}).")
        else:
            self.trouble = None
            self.read_s = self._clock.now()
            self.rate_hz = block.rate_hz
            for taker in (self.tap, self.gauges):
                if taker is not None:
                    taker(self.name, block)
        for event in events:
            self._post(event)
        self._back_s = time.monotonic()

    def judge(self, now_s: float) -> None:
        """From the control thread: where the read hangs, or the thread is gone, its sensors are lost (C12)."""
        if time.monotonic() - self._back_s > HANGS_S and not self._ending.is_set():
            said = f"Converter {self.name}: its bus does not answer any more. Restart the board."
            if self.trouble != said:
                _LOG.error("%s", said)
            self.trouble = said
            for event in self._lost(now_s):
                self._post(event)

    def _failed(self, why: str) -> list[Event]:
        self.trouble = f"Converter {self.name}: {why}"
        events = self._lost(self._clock.now())
        self._ending.wait(AGAIN_S)
        return events

    def _lost(self, now_s: float) -> list[Event]:
        with self._hearing:
            return self._currents.lost(self.name, now_s)

    def _run(self) -> None:
        while not self._ending.is_set():
            self.step()
