"""A recording is played with its own samples, also in a shop whose converter could not give so many."""

from math import pi, sin, sqrt

from gatekeeper.recording import Recording
from gatekeeper.service.replaying import Replay
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import ConverterKind, Shop

TEXT = """
shop: {name: Pairs, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector: {power: 1.5 kW, phases: three, inlet: 100 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 500 ms}
converters:
  pairs: {kind: ADS1115, address: 0x49}
tools:
  saw: {gates: gate, running_current: 5 A, sensor: {converter: pairs, channel: 1, range: 30 A}}
"""


def test_a_shop_with_an_ads1115_plays_a_recording() -> None:
    shop = load_shop(TEXT, "pairs.yaml")
    assert isinstance(shop, Shop)
    wave = [0.0] * 2000 + [5 * sqrt(2) * sin(2 * pi * 50 * n / 2000) for n in range(4000)]
    replay = Replay(shop, Recording((wave,), 2000.0, 50.0, "made"))
    entries = list(replay.entries())
    replay.close()

    assert replay.shop.converters["pairs"].kind is ConverterKind.MCP3208
    assert [entry.value for entry in entries if entry.kind == "tool"] == [
        {"what": "stopped", "fresh": False},
        "running",
        "stopped",
    ]
    began_s = next(entry.t_s for entry in entries if entry.kind == "tool" and entry.value == "running")
    assert 0.0 < began_s - replay.began_s - 1.0 < 0.04
