"""Whether the sensors of a shop file make sense: each of one kind, with its own keys, and able to see its machine."""

from collections.abc import Iterator

from gatekeeper.shop.clamps import clamp_of
from gatekeeper.shop.converters import PAIRS, reference_v, samples_each, samples_needed
from gatekeeper.shop.faults import Fault, a_or_an, listed
from gatekeeper.shop.kinds import MeterUnit
from gatekeeper.shop.model import InputKind
from gatekeeper.shop.places import Loc, Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.written import InputPart, Mains, ShopFile, ToolPart
from gatekeeper.shop.written_sensing import ConverterPart, SensorPart

Served = list[tuple[str, str, ToolPart]]

_KINDS = ("current_switch", "contact", "converter", "meter")
_CALLED = {"current_switch": "a current switch", "contact": "a contact", "converter": "a clamp", "meter": "a meter"}
_OWN_KEYS = {
    "channel": "converter",
    "turns": "converter",
    "burden": "converter",
    "range": "converter",
    "trip": "converter",
    "use": "contact",
    "ends": "contact",
    "ends_after": "contact",
    "runs_above": "meter",
}
_MOST_BANDED = 6


class SensorRules:
    """The rules about sensors, for the length of one check.

    Args:
        tree: the places.
        parts: what could be read.
        served: tools and outlets: section, name and part.
    """

    def __init__(self, tree: Tree, parts: ShopFile, served: Served) -> None:
        self.tree, self.parts, self.served = tree, parts, served

    def fault(self, said: str, *loc: str, key: bool = False) -> Fault:
        place: Loc = loc
        return Fault(self.tree.mark_of(place, key=key), path_of(place), said)

    # ---------------------------------------------------------------- one sensor

    def sensor(self, sensor: SensorPart, *loc: str, running_a: float | None = None) -> Iterator[Fault]:
        """The faults of one sensor."""
        kinds = [key for key in _KINDS if getattr(sensor, key) is not None]
        if len(kinds) != 1:
            found = f"{listed([_CALLED[key] for key in kinds], 'and')} are given" if kinds else "nothing here sees it"
            said = "give one of current_switch, contact, converter with channel, or meter"
            yield self.fault(f"{found}; {said}", *loc, key=True)
            return
        (kind,) = kinds
        for key, owner in _OWN_KEYS.items():
            if owner != kind and key in sensor.model_fields_set:
                on = " on a converter" if owner == "converter" else ""
                said = f"this key is for {_CALLED[owner]}{on}; {_CALLED[kind]} has none"
                yield self.fault(said, *loc, key, key=True)
        match kind:
            case "converter":
                yield from self._clamp(sensor, loc, running_a)
            case "contact":
                yield from self._contact(sensor, loc)
            case "meter":
                yield from self._metered(sensor, loc, running_a)

    def _clamp(self, sensor: SensorPart, loc: tuple[str, ...], running_a: float | None) -> Iterator[Fault]:
        converter = self.parts.converters.get(sensor.converter or "")
        is_pairs = converter is not None and converter.kind.is_on_i2c
        if sensor.channel is None:
            last = "0 to 1" if is_pairs else "0 to 7"
            yield self.fault(f"the converter's channel is missing; add channel: {last}", *loc, key=True)
        elif is_pairs and sensor.channel >= PAIRS:
            said = "an ADS1115 has the channels 0 (the pair A0 and A1) and 1 (the pair A2 and A3)"
            yield self.fault(said, *loc, "channel")
        if sensor.burden is None and sensor.range is None:
            yield self.fault("give the burden resistor or the range of this clamp", *loc, key=True)
        if sensor.trip is not None and running_a is not None and sensor.trip >= running_a:
            said = "trip is not below running_current, so this tool would never be seen to run"
            yield self.fault(said, *loc, "trip")
        clamp = clamp_of(sensor, reference_v(converter), running_a) if converter is not None else None
        if clamp is not None and clamp.trip_a >= clamp.range_a:
            said = f"this clamp shows at most {clamp.range_a:.1f} A, and its trip is {clamp.trip_a:.1f} A"
            yield self.fault(f"{said}: never reached; use a smaller burden or a larger range", *loc, key=True)

    def _contact(self, sensor: SensorPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        if loc[0] not in ("tools", "outlets"):
            said = "a contact that somebody works stands for one tool or outlet; here a current is needed"
            yield self.fault(said, *loc, "contact", key=True)
        elif sensor.use is None:
            said = "say what this contact is; add use: button, foot switch, hose hook or air line"
            yield self.fault(said, *loc, "contact")

    def _metered(self, sensor: SensorPart, loc: tuple[str, ...], running_a: float | None) -> Iterator[Fault]:
        if sensor.runs_above is None:
            said = "say above what it runs; add runs_above: and a power or a current, such as 150 W or 1.5 A"
            yield self.fault(said, *loc, "meter")
            return
        above, unit = sensor.runs_above
        if unit is MeterUnit.AMPERE and running_a is not None and above >= running_a:
            said = "runs_above is not below running_current, so this tool would never be seen to run"
            yield self.fault(said, *loc, "runs_above")

    def confirming(self, motor: str, sensor: SensorPart, within_s: float) -> Iterator[Fault]:
        """A meter that speaks too seldom to confirm a motor in its time."""
        meter = self.parts.meters.get(sensor.meter or "")
        if meter is not None and within_s < 2 * meter.every:
            said = (
                f"{sensor.meter} speaks every {meter.every:g} s, so it confirms a start up to twice as late; "
                f"write within: {2 * meter.every:g} s or more, or use a current switch"
            )
            yield self.fault(said, "motors", motor, "confirmed_by", "meter")

    # ---------------------------------------------------------------- circuits

    def circuits(self) -> Iterator[Fault]:
        """What is wrong with the circuits and the bands on them."""
        for name, circuit in self.parts.circuits.items():
            yield from self.sensor(circuit.sensor, "circuits", name, "sensor")
            on_it = [(section, tool_name, tool) for section, tool_name, tool in self.served if tool.circuit == name]
            if not on_it and len(self.served) == len(self.tree.keys("tools")) + len(self.tree.keys("outlets")):
                yield self.fault(
                    "no tool is on this circuit; name it at a tool or take it out", "circuits", name, key=True
                )
            yield from self._bands(name, circuit.sensor, on_it)

    def _bands(self, name: str, sensor: SensorPart, on_it: Served) -> Iterator[Fault]:
        """Bands that the circuit's sensor cannot see: of no clamp, below its trip, or beyond its range."""
        banded = [(section, tool_name) for section, tool_name, tool in on_it if tool.band is not None]
        for section, tool_name in banded[_MOST_BANDED:]:
            said = (
                f"at most {_MOST_BANDED} tools of one circuit can be told apart; take its band out, or use two clamps"
            )
            yield self.fault(said, section, tool_name, "band")
        converter = self.parts.converters.get(sensor.converter or "")
        clamp = clamp_of(sensor, reference_v(converter), None) if converter is not None else None
        for section, tool_name, tool in on_it:
            if tool.band is None:
                continue
            if sensor.converter is None:
                said = f"{name} has no clamp, so nothing measures a band there; take the band out, or use a clamp"
                yield self.fault(said, section, tool_name, "band")
            if clamp is None:
                continue
            if sensor.trip is not None and tool.band[0] < sensor.trip:
                said = (
                    f"this band begins below the trip of {name} ({sensor.trip:g} A), so its start is seen late or never"
                )
                yield self.fault(said, section, tool_name, "band")
            if tool.band[1] > clamp.range_a:
                said = f"this band ends above what the clamp of {name} can show ({clamp.range_a:.1f} A)"
                yield self.fault(said, section, tool_name, "band")

    # ---------------------------------------------------------------- converters, meters, air here

    def converters(self) -> Iterator[Fault]:
        """What is wrong with the converters, and with how many clamps are on each."""
        for name, converter in self.parts.converters.items():
            yield from self._i2c(name, converter) if converter.kind.is_on_i2c else self._spi(name, converter)

    def _spi(self, name: str, converter: ConverterPart) -> Iterator[Fault]:
        loc = ("converters", name)
        if converter.chip_select is None:
            yield self.fault('the key "chip_select" is missing here. Chip select of that SPI bus', *loc, key=True)
        elif not converter.bus and converter.chip_select == 2:
            yield self.fault("SPI bus 0 has the chip selects 0 and 1", *loc, "chip_select")
        for key in ("address", "full_scale"):
            if key in converter.model_fields_set:
                yield self.fault(f"this key is for an ADS1115; an {converter.kind.value} has none", *loc, key, key=True)

    def _i2c(self, name: str, converter: ConverterPart) -> Iterator[Fault]:
        loc = ("converters", name)
        for key in ("chip_select", "reference"):
            if key in converter.model_fields_set:
                said = "this key is for a chip on SPI; an ADS1115 has address and full_scale"
                yield self.fault(said, *loc, key, key=True)
        if converter.bus == 0:
            said = "I2C bus 0 is the board's own; an ADS1115 goes on bus 1 (GPIO2 and GPIO3)"
            yield self.fault(said, *loc, "bus")
        clamps = self._clamps_on(name)
        if len(clamps) < 2:
            return
        mains_hz = 60 if self.parts.shop.mains is Mains.HZ_60 else 50
        said = (
            f"{len(clamps)} clamps are on {name}. An ADS1115 makes at most 860 samples a second for all its inputs "
            f"together, at worst {samples_each(len(clamps)):.0f} for each of {len(clamps)}, and a clamp needs "
            f"{samples_needed(mains_hz):.0f} at {mains_hz} Hz: it takes one clamp. Use an MCP3208 for up to eight, "
            "another ADS1115, or a current switch"
        )
        for place in clamps[1:]:
            yield self.fault(said, *place, "converter")

    def _clamps_on(self, converter: str) -> list[tuple[str, ...]]:
        """Where the sensors on a converter stand, in the order of the file's sections."""
        found: list[tuple[str, ...]] = []
        for section, name, tool in self.served:
            if tool.sensor is not None and tool.sensor.converter == converter:
                found.append((section, name, "sensor"))
        for name, circuit in self.parts.circuits.items():
            if circuit.sensor.converter == converter:
                found.append(("circuits", name, "sensor"))
        for name, motor in self.parts.motors.items():
            if motor.confirmed_by is not None and motor.confirmed_by.converter == converter:
                found.append(("motors", name, "confirmed_by"))
        return sorted(found, key=lambda place: self.tree.mark_of(place))

    def meters(self) -> Iterator[Fault]:
        """What is wrong with brokers and meters."""
        for name, broker in self.parts.brokers.items():
            if (broker.user is None) != (broker.password_from is None):
                key = "user" if broker.user is not None else "password_from"
                said = "user and password_from belong together; add what is missing"
                yield self.fault(said, "brokers", name, key, key=True)
        for name, meter in self.parts.meters.items():
            if meter.silence is not None and meter.silence < 2 * meter.every:
                said = f"silence is shorter than two of its messages; write {2 * meter.every:g} s or more"
                yield self.fault(said, "meters", name, "silence")

    def air_here(self, name: str, part: InputPart) -> Iterator[Fault]:
        """Keys of an "air here" input on another kind."""
        for key in ("ends", "ends_after"):
            if part.kind is not InputKind.AIR_HERE and key in part.model_fields_set:
                said = f"this key is for an air here input; this is {a_or_an(part.kind.value)}"
                yield self.fault(said, "inputs", name, key, key=True)
