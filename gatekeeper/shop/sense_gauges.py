"""Whether the pressure transmitters of a shop file make sense: where they are, what they give, and who can read it."""

from collections.abc import Iterator, Mapping

from gatekeeper.shop.converters import BEYOND, INPUTS, shows_v
from gatekeeper.shop.faults import Fault, listed
from gatekeeper.shop.kinds import MotorKind
from gatekeeper.shop.model_gauges import GaugeWire, SignalUnit
from gatekeeper.shop.places import Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.written import ShopFile
from gatekeeper.shop.written_gauges import GaugePart, wire_of
from gatekeeper.shop.written_sensing import ConverterPart

_WITH_DUCTS = (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM)
_WIRED = ("channel", "points", "divider", "resistor")
#: Resistors on sale (series E24) that bring a voltage down, kilo-ohm, and that a current flows through, ohm. Ours.
_DIVIDERS = ((10.0, 20.0), (10.0, 10.0), (20.0, 10.0), (30.0, 10.0), (47.0, 10.0))
_RESISTORS = (220.0, 200.0, 180.0, 150.0, 120.0, 100.0, 82.0, 68.0)


def gauge_faults(tree: Tree, parts: ShopFile, ends: Mapping[str, str]) -> list[Fault]:
    """What is wrong with the gauges.

    Args:
        tree: the places.
        parts: what could be read.
        ends: by duct, the motor that it leads to.
    """
    return list(_Gauges(tree, parts, ends).faults())


class _Gauges:
    """The gauges with their places, for the length of one check."""

    def __init__(self, tree: Tree, parts: ShopFile, ends: Mapping[str, str]) -> None:
        self.tree, self.parts, self.ends = tree, parts, ends

    def fault(self, said: str, *loc: str, key: bool = False) -> Fault:
        return Fault(self.tree.mark_of(loc, key=key), path_of(loc), said)

    def faults(self) -> Iterator[Fault]:
        held: dict[tuple[str, str], str] = {}
        for name, part in self.parts.gauges.items():
            yield from self._where(name, part, held)
            yield from self._signal(name, part)
            yield from self._thresholds(name, part)
        for name, converter in self.parts.converters.items():
            yield from self._shared(name, converter)

    def _where(self, name: str, part: GaugePart, held: dict[tuple[str, str], str]) -> Iterator[Fault]:
        loc = ("gauges", name)
        if (part.duct is None) == (part.filter_of is None):
            said = "give duct for suction in a duct, or filter_of for the difference across a filter"
            yield self.fault(said, *loc, key=True)
            return
        at = ("duct", part.duct) if part.duct is not None else ("filter_of", part.filter_of or "")
        if at in held:
            said = f"{held[at]} measures there already; keep one of the two"
            yield self.fault(said, *loc, at[0])
        held.setdefault(at, name)
        motor = self.parts.motors.get(part.filter_of or "")
        if motor is not None and motor.kind not in _WITH_DUCTS:
            yield self.fault(f"{part.filter_of} is no collector or tool vacuum", *loc, "filter_of")

    def _signal(self, name: str, part: GaugePart) -> Iterator[Fault]:
        loc = ("gauges", name)
        if (part.converter is None) == (part.meter is None):
            found = "nothing reads it" if part.meter is None else "a converter and a meter are both given"
            yield self.fault(f"{found}; give converter with channel and points, or meter", *loc, key=True)
            return
        for key in _WIRED if part.meter is not None else ("counts_in",):
            if key in part.model_fields_set:
                whose, other = ("a converter", "a meter") if part.meter is not None else ("a meter", "a converter")
                yield self.fault(f"this key is for a gauge on {whose}; this one is on {other}", *loc, key, key=True)
        if part.meter is not None:
            return
        for key in ("channel", "points"):
            if getattr(part, key) is None and key not in self.tree.keys(*loc):
                yield self.fault(f'the key "{key}" is missing here', *loc, key=True)
        wire = wire_of(part)
        if wire is None:
            return
        yield from self._load(wire, loc)
        converter = self.parts.converters.get(wire.converter)
        if converter is not None:
            yield from self._reach(wire, converter, loc)

    def _load(self, wire: GaugeWire, loc: tuple[str, ...]) -> Iterator[Fault]:
        """Resistors that belong to the other kind of signal, or are missing."""
        if wire.unit is SignalUnit.MILLIAMPERE:
            if wire.divider_ohm is not None:
                yield self.fault("this key is for a voltage; a current has a resistor", *loc, "divider", key=True)
            if wire.resistor_ohm is None:
                said = "its signal is a current, and a converter reads volts; add resistor: 150 ohm"
                yield self.fault(said, *loc, "points")
        elif wire.resistor_ohm is not None:
            yield self.fault("this key is for a current; a voltage may have a divider", *loc, "resistor", key=True)

    def _reach(self, wire: GaugeWire, converter: ConverterPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        """A channel that is not there, and a signal that the converter cannot show or that would harm it."""
        if converter.kind.is_on_i2c and wire.channel >= INPUTS:
            yield self.fault("an ADS1115 has the inputs 0 to 3, A0 to A3", *loc, "channel")
        if wire.unit is SignalUnit.MILLIAMPERE and wire.resistor_ohm is None:
            return
        limit_v, most_v = shows_v(converter), wire.high.signal * wire.volts_of_signal
        if most_v <= limit_v * (1 + 1e-9):
            return
        what = f"it gives up to {most_v:.3g} V at the converter, which takes {limit_v:.3g} V"
        if wire.unit is SignalUnit.MILLIAMPERE:
            fits = next((ohm for ohm in _RESISTORS if wire.high.signal * ohm * BEYOND <= limit_v), _RESISTORS[-1])
            yield self.fault(f"{what}; write resistor: {fits:g} ohm", *loc, "resistor")
            return
        upper, lower = next(
            (pair for pair in _DIVIDERS if wire.high.signal * pair[1] / sum(pair) <= limit_v), _DIVIDERS[-1]
        )
        key = "divider" if wire.divider_ohm is not None else "points"
        yield self.fault(f"{what}; write divider: [{upper:g} kohm, {lower:g} kohm]", *loc, key)

    def _thresholds(self, name: str, part: GaugePart) -> Iterator[Fault]:
        loc = ("gauges", name)
        for key in ("clean_at", "today_at"):
            if part.filter_of is None and part.duct is not None and key in part.model_fields_set:
                yield self.fault("this key is for a gauge across a filter; this one is in a duct", *loc, key, key=True)
                return
        if part.today_at is not None and part.clean_at is None:
            yield self.fault("today_at goes with clean_at; add it", *loc, "today_at", key=True)
        elif part.today_at is not None and part.clean_at is not None and part.today_at <= part.clean_at:
            yield self.fault("today_at is not above clean_at; make it larger", *loc, "today_at")
        wire = wire_of(part)
        if wire is None:
            return
        most_pa = max(wire.low.pressure_pa, wire.high.pressure_pa)
        for key in ("clean_at", "today_at"):
            value = getattr(part, key)
            if value is not None and value > most_pa:
                yield self.fault(f"this gauge shows at most {most_pa:g} Pa, so this is never reached", *loc, key)

    def _shared(self, converter: str, part: ConverterPart) -> Iterator[Fault]:
        """An ADS1115 is quick for one clamp or slow for gauges, and not both."""
        on_it = [name for name, gauge in self.parts.gauges.items() if gauge.converter == converter]
        if not part.kind.is_on_i2c or not on_it:
            return
        clamps = list(self._clamps_on(converter))
        if clamps:
            said = (
                f"a clamp is on {converter} too (of {listed(clamps, 'and', 4)}). An ADS1115 with a clamp "
                f"has no time for {listed(on_it, 'and', 4)}: use another ADS1115, or an MCP3208 for all of them"
            )
            yield self.fault(said, "gauges", on_it[0], "converter")
        if "full_scale" in part.model_fields_set:
            said = f"this key is for a clamp; for {listed(on_it, 'and', 4)} the program chooses it by their points"
            yield self.fault(said, "converters", converter, "full_scale", key=True)

    def _clamps_on(self, converter: str) -> Iterator[str]:
        """Whose clamps are on a converter."""
        for served in (self.parts.tools, self.parts.outlets):
            for name, tool in served.items():
                if tool.sensor is not None and tool.sensor.converter == converter:
                    yield name
        for name, circuit in self.parts.circuits.items():
            if circuit.sensor.converter == converter:
                yield name
        for name, motor in self.parts.motors.items():
            if motor.confirmed_by is not None and motor.confirmed_by.converter == converter:
                yield name
