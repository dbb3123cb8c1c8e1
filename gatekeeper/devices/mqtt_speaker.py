"""What a neighbour hears of us over an MQTT broker: texts that the broker keeps, and words that come back.

Nobody waits for the broker. ``say`` puts a text into a table, the newest for each topic, and returns; a thread of its
own publishes what changed, with quality of service 1, at most a few at a time. So a broker that is frozen, slow or gone
costs one table and nothing else. After each connection everything is said anew, in order, between two words of state:
``init`` and ``ready``; the broker itself says ``lost`` when it hears nothing of us (its last will).

What comes back is put on a short queue and handed on in a thread of its own. A message that the broker kept is dropped:
it is an old wish, and would be granted after every reboot. Nothing here is encrypted.
"""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from gatekeeper.devices.base import Clock, DeviceError

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

KEEPALIVE_S = 10
FIRST_AGAIN_S, LAST_AGAIN_S = 1, 30
#: Texts on their way at once; the others wait in the table, where the newest replaces the older.
ON_THE_WAY = 16
#: Words from the broker that wait to be heard; more are dropped, for nobody speaks so fast.
MOST_WAITING = 32
LONGEST_WORD = 64
#: How often the end of a flood's minute is looked for.
LOOK_S = 1.0
#: More words than this within a second are a flood: none is heard for a minute, so that hearing costs nothing. Ours.
FLOOD_WORDS, DEAF_S = 100, 60.0
#: How long ``close`` may wait for the last word of state, and for the thread.
CLOSE_S = 0.3

#: Topic and payload of a word from the broker.
Hear = Callable[[str, str], None]


def needs_library() -> None:
    """See that the MQTT library is there.

    Raises:
        DeviceError: it is not.
    """
    try:
        import paho.mqtt.client  # noqa: F401
    except ImportError as fault:
        raise DeviceError("The MQTT library is not installed. Run: pip install 'gatekeeper[mqtt]'") from fault


class MqttSpeaker:
    """One neighbour's broker.

    Args:
        name: for people.
        host, port: the broker.
        state_topic: where the words of state go.
        heard: topics whose words are taken; none for a neighbour that only listens.
        hear: called with them, in a thread of its own.
        user, password: as the broker wants them.
        clock: monotonic seconds.

    Raises:
        DeviceError: the library is not installed.
    """

    def __init__(
        self,
        name: str,
        host: str,
        port: int,
        *,
        state_topic: str,
        heard: Sequence[str] = (),
        hear: Hear = lambda topic, word: None,
        user: str | None = None,
        password: str | None = None,
        clock: Clock = time.monotonic,
    ) -> None:
        self._clock = clock
        self.name = name
        self._place = f"{host}:{port}"
        self._state_topic = state_topic
        self._heard, self._hear = frozenset(heard), hear
        self._trouble: str | None = f"The broker {name} at {self._place} is not reached yet."
        self._bell = threading.Condition()
        self._texts: dict[str, str] = {}
        self._unsaid: dict[str, None] = {}
        self._words: deque[tuple[str, str]] = deque(maxlen=MOST_WAITING)
        self._on_the_way = 0
        self._counted, self._counted_since_s = 0, 0.0
        self._deaf_until_s: float | None = None
        self._connected = self._anew = self._is_ready = self._closed = False
        self._client = self._made(user, password)
        self._client.connect_async(host, port, KEEPALIVE_S)
        self._threads = [
            threading.Thread(target=self._network, name=f"neighbour {name}", daemon=True),
            threading.Thread(target=self._speak, name=f"speaking to {name}", daemon=True),
            threading.Thread(target=self._listen, name=f"hearing {name}", daemon=True),
        ]

    @property
    def trouble(self) -> str | None:
        """A sentence while the broker cannot be reached; else None."""
        return self._trouble

    def start(self) -> None:
        """Begin; returns at once."""
        for thread in self._threads:
            thread.start()

    def say(self, texts: Mapping[str, str]) -> None:
        """These topics have these texts from now on; an empty text takes one away. Returns at once."""
        with self._bell:
            for topic, text in texts.items():
                if self._texts.get(topic) != text:
                    self._texts[topic] = text
                    self._unsaid[topic] = None
            self._bell.notify_all()

    def close(self) -> None:
        """Say that we go, then go; returns soon, whatever the network does."""
        with self._bell:
            self._closed = True
            was_connected = self._connected
            self._bell.notify_all()
        if was_connected:
            said = self._client.publish(self._state_topic, "disconnected", qos=1, retain=True)
            # Where it went in the same moment, its last will speaks for us.
            with contextlib.suppress(RuntimeError, ValueError):
                said.wait_for_publish(CLOSE_S)
        self._client.disconnect()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(CLOSE_S / 3)

    # ---------------------------------------------------------------- our threads

    def _network(self) -> None:
        while not self._closed:
            try:
                self._client.loop_forever(retry_first_connection=True)
            except OSError as fault:
                self._lose(f"The broker {self.name} at {self._place} cannot be reached: {fault}.")
            with self._bell:
                self._bell.wait_for(lambda: self._closed, FIRST_AGAIN_S)

    def _speak(self) -> None:
        while True:
            with self._bell:
                self._bell.wait_for(self._has_something)
                if self._closed:
                    return
                batch: list[tuple[str, str]] = []
                if self._anew:
                    # Everything once more, between two words of state: the broker may have lost it all.
                    self._anew = False
                    self._unsaid = dict.fromkeys(self._texts)
                    batch.append((self._state_topic, "init"))
                room = max(1, ON_THE_WAY - self._on_the_way)
                for topic in list(self._unsaid)[:room]:
                    del self._unsaid[topic]
                    batch.append((topic, self._texts[topic]))
                is_whole = not self._unsaid and not self._is_ready
            for topic, text in batch:
                self._publish(topic, text)
            if is_whole:
                self._is_ready = True
                self._publish(self._state_topic, "ready")

    def _has_something(self) -> bool:
        if self._closed:
            return True
        return (
            self._connected and bool(self._texts) and bool(self._unsaid or self._anew) and self._on_the_way < ON_THE_WAY
        )

    def _publish(self, topic: str, text: str) -> None:
        with self._bell:
            self._on_the_way += 1
        # Never under our own lock: the library calls back under its own.
        self._client.publish(topic, text, qos=1, retain=True)

    def _listen(self) -> None:
        while True:
            with self._bell:
                self._bell.wait_for(lambda: self._words or self._closed, LOOK_S)
                if self._closed:
                    return
                heard = self._words.popleft() if self._words else None
            if heard is not None:
                self._hear(*heard)
            elif self._deaf_until_s is not None and self._clock() >= self._deaf_until_s:
                self._deaf_until_s = None
                if self._connected:
                    self._trouble = None
                    self._subscribe()

    # ---------------------------------------------------------------- the library's thread

    def _made(self, user: str | None, password: str | None) -> "Client":
        needs_library()
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion

        client = Client(CallbackAPIVersion.VERSION2)
        client.reconnect_delay_set(FIRST_AGAIN_S, LAST_AGAIN_S)
        # An exception in a callback would end the library's thread, and with it every reconnection.
        client.suppress_exceptions = True
        client.will_set(self._state_topic, "lost", qos=1, retain=True)
        if user is not None:
            client.username_pw_set(user, password)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        return client

    def _on_connect(
        self, client: "Client", _: object, flags: "ConnectFlags", reason: "ReasonCode", properties: "Properties | None"
    ) -> None:
        if reason.is_failure:
            self._lose(f"The broker {self.name} at {self._place} does not let us in: {reason}.")
            return
        self._trouble = None
        if self._deaf_until_s is None:
            self._subscribe()
        with self._bell:
            self._connected = self._anew = True
            self._is_ready = False
            self._on_the_way = 0
            self._bell.notify_all()

    def _subscribe(self) -> None:
        if self._heard:
            self._client.subscribe([(topic, 0) for topic in sorted(self._heard)])

    def _is_flooded(self) -> bool:
        """Count one word; True from the first that is one too many, until the minute is over."""
        now_s = self._clock()
        if self._deaf_until_s is not None:
            return True
        if now_s - self._counted_since_s > 1.0:
            self._counted, self._counted_since_s = 0, now_s
        self._counted += 1
        if self._counted <= FLOOD_WORDS:
            return False
        self._client.unsubscribe(sorted(self._heard))
        with self._bell:
            self._deaf_until_s = now_s + DEAF_S
            self._bell.notify_all()
        self._trouble = f"The broker {self.name} is flooded with commands. None is heard for {DEAF_S:g} s."
        return True

    def _on_connect_fail(self, client: "Client", _: object) -> None:
        self._lose(f"The broker {self.name} at {self._place} cannot be reached.")

    def _on_disconnect(
        self,
        client: "Client",
        _: object,
        flags: "DisconnectFlags",
        reason: "ReasonCode",
        properties: "Properties | None",
    ) -> None:
        # After a refusal the reason stays.
        self._lose(self._trouble or f"The broker {self.name} at {self._place} went away.")

    def _on_publish(
        self, client: "Client", _: object, number: int, reason: "ReasonCode", properties: "Properties"
    ) -> None:
        with self._bell:
            # What was on its way when a connection broke is acknowledged in the next one.
            self._on_the_way = max(0, self._on_the_way - 1)
            self._bell.notify_all()

    def _on_message(self, client: "Client", _: object, message: "MQTTMessage") -> None:
        if (
            self._is_flooded()
            or message.retain
            or message.topic not in self._heard
            or len(message.payload) > LONGEST_WORD
        ):
            return
        try:
            word = bytes(message.payload).decode("ascii")
        except ValueError:
            return
        with self._bell:
            if len(self._words) < MOST_WAITING:
                self._words.append((message.topic, word))
                self._bell.notify_all()

    def _lose(self, said: str) -> None:
        with self._bell:
            self._connected = False
            self._bell.notify_all()
        if not self._closed:
            self._trouble = said
