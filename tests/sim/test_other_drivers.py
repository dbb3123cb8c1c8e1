"""The drivers that no example uses, on the virtual shop: what the controller commands is what the parts do."""

from pathlib import Path

import pytest

from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.pins import Pins, open_pins
from gatekeeper.devices.switching import LeaseGuard
from gatekeeper.service.clock import Clock
from gatekeeper.service.hearing import Contacts
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.planning import plan_of
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.parts import SWITCH_AT
from sim.plant import VirtualShop

FILE = Path(__file__).parents[1] / "shop" / "golden" / "driver-bites.yaml"
STEP_S = 0.02


class HandClock(Clock):
    """A clock that only the test moves."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def now(self) -> float:
        return self.now_s

    def real_s(self, shop_s: float) -> float:
        return shop_s


class Room:
    """The shop, its controller and its guardian, stepped by hand."""

    def __init__(self) -> None:
        shop = load_shop(FILE.read_text(encoding="utf-8"), FILE.name)
        assert isinstance(shop, Shop)
        self.shop, self.clock = shop, HandClock()
        self.pins: Pins = open_pins("mock", self.clock.now)
        self.plant = VirtualShop(shop, self.pins, self.clock)
        self.wires: Wires = wire_up(
            shop,
            self.pins,
            lambda look: self.loop.post(look),
            on_miss=lambda miss: self.loop.on_miss(miss),
            report_drive=lambda seen: self.loop.post(seen),
            report_gate=lambda seen: self.loop.post(seen),
            open_bank=self.plant.open_bank,
        )
        self.loop = ControlLoop(Supervisor(plan_of(shop), boot="b", run="r"), self.wires, Contacts(shop), self.clock)
        self.guard = LeaseGuard(
            [*self.wires.motors.values(), *(one for at in self.wires.permits.values() for one in at)], self.clock.now
        )
        self.plant.step()
        self.loop.wake()
        self.go_on(4.0)

    def go_on(self, for_s: float, *, is_guarded: bool = True) -> None:
        for _ in range(round(for_s / STEP_S)):
            self.clock.now_s += STEP_S
            self.plant.step()
            self.loop.step()
            if is_guarded:
                self.guard.step()

    def open_share(self, gate: str) -> float:
        return self.plant.gates()[gate].position

    def runs(self, motor: str) -> bool:
        return self.plant.motors()[motor].has_power

    def permit(self) -> float | None:
        line = self.shop.permits["saw permit"].output.line
        return float(self.pins.factory.pin(line).state)


@pytest.fixture
def room() -> Room:
    return Room()


@pytest.mark.parametrize(
    ("tool", "gate", "motor"),
    [
        ("saw", "saw gate", "fan"),
        ("planer", "planer gate", "fan"),
        ("lift", "lift gate", "fan"),
        ("slide", "slide gate", "fan"),
        ("sander", "hose gate", "vacuum"),
        ("wide saw", "wide gate", "drive fan"),
        ("far saw", "far gate", "drive fan"),
    ],
)
def test_a_start_opens_the_gate_and_runs_the_motor_and_its_end_ends_it(
    room: Room, tool: str, gate: str, motor: str
) -> None:
    room.plant.switch_tool(tool, True)
    room.go_on(20.0)
    # A bridge ends its drive where the gate's switch is made, a little short of the end.
    least = 1.0 - SWITCH_AT if gate == "lift gate" else 1.0
    assert least <= room.open_share(gate) + 1e-6 <= least + 0.011
    assert room.runs(motor)
    room.plant.switch_tool(tool, False)
    room.go_on(25.0)
    assert not room.runs(motor)


def test_the_pulsed_relay_drops_when_nobody_pulses(room: Room) -> None:
    room.plant.switch_tool("saw", True)
    room.go_on(6.0)
    assert room.runs("fan")
    room.go_on(0.7, is_guarded=False)
    assert not room.runs("fan")


def test_a_starter_runs_on_when_the_board_dies_and_the_pulsed_relay_does_not(room: Room) -> None:
    room.plant.switch_tool("saw", True)
    room.plant.switch_tool("sander", True)
    room.go_on(12.0)
    assert (room.runs("fan"), room.runs("vacuum")) == (True, True)
    room.plant.pull_plug()
    room.clock.now_s += 1.0
    room.plant.step()
    assert (room.runs("fan"), room.runs("vacuum")) == (False, True)


def test_a_drive_that_trips_stops_its_motor_and_its_reset_starts_nothing(room: Room) -> None:
    room.plant.switch_tool("wide saw", True)
    room.go_on(12.0)
    assert room.runs("drive fan")
    drive = room.pins.drives["drive fan"]
    drive.trip(14)
    room.go_on(1.0)
    assert not room.runs("drive fan")
    assert room.wires.drives[0].trouble == "The drive of drive fan has tripped: code 14."
    drive.trip(0)
    room.go_on(3.0)
    assert not room.runs("drive fan")


def test_a_drive_that_hears_nothing_stops_after_its_own_time(room: Room) -> None:
    room.plant.switch_tool("wide saw", True)
    room.go_on(12.0)
    room.plant.pull_plug()
    for after_s, runs in ((3.5, True), (1.0, False)):
        room.clock.now_s += after_s
        room.plant.step()
        assert room.runs("drive fan") is runs


def test_air_ready_is_permitted_once_it_is_there_and_never_cuts_the_tool(room: Room) -> None:
    assert room.permit() == 0.0
    room.plant.switch_tool("saw", True)
    room.go_on(0.5)
    assert room.permit() == 0.0
    room.go_on(8.0)
    assert room.permit() == 1.0
    # Air goes: the contact stays made while the machine runs that it was made for.
    room.wires.motors["fan"].off()
    room.go_on(1.0)
    assert room.permit() == 1.0
    room.plant.switch_tool("saw", False)
    room.go_on(30.0)
    assert room.permit() == 0.0
