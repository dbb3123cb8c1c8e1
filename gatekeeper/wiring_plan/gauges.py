"""Pressure gauges that the board reads: transmitters with a voltage or a current loop, on inputs of a converter."""

from gatekeeper.shop.model import Converter, Gauge, GaugeWire, SignalUnit
from gatekeeper.wiring_plan.cables import SIGNAL_MM2
from gatekeeper.wiring_plan.inputs import SCREENED
from gatekeeper.wiring_plan.model import Across, Block, Device, In, Piece, Run, Sheet, Symbol
from gatekeeper.wiring_plan.outputs import RESISTOR_1K
from gatekeeper.wiring_plan.strip import Strip

#: What one draws at the most, amperes: a loop 20 mA, others about as much (common practice).
GAUGE_A = 0.03
PULLS_DOWN = "100 k"
CAPACITOR = Piece("capacitor 100 nF", "ceramic, at the converter's input")
_HOLE = (
    "Hole of 3 mm (1/8 in) square to the wall of a straight piece, at its top, no burr inside; a nipple over it and a "
    "hose of 4 to 6 mm to the gauge, falling towards the duct (common practice)."
)


def pressure_gauge(gauge: Gauge, wire: GaugeWire, converter: Converter, strip: Strip) -> Device:
    """One transmitter with its resistors, and the converter's input behind them."""
    is_loop = wire.unit is SignalUnit.MILLIAMPERE
    own = f"A{wire.channel}" if converter.kind.is_on_i2c else f"channel {wire.channel}"
    where = f"suction in {gauge.duct}" if gauge.duct is not None else f"across the filter of {gauge.motor}"
    ends = [(0, "its supply", "+"), (2, f"{converter.name}, {own}", "−" if is_loop else "signal")]
    if not is_loop:
        ends.append((3, "ground", "−"))
    cable = strip.cable(f"gauge {gauge.name}", ends, SIGNAL_MM2, words=SCREENED)
    sheet = Sheet(
        blocks=(Block(converter.name, {2: own, 3: "ground"}), Block("supply", {0: "+"})),
        middle=None,
        device=Block("gauge", {row: name for row, _, name in ends}),
        runs=(Run(0), Run(2), Run(3, end=3) if is_loop else Run(3)),
        parts=(
            Across(2, 3, 0, Symbol.CAPACITOR, "100 nF"),
            In(2, 1, Symbol.RESISTOR, "1 k"),
            *_resistors(wire),
        ),
    )
    return Device(
        kind="gauge on a current loop" if is_loop else "gauge with a voltage",
        subject=gauge.name,
        title=f"Gauge {gauge.name}: {where}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece(
                "pressure transmitter, differential, for air",
                f"{_pa(wire.low.pressure_pa)} to {_pa(wire.high.pressure_pa)}; {signal_words(wire)}",
            ),
            *_pieces(wire),
            RESISTOR_1K,
            CAPACITOR,
            Piece("nipple for a duct wall with hose", "4 to 6 mm", 1 if gauge.duct is not None else 2),
        ),
        notes=_notes(gauge, wire, is_loop),
        states=None,
        test=(
            "Fan still: the Care page shows about 0. Fan running with one gate open: it shows what a gauge held there "
            "shows. Pull its plug: within half a minute the page says that "
            + ("a wire is broken." if wire.has_live_zero else "nothing: its signal begins at nothing.")
        ),
    )


def signal_words(wire: GaugeWire) -> str:
    """What a transmitter gives: "4 to 20 mA", "0.5 to 4.5 V"."""
    times = 1000.0 if wire.unit is SignalUnit.MILLIAMPERE else 1.0
    return f"{wire.low.signal * times:g} to {wire.high.signal * times:g} {wire.unit.value}"


def resistor_words(wire: GaugeWire) -> str:
    """What stands between a transmitter and its input, for a table."""
    if wire.unit is SignalUnit.MILLIAMPERE:
        return f"{wire.resistor_ohm or 0.0:g} ohm to ground"
    if wire.divider_ohm is None:
        return f"{PULLS_DOWN} to ground"
    upper, lower = wire.divider_ohm
    return f"{ohms(upper)} in, {ohms(lower)} to ground"


def ohms(value: float) -> str:
    """A resistor as it is sold: "10 k", "150 Ω"."""
    return f"{value / 1000:g} k" if value >= 1000.0 else f"{value:g} Ω"


def _pa(pa: float) -> str:
    return f"{pa / 1000:g} kPa" if abs(pa) >= 1000.0 else f"{pa:g} Pa"


def _resistors(wire: GaugeWire) -> tuple[In | Across, ...]:
    if wire.unit is SignalUnit.MILLIAMPERE:
        return (Across(2, 3, 3, Symbol.RESISTOR, ohms(wire.resistor_ohm or 0.0)),)
    if wire.divider_ohm is None:
        return (Across(2, 3, 3, Symbol.RESISTOR, PULLS_DOWN),)
    upper, lower = wire.divider_ohm
    return Across(2, 3, 2, Symbol.RESISTOR, ohms(lower)), In(2, 4, Symbol.RESISTOR, ohms(upper))


def _pieces(wire: GaugeWire) -> tuple[Piece, ...]:
    if wire.unit is SignalUnit.MILLIAMPERE:
        return (Piece(f"resistor {ohms(wire.resistor_ohm or 0.0)}", "0.25 W, 0.1 %, for the loop"),)
    if wire.divider_ohm is None:
        return (Piece(f"resistor {PULLS_DOWN}", "0.25 W"),)
    upper, lower = wire.divider_ohm
    return Piece(f"resistor {ohms(upper)}", "0.25 W, 0.1 %"), Piece(f"resistor {ohms(lower)}", "0.25 W, 0.1 %")


def _notes(gauge: Gauge, wire: GaugeWire, is_loop: bool) -> tuple[str, ...]:
    if gauge.duct is not None:
        ports = f"{_HOLE} The hose goes on its low port (−); the other port stays open to the room."
    else:
        ports = "High port (+) to the dirty side of the filter, low port (−) to its clean side, by hoses of 4 to 6 mm."
    supply = (
        "Its supply as its plate says, mostly 24 V; the ground of that supply joins the box's."
        if is_loop
        else "Its supply as its plate says; the ground of that supply joins the box's."
    )
    broken = (
        "A broken wire then reads as nothing, and the page says so."
        if wire.has_live_zero
        else "A broken wire reads as no pressure and is not told from it."
    )
    return (
        ports,
        supply,
        f"The resistor to ground stands at the converter. {broken}",
        "Screen to ground at the box only.",
    )
