"""Sensors, converters, brokers and meters: from their written parts to the model, every default filled in.

How a worked contact's run ends by default is our own choice; nobody published one.
"""

from collections.abc import Iterable, Mapping

from gatekeeper.shop.clamps import clamp_of
from gatekeeper.shop.converters import full_scale_v, reference_v
from gatekeeper.shop.fields import contact_of
from gatekeeper.shop.kinds import ContactUse, EndsBy
from gatekeeper.shop.model_gauges import Gauge
from gatekeeper.shop.model_sensing import Asking, Broker, Channel, Converter, Meter, Metered, Sensor
from gatekeeper.shop.written import InputPart
from gatekeeper.shop.written_sensing import BrokerPart, ConfirmPart, ConverterPart, MeterPart, SensorPart

FIRST_ADDRESS = 0x48
SILENCE_TIMES = 3.0
SILENCE_LEAST_S = 5.0
AIR_HERE_S = 600.0

USUAL: Mapping[ContactUse, tuple[EndsBy, float | None]] = {
    ContactUse.BUTTON: (EndsBy.PRESS_AGAIN, 600.0),
    ContactUse.FOOT_SWITCH: (EndsBy.PRESS_AGAIN, 1800.0),
    ContactUse.HOSE_HOOK: (EndsBy.LET_GO, None),
    ContactUse.AIR_LINE: (EndsBy.LET_GO, None),
}
"""How each use ends and after what time by itself; our own. A hand that works on must not lose its air, so what ends
when it is let go has no time of its own: the tool's longest_run asks first.
"""


def converter_of(name: str, part: ConverterPart, gauges: Iterable[Gauge] = ()) -> Converter:
    """A converter; one on I2C is on bus 1, and its inputs that gauges of the shop are on are read singly."""
    span_v = reference_v(part)
    if part.kind.is_on_i2c:
        wires = sorted((one.wire for one in gauges if one.wire is not None), key=lambda wire: wire.channel)
        singles = tuple((wire.channel, full_scale_v(wire)) for wire in wires if wire.converter == name)
        return Converter(name, part.kind, 1, 0, span_v, part.address or FIRST_ADDRESS, singles)
    assert part.chip_select is not None
    return Converter(name, part.kind, part.bus or 0, part.chip_select, span_v)


def broker_of(name: str, part: BrokerPart) -> Broker:
    """A broker."""
    return Broker(name, part.host, part.port, part.user, part.password_from)


def meter_of(name: str, part: MeterPart) -> Meter:
    """A meter."""
    silence_s = part.silence if part.silence is not None else max(SILENCE_LEAST_S, SILENCE_TIMES * part.every)
    return Meter(name, part.broker, part.topic, part.value, part.every, silence_s)


def air_here_of(part: InputPart) -> Asking:
    """How an "air here" input ends."""
    ends = part.ends or EndsBy.PRESS_AGAIN
    return Asking(ContactUse.BUTTON, ends, part.ends_after if part.ends_after is not None else AIR_HERE_S)


def asking_of(use: ContactUse, part: SensorPart) -> Asking:
    """How a worked contact's run ends: as written, else as is usual for its use."""
    usual, usual_s = USUAL[use]
    ends = part.ends or usual
    ends_after_s = part.ends_after
    if ends_after_s is None:
        ends_after_s = usual_s if ends is usual else None if ends is EndsBy.LET_GO else AIR_HERE_S
    return Asking(use, ends, ends_after_s)


def sensor_of(owner: str, part: SensorPart, converters: Mapping[str, ConverterPart]) -> Sensor:
    """A sensor; ``part`` must be free of faults."""
    if isinstance(part, ConfirmPart) and part.drive is not None:
        return Sensor(owner, None, None, None, drive=part.drive)
    if part.current_switch is not None:
        return Sensor(owner, contact_of(part.current_switch), None, None)
    if part.contact is not None:
        assert part.use is not None
        contact = contact_of(part.contact, closed_by_default=part.use is ContactUse.HOSE_HOOK)
        return Sensor(owner, contact, None, None, asking=asking_of(part.use, part))
    if part.meter is not None:
        assert part.runs_above is not None
        return Sensor(owner, None, None, None, metered=Metered(part.meter, *part.runs_above))
    assert part.converter is not None
    assert part.channel is not None
    clamp = clamp_of(part, reference_v(converters[part.converter]), None)
    assert clamp is not None
    channel = Channel(part.converter, part.channel, part.turns, clamp.burden_ohm, clamp.range_a)
    return Sensor(owner, None, channel, part.trip)
