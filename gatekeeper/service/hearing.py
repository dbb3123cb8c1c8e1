"""From raw looks at contacts and blocks of converter codes to the core's events.

``Contacts`` debounces every contact and knows what each one means; it belongs to the control thread. ``Currents`` works
out the currents of the converters' channels; it belongs to whoever reads the converters. Neither has a clock: time
comes with the looks.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from gatekeeper.control.messages import (
    AirSeen,
    Event,
    HandSeen,
    HandState,
    InputSeen,
    MotorSeen,
    Requested,
    ShopKeySeen,
    SwitchSeen,
    ToolSeen,
)
from gatekeeper.devices.base import Block as BankBlock
from gatekeeper.devices.base import ContactSeen
from gatekeeper.sensing.circuits import CircuitSensor, ToolBand
from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.contact import ContactSensor, ContactSettings
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block, Level, Seen, State
from gatekeeper.sensing.worked import WorkedSensor
from gatekeeper.service.care_contacts import CARE_KINDS, CareContacts
from gatekeeper.service.wiring import contacts_of
from gatekeeper.shop.model import Channel, ContactUse, EndsBy, Input, InputKind, Sensor, Shop

#: A person's or a circuit's contact counts after this; a current switch wants longer (it may pulse with the mains).
QUICK = ContactSettings(settle_s=0.02, stop_hold_s=0.02)
#: An emergency circuit counts as open from the first look, as made only after it held.
CIRCUIT = ContactSettings(settle_s=0.005, stop_hold_s=0.1)
CURRENT_SWITCH = ContactSettings()
#: Contacts that somebody works; our own figures. A hose swings on its hook, and an air tool is used in bursts.
WORKED = {
    ContactUse.BUTTON: QUICK,
    ContactUse.FOOT_SWITCH: QUICK,
    ContactUse.HOSE_HOOK: ContactSettings(settle_s=0.1, stop_hold_s=0.3),
    ContactUse.AIR_LINE: ContactSettings(settle_s=0.1, stop_hold_s=2.0),
}

_CIRCUITS = (InputKind.RED_BUTTON, InputKind.FIRE, InputKind.DOOR)


@dataclass(slots=True)
class _Ear:
    """One contact: what it means, whom it is about, its debouncing and its last word (True for yes).

    ``asks``: it is held, and has asked for air since.
    """

    meaning: str
    subject: str
    sensor: ContactSensor | WorkedSensor
    normally_closed: bool
    yes: bool | None = None
    asks: bool = False


class Contacts:
    """Every contact of one shop, debounced and understood.

    Args:
        shop: the shop.

    ``air_is_asked`` says of a tool or gate whether air was asked for there and still is; whoever owns the core sets it.
    """

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self.air_is_asked: Callable[[str], bool] = lambda at: False
        self.care = CareContacts(shop)
        self._ears: dict[str, _Ear] = {}
        for name, contact in contacts_of(shop).items():
            meaning, _, subject = name.partition(":")
            self._ears[name] = _Ear(meaning, subject, self._sensor(meaning, subject), contact.normally_closed)

    def _sensor(self, meaning: str, subject: str) -> ContactSensor | WorkedSensor:
        sensor = self._shop.tools[subject].sensor if meaning == "tool" else None
        if sensor is None or sensor.asking is None:
            return ContactSensor(self._settings(meaning, subject))
        asking = sensor.asking
        by_presses = asking.ends is EndsBy.PRESS_AGAIN
        return WorkedSensor(WORKED[asking.use], by_presses=by_presses, ends_after_s=asking.ends_after_s)

    def _settings(self, meaning: str, subject: str) -> ContactSettings:
        if meaning == "input":
            return CIRCUIT if self._shop.inputs[subject].kind in _CIRCUITS else QUICK
        return CURRENT_SWITCH if meaning in ("tool", "circuit", "confirm") else QUICK

    def hear(self, look: ContactSeen) -> list[Event]:
        """Take one raw look."""
        ear = self._ears[look.name]
        yes = look.made is not ear.normally_closed
        return self._events(ear, ear.sensor.feed(Level(look.t_s, yes)))

    def poll(self, now_s: float, looks: Iterable[tuple[str, bool]]) -> list[Event]:
        """Take the levels of all contacts, read again at ``now_s``; silence is then no longer a lost contact."""
        events: list[Event] = []
        for name, made in looks:
            events += self.hear(ContactSeen(now_s, name, made))
        return events + self.care.due(now_s)

    def tick(self, now_s: float) -> list[Event]:
        """The events that time alone proves."""
        events: list[Event] = []
        for ear in self._ears.values():
            due = ear.sensor.next_deadline()
            if due is not None and due <= now_s:
                events += self._events(ear, ear.sensor.tick(now_s))
        return events

    def next_deadline(self) -> float | None:
        """When ``tick`` may have something to say."""
        return min(
            (due for ear in self._ears.values() if (due := ear.sensor.next_deadline()) is not None), default=None
        )

    def _events(self, ear: _Ear, changes: list[Seen]) -> list[Event]:
        events: list[Event] = []
        for seen in changes:
            before, ear.yes = ear.yes, (None if seen.state is State.STALE else seen.state is State.RUNNING)
            events += self._meant(ear, seen, before)
        return events

    def _meant(self, ear: _Ear, seen: Seen, before: bool | None) -> list[Event]:
        subject = ear.subject
        match ear.meaning:
            case "tool":
                return [tool_seen(subject, seen)]
            case "circuit":
                return [tool_seen(tool, seen) for tool in self._shop.circuits[subject].tools]
            case "confirm":
                return [motor_seen(subject, seen)]
            case "air":
                return [AirSeen(subject, ear.yes is True)]
            case "open" | "shut":
                return self._switch(subject)
            case "hand" | "auto":
                return self._selector(subject)
            case _:
                return self._input(self._shop.inputs[subject], ear, seen, before)

    def broker_may_ask(self) -> bool:
        """Whether a broker key is on: a person at the board lets the broker's commands in. From any thread."""
        keys = [source.name for source in self._shop.inputs.values() if source.kind is InputKind.BROKER_KEY]
        return any(self._yes(f"input:{name}") is True for name in keys)

    def _yes(self, name: str) -> bool | None:
        return self._ears[name].yes if name in self._ears else None

    def _switch(self, gate: str) -> list[Event]:
        at_open, at_shut = self._yes(f"open:{gate}"), self._yes(f"shut:{gate}")
        if at_open and not at_shut:
            return [SwitchSeen(gate, "open")]
        if at_shut and not at_open:
            return [SwitchSeen(gate, "shut")]
        return [SwitchSeen(gate, "between")]

    def _selector(self, source: str) -> list[Event]:
        hand, auto = self._yes(f"hand:{source}"), self._yes(f"auto:{source}")
        if hand is None or auto is None:
            return []
        word: HandState = "off" if hand == auto else "hand" if hand else "auto"
        return [HandSeen(motor, word) for motor in self._shop.inputs[source].systems]

    def _input(self, source: Input, ear: _Ear, seen: Seen, before: bool | None) -> list[Event]:
        if source.kind in _CIRCUITS:
            # What cannot be believed counts as open.
            return [InputSeen(source.name, "made" if ear.yes is False else "open")]
        if source.kind in CARE_KINDS:
            return self.care.seen(source, seen.since_s, yes=ear.yes)
        if source.kind is InputKind.SHOP_KEY:
            return [] if ear.yes is None else [ShopKeySeen("open" if ear.yes else "shut")]
        if ear.asks and ear.yes is False:
            ear.asks = False
            return [Requested("air_here", source.at, "button", for_s=0.0)]
        if not (ear.yes and before is False):
            return []  # only a press that was seen from its beginning is a press
        match source.kind:
            case InputKind.AIR_HERE:
                return self._air_here(source, ear)
            case InputKind.STOP:
                return [Requested("stop", system, "input") for system in source.systems]
            case InputKind.RESET:
                return [Requested("reset", None, "local")]
            case InputKind.RELEASE:
                return [Requested("release", source.at, "local")]
            case InputKind.SPARKS:
                return [Requested("sparks", None, "button")]
            case _:
                return []

    def _air_here(self, source: Input, ear: _Ear) -> list[Event]:
        """A press: air for its time, or the end of it where a press ends what a press began."""
        asking = source.asking
        for_s = asking.ends_after_s if asking is not None else None
        if asking is not None and asking.ends is EndsBy.LET_GO:
            ear.asks = True
        elif source.at is not None and self.air_is_asked(source.at):
            for_s = 0.0
        return [Requested("air_here", source.at, "button", for_s=for_s)]


def tool_seen(tool: str, seen: Seen) -> ToolSeen:
    """What a sensor saw, in the core's words."""
    why = seen.reason.sentence if seen.state is State.STALE or not seen.reason.is_fresh else None
    return ToolSeen(tool, seen.state.value, why=why, fresh=seen.reason.is_fresh)


def motor_seen(motor: str, seen: Seen) -> MotorSeen:
    """What a motor's own sensor saw, in the core's words."""
    if seen.state is State.STALE:
        return MotorSeen(motor, "lost")
    return MotorSeen(motor, "running" if seen.state is State.RUNNING else "still")


# ---------------------------------------------------------------- currents


def front_end_of(shop: Shop, channel: Channel) -> FrontEnd:
    """The clamp, burden and converter of one channel."""
    converter = shop.converters[channel.converter]
    return FrontEnd.from_turns(
        channel.turns, channel.burden_ohm, vref_v=converter.reference_v, bits=converter.kind.bits
    )


@dataclass(slots=True)
class _Probe:
    """One channel with its sensor, and what its changes mean."""

    channel: int
    sensor: CurrentSensor
    circuit: CircuitSensor | None
    tools: tuple[str, ...]
    motor: str | None
    wired: tuple[Sensor, float | None]


class Currents:
    """Every current that one shop's converters see.

    Args:
        shop: the shop and its clamps.
        mains_hz: nominal mains frequency; the shop's own unless given.
    """

    def __init__(self, shop: Shop, mains_hz: float | None = None) -> None:
        self._shop = shop
        self._mains_hz = shop.mains_hz if mains_hz is None else mains_hz
        self._probes: dict[str, list[_Probe]] = {name: [] for name in shop.converters}
        for tool in shop.tools.values():
            if tool.sensor is not None:
                self._add(tool.sensor, (tool.name,), None, tool.running_a)
        for circuit in shop.circuits.values():
            self._add(circuit.sensor, circuit.tools, None, None)
        for motor in shop.motors.values():
            if motor.confirmed_by is not None:
                self._add(motor.confirmed_by, (), motor.name, None)

    def _add(self, sensor: Sensor, tools: tuple[str, ...], motor: str | None, rated_a: float | None) -> None:
        if sensor.channel is None:
            return
        current = CurrentSensor(
            self._mains_hz,
            DetectorSettings.for_tool(rated_a, sensor.trip_a),
            self.front_end(sensor.channel),
        )
        circuit = None
        bands = [(tool, self._shop.tools[tool].band_a) for tool in tools]
        if len(tools) > 1 and all(band is not None for _, band in bands):
            circuit = CircuitSensor(current, [ToolBand(tool, *band) for tool, band in bands if band is not None])
        probe = _Probe(sensor.channel.channel, current, circuit, tools, motor, (sensor, rated_a))
        self._probes[sensor.channel.converter].append(probe)

    def changed(self, shop: Shop) -> "Currents":
        """The currents of the same shop after its clamps were set anew (a trip, a channel).

        A sensor that was not changed goes on with what it has learned; one that was begins anew, and what it then finds
        is no start.
        """
        made = Currents(shop, self._mains_hz)
        for name, probes in made._probes.items():
            before = self._probes.get(name, [])
            made._probes[name] = [
                next(
                    (old for old in before if (old.wired, old.tools, old.motor) == (new.wired, new.tools, new.motor)),
                    new,
                )
                for new in probes
            ]
        return made

    def front_end(self, channel: Channel) -> FrontEnd:
        """The clamp, burden and converter of one channel."""
        return front_end_of(self._shop, channel)

    def hear(self, converter: str, block: BankBlock) -> list[Event]:
        """Take a block of scans of one converter."""
        events: list[Event] = []
        for probe in self._probes[converter]:
            samples = Block(block.start_s, block.rate_hz, block.codes[probe.channel])
            if probe.circuit is not None:
                events += [tool_seen(change.tool, change.seen) for change in probe.circuit.feed(samples)]
            else:
                events += self._meant(probe, probe.sensor.feed(samples))
        return events

    def lost(self, converter: str, now_s: float) -> list[Event]:
        """Nothing has come from a converter: the events that its silence proves by ``now_s``."""
        events: list[Event] = []
        for probe in self._probes[converter]:
            if probe.circuit is not None:
                events += [tool_seen(change.tool, change.seen) for change in probe.circuit.tick(now_s)]
            else:
                events += self._meant(probe, probe.sensor.tick(now_s))
        return events

    def _meant(self, probe: _Probe, changes: list[Seen]) -> list[Event]:
        events: list[Event] = []
        for seen in changes:
            if probe.motor is not None:
                events.append(motor_seen(probe.motor, seen))
            else:
                events += [tool_seen(tool, seen) for tool in probe.tools]
        return events

    def sensor_of(self, name: str) -> CurrentSensor:
        """The sensor on the wire of a tool or motor.

        Raises:
            LookupError: no clamp watches it.
        """
        for probes in self._probes.values():
            for probe in probes:
                if name in probe.tools or name == probe.motor:
                    return probe.sensor
        raise LookupError(name)

    def amperes(self) -> dict[str, float | None]:
        """The newest current of every tool, circuit's tool and motor that a clamp watches; None while unknown."""
        found: dict[str, float | None] = {}
        for probes in self._probes.values():
            for probe in probes:
                for name in probe.tools or ((probe.motor,) if probe.motor else ()):
                    found[name] = probe.sensor.net_a
        return found
