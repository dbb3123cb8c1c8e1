"""Who uses which wire. A pin, chip select or channel has one holder; a clash names both with both places.

Claims are read from the tree, so that they are complete even where another key of the same part is wrong.
"""

from dataclasses import dataclass

from gatekeeper.shop.faults import Fault, Mark
from gatekeeper.shop.fields import line_of
from gatekeeper.shop.kinds import ConverterKind
from gatekeeper.shop.places import Loc, Tree
from gatekeeper.shop.reading import path_of

PIN_KEYS: tuple[tuple[str, ...], ...] = (
    ("motors", "*", "switched_by", "pin"),
    ("motors", "*", "switched_by", "start"),
    ("motors", "*", "switched_by", "stop"),
    ("motors", "*", "confirmed_by", "current_switch"),
    ("motors", "*", "pressure_switch"),
    ("motors", "*", "flow_switch"),
    ("gates", "*", "servo", "pin"),
    ("gates", "*", "relays", "open"),
    ("gates", "*", "relays", "shut"),
    ("gates", "*", "relays", "current_stop"),
    ("gates", "*", "bridge", "open"),
    ("gates", "*", "bridge", "shut"),
    ("gates", "*", "bridge", "enable"),
    ("gates", "*", "bridge", "current_stop"),
    ("gates", "*", "coil", "pin"),
    ("gates", "*", "open_contact"),
    ("gates", "*", "shut_contact"),
    ("circuits", "*", "sensor", "current_switch"),
    ("tools", "*", "sensor", "current_switch"),
    ("outlets", "*", "sensor", "current_switch"),
    ("tools", "*", "sensor", "contact"),
    ("outlets", "*", "sensor", "contact"),
    ("inputs", "*", "pin"),
    ("inputs", "*", "hand_pin"),
    ("inputs", "*", "auto_pin"),
    ("signs", "*", "pin"),
    ("signs", "*", "coming"),
    ("signs", "*", "no_air"),
    ("messages", "lamp", "pin"),
    ("servo_banks", "*", "enable"),
    ("permits", "*", "pin"),
)
"""Every key of a shop file that takes a GPIO line."""

SENSOR_KEYS: tuple[tuple[str, ...], ...] = (
    ("circuits", "*", "sensor"),
    ("tools", "*", "sensor"),
    ("outlets", "*", "sensor"),
    ("motors", "*", "confirmed_by"),
    ("gauges", "*"),
)
"""Where a channel of a converter, or a meter, is taken."""

SPI_LINES = {0: (10, 9, 11), 1: (20, 19, 21)}
SPI_SELECTS = {0: (8, 7), 1: (18, 17, 16)}
"""Lines of the two SPI buses and of their chip selects (K: Raspberry Pi 40-pin header; bus 0 has two selects)."""

I2C_LINES = (2, 3)
"""Data and clock of I2C bus 1, which every chip on it shares."""


@dataclass(frozen=True, slots=True)
class Claim:
    """One use of one thing: ``thing`` in words, the holder's path, and its place."""

    thing: str
    path: tuple[str, ...]
    mark: Mark


def clashes(tree: Tree) -> list[Fault]:
    """A fault for every thing that has two holders, at the second of them."""
    faults: list[Fault] = []
    first: dict[str, Claim] = {}
    for claim in _claims(tree):
        holder = first.setdefault(claim.thing, claim)
        if holder is claim:
            continue
        where = f"{' > '.join(holder.path)} (line {holder.mark.line})"
        faults.append(Fault(claim.mark, claim.path, f"{claim.thing} is already taken by {where}; give each its own"))
    return faults


def taken_lines(tree: Tree) -> set[int]:
    """Every GPIO line that something in the file holds, buses included."""
    things = [claim.thing for claim in _claims(tree)]
    return {int(thing.removeprefix("GPIO")) for thing in things if thing.startswith("GPIO")}


def _claims(tree: Tree) -> list[Claim]:
    claims: list[Claim] = []
    claimed: set[int] = set()
    for name in tree.keys("converters"):
        if _text(tree, ("converters", name, "kind")) == ConverterKind.ADS1115.value:
            claims += _on_i2c(tree, ("converters", name), "0x48", "kind", claimed)
            continue
        bus, select = _text(tree, ("converters", name, "bus")) or "0", _text(tree, ("converters", name, "chip_select"))
        if bus not in ("0", "1") or select not in ("0", "1", "2"):
            continue
        loc: Loc = ("converters", name)
        mark = tree.mark_of((*loc, "chip_select"))
        claims.append(Claim(f"chip select {select} of SPI bus {bus}", path_of(loc), mark))
        for wire in (*SPI_LINES[int(bus)], *SPI_SELECTS[int(bus)][int(select) : int(select) + 1]):
            if wire not in claimed:
                claimed.add(wire)
                claims.append(Claim(f"GPIO{wire}", path_of(loc), mark))
    for name in tree.keys("servo_banks"):
        claims += _on_i2c(tree, ("servo_banks", name), "0x40", "enable", claimed)
    for name in tree.keys("motors"):
        loc = ("motors", name, "switched_by", "drive")
        drive = _text(tree, loc)
        if drive is not None:
            claims.append(Claim(f"the drive {drive}", path_of(loc[:3]), tree.mark_of(loc)))
    for name in tree.keys("gates"):
        for key in ("commands_to", "states_from"):
            loc = ("gates", name, "behind_broker", key)
            topic = _text(tree, loc)
            if topic is not None:
                claims.append(Claim(f"the topic {topic}", path_of(loc[:3]), tree.mark_of(loc)))
    for name in tree.keys("gates"):
        loc = ("gates", name, "servo")
        bank, channel = _text(tree, (*loc, "bank")), _text(tree, (*loc, "channel"))
        if bank is not None and channel is not None:
            claims.append(Claim(f"channel {channel} of {bank}", path_of(loc), tree.mark_of((*loc, "channel"))))
    for pattern in PIN_KEYS:
        for loc, text in tree.leaves(*pattern):
            line = line_of(text)
            if line is not None:
                claims.append(Claim(f"GPIO{line}", path_of(loc), tree.mark_of(loc)))
    for pattern in SENSOR_KEYS:
        for name in tree.keys(pattern[0]):
            loc = (pattern[0], name, *pattern[2:])
            meter = _text(tree, (*loc, "meter"))
            if meter is not None:
                claims.append(Claim(f"the meter {meter}", path_of(loc), tree.mark_of((*loc, "meter"))))
            converter, channel = _text(tree, (*loc, "converter")), _text(tree, (*loc, "channel"))
            if converter is not None and channel is not None:
                thing = f"channel {channel} of {converter}"
                claims.append(Claim(thing, path_of(loc), tree.mark_of((*loc, "channel"))))
    return claims


def _on_i2c(tree: Tree, loc: Loc, usual: str, given: str, claimed: set[int]) -> list[Claim]:
    """A chip on I2C has its address for itself, and shares the bus's lines with the other chips there."""
    key = "address" if _text(tree, (*loc, "address")) is not None else given
    mark = tree.mark_of((*loc, key))
    address = (_text(tree, (*loc, "address")) or usual).lower()
    claims = [Claim(f"address {address} of I2C bus 1", path_of(loc), mark)]
    for line in I2C_LINES:
        if line not in claimed:
            claimed.add(line)
            claims.append(Claim(f"GPIO{line}", path_of(loc), mark))
    return claims


def _text(tree: Tree, loc: Loc) -> str | None:
    return next((text for _, text in tree.leaves(*map(str, loc))), None)
