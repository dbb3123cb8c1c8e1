"""Power meters that publish to an MQTT broker.

One link for each broker: it connects, subscribes and listens in a thread of its own, comes back by itself after a loss
(after 1 s, then twice as long each time, at most 30 s), and hands on what it hears. It never publishes and never
blocks its caller. Messages are taken with quality of service 0 and a session that keeps nothing, so none is delivered
that was sent before this connection, but for the one that the broker keeps for each topic; that one is marked.

Nothing here is encrypted: keep the broker on a network of your own.

The payload is a number, as text or inside JSON at a path (RFC 6901); anything else is a fault of the sensor, never a
current.
"""

import json
import math
import os
import re
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gatekeeper.devices.base import Clock, DeviceError, MeterSeen, ReportMeter

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

KEEPALIVE_S = 10
FIRST_AGAIN_S, LAST_AGAIN_S = 1, 30
#: How long ``close`` may wait for the thread; it holds nothing that must be put to rest.
CLOSE_S = 0.2
LONGEST_PAYLOAD = 65_536
_NUMBER = re.compile(r"\s*[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,3})?\s*", re.ASCII)


@dataclass(frozen=True, slots=True)
class MeterTopic:
    """One meter: its name, the topic that it publishes to, and the path to the number (None: the whole payload)."""

    name: str
    topic: str
    pointer: str | None = None


def number_in(payload: bytes, pointer: str | None) -> float:
    """The number in a message.

    Raises:
        ValueError: there is no finite number there; says what there is.
    """
    if len(payload) > LONGEST_PAYLOAD:
        raise ValueError(f"it has {len(payload)} bytes")
    text = payload.decode("utf-8")
    found: Any = text
    if pointer is not None:
        try:
            found = json.loads(text)
        except RecursionError as fault:
            raise ValueError("it is nested too deeply") from fault
        for step in pointer.split("/")[1:]:
            found = _member(found, step.replace("~1", "/").replace("~0", "~"))
    if isinstance(found, str) and _NUMBER.fullmatch(found):
        found = float(found)
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise ValueError("there is no number in it")
    try:
        value = float(found)
    except OverflowError as fault:
        raise ValueError("its number has no end") from fault
    if not math.isfinite(value):
        raise ValueError("its number has no end")
    return value


def _member(found: Any, step: str) -> Any:
    if isinstance(found, dict) and step in found:
        return found[step]
    if isinstance(found, list) and step.isascii() and step.isdigit() and int(step) < len(found):
        return found[int(step)]
    raise ValueError(f"there is no {step} in it")


def password_of(place: str, where: str) -> str:
    """A password from the ``environment`` (a variable's name) or a ``file`` (its path; the first line).

    Raises:
        DeviceError: it is not there, or may not be read. The password itself is never shown.
    """
    if place == "environment":
        found = os.environ.get(where)
        if not found:
            raise DeviceError(f"The broker's password is not in the environment variable {where}. Set it, then start.")
        return found
    try:
        with open(where, encoding="utf-8") as file:
            found = file.readline().rstrip("\r\n")
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "it is no text"
        raise DeviceError(f"The broker's password cannot be read from {where}: {why}.") from fault
    if not found:
        raise DeviceError(f"The broker's password cannot be read from {where}: its first line is empty.")
    return found


class MqttMeters:
    """The meters of one broker.

    Args:
        name: the broker's name.
        host: its name or address.
        port: its port.
        meters: what to listen for.
        report: called with a ``MeterSeen``, in the link's own thread; it must only put it on a queue.
        user: the user name, with ``password``; None for a broker that asks for none.
        password: the password.
        clock: monotonic seconds.

    Raises:
        DeviceError: the library is not installed.
    """

    def __init__(
        self,
        name: str,
        host: str,
        port: int,
        meters: Sequence[MeterTopic],
        report: ReportMeter,
        *,
        user: str | None = None,
        password: str | None = None,
        clock: Clock = time.monotonic,
    ) -> None:
        self.name = name
        self._place = f"{host}:{port}"
        self._report = report
        self._clock = clock
        self._meters = tuple(meters)
        self._trouble: str | None = f"The broker {name} at {self._place} is not reached yet."
        self._is_told = self._is_closed = False
        self._client = self._made(user, password)
        self._client.connect_async(host, port, KEEPALIVE_S)
        self._thread = threading.Thread(target=self._run, name=f"broker {name}", daemon=True)

    @property
    def trouble(self) -> str | None:
        """A sentence while the broker cannot be heard, or a message cannot be read; else None."""
        return self._trouble

    def start(self) -> None:
        """Begin to listen; returns at once."""
        self._thread.start()

    def close(self) -> None:
        """End; returns at once, whatever the network does."""
        self._is_closed = True
        self._client.disconnect()
        if self._thread.is_alive():
            self._thread.join(CLOSE_S)

    def _made(self, user: str | None, password: str | None) -> "Client":
        try:
            from paho.mqtt.client import Client
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError as fault:
            raise DeviceError("The MQTT library is not installed. Run: pip install 'gatekeeper[mqtt]'") from fault
        client = Client(CallbackAPIVersion.VERSION2)
        client.reconnect_delay_set(FIRST_AGAIN_S, LAST_AGAIN_S)
        # An exception in a callback would end the library's thread, and with it every reconnection.
        client.suppress_exceptions = True
        if user is not None:
            client.username_pw_set(user, password)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _run(self) -> None:
        while not self._is_closed:
            try:
                self._client.loop_forever(retry_first_connection=True)
            except OSError as fault:
                self._lose(f"The broker {self.name} at {self._place} cannot be reached: {fault}.")
                time.sleep(FIRST_AGAIN_S)

    # ---------------------------------------------------------------- the library's thread

    def _on_connect(
        self, client: "Client", _: object, flags: "ConnectFlags", reason: "ReasonCode", properties: "Properties | None"
    ) -> None:
        if reason.is_failure:
            self._lose(f"The broker {self.name} at {self._place} does not let us in: {reason}.")
            return
        self._trouble, self._is_told = None, False
        client.subscribe([(topic, 0) for topic in dict.fromkeys(meter.topic for meter in self._meters)])

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
        if self._trouble is None:
            self._lose(f"The broker {self.name} at {self._place} went away.")

    def _on_subscribe(
        self, client: "Client", _: object, mid: int, reasons: "list[ReasonCode]", properties: "Properties | None"
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self._lose(f"The broker {self.name} at {self._place} does not let us read its meters.")

    def _on_message(self, client: "Client", _: object, message: "MQTTMessage") -> None:
        now_s = self._clock()
        for meter in self._meters:
            if meter.topic != message.topic or self._is_closed:
                continue
            value: float | None = None
            try:
                value = number_in(bytes(message.payload), meter.pointer)
            except ValueError as fault:
                self._trouble = f"A message of {meter.name} cannot be read: {_one_line(fault)}."
            else:
                self._trouble = None
            self._report(MeterSeen(now_s, meter.name, value, is_kept=message.retain))

    def _lose(self, said: str) -> None:
        self._trouble = said
        if self._is_told or self._is_closed:
            return
        self._is_told = True
        for meter in self._meters:
            self._report(MeterSeen(self._clock(), meter.name, None, is_lost=True))


def _one_line(fault: ValueError) -> str:
    return str(fault).partition("\n")[0][:80]
