"""A change of bin, bag or filter on the real service: step by step, in order only, through a restart, two at once."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.control.snapshot import CoreView, MotorNow
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.change_steps import BEGIN, ORDER, Job, Step, words
from gatekeeper.service.change_walk import FIRE, Change, ShopPeople
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face_people import ChangeView
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.upkeep import ShopUpkeep
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

MOTOR, SENSOR, DOOR, HEAT = 17, 23, 24, 25
#: Only guards against hanging.
DEADLINE_S = 30.0
SHOP = """shop: {name: Walk, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 2.2 kW
    phases: three
    spin_down: 1 s
    coast: 6 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
gates:
  saw gate: {diameter: 125 mm, servo: {pin: GPIO12}}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
inputs:
  bin door: {kind: door, pin: GPIO24, motors: fan}
  heat: {kind: fire, pin: GPIO25}
  reset key: {kind: reset, pin: GPIO22}
"""


class Run:
    """One run of the service, with what people walk through around it."""

    def __init__(self, folder: Path, boot: str) -> None:
        clock = FastClock(4.0)
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        shop = load_shop(SHOP, "shop.yaml")
        assert not isinstance(shop, Faults), str(shop)
        self.service = Service(shop, pins, folder, clock=clock, boot=boot)
        self.hands.drive(SENSOR, high=True)
        self.hands.drive(DOOR, high=False)
        self.hands.drive(HEAT, high=False)
        self.service.start()
        self.face = ShopFace(self.service)
        self.face.start()
        self.people = ShopPeople(lambda: self.service, self.face, ShopUpkeep(lambda: self.service, None))
        self.until(lambda view: view.awake and view.tools[0].reading == "stopped")

    def until(self, true: Callable[[CoreView], bool]) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
        raise AssertionError(f"never came: {self.service.last_view}")

    def motor(self) -> MotorNow:
        assert self.service.last_view is not None
        return self.service.last_view.motors[0]

    def now(self) -> ChangeView:
        (going,) = self.people.changes().going
        return going

    def rests(self) -> None:
        self.until(lambda view: not view.motors[0].fan_runs)

    def press(self, step: Step, **more: str) -> str:
        answer = self.people.press("fan", ORDER.index(step), "Ada", **more)
        assert answer.accepted, answer
        return answer.sentence

    def refused(self, step: Step, **more: str) -> str:
        answer = self.people.press("fan", ORDER.index(step), "Ada", **more)
        assert not answer.accepted
        return answer.code

    def end(self, *, power: bool = True) -> None:
        self.face.stop()
        (self.service.stop if power else self.service.lose_power)()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[], Run]]:
    runs: list[Run] = []

    def make() -> Run:
        runs.append(Run(tmp_path, f"boot {len(runs)}"))
        return runs[-1]

    yield make
    for run in runs:
        if run.service.is_alive:
            run.end()


def in_mid_cut(run: Run) -> None:
    run.hands.drive(SENSOR, high=False)
    run.until(lambda view: view.motors[0].on)


def test_from_mid_cut_to_hours_at_zero(start: Callable[[], Run]) -> None:
    run = start()
    assert run.people.changes().offers == tuple(("fan", job.value, BEGIN[job].format(motor="fan")) for job in Job)
    in_mid_cut(run)
    assert run.people.begin("fan", "bin", "Ada").accepted
    assert not run.motor().on
    assert run.motor().out_of_service is not None
    assert run.motor().out_of_service[1] == "Ada: the bin is emptied"  # type: ignore[index]
    shown = run.now()
    assert (shown.title, shown.number, shown.label) == ("Bin of fan", 0, None)
    assert shown.now.text == "Fan is off. Its fan may turn for {time} more."
    assert shown.stays == "The fan of fan still turns."
    assert run.refused(Step.COAST) == "not_yet"
    run.rests()
    shown = run.now()
    assert shown.label == "It stands still"
    assert (
        shown.now.text == "The coast time of fan is over. Nothing there sees it: look and listen that it stands still."
    )
    for step in (Step.COAST, Step.LOCK, Step.RESPIRATOR, Step.CHANGE, Step.CLOSE, Step.UNLOCK):
        if step is not Step.COAST:
            assert run.now().now.text == words(Job.BIN, step).now.format(motor="fan")
        assert run.refused(Step.BACK) == "other_step"
        assert run.press(step) == "Go on."
        assert run.motor().out_of_service is not None
    assert run.press(Step.BACK) == (
        "Back in service. Nothing starts by itself. Bin emptied, fan. Hours count from zero."
    )
    assert run.motor().out_of_service is None
    assert not run.motor().on  # the saw still runs, and starts nothing
    shown = run.now()
    assert (shown.asks_reading, shown.taps, shown.example) == (True, ("inlet of fan",), "1.50 kPa")
    assert [step.done_by is not None for step in shown.steps] == [True] * 7 + [False]
    assert run.refused(Step.READING, tap="inlet of fan", reading="much") == "no_reading"
    assert run.press(Step.READING) == "The change is done, without a reading."
    assert run.people.changes().going == ()
    log = run.service.care.log.read()
    assert [(one.what, one.subject, one.who) for one in log] == [("bin_emptied", "fan", "Ada")]


def test_it_goes_on_where_it_was_after_a_power_cut(start: Callable[[], Run]) -> None:
    first = start()
    assert first.people.begin("fan", "filter", "Ada").accepted
    first.rests()
    for step in (Step.COAST, Step.LOCK, Step.RESPIRATOR):
        first.press(step)
    first.end(power=False)
    second = start()
    shown = second.now()
    assert (shown.title, ORDER[shown.number]) == ("Filter of fan", Step.CHANGE)
    assert [step.done_by is not None for step in shown.steps] == [True] * 3 + [False] * 5
    assert second.motor().out_of_service is not None
    in_question = second.people.begin("fan", "bin", "Ben")
    assert (in_question.code, in_question.sentence) == ("goes_on", "A change at fan goes on already; end it first.")
    second.press(Step.CHANGE)
    second.end()
    third = start()
    assert ORDER[third.now().number] is Step.CLOSE
    assert third.people.leave("fan", "Ada").sentence == (
        "The change was given up. Fan stays out of service until somebody brings it back."
    )
    third.end()
    assert start().people.changes().going == ()


def test_a_press_counts_once(start: Callable[[], Run]) -> None:
    run = start()
    run.people.begin("fan", "bag", "Ada")
    run.rests()
    run.press(Step.COAST)
    assert run.refused(Step.COAST) == "other_step"
    assert ORDER[run.now().number] is Step.LOCK


def test_a_door_that_is_open_is_shut_before_it_goes_on(start: Callable[[], Run]) -> None:
    run = start()
    run.people.begin("fan", "bin", "Ada")
    run.rests()
    for step in (Step.COAST, Step.LOCK, Step.RESPIRATOR):
        run.press(step)
    run.hands.drive(DOOR, high=True)
    run.until(lambda view: view.motors[0].doors == ("bin door",))
    run.press(Step.CHANGE)
    assert run.now().stays == "Still open: bin door. Shut it first."
    assert run.refused(Step.CLOSE) == "not_yet"
    run.hands.drive(DOOR, high=False)
    run.until(lambda view: view.motors[0].doors == ())
    run.press(Step.CLOSE)


def test_heat_or_sparks_forbid_to_open(start: Callable[[], Run]) -> None:
    run = start()
    run.people.begin("fan", "bin", "Ada")
    run.rests()
    run.press(Step.COAST)
    assert run.face.request("sparks", None, "page").result(DEADLINE_S).accepted
    assert run.now().stays == FIRE
    assert run.refused(Step.LOCK) == "not_yet"
    run.people.leave("fan", "Ada")
    refused = run.people.begin("fan", "bin", "Ada")
    assert (refused.code, refused.sentence) == ("fire", FIRE)


def test_somebody_else_who_brings_it_back_stops_the_walk(start: Callable[[], Run]) -> None:
    run = start()
    run.people.begin("fan", "bin", "Ada")
    run.rests()
    run.press(Step.COAST)
    run.press(Step.LOCK)
    assert run.face.request("back_in_service", "fan", "page").result(DEADLINE_S).accepted
    shown = run.now()
    assert shown.now.text == "Fan is in service again: somebody else brought it back. Do not open it."
    assert shown.label == "Take it out of service again"
    assert run.press(Step.RESPIRATOR) == "Out of service. This is no padlock: lock the disconnect."
    assert ORDER[run.now().number] is Step.COAST  # from the beginning: it may have run meanwhile
    assert run.motor().out_of_service is not None


def test_what_makes_no_sense_is_refused_in_words(start: Callable[[], Run]) -> None:
    people = start().people
    assert people.begin("saw", "bin", "Ada").code == "no_such_request"
    assert people.begin("fan", "roof", "Ada").code == "no_such_request"
    assert people.begin("fan", "bin", "").sentence == "Say who does it."
    assert people.press("fan", 0, "Ada").sentence == "No change goes on there."
    assert people.leave("fan", "Ada").code == "no_change"


@pytest.mark.parametrize(
    "kept",
    [
        None,
        3,
        {},
        {"job": "roof", "who": "Ada", "step": "lock", "done": []},
        {"job": "bin", "who": "Ada", "step": "dance", "done": []},
        {"job": "bin", "who": "Ada", "step": "lock", "done": [["coast", "Ada", "soon"]]},
    ],
)
def test_a_kept_change_that_nobody_understands_is_none(kept: object) -> None:
    assert Change.from_kept(kept) is None


def test_a_kept_change_is_read_as_it_was_written() -> None:
    change = Change(Job.BAG, "Ada", Step.LOCK, (("coast", "Ada", 12.5),))
    assert Change.from_kept(change.as_kept()) == change
