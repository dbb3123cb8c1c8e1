"""A room for calibrating: the real service in front of a virtual shop, where time passes only on purpose."""

import sys
from dataclasses import replace
from pathlib import Path

from gatekeeper.devices.pins import open_pins
from gatekeeper.service.calibration_asking import Calibrations
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.clock import HandClock
from gatekeeper.service.face import CalibrationStep, CalibrationView
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Converter, Shop
from sim.plant import VirtualShop

sys.path.insert(0, str(Path(__file__).parent))
from hand_plant import MovingBank, example_shop

GARAGE = "garage-one-collector"
PHONE = ("page", "192.168.1.23")


def with_channels(shop: Shop, moved: dict[str, int]) -> Shop:
    """The shop as it is really wired: these tools' clamps on other channels."""
    tools = dict(shop.tools)
    for name, channel in moved.items():
        sensor = tools[name].sensor
        assert sensor is not None
        assert sensor.channel is not None
        tools[name] = replace(tools[name], sensor=replace(sensor, channel=replace(sensor.channel, channel=channel)))
    return replace(shop, tools=tools)


class Room:
    """The service in front of a virtual shop; time passes only in here."""

    def __init__(self, folder: Path, wired: Shop, file: ShopFile | None) -> None:
        self.clock = HandClock(50.0)
        pins = open_pins("mock", self.clock.now)
        self.plant = VirtualShop(wired, pins, self.clock)
        self.service = Service(
            example_shop(GARAGE), pins, folder / "state", clock=self.clock, open_bank=self._open, wall_s=lambda: 1e9
        )
        self.service.keeper.start()
        self.service.history.start()
        self.plant.step()
        self.service.loop.wake()
        self.news = 0
        self.calibrations = Calibrations(self.service, file, self._hear, in_thread=False)
        self.motors_ran: set[str] = set()
        self.opened: set[str] = set()
        self.prompts: list[str] = []
        self.pass_s(1.0)

    def _open(self, converter: Converter, channels: int) -> MovingBank:
        return MovingBank(self.plant.open_bank(converter, channels), self.clock)  # type: ignore[arg-type]

    def close(self) -> None:
        self.calibrations.stop()
        self.service.keeper.stop(30.0)
        self.service.history.stop(30.0)
        self.service.wires.close()
        self.service._lock.release()

    def _hear(self) -> None:
        self.news += 1

    def pass_s(self, seconds: float) -> None:
        end_s = self.clock.now() + seconds
        while self.clock.now() < end_s:
            self._look()

    def _look(self) -> None:
        for _ in range(10):
            for sampler in self.service.samplers:
                sampler.step()
        self.plant.step()
        self.service.loop.step()
        self.calibrations.pump()
        core = self.service.last_view
        assert core is not None
        self.motors_ran |= {motor.name for motor in core.motors if motor.on}
        self.opened |= {gate.name for gate in core.gates if gate.belief == "open"}
        view = self.calibrations.view()
        if view is not None and view.prompt not in self.prompts[-1:]:
            self.prompts.append(view.prompt)

    def until(self, step: CalibrationStep, most_s: float = 120.0) -> CalibrationView:
        end_s = self.clock.now() + most_s
        while self.clock.now() < end_s:
            view = self.calibrations.view()
            if view is not None and view.step is step:
                return view
            self._look()
        raise AssertionError(f"never came: {self.calibrations.view()}")

    def press(self, machine: str, press: str) -> tuple[bool, str]:
        answer = self.calibrations.press(machine, press, *PHONE)  # type: ignore[arg-type]
        return answer.accepted, answer.sentence

    def propose(self, machine: str) -> CalibrationView:
        """A person who does what the page asks."""
        assert self.press(machine, "begin") == (True, f"Calibrating {machine}.")
        self.until(CalibrationStep.SWITCH_ON)
        self.plant.switch_tool(machine, True)
        self.until(CalibrationStep.CUT)
        assert self.press(machine, "go_on") == (True, "Going on.")
        self.until(CalibrationStep.SWITCH_OFF)
        self.plant.switch_tool(machine, False)
        return self.until(CalibrationStep.PROPOSED)
