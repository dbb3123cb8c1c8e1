"""Gates on a reversible motor: where a drive ends before its time, by a switch or by its current."""

import pytest

from gatekeeper.devices.base import Miss, Position
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.inputs import ContactInput, PositionSwitches
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.reversing import BridgeGate

OPEN_PIN, SHUT_PIN, ENABLE_PIN, CURRENT, AT_OPEN = 23, 24, 25, 5, 6
TRAVEL_S = 4.0


class Bench:
    """A bridge gate with a current stop, and with or without a switch at its open end."""

    def __init__(self, pins: Pins, bench: BenchPins, has_switch: bool) -> None:
        self.hands = bench
        self.missed: list[Miss] = []
        switches = PositionSwitches(at_open=ContactInput(pins, "saw open", AT_OPEN)) if has_switch else None
        self.gate = BridgeGate(
            pins, "saw", OPEN_PIN, SHUT_PIN, enable_pin=ENABLE_PIN, travel_s=TRAVEL_S, switches=switches,
            current_stop=ContactInput(pins, "saw, current", CURRENT), on_miss=self.missed.append,
        )  # fmt: skip

    def go_to(self, now_s: float) -> None:
        """Tick at every instant that it asks for, up to and with one."""
        while (due := self.gate.next_deadline()) is not None and due <= now_s:
            self.gate.tick(due)

    def is_driven(self) -> bool:
        levels = {self.hands.level(pin) for pin in (OPEN_PIN, SHUT_PIN, ENABLE_PIN)}
        assert levels in ({0.0}, {0.0, 1.0})
        return 1.0 in levels


@pytest.fixture(params=[False, True], ids=["no switch", "switch"])
def has_switch(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


@pytest.fixture
def made(pins: Pins, bench: BenchPins, has_switch: bool) -> Bench:
    return Bench(pins, bench, has_switch)


def test_too_much_current_ends_the_drive_within_two_looks(made: Bench) -> None:
    made.gate.open(100.0)
    made.go_to(101.0)
    made.hands.drive(CURRENT, False)
    made.go_to(101.03)
    assert made.is_driven()
    made.go_to(101.05)
    assert not made.is_driven()
    assert made.gate.next_deadline() is None
    assert [(miss.wanted, miss.seen) for miss in made.missed] == [(Position.OPEN, Position.BETWEEN)]


def test_one_look_alone_is_no_current(made: Bench) -> None:
    made.gate.open(100.0)
    made.go_to(101.0)
    made.hands.drive(CURRENT, False)
    made.go_to(101.021)
    made.hands.drive(CURRENT, True)
    made.go_to(102.0)
    assert made.is_driven()


def test_the_inrush_is_passed_over(made: Bench) -> None:
    made.hands.drive(CURRENT, False)
    made.gate.open(100.0)
    made.go_to(100.39)
    assert made.is_driven()
    made.hands.drive(CURRENT, True)
    made.go_to(102.0)
    assert made.is_driven()


@pytest.mark.parametrize("has_switch", [False], indirect=True)
def test_current_near_the_end_of_the_travel_is_the_end(made: Bench) -> None:
    made.gate.open(100.0)
    made.go_to(102.9)
    made.hands.drive(CURRENT, False)
    made.go_to(103.0)
    assert not made.is_driven()
    assert made.missed == []


@pytest.mark.parametrize("has_switch", [True], indirect=True)
def test_with_a_switch_the_switch_says_whether_it_arrived(made: Bench) -> None:
    made.gate.open(100.0)
    made.go_to(103.5)
    made.hands.drive(CURRENT, False)
    made.go_to(103.6)
    assert not made.is_driven()
    assert [miss.seen for miss in made.missed] == [Position.BETWEEN]


@pytest.mark.parametrize("has_switch", [True], indirect=True)
def test_the_switch_ends_the_drive(made: Bench) -> None:
    made.gate.open(100.0)
    made.go_to(102.0)
    made.hands.drive(AT_OPEN, False)
    made.go_to(102.03)
    assert not made.is_driven()
    assert made.missed == []
    assert made.gate.next_deadline() is None


def test_without_current_it_ends_at_its_run_limit(made: Bench) -> None:
    made.gate.shut(100.0)
    made.go_to(100.0 + TRAVEL_S - 0.001)
    assert made.is_driven()
    made.go_to(100.0 + TRAVEL_S)
    assert not made.is_driven()
