"""Shops whose collector hangs on a drive that follows the air."""

from dataclasses import replace

from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import ComputedAir, computed_air
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Drive, Shop

#: A strong fan on a narrow main: it has much to give away.
DRIVEN = """\
shop: {name: Driven shop, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 4 kW
    phases: three
    inlet: 160 mm
    fan_curve:
      [0 m3/h at 2900 Pa, 1000 m3/h at 2850 Pa, 2000 m3/h at 2600 Pa, 3000 m3/h at 2000 Pa, 4000 m3/h at 900 Pa]
    filter_loss: 2000 m3/h at 200 Pa
    spin_up: 3 s
    spin_down: 30 s
    switched_by: {drive: fan drive, when_board_dies: drops after 2 s}
    confirmed_by: {drive: fan drive, within: 5 s}
drives:
  fan drive:
    serial: /dev/ttyUSB0
    command: 0x2000
    start: 1
    stop: 0
    status: 0x2100
    running: 1
    speed: from the air
    speed_register: 0x2001
    speed_seen: 0x2101
    least_speed: 25
ducts:
  main: {towards: collector, diameter: 160 mm, length: 6 m, fittings: [90 elbow]}
  saw drop: {towards: main, diameter: 125 mm, length: 3 m, fittings: [45 wye, 45 elbow], flex: 1 m}
  bandsaw drop: {towards: main, diameter: 125 mm, length: 3 m, fittings: [45 wye, 45 elbow], flex: 1 m}
  planer drop: {towards: main, diameter: 160 mm, length: 2 m, fittings: [45 wye], flex: 1 m}
gates:
  saw gate: {duct: saw drop, servo: {pin: GPIO12}}
  bandsaw gate: {duct: bandsaw drop, servo: {pin: GPIO13}}
  planer gate: {duct: planer drop, servo: {pin: GPIO18}}
tools:
  table saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
  bandsaw: {gates: bandsaw gate, sensor: {current_switch: GPIO24}}
  planer: {gates: planer gate, sensor: {current_switch: GPIO25}}
"""


def made(text: str) -> Shop:
    """A shop of its text."""
    shop = load_shop(text, "driven.yaml")
    assert isinstance(shop, Shop), shop.each
    return shop


def driven_shop() -> Shop:
    """The shop above."""
    return made(DRIVEN)


def on_a_drive(name: str, motor: str, least_share: float = 0.5) -> Shop:
    """An example shop with one of its motors on a drive that follows the air."""
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    part: Drive = driven_shop().drives["fan drive"]
    part = replace(part, least_speed_hz=least_share * shop.mains_hz, full_speed_hz=float(shop.mains_hz))
    its = shop.motors[motor]
    switched = replace(its, switch=replace(driven_shop().motors["collector"].switch, drive="fan drive"))
    return replace(shop, drives={"fan drive": part}, motors={**shop.motors, motor: switched})


def air_of(shop: Shop) -> ComputedAir:
    """Its air, as the service computes it."""
    return computed_air(air_systems(shop))
