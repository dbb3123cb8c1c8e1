"""A neighbour that listens to the shop over a broker, and may ask for air or a stop where people let it.

It looks at the same finished view as the page, in a thread of its own, and asks through the same door. Commands are
taken only if the shop's file allows them and a person in the shop does at that instant (see ``broker_leave``); they
never release, reset or clear anything, and they are dropped beyond two a second.
"""

import threading
import time
from collections.abc import Callable
from typing import Protocol

from gatekeeper.service.broker_leave import BrokerLeave
from gatekeeper.service.face import Face
from gatekeeper.service.homie import HomieDevice, Wish

#: Without news the view is looked at this often, for the sign of life.
LOOK_S = 1.0
#: The control thread is silent when its last step is older than this; the page says the same.
SILENT_S = 3.0
#: Commands in a row, and how many a second in the long run. Ours.
COMMANDS_AT_ONCE, COMMANDS_PER_S = 6.0, 2.0


class Speaker(Protocol):
    """A broker, see ``gatekeeper.devices.mqtt_speaker``."""

    name: str

    @property
    def trouble(self) -> str | None: ...

    def start(self) -> None: ...

    def say(self, texts: dict[str, str]) -> None: ...

    def close(self) -> None: ...


class HomieNeighbour:
    """Keeps a broker up to date with the shop; has the form of a ``MeterLink``, so the service ends it with those.

    Args:
        device: the shop in the convention's words.
        face: the running controller.
        speaker_of: makes the broker's speaker, given what to do with words that come back.
        may_ask: whether somebody in the shop lets commands in now.
        leave: what gives that leave on the page; None where the shop's file lets no command in.
        clock: monotonic seconds.
    """

    def __init__(
        self,
        device: HomieDevice,
        face: Face,
        speaker_of: Callable[[Callable[[str, str], None]], Speaker],
        may_ask: Callable[[], bool],
        leave: BrokerLeave | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._device, self._face, self._may_ask, self._clock = device, face, may_ask, clock
        self.leave = leave
        self._ending = threading.Event()
        self._left, self._left_at_s = COMMANDS_AT_ONCE, clock()
        self._speaker = speaker_of(self.take)
        self.name = self._speaker.name
        #: Commands that were dropped: no leave, too many, or none of ours.
        self.dropped = 0
        self._thread = threading.Thread(target=self._run, name="neighbour", daemon=True)

    @property
    def trouble(self) -> str | None:
        """Why the broker hears nothing of us."""
        return self._speaker.trouble

    def start(self) -> None:
        """Begin; returns at once."""
        self._speaker.start()
        self._thread.start()

    def close(self) -> None:
        """End; returns soon, whatever the network does."""
        self._ending.set()
        self._speaker.close()

    def take(self, topic: str, word: str) -> None:
        """A word from the broker. In the speaker's own thread."""
        wish = self._device.wish(topic, word)
        if wish is None or not self._may_ask() or not (self._has_one_left() or self._stops_something(wish)):
            self.dropped += 1
            return
        self._face.request(wish.what, wish.subject, "broker", wish.for_s)

    def _stops_something(self, wish: Wish) -> bool:
        """A stop is one too many only where nothing runs."""
        motors = self._face.view().motors
        return wish.what == "stop" and any(motor.runs for motor in motors if motor.name == wish.subject)

    def _has_one_left(self) -> bool:
        now_s = self._clock()
        self._left = min(COMMANDS_AT_ONCE, self._left + (now_s - self._left_at_s) * COMMANDS_PER_S)
        self._left_at_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True

    def _run(self) -> None:
        version = -1
        while not self._ending.is_set():
            view, beat = self._face.view(), self._face.beat()
            version = view.version
            is_heard = beat.now_s - beat.step_s < SILENT_S
            self._speaker.say(self._device.texts(view, is_heard=is_heard, takes_commands=self._may_ask()))
            self._face.wait_for_change(version, LOOK_S)
