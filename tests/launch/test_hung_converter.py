"""A converter whose read never comes back, on the real program under a service manager's watchdog."""

import contextlib
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from shop_process import DEADLINE_S, ShopProcess, until

from gatekeeper.service.notify import SIGNS, STALE_S

MOTOR, SAW = 17, 23
WATCHDOG_S = 1.0
SHOP = """
shop: {name: Shed, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 1.5 kW, starts_per_hour: 60 per hour, switched_by: {pin: GPIO17, when_board_dies: drops}}
feeders: {main: {gap: 0 s}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 200 ms}
  planer gate: {diameter: 100 mm, servo: {pin: GPIO13}, travel: 200 ms}
converters:
  planer board: {bus: 0, chip_select: 0}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
  planer: {gates: planer gate, sensor: {converter: planer board, channel: 0, range: 30 A}}
page: {port: {port}}
neighbours: {metrics: yes}
"""
#: The program on a bus that takes a question and never answers.
HANGS = """
import threading
from gatekeeper.service import wiring_sensors

class Hanging:
    name = "planer board"

    def read(self, scans):
        threading.Event().wait()

    def close(self):
        pass

wiring_sensors.silent_bank = lambda converter, channels: Hanging()
from gatekeeper.cli import main
main()
"""


@pytest.fixture
def ear(tmp_path: Path) -> Iterator[socket.socket]:
    """The service manager's."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as made:
        made.bind(str(tmp_path / "told"))
        made.settimeout(DEADLINE_S)
        yield made


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[ShopProcess]:
    program = tmp_path / "hanging.py"
    program.write_text(HANGS, encoding="utf-8")
    made = ShopProcess(tmp_path, SHOP, program)
    made.contact(SAW, False)
    yield made
    made.close()


def test_a_converter_that_hangs_is_a_lost_sensor_and_the_shop_lives_on(
    shop: ShopProcess, ear: socket.socket, tmp_path: Path
) -> None:
    shop.start(NOTIFY_SOCKET=str(tmp_path / "told"), WATCHDOG_USEC=f"{WATCHDOG_S * 1e6:.0f}")
    assert "READY=1" in ear.recv(4096).decode().split("\n")
    said = "Converter planer board: its bus does not answer any more. Restart the board."
    until(lambda: f"{said} Nothing tells whether planer runs." in shop.get("/")[1], "the word of it on the page")
    assert shop.said().count(said) == 1  # and once in the journal
    assert shop.figure('gatekeeper_tool_sensor_lost{tool="planer"}') == 1
    # Every other machine is served.
    until(lambda: shop.figure('gatekeeper_gate_open{gate="saw gate"}') == 1, "the path at rest: it is awake")
    shop.contact(SAW, True)
    until(lambda: shop.level(MOTOR) == 1.0, "the fan for the saw")
    # What was said meanwhile is heard; then signs of life go on for longer than a silent thread is borne.
    ear.setblocking(False)
    with contextlib.suppress(BlockingIOError):
        while "gives no sign of life" not in ear.recv(4096).decode():
            pass
    ear.settimeout(2 * WATCHDOG_S)
    for _ in range(round(STALE_S / WATCHDOG_S * SIGNS) + 2):
        assert ear.recv(4096).decode() == "WATCHDOG=1"
    assert shop.level(MOTOR) == 1.0
    # The thread that is left behind does not keep the program from ending.
    assert shop.end() == 0
    assert shop.level(MOTOR) == 0.0
