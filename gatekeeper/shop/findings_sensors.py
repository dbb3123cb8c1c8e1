"""What ``check`` says of sensors besides clamps: what sees late, what nobody can tell apart, how a run ends."""

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from gatekeeper.shop.converters import BLOCK_SAMPLES, samples_each
from gatekeeper.shop.faults import listed
from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.kinds import ContactUse, EndsBy
from gatekeeper.shop.model import Circuit, Sensor, Shop

_USES = {
    ContactUse.BUTTON: "a press",
    ContactUse.FOOT_SWITCH: "a step",
    ContactUse.HOSE_HOOK: "lifting the hose",
    ContactUse.AIR_LINE: "air drawn from the line",
}
_LET_GO = {
    ContactUse.BUTTON: "letting go",
    ContactUse.FOOT_SWITCH: "taking the foot off",
    ContactUse.HOSE_HOOK: "hanging it back",
    ContactUse.AIR_LINE: "air that stands still",
}


def sensor_findings(shop: Shop) -> Iterator[Finding]:
    """What is to be said of circuits, slow converters, meters and contacts that somebody works."""
    for circuit in shop.circuits.values():
        if len(circuit.tools) > 1:
            yield from _circuit(shop, circuit)
    yield from _slow_converters(shop)
    for tool in shop.tools.values():
        if tool.sensor is not None:
            yield from _sensor(shop, tool.sensor)
    for sensor in (*(c.sensor for c in shop.circuits.values()), *(m.confirmed_by for m in shop.motors.values())):
        if sensor is not None:
            yield from _sensor(shop, sensor)
    if shop.brokers:
        said = "What meters say crosses your network unencrypted: keep broker and board on a network of your own."
        yield nice("broker_open", "shop", said)


def told_apart(bands: Sequence[tuple[str, tuple[float, float]]]) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """The pairs of sets of tools whose currents overlap: the same as ``gatekeeper.sensing.circuits.confusions``.

    Args:
        bands: each tool with its lowest and highest running current, amperes.
    """
    ranges = []
    for size in range(1, len(bands) + 1):
        for group in combinations(bands, size):
            lows = [band[0] for _, band in group]
            cross = sum(a * b for a, b in combinations(lows, 2))
            low = math.sqrt(sum(a * a for a in lows) + cross)
            ranges.append((tuple(name for name, _ in group), low, sum(band[1] for _, band in group)))
    return [
        (names, others)
        for (names, low, high), (others, other_low, other_high) in combinations(ranges, 2)
        if low <= other_high and other_low <= high
    ]


def _circuit(shop: Shop, circuit: Circuit) -> Iterator[Finding]:
    tools = listed(circuit.tools, "and", 6)
    bands = [(name, band) for name in circuit.tools if (band := shop.tools[name].band_a) is not None]
    if circuit.sensor.channel is None:
        what = "its meter" if circuit.sensor.metered is not None else "its current switch"
        said = f"{tools} hang on it, and {what} only says that one of them runs: then the gates of all of them open."
        yield bite("circuit_untold", circuit.name, f"{said} A clamp with a band for each tells them apart.")
        return
    if len(bands) < len(circuit.tools):
        bare = [name for name in circuit.tools if shop.tools[name].band_a is None]
        said = f"{tools} hang on it, and {listed(bare, 'and', 6)} {'has' if len(bare) == 1 else 'have'} no band: "
        yield bite("circuit_untold", circuit.name, f"{said}when one of them runs, the gates of all of them open.")
        return
    unclear = told_apart(bands)
    if not unclear:
        said = f"{tools} are told apart by their running current, half a second after a start."
        yield nice("circuit_told", circuit.name, f"{said} Until then the gates of all of them are open.")
        return
    pairs = [f"{_together(one)} from {_together(other)}" for one, other in unclear]
    said = f"Their currents do not tell {listed(pairs, 'nor', 2)}: in doubt, the gates of all of these open."
    yield bite("circuit_untold", circuit.name, f"{said} Bands that overlap less, or two clamps, end that.")


def _together(tools: tuple[str, ...]) -> str:
    return f"{tools[0]} alone" if len(tools) == 1 else f"{listed(tools, 'and', 6)} together"


def _slow_converters(shop: Shop) -> Iterator[Finding]:
    for converter in shop.converters.values():
        if not converter.kind.is_on_i2c or converter.singles:
            continue
        rate = samples_each(1)
        late_ms = 1000 * (2 / shop.mains_hz + BLOCK_SAMPLES / rate)
        yield nice(
            "slow_converter",
            converter.name,
            f"An ADS1115 gives {rate:.0f} samples a second at worst, {rate / shop.mains_hz:.0f} a mains cycle, enough "
            f"for one clamp: a start is seen within about {late_ms:.0f} ms. Set the I2C bus to 400 kHz "
            "(dtparam=i2c_arm_baudrate=400000); at the usual 100 kHz it may be too slow, and its clamp then counts as "
            "lost.",
        )


def _sensor(shop: Shop, sensor: Sensor) -> Iterator[Finding]:
    if sensor.metered is not None and sensor.owner in shop.motors:
        meter = shop.meters[sensor.metered.meter]
        yield nice(
            "meter_confirms",
            sensor.owner,
            f"Its meter speaks every {meter.every_s:g} s, so a start that failed is noticed that much later. Without "
            f"the broker, or after {meter.silence_s:g} s without a message, nothing confirms this motor: you are told.",
        )
    elif sensor.metered is not None:
        meter = shop.meters[sensor.metered.meter]
        yield bite(
            "meter_slow",
            sensor.owner,
            f"Its meter speaks every {meter.every_s:g} s, so a start is seen up to {meter.every_s:g} s late, and the "
            "chips come before the air. A clamp or a current switch sees it within two mains cycles.",
        )
        yield nice(
            "meter_lost",
            sensor.owner,
            f"Without the broker, or after {meter.silence_s:g} s without a message, its meter counts as lost: you are "
            "told, its gate does not shut, and nothing starts by it. A message that the broker kept starts nothing.",
        )
    if sensor.asking is not None:
        asking = sensor.asking
        end = "the next one" if asking.ends is EndsBy.PRESS_AGAIN else _LET_GO[asking.use]
        said = f"Its run begins with {_USES[asking.use]} and ends with {end}"
        if asking.ends_after_s is not None:
            said += f"; after {_span(asking.ends_after_s)} it ends by itself"
        else:
            longest_s = shop.tools[sensor.owner].longest_run_s
            said += f"; after {_span(longest_s)} (longest_run) the page asks whether it still runs"
        if sensor.contact is not None and sensor.contact.normally_closed:
            said += ". A broken wire counts as begun"
        else:
            said += ". A broken wire cannot be told from a contact at rest"
        yield nice("worked_contact", sensor.owner, f"{said}.")


def _span(time_s: float) -> str:
    """A time in words: ``45 s``, ``10 min``, ``2 h``."""
    if time_s >= 3600 and time_s % 3600 == 0:
        return f"{time_s / 3600:g} h"
    return f"{time_s / 60:g} min" if time_s >= 60 and time_s % 60 == 0 else f"{time_s:g} s"
