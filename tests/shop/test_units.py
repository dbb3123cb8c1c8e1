"""Quantities as people write them, against values worked out by hand."""

import pytest

from gatekeeper.shop.units import QuantityError, parse, units_of


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("6 in", "length", 0.1524),
        ("2 1/2 in", "length", 0.0635),
        ("3/4 in", "length", 0.01905),
        ('4"', "length", 0.1016),
        ("20 ft", "length", 6.096),
        ("160 mm", "length", 0.16),
        ("6in", "length", 0.1524),
        ("350 cfm", "flow", 0.165181605),
        ("600 m3/h", "flow", 1 / 6),
        ("600 m³/h", "flow", 1 / 6),
        ("3 hp", "power", 2237.1),
        ("2.2 kW", "power", 2200.0),
        ("17 A", "current", 17.0),
        ("400 mA", "current", 0.4),
        ("8 s", "time", 8.0),
        ("5 min", "time", 300.0),
        ("1 hour", "time", 3600.0),
        ("250 ms", "time", 0.25),
        ("70 F", "temperature", 21.111),
        ("-40 F", "temperature", -40.0),
        ("-5 °C", "temperature", -5.0),
        ("8 in wg", "pressure", 1992.712),
        ("50 lb ft2", "inertia", 2.107),
        ("12 per hour", "rate", 12.0),
        ("12", "rate", 12.0),
        ("1500 us", "pulse", 0.0015),
        ("22 ohm", "resistance", 22.0),
    ],
)
def test_a_quantity_becomes_si(text: str, kind: str, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("8", "time", '"8" has no unit; write it with ms, s, min or h'),
        ("8 C", "current", '"C" in "8 C" is not a unit of current here; use A or mA'),
        ("eight s", "time", '"eight s" does not begin with a number; write a number and a unit (ms, s, min or h)'),
        ("", "time", '"" does not begin with a number; write a number and a unit (ms, s, min or h)'),
        ("1,200 cfm", "flow", '"1,200 cfm" has a comma; write the number with a point and no thousands mark'),
        ("1.2.3 s", "time", '"1.2.3 s" does not begin with a number; write a number and a unit (ms, s, min or h)'),
        ("1/0 in", "length", '"1/0 in" divides by zero; write a number and a unit (mm, cm, m, in or ft)'),
        ("nan s", "time", '"nan s" does not begin with a number; write a number and a unit (ms, s, min or h)'),
        ("٣ s", "time", '"٣ s" does not begin with a number; write a number and a unit (ms, s, min or h)'),
        ("9" * 50 + " s", "time", f'"{"9" * 40} …" is too long for a quantity; write a number and a unit'),
    ],
)
def test_what_cannot_be_read_says_why(text: str, kind: str, said: str) -> None:
    with pytest.raises(QuantityError) as trouble:
        parse(text, kind)

    assert str(trouble.value) == said


def test_capital_letters_matter_only_where_they_would_lie() -> None:
    assert parse("3 HP", "power") == parse("3 hp", "power")
    assert parse("5 ma", "current") == 0.005


def test_the_units_of_a_kind_are_a_list_in_words() -> None:
    assert units_of("temperature") == "C or F"
    assert units_of("flow") == "m3/s, m3/h, l/s or cfm"
