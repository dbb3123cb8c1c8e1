"""What a service manager is told: ready, alive, ending. One datagram each on a unix socket (the protocol of sd_notify).

Started by hand there is no such socket, and nothing is sent. The sign of life is given by the control thread itself,
after a whole step, and only while everything that the shop rests on is fresh: never by a timer, which would go on
ticking beside a dead controller.
"""

import logging
import os
import socket
from collections.abc import Callable, Mapping

#: A thread whose last sign of work is older than this is not alive, in seconds: many times its longest pause.
STALE_S = 3.0
#: Signs of life in one watchdog time.
SIGNS = 4

_LOG = logging.getLogger(__name__)


class ServiceManager:
    """The program that started us, as far as it listens. Telling it something never blocks and never fails.

    Args:
        environment: ``NOTIFY_SOCKET`` (a path, or ``@`` and an abstract name), ``WATCHDOG_USEC`` and ``WATCHDOG_PID``.
    """

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        micros, process = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", str(os.getpid()))
        is_ours = micros.isdigit() and int(micros) > 0 and process == str(os.getpid())
        #: How long it waits for a sign of life before it ends us, in seconds; None where it does not watch.
        self.watchdog_s: float | None = int(micros) / 1e6 if is_ours else None

    @property
    def is_listening(self) -> bool:
        """Whether there is anybody to tell."""
        return self._address[:1] in ("/", "@")

    def tell(self, *said: str) -> bool:
        """Send lines such as ``READY=1`` as one datagram; True when it was taken."""
        if not self.is_listening:
            return False
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as way:
                way.setblocking(False)
                way.sendto("\n".join(said).encode(), address)
        except OSError as fault:
            _LOG.warning("the service manager could not be told %s: %s", said[0], fault)
            return False
        return True

    def ending(self) -> None:
        """Say that the end has begun."""
        self.tell("STOPPING=1", "STATUS=Ending: motors are off.")


class Heartbeat:
    """Called by the control thread after each whole step: says ready once, then gives signs of life.

    Args:
        manager: who is told.
        marks: when each thread that the shop rests on last did its work, monotonic seconds by its name in words.
        now: monotonic time.
    """

    def __init__(
        self, manager: ServiceManager, marks: Callable[[], Mapping[str, float]], now: Callable[[], float]
    ) -> None:
        self._manager, self._marks, self._now = manager, marks, now
        self._period_s = None if manager.watchdog_s is None else manager.watchdog_s / SIGNS
        self._may_be_ready = self._is_ready = False
        self._next_s = now()
        self._silent: str | None = None

    def all_is_set_up(self) -> None:
        """From the next healthy step on the controller counts as ready. From any thread."""
        self._may_be_ready = True

    def beat(self) -> None:
        """One whole step is done. Only the control thread calls this."""
        if not self._may_be_ready or not self._manager.is_listening:
            return
        now_s = self._now()
        if self._is_ready and (self._period_s is None or now_s < self._next_s):
            return
        stale = [name for name, at_s in self._marks().items() if now_s - at_s > STALE_S]
        if stale:
            self._tell_silence(stale[0])
            return
        said = []
        if not self._is_ready or self._silent is not None:
            said.append("STATUS=The shop is under control.")
        if not self._is_ready:
            said.insert(0, "READY=1")
        if self._period_s is not None:
            said.insert(0, "WATCHDOG=1")
            self._next_s = now_s + self._period_s
        if not said or self._manager.tell(*said):
            self._is_ready, self._silent = True, None

    def _tell_silence(self, name: str) -> None:
        if name != self._silent:
            self._silent = name
            _LOG.error("%s gives no sign of life; the service manager is told nothing until it does", name)
            self._manager.tell(f"STATUS={name} gives no sign of life.")
