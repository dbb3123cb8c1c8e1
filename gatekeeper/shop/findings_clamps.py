"""What ``check`` says of clamps: burden, resolution, and whether a machine running free is more than nothing there."""

from collections.abc import Iterator

from gatekeeper.shop.clamps import TRIP_LEAST_A, TRIP_SHARE_OF_RUNNING, least_told_a, sold_below, step_a
from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.model import Channel, Sensor, Shop


def clamp_findings(shop: Shop) -> Iterator[Finding]:
    """What is to be said of every clamp of a shop, the formulas and their sources as in ``clamps``."""
    sensors = [(tool.sensor, tool.running_a) for tool in shop.tools.values() if tool.sensor is not None]
    for circuit in shop.circuits.values():
        lows = [band[0] for name in circuit.tools if (band := shop.tools[name].band_a) is not None]
        sensors.append((circuit.sensor, min(lows, default=None)))
    sensors += [(motor.confirmed_by, None) for motor in shop.motors.values() if motor.confirmed_by is not None]
    for sensor, idle_a in sensors:
        if sensor.channel is not None:
            yield from _clamp(shop, sensor, sensor.channel, idle_a)


def _clamp(shop: Shop, sensor: Sensor, channel: Channel, idle_a: float | None) -> Iterator[Finding]:
    """Burden and resolution of one clamp, and whether its machine, running free, is more than nothing there."""
    converter, owner = shop.converters[channel.converter], sensor.owner
    bits, reference_v, turns = converter.kind.bits, converter.reference_v, channel.turns
    fit_ohm = sold_below(channel.burden_ohm)
    one_a = step_a(fit_ohm, turns, reference_v, bits)
    least_a = least_told_a(one_a)
    trip_a = sensor.trip_a if sensor.trip_a is not None else max(TRIP_LEAST_A, TRIP_SHARE_OF_RUNNING * (idle_a or 0.0))
    if trip_a < least_a:
        yield bite(
            "trip_in_noise",
            owner,
            f"It trips at {trip_a:.2f} A, and its clamp cannot tell {_amperes(least_a)} from noise. "
            "Use a smaller range, or loop the wire through the clamp.",
        )
    if idle_a is not None and idle_a < max(trip_a, least_a):
        yield bite(
            "idle_unseen",
            owner,
            f"Running free it draws {idle_a:.2f} A, and only from {max(trip_a, least_a):.2f} A on does it count as "
            "running: give a lower trip, a smaller range, or loop the wire through the clamp.",
        )
    volts = f"{reference_v / 2:g} V each way" if converter.kind.is_on_i2c else f"{reference_v:g} V"
    said = f"{channel.range_a:.0f} A on {turns:g} turns at {volts}: burden {channel.burden_ohm:.1f} ohm"
    if fit_ohm < channel.burden_ohm * (1 - 1e-6):
        said += f"; fit {fit_ohm:g} ohm, the next lower on sale, and write burden: {fit_ohm:g} ohm"
    said += f". One step is {one_a:.3f} A, {_amperes(least_a)} can be told from nothing"
    if idle_a is not None and idle_a >= max(trip_a, least_a):
        said += ", and it draws more running free"
    elif idle_a is None and owner not in shop.motors:
        said += "; give running_current to hear whether it draws more"
    yield nice("clamp", owner, f"{said}.")


def _amperes(current_a: float) -> str:
    """To hundredths, and to thousandths where that would be none."""
    return f"{current_a:.2f} A" if current_a >= 0.01 else f"{current_a:.3f} A"
