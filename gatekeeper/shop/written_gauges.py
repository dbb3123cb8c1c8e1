"""Pressure transmitters as they are written in a shop file, and what becomes of them. Part of ``written``."""

from collections.abc import Mapping
from typing import Annotated

from gatekeeper.shop.fields import Name, choice, quantity, whole
from gatekeeper.shop.fields_gauges import Divider, GaugePoints, PressureUnit
from gatekeeper.shop.model_gauges import Gauge, GaugeWire
from gatekeeper.shop.part import Part, key

#: From this many times ``clean_at`` on a filter is for today, where the file does not say. Ours.
TODAY_TIMES = 1.25


class GaugePart(Part):
    """A pressure transmitter: suction at a hole in a duct, or the difference across a filter."""

    duct: Name | None = key("The duct with the hole; it is read at its end towards the collector.", None)
    filter_of: Name | None = key("Or the collector across whose filter it measures the difference.", None)
    converter: Name | None = key("The converter that it is wired to.", None)
    channel: Annotated[int, whole(0, 7)] | None = key(
        "Its input, 0 to 7; on an ADS1115, 0 to 3 for A0 to A3, each against ground.", None
    )
    points: GaugePoints | None = key(
        "Two points of its signal, suction as a positive pressure: [500 mV at 0 Pa, 4.5 V at 5 kPa].", None
    )
    divider: Divider | None = key(
        "Two resistors that bring its voltage down: from it to the input, and from the input to ground.", None
    )
    resistor: Annotated[float, quantity("resistance", "10 ohm", "1 kohm")] | None = key(
        "The resistor from the input to ground through which its current flows.", None
    )
    meter: Name | None = key("Or the meter that publishes its pressure, one of meters.", None)
    counts_in: Annotated[PressureUnit, choice(PressureUnit)] = key(
        "What the meter's numbers are. Default Pa.", PressureUnit.PASCAL
    )
    clean_at: Annotated[float, quantity("pressure", "20 Pa", "20 kPa")] | None = key(
        "At a filter: from this pressure on it wants cleaning when you can.", None
    )
    today_at: Annotated[float, quantity("pressure", "20 Pa", "20 kPa")] | None = key(
        "At a filter: from this pressure on it wants cleaning today. Default: a quarter above clean_at.", None
    )


def wire_of(part: GaugePart) -> GaugeWire | None:
    """A transmitter's wire, where enough of it is given to say."""
    if part.converter is None or part.channel is None or part.points is None:
        return None
    unit, low, high = part.points
    return GaugeWire(part.converter, part.channel, unit, low, high, part.divider, part.resistor)


def gauges_of(parts: Mapping[str, GaugePart], motor_of_duct: Mapping[str, str]) -> dict[str, Gauge]:
    """Every gauge of a shop; ``parts`` must be free of faults.

    Args:
        parts: as written.
        motor_of_duct: where each duct ends.
    """
    found = {}
    for name, part in parts.items():
        motor = part.filter_of if part.filter_of is not None else motor_of_duct[part.duct or ""]
        today_pa = part.today_at
        if today_pa is None and part.clean_at is not None:
            today_pa = TODAY_TIMES * part.clean_at
        found[name] = Gauge(
            name, motor, part.duct, wire_of(part), part.meter, part.counts_in.pa, part.clean_at, today_pa
        )
    return found
