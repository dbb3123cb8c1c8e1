"""Gauges in a shop file: what is understood, what is refused with its place, and what check says of them."""

import pytest

from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.findings import findings_of
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Gauge, GaugePoint, GaugeWire, Shop, SignalUnit

GARAGE = example("garage-one-collector").read_text(encoding="utf-8")
TEXT = (
    GARAGE.replace("converters:\n", "converters:\n  air board: {kind: ADS1115}\n")
    + """
brokers:
  house: {host: broker.local}
meters:
  pascals: {broker: house, topic: air/suction, every: 2 s}
gauges:
"""
)
VOLTS = "converter: air board, channel: 1, points: [500 mV at 0 Pa, 4.5 V at 5 kPa], divider: [10 kohm, 20 kohm]"
LOOP = "converter: clamp board, channel: 6, points: [20 mA at 2.5 kPa, 4 mA at 0 Pa], resistor: 150 ohm"


def read(*gauges: str, text: str = TEXT) -> Shop | Faults:
    return load_shop(text + "".join(f"  {gauge}\n" for gauge in gauges), "garage.yaml")


def shop_of(*gauges: str) -> Shop:
    shop = read(*gauges)
    assert isinstance(shop, Shop), shop.lines()
    return shop


def told(*gauges: str, text: str = TEXT) -> list[tuple[str, str]]:
    faults = read(*gauges, text=text)
    assert isinstance(faults, Faults)
    return [(" > ".join(map(str, fault.path)), fault.said) for fault in faults.each]


def said(shop: Shop, *codes: str) -> list[tuple[str, str]]:
    return [(one.code, one.said) for one in findings_of(shop) if one.code in codes]


def test_gauges_are_read_with_their_defaults() -> None:
    shop = shop_of(
        f"main gauge: {{duct: main near, {VOLTS}}}",
        f"filter gauge: {{filter_of: collector, {LOOP}, clean_at: 4 in wg}}",
        "net gauge: {duct: riser, meter: pascals, counts_in: in wg}",
    )
    volts = GaugeWire(
        "air board", 1, SignalUnit.VOLT, GaugePoint(0.5, 0.0), GaugePoint(4.5, 5000.0), (10_000.0, 20_000.0)
    )
    assert shop.gauges["main gauge"] == Gauge("main gauge", "collector", "main near", volts, None, 1.0)
    at_filter = shop.gauges["filter gauge"]
    assert at_filter.wire is not None
    assert (at_filter.wire.low, at_filter.wire.high) == (GaugePoint(0.004, 0.0), GaugePoint(0.020, 2500.0))
    assert (at_filter.motor, at_filter.is_at_filter) == ("collector", True)
    assert at_filter.clean_at_pa == pytest.approx(4 * 249.089)
    assert at_filter.today_at_pa == pytest.approx(5 * 249.089)
    assert shop.gauges["net gauge"] == Gauge("net gauge", "collector", "riser", None, "pascals", 249.089)
    # 4.5 V behind the divider is 3 V, and 4.096 V is the smallest full scale that shows it.
    assert shop.converters["air board"].singles == ((1, 4.096),)
    assert shop.converters["air board"].volts_of(1) == (4.096 / 32768, 32768)
    assert shop.converters["clamp board"].volts_of(6) == (3.3 / 4096, 0)


def test_the_smallest_full_scale_that_shows_the_signal_is_taken() -> None:
    shop = shop_of(
        "a: {duct: riser, converter: air board, channel: 3, points: [0 V at 0 Pa, 900 mV at 1 kPa]}",
        "b: {duct: main far, converter: air board, channel: 0, points: [4 mA at 0 Pa, 20 mA at 1 kPa], "
        "resistor: 82 ohm}",
    )
    assert shop.converters["air board"].singles == ((0, 2.048), (3, 1.024))


@pytest.mark.parametrize(
    ("gauge", "place", "said_there"),
    [
        (
            f"g: {{{VOLTS}}}",
            "gauges > g",
            "give duct for suction in a duct, or filter_of for the difference across a filter",
        ),
        (
            "g: {duct: riser}",
            "gauges > g",
            "nothing reads it; give converter with channel and points, or meter",
        ),
        (
            f"g: {{duct: riser, meter: pascals, {VOLTS}}}",
            "gauges > g",
            "a converter and a meter are both given; give converter with channel and points, or meter",
        ),
        (
            "g: {duct: riser, meter: pascals, channel: 1}",
            "gauges > g > channel",
            "this key is for a gauge on a converter; this one is on a meter",
        ),
        (
            f"g: {{duct: riser, {VOLTS}, counts_in: kPa}}",
            "gauges > g > counts_in",
            "this key is for a gauge on a meter; this one is on a converter",
        ),
        (
            "g: {duct: riser, converter: air board, points: [4 mA at 0 Pa, 20 mA at 1 kPa], resistor: 150 ohm}",
            "gauges > g",
            'the key "channel" is missing here',
        ),
        (
            "g: {duct: riser, converter: air board, channel: 4, points: [0 V at 0 Pa, 3 V at 1 kPa]}",
            "gauges > g > channel",
            "an ADS1115 has the inputs 0 to 3, A0 to A3",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [500 mV at 0 Pa, 4.5 V at 1 kPa]}",
            "gauges > g > points",
            "it gives up to 4.5 V at the converter, which takes 3.3 V; write divider: [10 kohm, 20 kohm]",
        ),
        (
            "g: {duct: riser, converter: clamp board, channel: 6, points: [0 V at 0 Pa, 10 V at 1 kPa], "
            "divider: [10 kohm, 10 kohm]}",
            "gauges > g > divider",
            "it gives up to 5 V at the converter, which takes 3.3 V; write divider: [30 kohm, 10 kohm]",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [4 mA at 0 Pa, 20 mA at 1 kPa]}",
            "gauges > g > points",
            "its signal is a current, and a converter reads volts; add resistor: 150 ohm",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [4 mA at 0 Pa, 20 mA at 1 kPa], "
            "resistor: 250 ohm}",
            "gauges > g > resistor",
            "it gives up to 5 V at the converter, which takes 3.3 V; write resistor: 150 ohm",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [0 V at 0 Pa, 3 V at 1 kPa], resistor: "
            "150 ohm}",
            "gauges > g > resistor",
            "this key is for a current; a voltage may have a divider",
        ),
        (
            f"g: {{duct: riser, {LOOP}, divider: [10 kohm, 10 kohm]}}",
            "gauges > g > divider",
            "this key is for a voltage; a current has a resistor",
        ),
        (
            f"g: {{duct: riser, {LOOP}, clean_at: 500 Pa}}",
            "gauges > g > clean_at",
            "this key is for a gauge across a filter; this one is in a duct",
        ),
        (
            f"g: {{filter_of: collector, {LOOP}, today_at: 500 Pa}}",
            "gauges > g > today_at",
            "today_at goes with clean_at; add it",
        ),
        (
            f"g: {{filter_of: collector, {LOOP}, clean_at: 500 Pa, today_at: 500 Pa}}",
            "gauges > g > today_at",
            "today_at is not above clean_at; make it larger",
        ),
        (
            f"g: {{filter_of: collector, {LOOP}, clean_at: 3 kPa}}",
            "gauges > g > clean_at",
            "this gauge shows at most 2500 Pa, so this is never reached",
        ),
        (
            "g: {duct: riser, converter: clamp board, channel: 3, points: [0 V at 0 Pa, 3 V at 1 kPa]}",
            "gauges > g",
            "channel 3 of clamp board is already taken by tools > bandsaw > sensor (line 84); give each its own",
        ),
        ("g: {duct: moon, meter: pascals}", "gauges > g > duct", '"moon" is none of the ducts of this shop'),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [4 mA at 0 Pa, 5 V at 1 kPa]}",
            "gauges > g > points",
            "one point is a voltage and the other a current; a transmitter gives one of the two",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [1 V at 0 Pa, 1 V at 1 kPa]}",
            "gauges > g > points",
            "the two points have the same signal or the same pressure; nothing could be read between them",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [1 V at 0 Pa]}",
            "gauges > g > points",
            "a transmitter is given by two points, such as [500 mV at 0 Pa, 4.5 V at 5 kPa]",
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [1 V at 0 Pa, 2 hp at 1 kPa]}",
            "gauges > g > points",
            '"2 hp" is neither a voltage nor a current; write such as 500 mV, 4.5 V or 4 mA',
        ),
        (
            "g: {duct: riser, converter: air board, channel: 0, points: [0 V at 0 Pa, 10 V at 1 kPa], divider: "
            "10 kohm}",
            "gauges > g > divider",
            "a divider is two resistors, from the transmitter to the input and from there to ground, such as "
            "[10 kohm, 20 kohm]",
        ),
    ],
)
def test_what_makes_no_gauge_is_refused_at_its_place(gauge: str, place: str, said_there: str) -> None:
    faults = told(gauge)
    assert any(where == place and what.startswith(said_there) for where, what in faults), faults


def test_two_gauges_at_one_place_are_one_too_many() -> None:
    faults = told(f"one: {{duct: riser, {VOLTS}}}", "two: {duct: riser, meter: pascals}")
    assert ("gauges > two > duct", "one measures there already; keep one of the two") in faults


def test_an_ads1115_serves_a_clamp_or_gauges() -> None:
    text = TEXT.replace(
        "sensor: {converter: clamp board, channel: 3, range: 30 A}",
        "sensor: {converter: air board, channel: 0, range: 30 A}",
    )
    faults = told(f"main gauge: {{duct: riser, {VOLTS}}}", text=text)
    assert faults == [
        (
            "gauges > main gauge > converter",
            "a clamp is on air board too (of bandsaw). An ADS1115 with a clamp has no time for main gauge: use another "
            "ADS1115, or an MCP3208 for all of them",
        )
    ]
    text = TEXT.replace("{kind: ADS1115}", "{kind: ADS1115, full_scale: 512 mV}")
    assert told(f"main gauge: {{duct: riser, {VOLTS}}}", text=text) == [
        (
            "converters > air board > full_scale",
            "this key is for a clamp; for main gauge the program chooses it by their points",
        )
    ]


def test_check_says_what_a_gauge_in_a_duct_sees() -> None:
    shop = shop_of(f"main gauge: {{duct: main far, {VOLTS}}}")
    assert said(shop, "gauge", "gauge_sees", "gauge_no_zero", "gauge_range", "gauge_coarse", "slow_converter") == [
        (
            "gauge",
            "It measures suction in main far, towards collector. The monthly check takes its reading, and it is "
            "watched "
            "against day one once ten working days have shown what is usual.",
        ),
        (
            "gauge_sees",
            "The air of planer, bandsaw, drum sander and mitre saw passes its hole, and that of the others does "
            "not: of "
            "these it only sees what they take from the same fan. A hole in the main near collector sees all.",
        ),
    ]


def test_check_says_what_a_signal_and_a_range_cannot() -> None:
    shop = shop_of(
        "low: {duct: riser, converter: air board, channel: 0, points: [0 V at 0 Pa, 3 V at 1 kPa]}",
        "high: {duct: main far, converter: air board, channel: 1, points: [500 mV at 0 Pa, 3 V at 25 kPa]}",
        "filter: {filter_of: collector, converter: air board, channel: 2, points: [500 mV at 0 Pa, 3 V at 25 kPa], "
        "clean_at: 2 in wg}",
        "net: {duct: saw drop, meter: pascals}",
    )
    found = dict(said(shop, "gauge_no_zero", "gauge_range", "gauge_meter"))
    assert found == {
        "gauge_no_zero": "Its signal begins at nothing, so a broken wire reads as no pressure. One that begins at 4 mA "
        "or at half a volt says so itself.",
        "gauge_range": "It shows up to 4.0 in wg, and this fan makes up to 11.4 in wg with its way shut: a blocked "
        "main is then beyond what it shows.",
        "gauge_meter": "Without the broker, or after 6 s without a message, it counts as lost: you are told.",
    }
    assert [text for _, text in said(shop, "gauge_coarse")] == [
        "It shows up to 100.4 in wg, 9 times what it ever sees here: half a percent of its range, as usual ones may be "
        "off, is 4% of that. Take one with less range.",
        "It shows up to 100.4 in wg, 50 times what it is to tell: half a percent of its range, as usual ones may be "
        "off, is 25% of that. Take one with less range.",
    ]


def test_check_says_by_what_a_filter_is_called_for() -> None:
    silent = shop_of(f"filter gauge: {{filter_of: collector, {LOOP}}}")
    assert said(silent, "gauge_no_threshold") == [
        (
            "gauge_no_threshold",
            "It measures the difference across the filter of collector, and nothing is said by it: write clean_at, the "
            "pressure at which the filter's maker wants it cleaned.",
        )
    ]
    speaks = shop_of(f"filter gauge: {{filter_of: collector, {LOOP}, clean_at: 1 kPa, today_at: 1.5 kPa}}")
    assert said(speaks, "gauge", "gauge_no_threshold") == [
        (
            "gauge",
            "The filter of collector wants cleaning from 4.0 in wg on, when you can, and from 6.0 in wg on "
            "today, by two "
            "of the last four runs of a machine.",
        )
    ]
