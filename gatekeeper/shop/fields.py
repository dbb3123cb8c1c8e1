"""The kinds of value that a shop file holds, each read from raw text and described for the JSON Schema.

Every reader takes the text as written and raises a PydanticCustomError whose message is a whole sentence: what was
found, what is allowed, the nearest right word. Nothing is guessed: a number without its unit is refused.
"""

import itertools
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Any, TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from gatekeeper.shop.faults import did_you_mean, listed, shortened
from gatekeeper.shop.lines import LAST_LINE, TO_BE_CHOSEN, UNCHOSEN
from gatekeeper.shop.model import BoardDeath, Contact, Fitting, FlowPoint, Output, Span
from gatekeeper.shop.units import QuantityError, parse, units_of

Chosen = TypeVar("Chosen", bound=Enum)

ELBOW_ANGLES = (30, 45, 60, 90)
ELBOW_RADII = {0: (0.5, 2.5), 2: (0.0, 99.0), 3: (0.5, 2.0), 4: (0.75, 2.0), 5: (0.75, 2.0)}
"""By the number of pieces (0 smooth, 2 one cut): radius over diameter, as far as the published tables go."""

FITTINGS = ("elbow", "wye", "tee", "reducer", "cap", "splitter")


@dataclass(frozen=True, slots=True, eq=False)
class Reads:
    """Put into ``Annotated[...]``: the function that reads a field's text, and what the JSON Schema says of it."""

    read: Callable[[object], object]
    schema: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return dict(self.schema)


def refuse(said: str) -> PydanticCustomError:
    """The error that carries one whole sentence. Braces in what was written are never taken for a template."""
    return PydanticCustomError("said", "{said}", {"said": said})


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise refuse("a list or further keys stand here; write one value")
    return value


def _quantity_of(value: object, kind: str) -> float:
    try:
        return parse(_text(value), kind)
    except QuantityError as error:
        raise refuse(str(error)) from None


def quantity(kind: str, least: str, most: str) -> Reads:
    """How a field is read: one quantity between ``least`` and ``most``, as people write them; its value is in SI."""
    low, high = parse(least, kind), parse(most, kind)

    def read(value: object) -> float:
        number = _quantity_of(value, kind)
        if not low <= number <= high:
            raise refuse(f'"{value}" is out of range; it lies between {least} and {most}')
        return number

    schema = {"type": ["string", "number"] if kind == "rate" else "string", "examples": [least, most]}
    schema["description"] = f"A {kind} from {least} to {most}, written with {units_of(kind)}."
    return Reads(read, schema)


def choice(kind: type[Chosen]) -> Reads:
    """How a field is read: for one word out of an Enum's values."""
    words = {str(member.value): member for member in kind}

    def read(value: object) -> Enum:
        word = " ".join(_text(value).split())
        if word not in words:
            said = f'"{shortened(word)}" is not one of {listed(list(words), longest=12)}'
            raise refuse(said + did_you_mean(word, words))
        return words[word]

    return Reads(read, {"enum": list(words)})


def _whole_of(text: str, least: int, most: int) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text) or not least <= int(text) <= most or (len(text) > 1 and text[0] == "0"):
        raise refuse(f'"{shortened(text)}" is not a whole number from {least} to {most}')
    return int(text)


def whole(least: int, most: int) -> Reads:
    """How a field is read: for a whole number, ends included."""
    schema = {"type": ["integer", "string"], "minimum": least, "maximum": most, "pattern": "^[0-9]+$"}
    return Reads(lambda value: _whole_of(_text(value), least, most), schema)


def number(least: float, most: float) -> Reads:
    """How a field is read: for a plain number without a unit, ends included."""

    def read(value: object) -> float:
        text = _text(value)
        if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,9})?", text) or not least <= float(text) <= most:
            raise refuse(f'"{shortened(text)}" is not a number from {least:g} to {most:g}')
        return float(text)

    schema = {"type": ["number", "string"], "minimum": least, "maximum": most, "pattern": r"^[0-9]+(\.[0-9]+)?$"}
    return Reads(read, schema)


def _yes_no(value: object) -> bool:
    word = _text(value).lower()
    if word in ("yes", "no"):
        return word == "yes"
    hint = {"true": "; write yes", "on": "; write yes", "false": "; write no", "off": "; write no"}.get(word, "")
    raise refuse(f'"{shortened(word)}" is neither yes nor no' + hint)


YesNo = Annotated[bool, Reads(_yes_no, {"enum": ["yes", "no", True, False]})]


def name_fault(name: str) -> str | None:
    """What is wrong with the name of a thing, or None. Names stand on screens, in the record and in addresses."""
    if not name.strip() or name != name.strip() or not name.isprintable():
        return f'"{shortened(name)}" cannot be a name; write a word or a few, without blanks at the ends'
    if len(name) > 40:
        return f'"{shortened(name)}" is too long for a name; at most 40 characters fit on a sign and a phone'
    if any(char in name for char in "/\\<>\"'`:#?&%"):
        return f'"{shortened(name)}" cannot be a name; leave out / \\ < > quotes : # ? & and %'
    return None


def _name(value: object) -> str:
    text = _text(value)
    wrong = name_fault(text)
    if wrong is not None:
        raise refuse(wrong)
    return text


def _names(value: object) -> tuple[str, ...]:
    if isinstance(value, list):
        if not value:
            raise refuse("this list is empty; name at least one")
        return tuple(_name(item) for item in value)
    return (_name(value),)


def _free_text(value: object) -> str:
    text = _text(value)
    if not text.strip() or len(text) > 80 or not text.isprintable():
        raise refuse(f'"{shortened(text)}" is not a line of 1 to 80 characters')
    return text


Name = Annotated[str, Reads(_name, {"type": "string", "minLength": 1, "maxLength": 40})]
Names = Annotated[
    tuple[str, ...],
    Reads(_names, {"type": ["string", "array"], "items": {"type": "string"}, "minItems": 1}),
]
FreeText = Annotated[str, Reads(_free_text, {"type": "string", "maxLength": 80})]
FreeTexts = Annotated[
    tuple[str, ...],
    Reads(
        lambda value: tuple(_free_text(one) for one in (value if isinstance(value, list) else [value])),
        {"type": ["string", "array"], "items": {"type": "string", "maxLength": 80}},
    ),
]


def line_of(text: str) -> int | None:
    """The GPIO line that a pin text begins with, or None. ``GPIO17``, ``GPIO 17`` and ``17`` are the same."""
    match = re.match(r"(?:GPIO\s?)?(0|[1-9][0-9]?)(?![0-9.])", text.strip(), re.IGNORECASE)
    return int(match[1]) if match is not None and int(match[1]) <= LAST_LINE else None


def _pin_and_words(value: object, allowed: tuple[str, ...]) -> tuple[int, str]:
    text = " ".join(_text(value).split())
    line = UNCHOSEN if text.startswith(TO_BE_CHOSEN) else line_of(text)
    words = re.sub(rf"^({TO_BE_CHOSEN}|(GPIO\s?)?[0-9]+)", "", text, count=1, flags=re.IGNORECASE).strip()
    if line is None:
        raise refuse(f'"{shortened(text)}" is not a pin; write GPIO0 to GPIO{LAST_LINE}, such as GPIO17')
    if words and words not in allowed:
        said = f'"{shortened(words)}" is not known after a pin here; '
        raise refuse(said + (f'write nothing or "{listed(allowed)}"' if allowed else "write the pin alone"))
    return line, words


def _output(value: object) -> Output:
    line, words = _pin_and_words(value, ("active low", "active high"))
    return Output(line, words == "active low")


def _contact(value: object) -> tuple[int, bool | None]:
    line, words = _pin_and_words(value, ("normally closed", "normally open"))
    return line, {"": None, "normally closed": True, "normally open": False}[words]


def contact_of(written: tuple[int, bool | None], *, closed_by_default: bool = False) -> Contact:
    """A written contact with its default: most contacts are normally open, those of a stop circuit normally closed."""
    line, is_closed = written
    return Contact(line, closed_by_default if is_closed is None else is_closed)


_PIN = rf"^((GPIO ?)?[0-9]{{1,2}}|{TO_BE_CHOSEN})"
Pin = Annotated[
    int,
    Reads(
        lambda value: _pin_and_words(value, ())[0],
        {"type": ["string", "integer"], "pattern": _PIN + "$", "examples": ["GPIO12"]},
    ),
]
OutputPin = Annotated[
    Output,
    Reads(_output, {"type": ["string", "integer"], "pattern": _PIN, "examples": ["GPIO17", "GPIO5 active low"]}),
]
ContactPin = Annotated[
    tuple[int, bool | None],
    Reads(_contact, {"type": ["string", "integer"], "pattern": _PIN, "examples": ["GPIO23", "GPIO23 normally closed"]}),
]


def _board_death(value: object) -> tuple[BoardDeath, float]:
    text = " ".join(_text(value).split())
    if text == "drops":
        return BoardDeath.DROPS, 0.0
    if text == "stays":
        return BoardDeath.STAYS, float("inf")
    if text.startswith("drops after "):
        seconds = _quantity_of(text.removeprefix("drops after "), "time")
        if not 0 < seconds <= 60:
            raise refuse(f'"{shortened(text)}" is out of range; an output drops after 60 s at the latest')
        return BoardDeath.DROPS_LATER, seconds
    raise refuse(f'"{shortened(text)}" is not one of drops, drops after 5 s (its own time) or stays')


WhenBoardDies = Annotated[
    tuple[BoardDeath, float],
    Reads(_board_death, {"type": "string", "pattern": "^(drops|stays|drops after .+)$"}),
]


_FITTING = re.compile(
    r"(?:(?P<count>[1-9][0-9]?) ?x )?(?:(?P<angle>[0-9]{1,2}) )?(?P<kind>[a-z]+)"
    r"(?: R ?(?P<radius>[0-9](?:\.[0-9]{1,2})?))?(?: of (?P<pieces>[2-5]) pieces)?"
)


def _fitting(text: str) -> Fitting:
    match = _FITTING.fullmatch(text)
    kind = match["kind"].removesuffix("s") if match is not None else ""
    if match is None or kind not in FITTINGS:
        said = f'"{shortened(text)}" is not a fitting; write such as 90 elbow, 2 x 45 elbow, 45 wye, tee or reducer'
        raise refuse(said + did_you_mean(kind, FITTINGS))
    angle = int(match["angle"]) if match["angle"] else {"elbow": 90, "wye": 45, "tee": 90}.get(kind, 0)
    if kind in ("elbow", "wye") and angle not in ELBOW_ANGLES:
        raise refuse(f'"{shortened(text)}" has an angle that is not listed; use 30, 45, 60 or 90')
    radius, pieces = match["radius"], match["pieces"]
    if (radius or pieces) and kind != "elbow":
        raise refuse(f'"{shortened(text)}" has a radius or pieces, which only an elbow has; take them out')
    ratio = float(radius) if radius else None
    least, most = ELBOW_RADII[int(pieces or 0)]
    if ratio is not None and not least <= ratio <= most:
        said = f"has a radius that is not listed; it lies between {least:g} and {most:g} diameters"
        raise refuse(f'"{shortened(text)}" {said}')
    return Fitting(kind, float(angle), int(match["count"] or 1), ratio, int(pieces) if pieces else None)


def _fittings(value: object) -> tuple[Fitting, ...]:
    items = value if isinstance(value, list) else [value]
    return tuple(_fitting(" ".join(_text(item).split())) for item in items)


Fittings = Annotated[
    tuple[Fitting, ...],
    Reads(_fittings, {"type": ["string", "array"], "items": {"type": "string"}, "examples": [["90 elbow", "45 wye"]]}),
]


def _pair(value: object, joiner: str, example: str) -> tuple[str, str]:
    parts = re.split(rf"\s+{joiner}\s+", _text(value).strip())
    if len(parts) != 2:
        raise refuse(f'"{shortened(_text(value))}" does not read as two values; write such as {example}')
    return parts[0], parts[1]


def _flow_point(value: object) -> FlowPoint:
    flow, pressure = _pair(value, "at", "350 cfm at 8 in wg")
    point = FlowPoint(_quantity_of(flow, "flow"), _quantity_of(pressure, "pressure"))
    if point.flow_m3s < 0 or point.pressure_pa < 0:
        raise refuse(f'"{shortened(str(value))}" is below zero; a flow and a pressure are not')
    return point


def _flow_points(value: object) -> tuple[FlowPoint, ...]:
    if not isinstance(value, list) or len(value) < 2:
        raise refuse("a fan curve is a list of at least two points such as 350 cfm at 8 in wg")
    points = tuple(_flow_point(item) for item in value)
    for before, after in itertools.pairwise(points):
        if after.flow_m3s <= before.flow_m3s:
            raise refuse("the points of a fan curve go from the smallest flow to the largest; put them in order")
    if points[-1].pressure_pa >= points[-2].pressure_pa:
        raise refuse("a fan curve falls at its end, or it never meets the losses of the ducts; mend the last points")
    return points


FlowAtPressure = Annotated[FlowPoint, Reads(_flow_point, {"type": "string", "examples": ["350 cfm at 8 in wg"]})]
FanCurve = Annotated[
    tuple[FlowPoint, ...],
    Reads(_flow_points, {"type": "array", "minItems": 2, "items": {"type": "string"}}),
]


def _band(value: object) -> tuple[float, float]:
    low, high = (_quantity_of(part, "current") for part in _pair(value, "to", "2 A to 6 A"))
    if not 0 < low < high <= 400:
        raise refuse(f'"{shortened(str(value))}" is no band; the first current is above 0 and below the second')
    return low, high


Band = Annotated[tuple[float, float], Reads(_band, {"type": "string", "examples": ["2 A to 6 A"]})]


def _minute_of_day(text: str) -> int:
    match = re.fullmatch(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", text)
    if match is None:
        raise refuse(f'"{shortened(text)}" is not a time of day; write such as 8:00 or 21:30')
    return int(match[1]) * 60 + int(match[2])


def day_span_of(value: object) -> Span:
    """A span of the day, such as ``8:00 to 18:00``; it may run past midnight."""
    start, end = (_minute_of_day(part) for part in _pair(value, "to", "8:00 to 18:00"))
    if start == end:
        raise refuse(f'"{shortened(str(value))}" is no span; it begins and ends at the same time')
    return Span(start, end)


DaySpan = Annotated[Span, Reads(day_span_of, {"type": "string", "examples": ["8:00 to 18:00", "21:00 to 7:00"]})]


def _door_code(value: object) -> str:
    text = _text(value)
    if not re.fullmatch(r"[0-9]{4,8}", text):
        raise refuse("the page's PIN is 4 to 8 digits; put it in quotes when it begins with 0")
    return text


PagePin = Annotated[str, Reads(_door_code, {"type": ["string", "integer"], "examples": ["2719"]})]
