"""The kinds of value that sensors, brokers and meters are described with, beside those of ``fields``."""

import re
from typing import Annotated

from gatekeeper.shop.faults import shortened
from gatekeeper.shop.fields import Reads, refuse
from gatekeeper.shop.kinds import MeterUnit, PasswordPlace
from gatekeeper.shop.units import QuantityError, parse

FULL_SCALES_V = (1.024, 0.512, 0.256)
"""Full scales of an ADS1115 that a clamp can be read in: larger ones end where its supply does, unseen."""

I2C_FIRST, I2C_LAST = 0x48, 0x4B
RUNS_ABOVE = {MeterUnit.WATT: ("power", 1.0, 200_000.0), MeterUnit.AMPERE: ("current", 0.05, 400.0)}


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise refuse("a list or further keys stand here; write one value")
    return value.strip()


def _address(value: object) -> int:
    text = _text(value).lower()
    if re.fullmatch(r"0x4[89ab]", text):
        return int(text, 16)
    raise refuse(f'"{shortened(text)}" is no address of this chip; it has 0x48, 0x49, 0x4A or 0x4B, by its pin ADDR')


I2cAddress = Annotated[int, Reads(_address, {"type": ["string", "integer"], "examples": ["0x48", "0x4B"]})]


def _full_scale(value: object) -> float:
    text = _text(value)
    try:
        volts = parse(text, "voltage")
    except QuantityError as error:
        raise refuse(str(error)) from None
    for known in FULL_SCALES_V:
        if abs(volts - known) < 1e-9:
            return known
    raise refuse(f'"{shortened(text)}" is not one of 1.024 V, 512 mV or 256 mV, the full scales that a clamp can use')


FullScale = Annotated[float, Reads(_full_scale, {"type": "string", "examples": ["1.024 V", "512 mV", "256 mV"]})]


def _runs_above(value: object) -> tuple[float, MeterUnit]:
    text = _text(value)
    for unit, (kind, least, most) in RUNS_ABOVE.items():
        try:
            number = parse(text, kind)
        except QuantityError:
            continue
        if not least <= number <= most:
            said = f"it lies between {least:g} {unit.value} and {most:g} {unit.value}"
            raise refuse(f'"{shortened(text)}" is out of range; {said}')
        return number, unit
    raise refuse(f'"{shortened(text)}" is neither a power nor a current; write such as 150 W or 1.5 A')


RunsAbove = Annotated[
    tuple[float, MeterUnit],
    Reads(_runs_above, {"type": "string", "examples": ["150 W", "1.5 A"]}),
]


def _topic(value: object) -> str:
    text = _text(value)
    if not 1 <= len(text.encode()) <= 200 or not text.isprintable() or text.startswith("$"):
        raise refuse(f'"{shortened(text)}" is no topic; write the words and slashes that the meter publishes to')
    if "+" in text or "#" in text:
        raise refuse(f'"{shortened(text)}" has + or #; name the one topic of this meter')
    return text


Topic = Annotated[str, Reads(_topic, {"type": "string", "maxLength": 200, "examples": ["shop/planer/power"]})]


def _pointer(value: object) -> str:
    text = _text(value)
    if len(text) > 200 or not re.fullmatch(r"(/([^~/]|~[01])*)+", text):
        said = "write the path to the number in the message, such as /power or /phases/0/power"
        raise refuse(f'"{shortened(text)}" is no path into a JSON message; {said}')
    return text


Pointer = Annotated[
    str, Reads(_pointer, {"type": "string", "pattern": "^/", "examples": ["/power", "/phases/0/power"]})
]


def _password_from(value: object) -> tuple[PasswordPlace, str]:
    place, _, rest = _text(value).partition(" ")
    rest = rest.strip()
    if place == PasswordPlace.ENVIRONMENT.value and re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,79}", rest):
        return PasswordPlace.ENVIRONMENT, rest
    if place == PasswordPlace.FILE.value and rest.startswith("/") and rest.isprintable() and len(rest) <= 200:
        return PasswordPlace.FILE, rest
    # What stands here may be the password itself, so it is not shown.
    raise refuse(
        "a password does not stand in this file; write environment and the name of a variable, "
        "or file and a full path, such as file /etc/gatekeeper/broker"
    )


PasswordFrom = Annotated[
    tuple[PasswordPlace, str],
    Reads(
        _password_from, {"type": "string", "examples": ["environment BROKER_PASSWORD", "file /etc/gatekeeper/broker"]}
    ),
]
