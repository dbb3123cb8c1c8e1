"""The devices that the board hears: contacts, current switches, clamps on converters, and the converters themselves."""

from collections.abc import Mapping, Sequence

from gatekeeper.shop.claims import I2C_LINES, SPI_LINES, SPI_SELECTS
from gatekeeper.shop.clamps import sold_below
from gatekeeper.shop.model import Channel, Contact, Converter, Input, InputKind
from gatekeeper.wiring_plan.cables import SIGNAL_MM2
from gatekeeper.wiring_plan.model import Across, Block, Device, Edge, In, Piece, Run, Sheet, Symbol
from gatekeeper.wiring_plan.outputs import RESISTOR_1K, RESISTOR_10K
from gatekeeper.wiring_plan.strip import Strip, line_words

PAIR = ", twisted"
SCREENED = ", twisted, screened"

KINDS: Mapping[InputKind, tuple[str, str, str]] = {
    InputKind.RED_BUTTON: (
        "mushroom button with two normally closed contacts, latching",
        "first contact: rated for the coil circuit (AC-15); second: 3.3 V, gold or sealed",
        "Press it: the page says so at once, and nothing starts. Pull its wire off X1: the same.",
    ),
    InputKind.FIRE: (
        "heat or smoke detector with two contacts that open in alarm",
        "first contact: rated for the coil circuit (AC-15); second: 3.3 V",
        "Trip the detector by its test button: the page says so, the contactor drops by wire even with the board's "
        "plug "
        "pulled.",
    ),
    InputKind.DOOR: ("door switch, normally closed", "dry contact, 3.3 V", "Open the door: the page says so."),
    InputKind.SHOP_KEY: ("key switch", "dry contact, 3.3 V", "Turn the key: the page says that the shop is open."),
    InputKind.AIR_HERE: ("push button", "dry contact, 3.3 V", "Press it: the gate there opens."),
    InputKind.STOP: ("push button", "dry contact, 3.3 V", "Press it while the collector runs: it stops."),
    InputKind.RESET: (
        "key switch or push button",
        "dry contact, 3.3 V",
        "After a red button: press it. Nothing starts.",
    ),
    InputKind.RELEASE: ("push button", "dry contact, 3.3 V", "Hold the gate on the page, press it: it is released."),
    InputKind.SPARKS: ("push button", "dry contact, 3.3 V", "Press it: every motor goes off. Then press Reset."),
    InputKind.BROKER_KEY: ("key switch", "dry contact, 3.3 V", "Turn it: the page says that commands are taken."),
    InputKind.BIN_FULL: (
        "level switch at the bin",
        "dry contact, 3.3 V, for dust",
        "Cover it: the page says bin full.",
    ),
    InputKind.FILTER_PRESSURE: (
        "differential pressure switch across the filter",
        "dry contact, 3.3 V; set above the pressure of a clean filter",
        "Blow into its tube: the page says that the filter wants cleaning.",
    ),
}


def contact(
    name: str,
    subject: str,
    wired: Contact,
    strip: Strip,
    *,
    piece: Piece,
    test: str,
    notes: Sequence[str] = (),
    by_electrician: bool = False,
) -> Device:
    """One dry contact between a line and ground; ``name`` in words, ``subject`` the thing of the shop it belongs to."""
    symbol = Symbol.BROKEN if wired.normally_closed else Symbol.MADE
    ends = [(1, line_words(wired.line), "contact"), (2, "ground", "contact")]
    cable = strip.cable(name, ends, SIGNAL_MM2, words=PAIR)
    sheet = Sheet(
        blocks=(Block("board", {0: "3.3 V", 1: line_words(wired.line), 2: "ground"}),),
        middle=None,
        device=Block("contact", {1: "one", 2: "other"}),
        runs=(Run(0, Edge.LEFT, 0), Run(1), Run(2)),
        parts=(
            Across(0, 1, 0, Symbol.RESISTOR, "10 k, long cable"),
            In(1, 3, Symbol.RESISTOR, "1 k"),
            Across(1, 2, 0, symbol, "", at_device=True),
        ),
    )
    broken = "A broken wire counts as opened." if wired.normally_closed else "A broken wire is not seen."
    return Device(
        kind=symbol.value,
        subject=subject,
        title=name[:1].upper() + name[1:],
        sheet=sheet,
        cable=cable,
        pieces=(piece, RESISTOR_1K, RESISTOR_10K),
        notes=(f"{_sentence(symbol.value)}. {broken} The 10 k is for cables of more than some metres.", *notes),
        states=None,
        test=test,
        by_electrician=by_electrician,
    )


def two_contacts(
    name: str, subject: str, wired: Sequence[tuple[str, Contact]], strip: Strip, *, piece: Piece, test: str
) -> Device:
    """Two contacts with one common: both ends of a gate, or Hand and Auto of a switch."""
    (first, one), (second, two) = wired
    ends = [(0, line_words(one.line), first), (1, line_words(two.line), second), (2, "ground", "common")]
    cable = strip.cable(name, ends, SIGNAL_MM2, words=PAIR)
    parts: list[In | Across] = [
        In(0, 1, Symbol.RESISTOR, "1 k"),
        In(1, 1, Symbol.RESISTOR, "1 k"),
        Across(0, 2, 0, Symbol.MADE, "", at_device=True),
        Across(1, 2, 1, Symbol.MADE, "", at_device=True),
    ]
    sheet = Sheet(
        blocks=(Block("board", {0: line_words(one.line), 1: line_words(two.line), 2: "ground"}),),
        middle=None,
        device=Block("contacts", {0: first, 1: second, 2: "common"}),
        runs=(Run(0), Run(1), Run(2)),
        parts=tuple(parts),
    )
    return Device(
        kind="two contacts",
        subject=subject,
        title=name[:1].upper() + name[1:],
        sheet=sheet,
        cable=cable,
        pieces=(piece, Piece(RESISTOR_1K.what, RESISTOR_1K.rating, 2)),
        notes=("Both made at once cannot be: look for a crossed wire.",),
        states=None,
        test=test,
    )


def told_by_input(source: Input, strip: Strip) -> Device | None:
    """The contact of a button, key, detector or door; None for a kind with contacts of its own."""
    if source.contact is None or source.kind not in KINDS:
        return None
    what, rating, test = KINDS[source.kind]
    notes = {
        InputKind.RED_BUTTON: [
            "This is its second contact and only tells the controller. Its first contact breaks the coil circuit by "
            "wire, "
            "without board or program: the electrician's."
        ],
        InputKind.FIRE: [
            "This is a second contact and only tells the controller. The detector itself must break the coil circuit "
            "by "
            "wire: the electrician's."
        ],
    }.get(source.kind, [])
    where = f", at {source.at}" if source.at is not None else ""
    name = f"{source.name}{where}"
    return contact(name, source.name, source.contact, strip, piece=Piece(what, rating), test=test, notes=notes)


def clamp(owner: str, around: str, channel: Channel, converter: Converter, strip: Strip, test: str) -> Device:
    """A current clamp with its burden, and the converter's input behind it."""
    sold = sold_below(channel.burden_ohm)
    pins = ("A0", "A1", "A2", "A3")
    own, other = f"channel {channel.channel}", ""
    if converter.kind.is_on_i2c:
        own, other = pins[2 * channel.channel], pins[2 * channel.channel + 1]
    rows = {0: "3.3 V", 1: own, 2: "ground", 3: other, 4: "3.3 V"}
    ends = [(1, f"{converter.name}, {own}", "one wire"), (3, "half of 3.3 V", "other wire")]
    cable = strip.cable(around, ends, SIGNAL_MM2, words=SCREENED)
    sheet = Sheet(
        blocks=(Block(converter.name, rows),),
        middle=None,
        device=Block("clamp", {1: "one wire", 3: "other wire"}),
        runs=(
            Run(0, Edge.LEFT, 1),
            Run(1),
            Run(2, Edge.LEFT, 3),
            Run(3, Edge.LEFT if other else 2),
            Run(4, Edge.LEFT, 2),
        ),
        parts=(
            Across(0, 1, 1, Symbol.DIODE, "diode"),
            Across(1, 2, 1, Symbol.DIODE, "diode"),
            In(1, 3, Symbol.RESISTOR, "1 k"),
            Across(2, 3, 2, Symbol.RESISTOR, "10 k"),
            Across(2, 3, 3, Symbol.CAPACITOR, "10 µF"),
            Across(3, 4, 2, Symbol.RESISTOR, "10 k"),
            Across(1, 3, 0, Symbol.CLAMP, "", at_device=True),
            Across(1, 3, 1, Symbol.RESISTOR, f"{sold:g} Ω", at_device=True),
        ),
    )
    return Device(
        kind="current clamp",
        subject=owner,
        title=f"Clamp around {around}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece(
                "current clamp (transformer), split core", f"{channel.turns:g} turns, {channel.range_a:.3g} A or more"
            ),
            Piece(f"burden resistor {sold:g} ohm", "0.5 W, 1 %, soldered at the clamp"),
            RESISTOR_1K,
            Piece(RESISTOR_10K.what, RESISTOR_10K.rating, 2),
            Piece("capacitor 10 µF", "10 V or more"),
            Piece("diode, small signal, fast", "for clamping an input", 2),
        ),
        notes=(
            f"One conductor through the core, never the whole cable. The resistor is {sold:g} ohm: the next one on "
            "sale "
            f"(series E24) that is not above {channel.burden_ohm:.3g} ohm. Write burden: {sold:g} ohm into the shop "
            "file.",
            "A clamp that gives a current must never be open: solder the resistor on the clamp's side of every plug. "
            "One "
            "that gives a voltage has its resistor inside and gets none.",
            "Screen to ground at the box only.",
        ),
        states=None,
        test=test,
        by_electrician=True,
    )


def current_switch(owner: str, around: str, wired: Contact, strip: Strip, test: str) -> Device:
    """A ring whose contact closes while current flows."""
    piece = Piece(
        "current switch, self-powered ring, contact made while current flows", "contact for 3.3 V direct current"
    )
    return contact(
        f"current switch around {around}",
        owner,
        wired,
        strip,
        piece=piece,
        test=test,
        notes=("One conductor through the ring; three loops for a machine below its range.",),
        by_electrician=True,
    )


def converter_board(converter: Converter) -> Device:
    """A converter chip in the box, wired straight to the board."""
    rows: dict[int, str]
    if converter.kind.is_on_i2c:
        rows = {0: "3.3 V · pin 1", 1: "ground", 2: line_words(I2C_LINES[0]), 3: line_words(I2C_LINES[1])}
        names = {0: "VDD", 1: "GND", 2: "SDA", 3: "SCL"}
        note = (
            f"ADDR by the address {converter.address:#x}: to GND 0x48, VDD 0x49, SDA 0x4a, SCL 0x4b. VDD never to 5 V."
        )
    else:
        to_chip, from_chip, clock = SPI_LINES[converter.bus]
        select = SPI_SELECTS[converter.bus][converter.chip_select]
        wires = (to_chip, from_chip, clock, select)
        rows = {0: "3.3 V · pin 1", 1: "ground", **{2 + row: line_words(line) for row, line in enumerate(wires)}}
        names = {0: "VDD, VREF", 1: "AGND, DGND", 2: "DIN", 3: "DOUT", 4: "CLK", 5: "CS"}
        note = "Wires of this bus stay short and in the box; converters of one bus share all but the last."
    sheet = Sheet(
        blocks=(Block("board", rows),),
        middle=None,
        device=Block(converter.kind.value, names),
        runs=(),
        parts=(Across(0, 1, 3, Symbol.CAPACITOR, "100 nF, at the chip"),),
        walled=False,
    )
    return Device(
        kind="converter",
        subject=converter.name,
        title=f"Converter {converter.name}",
        sheet=sheet,
        cable=None,
        pieces=(
            Piece(f"analog converter {converter.kind.value}", f"{converter.kind.bits} bit, on 3.3 V"),
            Piece("capacitor 100 nF", "ceramic"),
        ),
        notes=(note, "Channels without a clamp go to ground."),
        states=None,
        test="gatekeeper doctor SHOP.yaml: the converter answers.",
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
