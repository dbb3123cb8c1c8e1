"""A gate behind an MQTT broker: commands go to one topic, what the gate says of itself comes from another.

A command is sent once, with quality of service 0 and never kept by the broker, so that no gate moves by itself when it
comes back to the network; without a connection it is not sent at all, and the move counts as missed. A frozen network
may deliver a command late, when it thaws.

What the gate says is believed only when it was said after the command: a gate that stays silent, or whose state the
broker had merely kept, has not arrived. When the broker is lost, or the gate silent for too long, its place is unknown.
Losing the broker stops nothing and harms nothing else. Nothing here is encrypted: keep the broker on a network of your
own, where anybody can move the gate.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from gatekeeper.devices.base import BoardDeath, Clock, DeviceError, Fate, Miss, Position, ReportMiss
from gatekeeper.devices.gate_moves import TimedGate
from gatekeeper.devices.inputs import PositionSwitches

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

KEEPALIVE_S = 10
FIRST_AGAIN_S, LAST_AGAIN_S = 1, 30
LONGEST_WORD = 64

#: What a gate said (None: the broker is lost), and whether the broker had kept it.
Hear = Callable[[str | None, bool], None]


@dataclass(frozen=True, slots=True)
class GateSeen:
    """Where a gate behind a broker says that it stands; between where nobody knows."""

    t_s: float
    gate: str
    position: Position


ReportGate = Callable[[GateSeen], None]


@dataclass(frozen=True, slots=True)
class GateWords:
    """The words of one gate: what it is told, and what it says; ``halt`` None where it cannot be halted."""

    open: str = "open"
    shut: str = "shut"
    halt: str | None = None
    is_open: str = "open"
    is_shut: str = "shut"


class Outlet(Protocol):
    """What carries words to gates, and theirs back: a broker, or a stand-in without one."""

    def listen(self, topic: str, hear: Hear) -> None: ...

    def send(self, topic: str, word: str) -> None: ...

    def leave(self, topic: str) -> None: ...


class GateBroker:
    """The gates of one broker; the network is the library's own thread.

    Args:
        name, host, port: the broker.
        user, password: as the broker wants them.

    Raises:
        DeviceError: the library is not installed.
    """

    def __init__(
        self, name: str, host: str, port: int, *, user: str | None = None, password: str | None = None
    ) -> None:
        try:
            from paho.mqtt.client import Client
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError as fault:
            raise DeviceError("The MQTT library is not installed. Run: pip install 'gatekeeper[mqtt]'") from fault
        self.name = name
        self._place = f"{host}:{port}"
        self._hears: dict[str, Hear] = {}
        self._is_connected = False
        self._trouble: str | None = f"The broker {name} at {self._place} is not reached yet."
        self._client: Client = Client(CallbackAPIVersion.VERSION2)
        self._client.reconnect_delay_set(FIRST_AGAIN_S, LAST_AGAIN_S)
        # An exception in a callback would end the library's thread, and with it every reconnection.
        self._client.suppress_exceptions = True
        if user is not None:
            self._client.username_pw_set(user, password)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.connect_async(host, port, KEEPALIVE_S)

    @property
    def trouble(self) -> str | None:
        """A sentence while the broker is not reached; else None."""
        return self._trouble

    def listen(self, topic: str, hear: Hear) -> None:
        """Hear what is said on a topic, in the network's thread; before ``start``."""
        self._hears[topic] = hear

    def send(self, topic: str, word: str) -> None:
        """Say a word once; returns at once, whatever the network does.

        Raises:
            DeviceError: the broker is not reached; nothing was said and nothing waits.
        """
        if not self._is_connected or self._client.publish(topic, word, qos=0, retain=False).rc != 0:
            raise DeviceError(
                f"The broker {self.name} at {self._place} is not reached, so {topic} was not told {word}."
            )

    def leave(self, topic: str) -> None:
        """Hear a topic no more."""
        self._hears.pop(topic, None)

    def start(self) -> None:
        """Begin; returns at once."""
        self._client.loop_start()

    def close(self) -> None:
        """End; returns soon, whatever the network does."""
        self._hears.clear()
        self._client.disconnect()
        self._client.loop_stop()

    # ---------------------------------------------------------------- the library's thread

    def _on_connect(
        self, client: "Client", _: object, flags: "ConnectFlags", reason: "ReasonCode", properties: "Properties | None"
    ) -> None:
        if reason.is_failure:
            self._trouble = f"The broker {self.name} at {self._place} does not let us in: {reason}."
            return
        topics = [(topic, 0) for topic in self._hears]
        if topics:
            client.subscribe(topics)
        else:
            self._is_connected, self._trouble = True, None

    def _on_subscribe(
        self, client: "Client", _: object, mid: int, reasons: "list[ReasonCode]", properties: "Properties | None"
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self._trouble = f"The broker {self.name} at {self._place} does not let us read its gates."
            return
        self._is_connected, self._trouble = True, None

    def _on_disconnect(
        self,
        client: "Client",
        _: object,
        flags: "DisconnectFlags",
        reason: "ReasonCode",
        properties: "Properties | None",
    ) -> None:
        self._is_connected = False
        self._trouble = f"The broker {self.name} at {self._place} went away."
        for hear in tuple(self._hears.values()):
            hear(None, False)

    def _on_message(self, client: "Client", _: object, message: "MQTTMessage") -> None:
        hear = self._hears.get(message.topic)
        if hear is not None:
            hear(bytes(message.payload[:LONGEST_WORD]).decode("utf-8", "replace").strip(), message.retain)


class MqttGate(TimedGate):
    """One gate behind a broker.

    Wiring: none of ours. The gate's own controller has its own supply, limit switches and run limit; it must stop by
    itself at its ends, and stay where it is when it hears nothing.

    Args:
        outlet: the broker.
        name: the gate's name.
        commands_to: the topic that it obeys.
        states_from: the topic on which it says where it stands; None for a gate that says nothing.
        words: what it is told and what it says.
        travel_s: after this time it must have said that it is there, above 0 and below 600 s.
        silence_s: silent for this long, its place is unknown; None for a gate that speaks only when it moves.
        report: called with a ``GateSeen`` when its place changed, in the thread that learned it.
        clock: monotonic seconds.
        switches, on_miss: wired position switches, which are believed instead; and who hears that it did not arrive.

    Raises:
        DeviceError: a value out of its range.
    """

    fate = Fate(
        at_power_up="It stays where it is: no command is kept for it.",
        when_process_dies="It goes on to its end by itself, and stays there.",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the gate goes on to its end by itself, and stays there.",
    )

    def __init__(
        self,
        outlet: Outlet,
        name: str,
        *,
        commands_to: str,
        travel_s: float,
        states_from: str | None = None,
        words: GateWords | None = None,
        silence_s: float | None = None,
        report: ReportGate | None = None,
        clock: Clock = time.monotonic,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(name, travel_s=travel_s, overrun_s=0.0, dead_s=0.0, switches=switches, on_miss=on_miss)
        self._outlet, self._commands_to, self._states_from = outlet, commands_to, states_from
        self._words = words if words is not None else GateWords()
        self.can_halt = self._words.halt is not None
        self._silence_s, self._report, self._clock = silence_s, report, clock
        self._said_lock = threading.Lock()
        self._said: tuple[Position, float] | None = None
        self._told = Position.BETWEEN
        self._began_s = clock()
        if states_from is not None:
            outlet.listen(states_from, self._hear)

    def position(self) -> Position | None:
        """Where its wired switches say that it stands, else where it said so itself; None where it never says."""
        if self._switches is not None:
            return self._switches.position()
        if self._states_from is None:
            return None
        said = self._said
        return said[0] if said is not None else Position.BETWEEN

    def tick(self, now_s: float) -> None:
        """Carry the move on, and notice a silence."""
        said = self._said
        if said is not None and self._silence_s is not None and now_s >= said[1] + self._silence_s:
            self._note(None)
        super().tick(now_s)

    def next_deadline(self) -> float | None:
        """When the next ``tick`` is due: the end of a move, or of the time that it may be silent."""
        due, said = super().next_deadline(), self._said
        if said is None or self._silence_s is None:
            return due
        silent_s = said[1] + self._silence_s
        return silent_s if due is None else min(due, silent_s)

    def _hear(self, word: str | None, is_kept: bool) -> None:
        """In the network's thread. What the broker had kept is of any age, and says nothing."""
        if is_kept and word is not None:
            return
        places = {self._words.is_open: Position.OPEN, self._words.is_shut: Position.SHUT}
        self._note(None if word is None else (places.get(word, Position.BETWEEN), self._clock()))

    def _note(self, said: tuple[Position, float] | None) -> None:
        with self._said_lock:
            self._said = said
            position = said[0] if said is not None else Position.BETWEEN
            if position is self._told:
                return
            self._told = position
        if self._report is not None:
            self._report(GateSeen(self._clock(), self.name, position))

    def _drive(self, now_s: float, to: Position) -> None:
        self._outlet.send(self._commands_to, self._words.open if to is Position.OPEN else self._words.shut)
        self._began_s = self._clock()

    def _stop_before_reversal(self, now_s: float) -> None:
        """It turns round by itself at the next command."""

    def _end_drive(self, now_s: float) -> None:
        """It ends its move by itself."""

    def halt(self, now_s: float) -> None:
        """Tell it to stop, where it can; it is unproven then. Raises DeviceError when it could not be told."""
        was_moving = self._move is not None
        super().halt(now_s)
        if was_moving and self._words.halt is not None:
            self._outlet.send(self._commands_to, self._words.halt)

    def _look(self, now_s: float, wanted: Position) -> Miss | None:
        if self._switches is not None or self._states_from is None:
            return super()._look(now_s, wanted)
        said = self._said
        if said is not None and said[0] is wanted and said[1] >= self._began_s:
            return None
        seen = said[0] if said is not None and said[1] >= self._began_s else Position.BETWEEN
        return Miss(now_s, self.name, wanted, seen)

    def _let_go(self) -> None:
        if self._states_from is not None:
            self._outlet.leave(self._states_from)
