"""The virtual shop shows every kind of sensor: an ADS1115's clamp, meters, and contacts that somebody works."""

import sys
from pathlib import Path

import pytest

from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.sampling import Sampler
from gatekeeper.service.wiring_sensors import scans_of
from sim.faults import SensorFault

sys.path.insert(0, str(Path(__file__).parent))
from plant_rig import STEP_S, Rig, shop_from

TEXT = """
shop: {name: Every sensor, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 100 mm
    spin_down: 2 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {meter: fan meter, runs_above: 300 W, within: 5 s}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 500 ms}
  bench gate: {diameter: 100 mm, servo: {pin: GPIO13}, travel: 500 ms}
converters:
  pairs: {kind: ADS1115}
brokers:
  home: {host: 127.0.0.1}
meters:
  fan meter: {broker: home, topic: shop/fan, every: 1 s}
  planer meter: {broker: home, topic: shop/planer, every: 1 s}
tools:
  table saw: {gates: saw gate, running_current: 5 A, sensor: {converter: pairs, channel: 1, range: 40 A}}
  planer: {gates: saw gate, sensor: {meter: planer meter, runs_above: 2 A}}
  sander: {gates: bench gate, sensor: {contact: GPIO22, use: hose hook}}
  carving: {gates: bench gate, sensor: {contact: GPIO23, use: foot switch}}
"""


class SensorRig(Rig):
    """The same rig, with the ADS1115 read as its sampler does and with the meters heard."""

    def boot(self, pins: object = None) -> None:
        super().boot(pins)
        self.links = self.plant.open_meters(self.shop, lambda seen: self.loop.post(seen), self.clock.now)
        self.loop._meters = Meters(self.shop)
        self.samplers = [
            Sampler(name, bank, self.currents, self.loop.post, self.clock, scans_of(self.shop.converters[name]))
            for name, bank in self.wires.banks.items()
        ]
        for sampler in self.samplers:
            sampler._ending.set()

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / STEP_S)):
            self.clock.advance(STEP_S)
            self.plant.step()
            for sampler in self.samplers:
                begun_s = None
                while begun_s is None or begun_s < self.clock.now():  # what the chip gives in one step of the rig
                    sampler.step()
                    begun_s = sampler._bank._started_s  # type: ignore[attr-defined]
                    if begun_s is None:
                        break
            self.loop.step()


@pytest.fixture
def rig() -> SensorRig:
    made = SensorRig(shop_from(TEXT))
    made.run(6.0)
    return made


def words(rig: SensorRig, tool: str) -> list[object]:
    return [rig.word(entry) for entry in rig.entries("tool", tool)]


@pytest.mark.parametrize(
    ("tool", "gate", "within_s"),
    [
        ("table saw", "saw gate", 0.1),
        ("planer", "saw gate", 1.1),
        ("sander", "bench gate", 0.3),
        ("carving", "bench gate", 0.3),
    ],
)
def test_a_machine_is_seen_to_start_and_to_stop(rig: SensorRig, tool: str, gate: str, within_s: float) -> None:
    assert isinstance(rig.loop, ControlLoop)
    assert words(rig, tool) == ["stopped"]
    rig.plant.switch_tool(tool, True)
    rig.until(lambda: words(rig, tool)[-1] == "running", within_s)
    rig.until(lambda: rig.plant.motors()["collector"].has_power, 5.0)
    assert rig.plant.gates()[gate].position == 1.0
    rig.run(5.0)
    assert rig.alarms("now") == set()
    rig.plant.switch_tool(tool, False)
    rig.until(lambda: words(rig, tool)[-1] == "stopped", 1.6)
    rig.until(lambda: not rig.plant.motors()["collector"].has_power, 30.0)
    assert words(rig, tool) == ["stopped", "running", "stopped"]


@pytest.mark.parametrize("tool", ["table saw", "planer"])
def test_a_dead_clamp_or_meter_is_a_lost_sensor(rig: SensorRig, tool: str) -> None:
    rig.plant.faults.break_sensor(f"tool:{tool}", SensorFault.DEAD)
    rig.until(lambda: words(rig, tool)[-1] == "stale", 7.0)
    rig.plant.switch_tool(tool, True)
    rig.run(3.0)
    assert rig.entries("motor_command", "collector", "on") == []


def test_a_muted_chip_is_a_lost_sensor_and_comes_back(rig: SensorRig) -> None:
    rig.plant.faults.mute("pairs")
    rig.until(lambda: words(rig, "table saw")[-1] == "stale", 2.0)
    assert rig.samplers[0].trouble == (
        "Converter pairs: Nothing answers at 0x48 on the bus: Remote I/O error. Look at its plug and address."
    )
    rig.plant.faults.mute("pairs", False)
    rig.until(lambda: words(rig, "table saw")[-1] == "stopped", 3.0)


def test_a_closed_link_says_nothing_more(rig: SensorRig) -> None:
    (link,) = rig.links
    link.close()
    rig.until(lambda: words(rig, "planer")[-1] == "stale", 7.0)
    assert (link.name, link.trouble) == ("virtual broker", None)
