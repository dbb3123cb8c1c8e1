"""The wires of a shop as tables for the person who wires it: every line of the board, and every clamp.

What an output does without the program comes from its driver's ``Fate``, and for a motor, when the board loses power,
from the shop's own ``when_board_dies``. Header pins are those of the 40-pin header; pulls at power-up are the board's
own, from its documentation and not measured on a real board.
"""

from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass

from gatekeeper.service.pin_rows import READS_ONLY, UNREAD, board_pull, line_words, sentence
from gatekeeper.service.pin_rows import PinRow as PinRow
from gatekeeper.service.pin_rows_drivers import bank_row, gate_rows, lamp_row, motor_rows, permit_row, sign_rows
from gatekeeper.service.wiring import contacts_of
from gatekeeper.shop.claims import I2C_LINES, SPI_LINES, SPI_SELECTS
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import (
    Asking,
    Contact,
    Converter,
    EndsBy,
    Input,
    InputKind,
    Sensor,
    Shop,
    SignalUnit,
)


@dataclass(frozen=True, slots=True)
class ClampRow:
    """One converter channel: the clamp on it, the largest current it shows, and its burden resistor."""

    channel: str
    around: str
    shows: str
    burden: str


@dataclass(frozen=True, slots=True)
class GaugeRow:
    """One converter channel with a pressure gauge: where it measures, and how its signal reads."""

    channel: str
    gauge: str
    reads: str


GAUGE_HEADINGS = ("Channel", "Gauge", "Reads")
PIN_HEADINGS = (
    "Line",
    "Wire",
    "What it does",
    "Pull",
    "At power-up",
    "Program crashes or is killed",
    "Board loses power",
)
CLAMP_HEADINGS = ("Channel", "Clamp around", "Shows up to", "Burden resistor")


def pin_table(shop: Shop) -> list[PinRow]:
    """Every line of the board that a shop uses: motors, gates, signs, contacts, converters, each as in its file."""
    rows = [row for motor in shop.motors.values() for row in motor_rows(motor)]
    rows += [bank_row(shop, bank) for bank in shop.servo_banks.values()]
    for gate in shop.gates.values():
        rows += gate_rows(gate)
    for sign in shop.signs.values():
        rows += sign_rows(sign)
    rows += [permit_row(permit) for permit in shop.permits.values()]
    rows += [lamp_row(shop.messages.lamp)] if shop.messages.lamp is not None else []
    for name, contact in contacts_of(shop).items():
        meaning, _, subject = name.partition(":")
        rows.append(_contact(contact, *_meaning(shop, meaning, subject)))
    return rows + list(_converters(shop))


def clamp_table(shop: Shop) -> list[ClampRow]:
    """Every clamp of a shop, by converter and channel."""
    watched: list[tuple[str, Sensor | None]] = [
        *((f"one wire of {tool.name}", tool.sensor) for tool in shop.tools.values()),
        *((f"one wire of {circuit.name}", circuit.sensor) for circuit in shop.circuits.values()),
        *((f"one motor wire of {motor.name}", motor.confirmed_by) for motor in shop.motors.values()),
    ]
    order = list(shop.converters)
    clamps = [(around, sensor.channel) for around, sensor in watched if sensor is not None and sensor.channel]
    return [
        ClampRow(
            f"{one.converter}, {_input_of(shop.converters[one.converter], one.channel)}",
            around,
            f"{one.range_a:.3g} A",
            f"{one.burden_ohm:.3g} ohm, clamp of {one.turns:g} turns",
        )
        for around, one in sorted(clamps, key=lambda clamp: (order.index(clamp[1].converter), clamp[1].channel))
    ]


def gauge_table(shop: Shop) -> list[GaugeRow]:
    """Every pressure gauge on a converter, by converter and channel."""
    order = list(shop.converters)
    wired = [(gauge, gauge.wire) for gauge in shop.gauges.values() if gauge.wire is not None]
    rows = []
    for gauge, wire in sorted(wired, key=lambda one: (order.index(one[1].converter), one[1].channel)):
        is_i2c = shop.converters[wire.converter].kind.is_on_i2c
        own = f"A{wire.channel}" if is_i2c else f"channel {wire.channel}"
        where = f"suction in {gauge.duct}" if gauge.duct is not None else f"across the filter of {gauge.motor}"
        times = 1000.0 if wire.unit is SignalUnit.MILLIAMPERE else 1.0
        low, high = (
            f"{point.signal * times:g} {wire.unit.value} at {point.pressure_pa:g} Pa" for point in (wire.low, wire.high)
        )
        rows.append(GaugeRow(f"{wire.converter}, {own}", f"{gauge.name}: {where}", f"{low}, {high}"))
    return rows


def _input_of(converter: Converter, channel: int) -> str:
    """Where a clamp is wired to: a channel, or the two inputs of a pair."""
    return f"A{2 * channel} and A{2 * channel + 1}" if converter.kind.is_on_i2c else f"channel {channel}"


def as_markdown(rows: Sequence[PinRow] | Sequence[ClampRow]) -> str:
    """The rows as a Markdown table with its headings; empty when there are no rows."""
    if not rows:
        return ""
    headings = PIN_HEADINGS if isinstance(rows[0], PinRow) else CLAMP_HEADINGS
    cells = [headings, tuple("---" for _ in headings), *(astuple(row) for row in rows)]
    return "".join(f"| {' | '.join(cell.replace('|', '/') for cell in line)} |\n" for line in cells)


def _contact(contact: Contact, wire: str, does: str) -> PinRow:
    kind, broken = "normally open", "A broken wire counts as no."
    if contact.normally_closed:
        kind, broken = "normally closed", "A broken wire counts as opened."
    return PinRow(
        line=line_words(contact.line),
        wire=f"{sentence(wire)}: a {kind} contact to ground",
        does=f"{does} {broken}",
        pull=f"Up, set by the program; the board's own at power-up: {board_pull(contact.line)}",
        at_power_up=READS_ONLY,
        program_dies=UNREAD,
        power_lost=UNREAD,
    )


def _meaning(shop: Shop, meaning: str, subject: str) -> tuple[str, str]:
    """What a contact is, and what its word does."""
    match meaning:
        case "input":
            return subject, _said_by(shop.inputs[subject])
        case "hand" | "auto":
            word, motors = sentence(meaning), listed(shop.inputs[subject].systems, "and", 24)
            return (
                f"{subject}, its {word} contact",
                f"Tells that the Hand-Off-Auto switch of {motors} stands in {word}.",
            )
        case "tool":
            sensor = shop.tools[subject].sensor
            if sensor is not None and sensor.asking is not None:
                return f"{sensor.asking.use.value} of {subject}", _worked(sensor.asking, subject, sensor.contact)
            return f"current switch on a wire of {subject}", f"Tells that {subject} runs."
        case "circuit":
            tools = listed(shop.circuits[subject].tools, "or", 24)
            return f"current switch on a wire of {subject}", f"Tells that {tools} runs."
        case "confirm":
            return f"current switch on a motor wire of {subject}", f"Confirms that {subject} runs and stops."
        case "air":
            return f"pressure or flow switch of {subject}", "Tells that air moves in the duct."
        case _:
            return f"position switch at {subject}, {meaning} end", f"Tells that {subject} is fully {meaning}."


def _said_by(source: Input) -> str:
    motors = listed(source.systems, "and", 24)
    match source.kind:
        case InputKind.RED_BUTTON:
            return (
                "Reads a second contact of the emergency circuit: opened, every motor is told off and every gate "
                "halts. The circuit itself works by wire, without the program."
            )
        case InputKind.FIRE:
            return (
                "Reads the detector: opened, every motor is told off and the gates stay. The detector must break the "
                "coils by wire itself."
            )
        case InputKind.DOOR:
            return f"Reads a door: open, no start of {motors}, and what runs of it is told off."
        case InputKind.SHOP_KEY:
            return "Tells that the shop is open; otherwise no motor starts."
        case InputKind.AIR_HERE:
            return _air_here(source)
        case InputKind.STOP:
            return f"A press tells off {motors}."
        case InputKind.SPARKS:
            return "A press says that sparks were seen: every motor off, every gate stands, until it is reset here."
        case InputKind.BROKER_KEY:
            return "While it is on, commands from the MQTT broker are taken; else they are dropped."
        case InputKind.BIN_FULL:
            return f"Tells that the bin of {motors} is full."
        case InputKind.FILTER_PRESSURE:
            return f"Tells that the filter of {motors} takes too much pressure and wants cleaning."
        case InputKind.RESET:
            return "A press resets after an emergency stop or a fire alarm (a fire only from here). It starts nothing."
        case _:  # a release button; a Hand-Off-Auto switch has two contacts of its own
            return f"A press releases {source.at} when it is held or stuck."


def _worked(asking: Asking, tool: str, contact: Contact | None) -> str:
    """What a contact does that somebody works."""
    if asking.ends is EndsBy.PRESS_AGAIN:
        said = f"A press says that work begins at {tool}, the next that it ends"
    else:
        word = "opened" if contact is not None and contact.normally_closed else "made"
        said = f"While it is {word}, work goes on at {tool}"
    return (
        f"{said}, at the latest after {_span(asking.ends_after_s)}." if asking.ends_after_s is not None else f"{said}."
    )


def _air_here(source: Input) -> str:
    asking = source.asking
    assert asking is not None
    assert asking.ends_after_s is not None
    longest = _span(asking.ends_after_s)
    if asking.ends is EndsBy.LET_GO:
        return f"Asks for air at {source.at} while it is made, for {longest} at most."
    return f"A press asks for air at {source.at} for {longest}; the next press ends it."


def _span(time_s: float) -> str:
    return f"{time_s / 60:g} min" if time_s >= 60 else f"{time_s:g} s"


def _converters(shop: Shop) -> Iterator[PinRow]:
    chips = [(one.name, one.address or 0) for one in shop.converters.values() if one.kind.is_on_i2c]
    chips += [(bank.name, bank.address) for bank in shop.servo_banks.values()]
    if chips:
        names = listed([f"{name} at {address:#x}" for name, address in chips], "and", 4)
        for line, what in zip(I2C_LINES, ("data", "clock"), strict=True):
            yield _bus_line(line, f"I2C bus 1: {what} of {names}", "Asks each chip and hears it.")
    for bus, lines in SPI_LINES.items():
        on_bus = [one for one in shop.converters.values() if one.bus == bus and not one.kind.is_on_i2c]
        if on_bus:
            names = listed([converter.name for converter in on_bus], "and", 24)
            for line, what, carries in zip(
                lines, ("data in", "data out", "clock"), ("Asks", "Hears", "Clocks"), strict=True
            ):
                yield _bus_line(line, f"SPI bus {bus}: {what} of {names}", f"{carries} the converter.")
        for converter in on_bus:
            line = SPI_SELECTS[bus][converter.chip_select]
            yield _bus_line(line, f"SPI bus {bus}: chip select of {converter.name}", f"Chooses {_chip(converter)}.")


def _chip(converter: Converter) -> str:
    return f"{converter.name}, an {converter.kind.value}"


def _bus_line(line: int, wire: str, does: str) -> PinRow:
    return PinRow(
        line=line_words(line),
        wire=wire,
        does=does,
        pull=f"None outside; the board's own at power-up: {board_pull(line)}",
        at_power_up="Nothing moves by it.",
        program_dies="Nothing moves by it.",
        power_lost="Nothing moves by it.",
    )
