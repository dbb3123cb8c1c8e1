"""The lamp for the whole shop, on the real service: lit while a message of its heap or a worse one stands."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.clock import FastClock
from gatekeeper.service.running import Service
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

MOTOR, SENSOR, RED, LAMP = 17, 23, 22, 24
#: Only guards against hanging.
DEADLINE_S = 30.0
SHOP = """shop: {name: Lamp, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 2.2 kW, phases: three, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 125 mm, servo: {pin: GPIO12}}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
inputs:
  red button: {kind: red button, pin: GPIO22}
messages:
  lamp: {pin: GPIO24, heap: HEAP}
"""


class Run:
    def __init__(self, folder: Path, heap: str) -> None:
        clock = FastClock(2.0)
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        shop = load_shop(SHOP.replace("HEAP", heap), "shop.yaml")
        assert not isinstance(shop, Faults), str(shop)
        self.service = Service(shop, pins, folder, clock=clock, boot="boot")
        self.hands.drive(SENSOR, high=True)
        self.hands.drive(RED, high=False)
        self.service.start()

    def until(self, true: Callable[[], bool]) -> None:
        ends_s = time.monotonic() + DEADLINE_S
        while not true():
            assert time.monotonic() < ends_s, f"never came: {self.service.last_view}"

    def lit(self) -> bool:
        return self.hands.level(LAMP) == 1.0

    def codes(self) -> set[str]:
        view = self.service.last_view
        return {alarm.code for alarm in view.alarms} if view is not None else set()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[str], Run]]:
    runs: list[Run] = []

    def make(heap: str) -> Run:
        runs.append(Run(tmp_path, heap))
        run = runs[-1]
        run.until(lambda: run.service.last_view is not None and run.service.last_view.awake)
        return run

    yield make
    for run in runs:
        run.service.stop()
        assert not run.lit()  # dark for good, like every other output


def test_the_lamp_is_lit_while_something_hurts_now_and_dark_when_it_is_over(start: Callable[[str], Run]) -> None:
    run = start("now")
    assert not run.lit()
    run.hands.drive(RED, high=True)
    run.until(run.lit)
    assert run.codes() == {"emergency"}
    run.hands.drive(RED, high=False)
    asked = lambda: run.service.loop.ask(lambda ref: requested(ref)).result(DEADLINE_S).accepted  # noqa: E731
    run.until(asked)
    run.until(lambda: not run.lit())
    assert run.codes() == set()


def test_a_milder_heap_lights_it_only_where_the_file_says_so(start: Callable[[str], Run]) -> None:
    run = start("now")
    run.service.report("converter:tool board", "Converter tool board: no answer.")
    run.service.loop.ask(lambda ref: requested(ref, "out_of_service")).result(DEADLINE_S)
    run.until(lambda: run.codes() == {"out_of_service"})
    assert not run.lit()


@pytest.mark.parametrize("heap", ["today", "when you can"])
def test_troubles_of_the_service_itself_light_it_too(start: Callable[[str], Run], heap: str) -> None:
    run = start(heap)
    run.service.report("not_kept", "A value could not be kept.")
    run.until(run.lit)
    run.service.report("not_kept", None)
    run.until(lambda: not run.lit())
    run.service.report("history_not_written", "The history is not being written.")
    run.service.loop.ask(lambda ref: requested(ref, "out_of_service")).result(DEADLINE_S)
    if heap == "when you can":
        run.until(run.lit)


def requested(ref: str, what: str = "reset") -> object:
    from gatekeeper.control.messages import Requested

    return Requested(what, None, "local", text="Ada: belt", ref=ref)  # type: ignore[arg-type]
