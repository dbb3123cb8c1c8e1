"""What ``check`` says of pressure transmitters: what each sees, what it cannot, and what its filter is told by."""

from collections.abc import Iterator

from gatekeeper.shop.faults import listed
from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.model import Gauge, Shop, Units

_PA_OF_INCH = 249.089
#: A gauge that shows this many times the fan's own highest pressure reads it coarsely. Ours.
COARSE_TIMES = 6.0
#: Where half a percent of its range, what a usual transmitter may be off (common practice), is this share of what it
#: is to tell, it tells little. Ours.
USUAL_ERROR, TOLD_LITTLE = 0.005, 0.1


def gauge_findings(shop: Shop) -> Iterator[Finding]:
    """What is to be said of the gauges."""
    for gauge in shop.gauges.values():
        yield from _at_filter(shop, gauge) if gauge.is_at_filter else _in_duct(shop, gauge)
        yield from _signal(shop, gauge)


def seen_from(shop: Shop, gauge: Gauge) -> list[str]:
    """The machines whose air passes a gauge in a duct."""
    return [
        tool.name
        for tool in shop.tools_of(gauge.motor)
        if any(_passes(shop, shop.gates[gate].duct, gauge.duct) for gate in tool.gates)
    ]


def _passes(shop: Shop, duct: str | None, tap: str | None) -> bool:
    while duct is not None and duct in shop.ducts:
        if duct == tap:
            return True
        duct = shop.ducts[duct].towards
    return False


def _in_duct(shop: Shop, gauge: Gauge) -> Iterator[Finding]:
    here, everyone = seen_from(shop, gauge), [tool.name for tool in shop.tools_of(gauge.motor)]
    said = (
        f"It measures suction in {gauge.duct}, towards {gauge.motor}. The monthly check takes its reading, and it is "
        "watched against day one once ten working days have shown what is usual."
    )
    yield nice("gauge", gauge.name, said)
    if len(here) < len(everyone):
        passing = listed(here, "and", 6) if here else "no machine"
        yield nice(
            "gauge_sees",
            gauge.name,
            f"The air of {passing} passes its hole, and that of the others does not: of these it only sees what they "
            f"take from the same fan. A hole in the main near {gauge.motor} sees all.",
        )


def _at_filter(shop: Shop, gauge: Gauge) -> Iterator[Finding]:
    if gauge.clean_at_pa is None:
        said = (
            f"It measures the difference across the filter of {gauge.motor}, and nothing is said by it: write "
            "clean_at, the pressure at which the filter's maker wants it cleaned."
        )
        yield bite("gauge_no_threshold", gauge.name, said)
        return
    assert gauge.today_at_pa is not None
    said = (
        f"The filter of {gauge.motor} wants cleaning from {_words(shop, gauge.clean_at_pa)} on, when you can, and from "
        f"{_words(shop, gauge.today_at_pa)} on today, by two of the last four runs of a machine."
    )
    yield nice("gauge", gauge.name, said)
    most_pa = gauge.most_pa
    if most_pa is not None and USUAL_ERROR * most_pa > TOLD_LITTLE * gauge.clean_at_pa:
        yield bite("gauge_coarse", gauge.name, _coarse(shop, most_pa, gauge.clean_at_pa, "is to tell"))


def _signal(shop: Shop, gauge: Gauge) -> Iterator[Finding]:
    if gauge.meter is not None:
        meter = shop.meters[gauge.meter]
        said = f"Without the broker, or after {meter.silence_s:g} s without a message, it counts as lost: you are told."
        yield nice("gauge_meter", gauge.name, said)
        return
    assert gauge.wire is not None
    if not gauge.wire.has_live_zero:
        yield bite(
            "gauge_no_zero",
            gauge.name,
            "Its signal begins at nothing, so a broken wire reads as no pressure. One that begins at 4 mA or at half a "
            "volt says so itself.",
        )
    motor, most_pa = shop.motors[gauge.motor], gauge.most_pa
    if gauge.is_at_filter or most_pa is None or not motor.fan_curve:
        return
    highest_pa = max(point.pressure_pa for point in motor.fan_curve)
    if most_pa < highest_pa:
        said = (
            f"It shows up to {_words(shop, most_pa)}, and this fan makes up to {_words(shop, highest_pa)} with its "
            "way shut: a blocked main is then beyond what it shows."
        )
        yield bite("gauge_range", gauge.name, said)
    elif most_pa > COARSE_TIMES * highest_pa:
        yield bite("gauge_coarse", gauge.name, _coarse(shop, most_pa, highest_pa, "ever sees here"))


def _coarse(shop: Shop, most_pa: float, told_pa: float, why: str) -> str:
    return (
        f"It shows up to {_words(shop, most_pa)}, {most_pa / told_pa:.0f} times what it {why}: half a percent of its "
        f"range, as usual ones may be off, is {USUAL_ERROR * most_pa / told_pa:.0%} of that. Take one with less range."
    )


def _words(shop: Shop, pa: float) -> str:
    return f"{pa / _PA_OF_INCH:.1f} in wg" if shop.units is Units.INCH else f"{pa / 1000:.2f} kPa"
