"""The running service with a real broker: it hears a meter, and no broker ever holds it up."""

import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.running import Service
from gatekeeper.service.wiring_sensors import board_bank, board_meters, meters_for, silent_meters
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, ConverterKind, Shop

sys.path.insert(0, str(Path(__file__).parents[1] / "devices"))
from real_broker import Broker, Publisher, until

TEXT = """
shop: {{name: Metered, mains: 50 Hz, open_flue_nearby: no}}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 100 mm
    settle: 0 s
    switched_by: {{pin: GPIO17, when_board_dies: drops}}
gates:
  gate: {{diameter: 100 mm, servo: {{pin: GPIO12}}, travel: 100 ms}}
brokers:
  home: {{host: 127.0.0.1, port: {port}{more}}}
meters:
  plug: {{broker: home, topic: shop/planer, every: 50 ms, silence: 30 s}}
tools:
  planer: {{gates: gate, sensor: {{meter: plug, runs_above: 150 W}}}}
  other: {{gates: gate, sensor: {{current_switch: GPIO20}}}}
"""


def shop_of(port: int, more: str = "") -> Shop:
    shop = load_shop(TEXT.format(port=port, more=more), "metered.yaml")
    assert isinstance(shop, Shop), shop.lines()
    return shop


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    running = Broker(folder)
    yield running
    running.kill()


def reading(service: Service, tool: str) -> str | None:
    view = service.last_view
    return None if view is None else next(now.reading for now in view.tools if now.name == tool)


def test_a_meter_starts_the_collector_and_a_frozen_or_dead_broker_holds_nothing_up(
    broker: Broker, tmp_path: Path
) -> None:
    pins = open_pins("mock")
    hands = BenchPins(pins)
    driven: list[float | None] = []
    hands.watch(17, lambda _, level: driven.append(level))
    service = Service(shop_of(broker.port), pins, tmp_path)
    service.start()
    meter = Publisher(broker)
    until(lambda: not any(code == "broker:home" for code, _ in service.troubles().sentences), "the broker")

    def heard(watts: int, word: str) -> bool:
        meter.say("shop/planer", str(watts))
        return reading(service, "planer") == word

    until(lambda: heard(2, "stopped"), "the meter at rest")
    rests_s = service.clock.now()
    until(lambda: heard(2, "stopped") and service.clock.now() > rests_s + 0.1, "the meter settled")
    until(lambda: heard(900, "running"), "the meter above its trip")
    until(lambda: hands.level(17) == 1.0, "the collector")

    broker.freeze()
    hands.drive(20, False)
    until(lambda: reading(service, "other") == "running", "a contact while the broker is frozen")
    broker.thaw()
    broker.kill()
    until(lambda: reading(service, "planer") == "stale", "the loss of the broker")
    said = dict(service.troubles().sentences)["broker:home"]
    assert said.startswith(f"The broker home at 127.0.0.1:{broker.port} ")
    hands.drive(20, True)
    until(lambda: reading(service, "other") == "stopped", "a contact while the broker is dead")
    assert hands.level(17) == 1.0  # the lost planer counts as running
    service.stop()
    assert [level for level in driven if level is not None][-2:] == [1.0, 0.0]
    meter.close()


def test_the_page_says_that_the_broker_is_lost(tmp_path: Path) -> None:
    from gatekeeper.service.facing import ShopFace

    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))  # bound and not listening: nothing else answers there
        port = nobody.getsockname()[1]
        service = Service(shop_of(port), open_pins("mock"), tmp_path)
        face = ShopFace(service)
        service.start()
        face.start()
        until(lambda: [one for one in face.view().messages if one.key == "broker:home"], "the message")
        (message,) = [one for one in face.view().messages if one.key == "broker:home"]
        service.stop()
        face.stop()
    assert message.remedy == "Look at broker and network. Gates stay as they are; say Stopped when a tool is off."
    assert message.sentence.startswith(f"The broker home at 127.0.0.1:{port} ")


def test_a_missing_password_stops_the_start_and_nothing_was_switched(tmp_path: Path) -> None:
    shop = shop_of(1, f", user: shop, password_from: file {tmp_path}/none")
    pins = open_pins("mock")
    with pytest.raises(DeviceError) as caught:
        Service(shop, pins, tmp_path)
    assert str(caught.value) == (
        f"The broker's password cannot be read from {tmp_path}/none: No such file or directory."
    )


def test_without_a_board_no_meter_is_listened_to() -> None:
    assert meters_for("mock") is meters_for("bank:here") is silent_meters
    assert meters_for("lgpio") is meters_for("gpiod:chip") is board_meters
    assert silent_meters(shop_of(1), lambda seen: None, lambda: 0.0) == []


def test_a_shop_without_meters_never_loads_the_broker_library() -> None:
    import subprocess

    script = (
        "import sys; from gatekeeper.shop.load import load_shop; from gatekeeper.shop.examples import example;"
        "from gatekeeper.service.wiring_sensors import board_meters; import gatekeeper.service.running;"
        "shop = load_shop(example('garage-one-collector').read_text(), 'g');"
        "assert board_meters(shop, print, None) == []; print('paho' in sys.modules, 'smbus2' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == "False False\n"


def test_a_boards_ads1115_is_opened_on_its_bus() -> None:
    converter = Converter("pairs", ConverterKind.ADS1115, 1, 0, 2.048, 0x48)
    with pytest.raises(DeviceError) as caught:
        board_bank(converter, 1)
    assert str(caught.value) == "There is no /dev/i2c-1. Switch I2C on for this board, then start again."
