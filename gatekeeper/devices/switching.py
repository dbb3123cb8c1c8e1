"""Motor switches: a relay output for a contactor coil, on a lease, and the guardian that ends every lease in time."""

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence

from gatekeeper.devices.base import BoardDeath, Clock, DeviceError, Fate, MotorSwitch, ReportLapse
from gatekeeper.devices.pins import OutputLine, Pins

RELAY_FATE = Fate(
    at_power_up="The line is an input with the board's own pull until we claim it; with the outside resistor to "
    "ground the relay stays off.",
    when_process_dies="On Raspberry Pi OS the line keeps its level, so the motor may go on until the next start, the "
    "outputs-off program or strict_gpiod puts it off (not measured on a real board).",
    when_board_dies=BoardDeath.DROPS,
    in_words="When the board loses power the relay drops and the contactor opens at once.",
)


class LeasedSwitch(ABC):
    """What all motor switches share: the lease. A driver must override ``_power`` and ``_release``, may override
    ``_carry_on`` and ``_next_s``, and sets ``fate``. All of them are called with the lock held, but for the last "off"
    and ``_release`` at the end, when nobody switches any more.

    Args:
        name: the motor's name.
        longest_lease_s: a lease longer than this is refused, above 0; ours, so that "on" can never be a latch.
        on_lapse: called as ``on_lapse(now_s, name)`` after a lease ran out and the power was put off.
    """

    fate: Fate

    def __init__(self, name: str, *, longest_lease_s: float = 10.0, on_lapse: ReportLapse | None = None) -> None:
        self.name = name
        self._longest_lease_s = longest_lease_s
        self._on_lapse = on_lapse
        self._lock = threading.RLock()
        self._until_s: float | None = None
        self._closed = False

    def on(self, now_s: float, until_s: float) -> None:
        """Switch on until ``until_s``; a lease that still runs is replaced.

        Raises:
            DeviceError: the lease does not end in the future, is too long, or the switch is closed.
        """
        self._check_lease(now_s, until_s)
        with self._lock:
            self._check_open()
            self._until_s = until_s  # first, so that a write that fails half way is put off when the lease ends
            self._power(True, now_s)

    def renew(self, now_s: float, until_s: float) -> bool:
        """Lengthen a running lease; False, and nothing switched, when there is none or it has run out.

        Raises:
            DeviceError: as ``on``.
        """
        self._check_lease(now_s, until_s)
        with self._lock:
            self._check_open()
            if self._until_s is None or now_s >= self._until_s:
                return False
            self._until_s = until_s
            return True

    def off(self) -> None:
        """Switch off; always allowed, also when it is off or closed."""
        with self._lock:
            if not self._closed:
                self._power(False, None)
            self._until_s = None

    def is_on(self) -> bool:
        """What was told last, not what the motor does."""
        return self._until_s is not None

    def tick(self, now_s: float) -> bool:
        """Switch off when the lease has run out; True when this call did it."""
        with self._lock:
            if self._until_s is None or now_s < self._until_s:
                self._carry_on(now_s)
                return False
            self._power(False, now_s)
            self._until_s = None
        if self._on_lapse is not None:
            self._on_lapse(now_s, self.name)
        return True

    def next_deadline(self) -> float | None:
        """When the next ``tick`` is due, at the latest when the lease runs out, monotonic seconds; None when off."""
        with self._lock:
            ahead = [due for due in (self._until_s, self._next_s()) if due is not None]
            return min(ahead, default=None)

    def close(self) -> None:
        """Off for good; the line stays driven off as far as the library allows."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            self._until_s = None
        try:
            self._power(False, None)
        finally:
            self._release()

    @abstractmethod
    def _power(self, on: bool, now_s: float | None) -> None:
        """Switch; ``now_s`` is None where the caller was not told the time, which is for "off" only."""

    @abstractmethod
    def _release(self) -> None:
        """Give the lines back."""

    def _carry_on(self, now_s: float) -> None:  # noqa: B027  most switches have nothing to carry on
        """Whatever time brings while the lease is running, or after it."""

    def _next_s(self) -> float | None:
        """When ``_carry_on`` has something to do."""
        return None

    def _check_open(self) -> None:
        if self._closed:
            raise DeviceError(f"The switch of {self.name} is closed and cannot be switched on any more.")

    def _check_lease(self, now_s: float, until_s: float) -> None:
        lease_s = until_s - now_s
        if not 0.0 < lease_s <= self._longest_lease_s:  # written so that a lease that is no number is refused too
            raise DeviceError(
                f"The lease of {self.name} is {lease_s:g} s. It must be above 0 s and at most "
                f"{self._longest_lease_s:g} s: a motor's 'on' is renewed, never left on."
            )


class RelaySwitch(LeasedSwitch):
    """A relay that feeds a contactor's coil; the lease of ``MotorSwitch``.

    Wiring: GPIO 16, 17 or 22 to 27, a 10 kilo-ohm resistor from the line to ground, an active-high relay input, the
    relay's normally open contact in the coil circuit (24 V), after the hard-wired stop and the starter's overload.
    Never the motor itself through the relay. Mains wiring by a licensed electrician.

    Args:
        pins: the board's lines.
        name: the motor's name.
        pin: GPIO number.
        active_high: True when the high level switches the relay on.
        longest_lease_s: a lease longer than this is refused, above 0; ours, so that "on" can never be a latch.
        on_lapse: called as ``on_lapse(now_s, name)`` after a lease ran out and the relay was put off.

    Raises:
        DeviceError: the line cannot be claimed.
    """

    fate = RELAY_FATE

    def __init__(
        self,
        pins: Pins,
        name: str,
        pin: int,
        *,
        active_high: bool = True,
        longest_lease_s: float = 10.0,
        on_lapse: ReportLapse | None = None,
    ) -> None:
        super().__init__(name, longest_lease_s=longest_lease_s, on_lapse=on_lapse)
        self._pins = pins
        self._relay = pins.output(OutputLine(name, pin, active_high))

    def _power(self, on: bool, now_s: float | None) -> None:
        self._relay.on() if on else self._relay.off()

    def _release(self) -> None:
        self._pins.release(self._relay)


class LeaseGuard:
    """A thread of its own that ticks every motor switch, so that a dead control thread drops the relays.

    Args:
        switches: every leased switch of the shop.
        clock: monotonic seconds.
        period_s: longest time between two looks, above 0; the relay drops at most this long after its lease.
        real_s: real seconds for seconds of the clock, where that runs faster.
        on_fault: called as ``on_fault(name, error)`` when a switch could not be looked at; the others still are.
    """

    def __init__(
        self,
        switches: Sequence[MotorSwitch],
        clock: Clock,
        *,
        period_s: float = 0.1,
        real_s: Callable[[float], float] = lambda clock_s: clock_s,
        on_fault: Callable[[str, Exception], None] | None = None,
    ) -> None:
        self._switches = tuple(switches)
        self._clock = clock
        self._period_s = period_s
        self._real_s = real_s
        self._on_fault = on_fault
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="lease-guard", daemon=True)
        self._looked_s = clock()

    @property
    def looked_s(self) -> float:
        """When it last looked at every switch, monotonic seconds; the watchdog asks."""
        return self._looked_s

    def step(self) -> float:
        """Look at every switch once; returns how long to wait for the next look, in seconds."""
        now_s = self._clock()
        wait_s = self._period_s
        for switch in self._switches:
            try:
                switch.tick(now_s)
                deadline_s = switch.next_deadline()
            except Exception as fault:
                self._tell(switch.name, fault)
                continue
            if deadline_s is not None:
                wait_s = min(wait_s, max(0.0, deadline_s - now_s))
        self._looked_s = now_s
        return wait_s

    def start(self) -> None:
        """Start looking."""
        self._thread.start()

    def stop(self) -> None:
        """Stop looking, and switch every motor off: without the guardian no lease is worth anything."""
        self._ending.set()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join()
        for switch in self._switches:
            try:
                switch.off()
            except Exception as fault:
                self._tell(switch.name, fault)

    def is_alive(self) -> bool:
        """True while the thread looks."""
        return self._thread.is_alive()

    def _tell(self, name: str, fault: Exception) -> None:
        if self._on_fault is not None:
            self._on_fault(name, fault)

    def _run(self) -> None:
        while not self._ending.wait(self._real_s(self.step())):
            pass
