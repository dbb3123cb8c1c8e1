"""Shops to wire: the examples, and one with every kind of device and names as long as a shop file takes them."""

import re

import pytest

from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

EXAMPLES = ("garage-one-collector", "long-narrow", "one-evening", "school-room", "shared-twelve", "recording-bench")

#: Every ~name~ is drawn out to the 40 characters that a shop file takes.
_WRITTEN = """\
shop: {name: Everything, units: metric, mains: 50 Hz, open_flue_nearby: no, call: "Electrician: 12 34"}
motors:
  ~fan~:
    power: 2.2 kW
    inlet: 120 mm
    switched_by: {pin: GPIO5 active low, when_board_dies: drops after 6 s}
    release: 7 s
    confirmed_by: {current_switch: GPIO17, within: 3 s}
    flow_switch: GPIO22
supplies:
  ~low~: {at_once: 2}
gates:
  ~one~: {diameter: 100 mm, servo: {pin: GPIO12}}
  ~two~: {diameter: 100 mm, relays: {open: GPIO16, shut: GPIO13}, open_contact: GPIO23}
  ~three~:
    diameter: 100 mm
    coil: {pin: GPIO24, holds: shut}
    open_contact: GPIO25
    shut_contact: GPIO26
  ~four~: {diameter: 100 mm, shut_contact: GPIO27}
converters:
  ~pairs~: {kind: ADS1115}
  ~row~: {kind: MCP3008, bus: 0, chip_select: 1}
tools:
  ~saw~: {gates: ~one~, sensor: {converter: ~pairs~, channel: 1, range: 20 A}}
  planer: {gates: ~two~, sensor: {converter: ~row~, channel: 3, range: 16 A}}
  sander: {gates: ~three~, sensor: {contact: GPIO18, use: hose hook}}
  lathe: {gates: ~four~, sensor: {meter: plug, runs_above: 100 W}}
brokers:
  house: {host: broker.local}
meters:
  plug: {broker: house, topic: plug/power, every: 2 s}
inputs:
  ~red~: {kind: red button, pin: GPIO4}
  selector: {kind: hand-off-auto, hand_pin: GPIO19, auto_pin: GPIO20}
  ~knob~: {kind: air here, pin: GPIO21, at: planer}
signs:
  ~lamp~: {pin: GPIO6 active low, at: ~saw~}
"""
_MORE = """\
shop: {name: Drivers, units: metric, mains: 60 Hz, open_flue_nearby: no, attended: yes}
motors:
  ~fan~:
    power: 2 hp
    inlet: 120 mm
    switched_by: {pin: GPIO17, steady_pulse: yes, when_board_dies: drops after 1 s}
    release: 2 s
    confirmed_by: {current_switch: GPIO4, within: 3 s}
  vacuum:
    kind: tool vacuum
    power: 1 hp
    inlet: 50 mm
    switched_by: {start: GPIO22, stop: GPIO27, when_board_dies: stays}
    confirmed_by: {current_switch: GPIO7, within: 3 s}
  big:
    power: 5 hp
    phases: three
    inlet: 150 mm
    switched_by: {drive: fan drive, when_board_dies: drops after 2 s}
    confirmed_by: {drive: fan drive, within: 5 s}
  far:
    power: 3 hp
    inlet: 150 mm
    switched_by: {drive: far drive, when_board_dies: drops after 2 s}
    confirmed_by: {drive: far drive, within: 5 s}
drives:
  fan drive: {serial: /dev/ttyUSB0, command: 0x2000, start: 1, stop: 0, status: 0x2100, running: 1}
  far drive: {host: drive.local, command: 0x2000, start: 1, stop: 0, status: 0x2100, running: 1}
servo_banks:
  ~bank~: {enable: GPIO5}
ducts:
  drop: {towards: ~fan~, diameter: 120 mm, length: 9 m}
  hose: {towards: vacuum, diameter: 50 mm, length: 4 m}
  big drop: {towards: big, diameter: 150 mm, length: 4 m}
  far drop: {towards: far, diameter: 150 mm, length: 4 m}
gates:
  five: {duct: big drop}
  six: {duct: far drop}
  ~one~: {duct: drop, servo: {bank: ~bank~, channel: 3}}
  ~two~: {duct: drop, bridge: {open: GPIO16, shut: GPIO13, enable: GPIO12, current_stop: GPIO14}}
  three: {duct: drop, bridge: {open: GPIO18, shut: GPIO19}}
  four: {duct: hose, servo: {bank: ~bank~, channel: 15}}
  away:
    duct: drop
    behind_broker: {broker: house, commands_to: gates/away/set, states_from: gates/away}
brokers:
  house: {host: broker.local}
tools:
  ~saw~: {gates: [~one~, four, away], sensor: {current_switch: GPIO8}}
  planer: {gates: ~two~, sensor: {current_switch: GPIO9}}
  lathe: {gates: [three, five, six], sensor: {current_switch: GPIO10}}
inputs:
  knob: {kind: air here, pin: GPIO11, at: planer}
signs:
  ~sign~: {pin: GPIO23, coming: GPIO24, no_air: GPIO25, at: ~saw~}
permits:
  ~permit~: {pin: GPIO26, at: planer}
messages:
  lamp: {pin: GPIO20}
converters:
  air: {kind: ADS1115, address: 0x49}
  row: {kind: ADS1115, address: 0x4A}
gauges:
  ~gauge~: {duct: drop, converter: air, channel: 0, points: [0 V at 0 Pa, 3 V at 5 kPa]}
  other gauge:
    {duct: hose, converter: row, channel: 2, points: [0 V at 0 Pa, 10 V at 30 kPa], divider: [30 kohm, 10 kohm]}
  loop gauge: {filter_of: big, converter: row, channel: 3, points: [4 mA at 0 Pa, 20 mA at 2 kPa], resistor: 150 ohm}
  net gauge: {duct: far drop, meter: pascals}
meters:
  pascals: {broker: house, topic: far/pascals, every: 2 s}
"""


def _drawn_out(text: str) -> str:
    return re.sub(r"~(\w+)~", lambda name: f"{name[1]} by the long workshop wall to the north"[:40].strip(), text)


EVERY_DEVICE = _drawn_out(_WRITTEN)
MORE_DEVICES = _drawn_out(_MORE)


def made(text: str) -> Shop:
    shop = load_shop(text, "made.yaml")
    assert not isinstance(shop, Faults), shop.each
    return shop


@pytest.fixture
def every_device() -> Shop:
    """Every kind of device, with long names."""
    return made(EVERY_DEVICE)


@pytest.fixture
def more_devices() -> Shop:
    """What the other shop has no room for: a bank, bridges, other starters, a sign of three lamps, a permit."""
    return made(MORE_DEVICES)


@pytest.fixture(params=[*EXAMPLES, "everything", "more"])
def any_shop(request: pytest.FixtureRequest) -> Shop:
    """Each example, and the shop with every device."""
    name = str(request.param)
    texts = {"everything": EVERY_DEVICE, "more": MORE_DEVICES}
    return made(texts[name] if name in texts else example(name).read_text(encoding="utf-8"))
