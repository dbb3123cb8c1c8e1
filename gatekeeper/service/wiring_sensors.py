"""Converters and meters of a shop, opened: on the board's buses and its network, or as stand-ins without a board."""

import time
from collections.abc import Callable, Sequence
from typing import Protocol

from gatekeeper.devices.base import Clock, ConverterBank, MeterLink, ReportMeter
from gatekeeper.devices.converter import MCP3008, MCP3208, Chip, open_spi_bank
from gatekeeper.shop.model import Converter, ConverterKind, Shop

SPI_CHIPS: dict[ConverterKind, Chip] = {ConverterKind.MCP3208: MCP3208, ConverterKind.MCP3008: MCP3008}
#: Samples in one read: half a mains cycle or less at the rates that a board's buses give, so that a decision waits for
#: no more than that (P1); an ADS1115 gives one of its samples in the time of several scans.
SCANS = 8
SCANS_ON_I2C = 2

OpenBank = Callable[[Converter, int], ConverterBank]
OpenMeters = Callable[[Shop, ReportMeter, Clock], list[MeterLink]]
Source = Callable[[int], Sequence[Sequence[int]]]


class FakeChip(Protocol):
    """A converter chip without a board: fed with codes, or muted."""

    def feed(self, codes: Sequence[Sequence[int]]) -> None: ...

    def mute(self, muted: bool = True) -> None: ...


def scans_of(converter: Converter) -> int:
    """How many samples of each channel to read at once."""
    if converter.singles:
        return 1
    return SCANS_ON_I2C if converter.kind.is_on_i2c else SCANS


def board_bank(converter: Converter, channels: int) -> ConverterBank:
    """The converter on the board's own SPI or I2C bus.

    Raises:
        DeviceError: the bus or its library is not there.
    """
    if converter.singles and converter.address is not None:
        from gatekeeper.devices.ads1115_singles import open_ads1115_singles

        return open_ads1115_singles(converter.name, converter.singles, bus=converter.bus, address=converter.address)
    if converter.address is not None:
        from gatekeeper.devices.ads1115 import open_ads1115

        return open_ads1115(
            converter.name,
            bus=converter.bus,
            address=converter.address,
            pair=channels - 1,
            full_scale_v=converter.reference_v / 2,
        )
    chip = SPI_CHIPS[converter.kind]
    return open_spi_bank(converter.name, chip, converter.bus, converter.chip_select, channels=channels)


def fake_bank(
    converter: Converter,
    channels: int,
    *,
    source: Source | None = None,
    pace: Callable[[float], None] = time.sleep,
    scan_hz: float = 1000.0,
    clock: Clock = time.monotonic,
    volts: Callable[[int], float] | None = None,
) -> tuple[ConverterBank, FakeChip]:
    """The real driver on a chip without a board, and the chip.

    Args:
        converter: which one.
        channels: how many channels are scanned; on I2C the last of them is the pair that is read.
        source: gives for each channel so many codes; without it the chip gives what it is fed.
        pace: lets the time of the bus pass, seconds.
        scan_hz: scans a second on SPI; an ADS1115 goes by its own clock.
        clock: monotonic seconds, in step with ``pace``.
        volts: of an ADS1115 with gauges, what is at each of its inputs against ground.
    """
    if converter.singles and converter.address is not None:
        from gatekeeper.devices.ads1115_singles import Ads1115Singles
        from gatekeeper.devices.bench_i2c import FakeAds1115, FakeI2c

        slow = FakeAds1115(clock, volts=volts if volts is not None else lambda number: 0.0)
        wire = FakeI2c({converter.address: slow}, pace)
        singles = Ads1115Singles(
            converter.name, wire, converter.singles, address=converter.address, clock=clock, wait=pace
        )
        return singles, slow
    if converter.address is not None:
        from gatekeeper.devices.ads1115 import Ads1115Bank
        from gatekeeper.devices.bench_i2c import FakeAds1115, FakeI2c

        chip = FakeAds1115(clock, source=source)
        bank = Ads1115Bank(
            converter.name,
            FakeI2c({converter.address: chip}, pace),
            address=converter.address,
            pair=channels - 1,
            full_scale_v=converter.reference_v / 2,
            clock=clock,
            wait=pace,
        )
        return bank, chip
    from gatekeeper.devices.bench import FakeBank, fake_converter

    kind = SPI_CHIPS[converter.kind]
    scanned = FakeBank(kind, source=source, pace=pace, scan_hz=scan_hz)
    return fake_converter(converter.name, kind, scanned, channels=channels, clock=clock), scanned


def silent_bank(converter: Converter, channels: int) -> ConverterBank:
    """A converter without a board: it gives what a dead one gives, so every sensor on it counts as lost."""
    bank, chip = fake_bank(converter, channels)
    chip.mute()
    return bank


def bank_for(pins: str) -> OpenBank:
    """Where converters are: on the board's bus, or nowhere for pins that are no board's."""
    return board_bank if _is_board(pins) else silent_bank


def meters_for(pins: str) -> OpenMeters:
    """Where meters are: on the network, or nowhere for pins that are no board's."""
    return board_meters if _is_board(pins) else silent_meters


def _is_board(pins: str) -> bool:
    return pins.partition(":")[0] not in ("mock", "bank")


def board_meters(shop: Shop, report: ReportMeter, clock: Clock) -> list[MeterLink]:
    """One link for each broker that a meter in use publishes to.

    Raises:
        DeviceError: the library or a password is not there.
    """
    used = meters_used(shop)
    links: list[MeterLink] = []
    for broker in shop.brokers.values():
        theirs = [shop.meters[name] for name in used if shop.meters[name].broker == broker.name]
        if not theirs:
            continue
        from gatekeeper.devices.mqtt_meter import MeterTopic, MqttMeters, password_of

        where = broker.password_from
        links.append(
            MqttMeters(
                broker.name,
                broker.host,
                broker.port,
                [MeterTopic(meter.name, meter.topic, meter.value) for meter in theirs],
                report,
                user=broker.user,
                password=password_of(where[0].value, where[1]) if where is not None else None,
                clock=clock,
            )
        )
    return links


def silent_meters(shop: Shop, report: ReportMeter, clock: Clock) -> list[MeterLink]:
    """Meters without a network: none speaks, so each counts as lost once its silence is over."""
    return []


def meters_used(shop: Shop) -> list[str]:
    """The meters that a sensor or a gauge hangs on, in the order of the file."""
    sensors = (
        *(tool.sensor for tool in shop.tools.values()),
        *(circuit.sensor for circuit in shop.circuits.values()),
        *(motor.confirmed_by for motor in shop.motors.values()),
    )
    used = {sensor.metered.meter for sensor in sensors if sensor is not None and sensor.metered is not None}
    used |= {gauge.meter for gauge in shop.gauges.values() if gauge.meter is not None}
    return [name for name in shop.meters if name in used]
