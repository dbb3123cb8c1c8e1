"""One contract for every way to read a pressure gauge: from its signal to a pressure, and why there is none.

Whatever carries it, a voltage or a current loop on any converter or a meter behind a real broker, must say the pressure
that is so, must say when it cannot be believed and believe it again afterwards, and must hand nothing to the core.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.control.messages import Event
from gatekeeper.devices.base import MeterSeen
from gatekeeper.service.clock import HandClock
from gatekeeper.service.gauges import Gauges
from gatekeeper.service.hearing import Currents
from gatekeeper.service.sampling import Sampler
from gatekeeper.service.wiring import channels_used
from gatekeeper.service.wiring_sensors import board_meters, fake_bank, scans_of
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

sys.path.insert(0, str(Path(__file__).parent))
from real_broker import Broker, Publisher, until

SHOP = """
shop: {{name: Contract, mains: 50 Hz, open_flue_nearby: no}}
motors:
  collector: {{power: 1.5 kW, inlet: 150 mm, switched_by: {{pin: GPIO17, when_board_dies: drops}}}}
ducts:
  main: {{towards: collector, diameter: 150 mm, length: 3 m}}
gates:
  gate: {{duct: main, servo: {{pin: GPIO13}}}}
tools:
  saw: {{gates: gate, sensor: {{current_switch: GPIO27}}}}
{converters}
gauges:
  gauge: {{duct: main, {gauge}}}
"""
VOLTS = "points: [500 mV at 0 Pa, 4.5 V at 5 kPa], divider: [10 kohm, 20 kohm]"
LOOP = "points: [4 mA at 0 Pa, 20 mA at 5 kPa], resistor: 150 ohm"


class Rig:
    """A shop with one gauge; ``pa`` is what is so, ``is_broken`` whether its wire is."""

    #: How far off a reading may be: a step of the converter, pascals.
    step_pa = 0.0
    broken = ""

    def __init__(self, gauge: str, converters: str) -> None:
        self.clock = HandClock(100.0)
        self.pa, self.is_broken = 0.0, False
        shop = load_shop(SHOP.format(gauge=gauge, converters=converters), "contract.yaml")
        assert isinstance(shop, Shop), shop.lines()
        self.shop = shop
        self.posted: list[Event] = []
        self.gauges = Gauges(shop, self.clock.now)

    def pass_s(self, seconds: float) -> None:
        """Let the gauge speak for so long."""
        raise NotImplementedError

    def lose(self) -> None:
        """Cut off what carries it."""
        raise NotImplementedError

    def mend(self) -> None:
        """Put it back."""
        raise NotImplementedError

    def close(self) -> None:
        """Give everything back."""

    def shows(self) -> float | None:
        return self.gauges.pressures()["gauge"]


class WiredRig(Rig):
    """On a converter, whose real driver reads a chip at the level of its wire."""

    def __init__(self, kind: str, keys: str, channel: int, signal: str, step_pa: float, broken: str) -> None:
        super().__init__(
            f"converter: board, channel: {channel}, {signal}", f"converters:\n  board: {{kind: {kind}{keys}}}"
        )
        self.step_pa, self.broken = step_pa, broken
        converter = self.shop.converters["board"]
        wire = self.shop.gauges["gauge"].wire
        assert wire is not None
        is_loop = wire.resistor_ohm is not None

        def volts() -> float:
            if self.is_broken:
                return 0.0
            share = self.pa / 5000.0
            # By the two points, and by the resistors: what a meter at the input would show.
            return 150.0 * (0.004 + 0.016 * share) if is_loop else (0.5 + 4.0 * share) * 20.0 / 30.0

        def source(scans: int) -> Sequence[Sequence[int]]:
            code = int(volts() / converter.reference_v * (1 << converter.kind.bits))
            return [*([()] * channel), [code] * scans]

        self.bank, self.chip = fake_bank(
            converter,
            channels_used(self.shop, "board"),
            source=source,
            pace=self.clock.advance,
            clock=self.clock.now,
            volts=lambda number: volts() if number == channel else 0.0,
        )
        self.sampler = Sampler(
            "board", self.bank, Currents(self.shop), self.posted.append, self.clock, scans=scans_of(converter)
        )
        self.sampler.gauges = self.gauges.take
        self.sampler._ending.set()  # no real wait after a read that failed

    def pass_s(self, seconds: float) -> None:
        end_s = self.clock.now() + seconds
        while self.clock.now() < end_s:
            before_s = self.clock.now()
            self.sampler.step()
            if self.clock.now() == before_s:
                self.clock.advance(0.05)  # a bus that fails at once

    def lose(self) -> None:
        self.chip.mute()

    def mend(self) -> None:
        self.chip.mute(False)

    def close(self) -> None:
        self.bank.close()


class MeterRig(Rig):
    """A meter behind a real broker."""

    step_pa = 0.01

    def __init__(self, folder: Path) -> None:
        self.broker = Broker(folder)
        super().__init__(
            "meter: pascals, counts_in: kPa",
            f"brokers:\n  house: {{host: 127.0.0.1, port: {self.broker.port}}}\n"
            "meters:\n  pascals: {broker: house, topic: air/suction, every: 1 s}",
        )
        self.heard = 0
        self.links = board_meters(self.shop, self._hear, self.clock.now)
        for link in self.links:
            link.start()
        until(lambda: self.links[0].trouble is None, "the link to the broker")
        self.publisher = Publisher(self.broker)

    def _hear(self, seen: MeterSeen) -> None:
        if self.gauges.is_theirs(seen.name):
            self.gauges.hear(seen)
        else:
            self.posted.append(seen)  # type: ignore[arg-type]
        self.heard += 1

    def pass_s(self, seconds: float) -> None:
        for _ in range(round(seconds)):
            self.clock.advance(1.0)
            if self.links[0].trouble is None:
                until(lambda before=self.heard: self._says(before), "a number")

    def _says(self, before: int) -> bool:
        """Speak, again where nobody had subscribed yet."""
        self.publisher.say("air/suction", f"{self.pa / 1000.0:.6f}")
        return self.heard > before

    def lose(self) -> None:
        self.publisher.close()
        self.broker.kill()
        until(lambda: self.links[0].trouble is not None, "the loss of the broker")

    def mend(self) -> None:
        self.broker.start()
        until(lambda: self.links[0].trouble is None, "the broker's return")
        self.publisher = Publisher(self.broker)

    def close(self) -> None:
        self.publisher.close()
        for link in self.links:
            link.close()
        self.broker.kill()


BROKEN_V = "The gauge gauge gives 0.00 V, and no pressure is 0.50 V: a wire is broken, or it has no supply."
BROKEN_A = "The gauge gauge gives 0.0 mA, and no pressure is 4.0 mA: a wire is broken, or it has no supply."
#: A step is reference over bits, over the resistors, over the span: 3.3 V / 4096 / (2/3) / 4 V * 5 kPa = 1.5 Pa.
WIRED: dict[str, Callable[[], Rig]] = {
    "volts on MCP3208": lambda: WiredRig("MCP3208", ", chip_select: 0", 6, VOLTS, 1.6, BROKEN_V),
    "loop on MCP3208": lambda: WiredRig("MCP3208", ", chip_select: 0", 0, LOOP, 1.7, BROKEN_A),
    "volts on MCP3008": lambda: WiredRig("MCP3008", ", chip_select: 0", 7, VOLTS, 6.1, BROKEN_V),
    "volts on ADS1115": lambda: WiredRig("ADS1115", ", address: 0x4B", 3, VOLTS, 0.3, BROKEN_V),
    "loop on ADS1115": lambda: WiredRig("ADS1115", "", 1, LOOP, 0.3, BROKEN_A),
}


@pytest.fixture(params=[*WIRED, "meter"])
def rig(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Rig]:
    made: Any = MeterRig(tmp_path) if request.param == "meter" else WIRED[request.param]()
    yield made
    made.close()


def test_it_says_the_pressure_that_is_so(rig: Rig) -> None:
    for pa in (1500.0, 0.0, 4900.0, 250.0):
        rig.pa = pa
        rig.pass_s(30.0)
        assert rig.shows() == pytest.approx(pa, abs=rig.step_pa + 0.001 * pa)
    assert rig.gauges.troubles() == {}
    assert rig.posted == []


def test_what_carries_it_is_lost_and_comes_back(rig: Rig) -> None:
    rig.pa = 1500.0
    rig.pass_s(20.0)
    rig.lose()
    rig.pass_s(20.0)
    assert rig.shows() is None
    said = "Nothing comes from the gauge gauge: its pressure is not known."
    assert rig.gauges.troubles() in ({"gauge:gauge": said}, {"gauge:gauge": rig.broken})
    # What is said of the converter or the meter already is said once.
    by = rig.shop.gauges["gauge"]
    carrier = by.wire.converter if by.wire is not None else by.meter
    assert rig.gauges.troubles({carrier or ""}) == {}
    rig.mend()
    rig.pa = 2500.0
    rig.pass_s(30.0)
    assert rig.shows() == pytest.approx(2500.0, abs=rig.step_pa + 2.5)
    assert rig.gauges.troubles() == {}
    assert rig.posted == []


@pytest.mark.parametrize("kind", WIRED)
def test_a_broken_wire_is_told_from_no_pressure(kind: str) -> None:
    rig = WIRED[kind]()
    rig.pass_s(10.0)
    assert rig.shows() == pytest.approx(0.0, abs=rig.step_pa)
    rig.is_broken = True
    rig.pass_s(10.0)
    assert rig.shows() is None
    assert rig.gauges.troubles() == {"gauge:gauge": rig.broken}
    rig.is_broken, rig.pa = False, 800.0
    rig.pass_s(20.0)
    assert rig.shows() == pytest.approx(800.0, abs=rig.step_pa + 0.8)
    rig.close()


def test_a_signal_beyond_its_end_is_said() -> None:
    rig = WIRED["loop on ADS1115"]()
    rig.pa = 5400.0
    rig.pass_s(10.0)
    assert rig.shows() is None
    assert rig.gauges.troubles() == {
        "gauge:gauge": "The gauge gauge gives 21.3 mA, and it ends at 20.0 mA: the pressure is beyond it, or its wire "
        "is shorted."
    }
    rig.close()


def test_what_a_broker_had_kept_is_no_pressure_and_neither_is_a_message_without_a_number(tmp_path: Path) -> None:
    rig = MeterRig(tmp_path)
    rig.gauges.hear(MeterSeen(rig.clock.now(), "pascals", 1.2, is_kept=True))
    rig.gauges.hear(MeterSeen(rig.clock.now(), "pascals", None))
    assert rig.shows() is None
    rig.gauges.hear(MeterSeen(rig.clock.now(), "pascals", -1.2))
    # In a duct the sign tells only which way the hose is put on.
    assert rig.shows() == pytest.approx(1200.0)
    rig.close()
