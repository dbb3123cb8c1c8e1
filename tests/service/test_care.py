"""Care on the real service: a full bin, hours, stops that are proved, readings against day one."""

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gatekeeper.control.messages import Answer, Event, Requested
from gatekeeper.control.snapshot import CoreView
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.records.care_log import CareLog, Done
from gatekeeper.service.clock import FastClock
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.stop_proof import StopProof
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

MOTOR, SAW, SEEN, BIN, FILTER = 17, 23, 24, 25, 26
#: Only guards against hanging.
DEADLINE_S = 30.0
DAY_S = 86_400.0
NOW_S = 1_800_000_000.0

TEXT = """
shop: {name: Shed, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    spin_down: 10 s
    starts_per_hour: 60 per hour
    release: 1 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {current_switch: GPIO24, within: 5 s}
    care: {bin_every: 10 h, full_bin: FULL}
gates:
  saw gate: {diameter: 100 mm}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
inputs:
  chip bin: {kind: bin full, pin: GPIO25}
  filter gauge: {kind: filter pressure, pin: GPIO26}
"""


def shop_of(full: str) -> Shop:
    shop = load_shop(TEXT.replace("FULL", full), "shed.yaml")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


class Shed:
    """One run on mock pins; the contactor's current switch follows its relay unless it is stuck."""

    def __init__(self, folder: Path, full: str = "refuses the next start") -> None:
        clock = FastClock(10.0)
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        self.wall_s = NOW_S
        self.service = Service(shop_of(full), pins, folder, clock=clock, wall_s=lambda: self.wall_s)
        self.follows = True
        self.service.after_step = self._follow
        for line in (SAW, SEEN, BIN, FILTER):
            self.hands.drive(line, high=True)
        self.care = self.service.care
        self.service.start()
        self.until(lambda view: view.awake and view.tools[0].reading == "stopped")

    def _follow(self) -> None:
        if self.follows:
            self.hands.drive(SEEN, high=self.hands.level(MOTOR) == 0.0)

    def until(self, true: Callable[[CoreView], bool]) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
        raise AssertionError(f"never came: {self.service.last_view}")

    def told(self, code: str, *, stands: bool = True) -> str:
        """The sentence of a trouble once it stands; nothing once it does not."""
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            found = dict(self.service.troubles().sentences)
            if (code in found) is stands:
                return found.get(code, "")
        raise AssertionError(f"{code}: {self.service.troubles().sentences}")

    def ask(self, build: Callable[[str], Event]) -> Answer:
        return self.service.loop.ask(build).result(DEADLINE_S)

    def saw(self, runs: bool) -> None:
        self.hands.drive(SAW, high=not runs)

    def bin(self, is_full: bool) -> None:
        self.hands.drive(BIN, high=not is_full)


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Callable[..., Shed]]:
    made: list[Shed] = []

    def make(full: str = "refuses the next start") -> Shed:
        made.append(Shed(tmp_path, full))
        return made[-1]

    yield make
    for one in made:
        if one.service.is_alive:
            one.service.stop()


def test_a_full_bin_ends_no_cut_and_refuses_the_next_start(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.saw(True)
    one.until(lambda view: view.motors[0].on)
    one.bin(True)
    assert one.told("bin_called:collector") == "The bin of collector is full."
    view = one.until(lambda view: view.now_s > 0)
    assert (view.motors[0].on, view.motors[0].doors) == (True, ())
    one.saw(False)
    stopped = one.until(lambda view: view.motors[0].doors == ("chip bin",))
    assert not stopped.motors[0].on
    one.saw(True)
    refused = one.until(lambda view: view.tools[0].reading == "running").motors[0]
    assert (refused.on, refused.state) == (False, "blocked")
    face = ShopFace(one.service)
    face.start()
    shown = face.view()
    face.stop()
    sentences = {message.sentence for message in shown.messages}
    assert "The bin is full: chip bin. Its motor stays off until it is emptied." in sentences
    assert shown.motors[0].word == "bin full"
    one.bin(False)
    free = one.until(lambda view: view.motors[0].doors == ()).motors[0]
    one.told("bin_called:collector", stands=False)
    assert not free.on  # emptying starts nothing (C21)
    one.saw(False)
    one.until(lambda view: view.tools[0].reading == "stopped")
    one.saw(True)
    one.until(lambda view: view.motors[0].on)


def test_where_it_only_warns_the_next_cut_has_air(shed: Callable[..., Shed]) -> None:
    one = shed("warns")
    one.bin(True)
    one.told("bin_called:collector")
    one.saw(True)
    assert one.until(lambda view: view.motors[0].on).motors[0].doors == ()


def test_what_a_filter_said_while_air_moved_stays_until_it_is_cleaned(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.hands.drive(FILTER, high=False)
    one.until(lambda view: one.service.loop.contacts.care.standing == {"filter gauge"})
    one.care.look()
    assert one.care.troubles() == {}  # the fan stands: a pressure switch has nothing to say
    one.saw(True)
    assert one.told("filter_called:collector") == "The filter of collector takes too much pressure."
    one.hands.drive(FILTER, high=True)
    one.saw(False)
    one.until(lambda view: not view.motors[0].on and one.service.loop.contacts.care.standing == frozenset())
    one.care.look()
    assert "filter_called:collector" in one.care.troubles()
    one.care.done("filter_cleaned", "collector", "the page")
    assert one.care.troubles() == {}


def test_hours_since_the_bin_was_emptied_are_counted_from_the_record(shed: Callable[..., Shed], tmp_path: Path) -> None:
    one = shed()
    one.saw(True)
    one.until(lambda view: view.motors[0].on)
    one.saw(False)
    one.until(lambda view: not view.motors[0].on)
    assert one.service.history.flush(DEADLINE_S)
    one.care.done("bin_emptied", "collector", "the page, from 192.168.1.7")
    (done,) = [line for line in CareLog(tmp_path / "care.jsonl").read() if line.what == "bin_emptied"]
    (total,) = [total for total in one.care.totals if total.kind == "motor"]
    assert done.who == "the page, from 192.168.1.7"
    assert done.more == {"running_s": total.running_s}
    assert total.running_s > 5.0
    (job,) = [job for job in one.care.jobs if job.kind == "bin"]
    assert (job.used_s, job.last, job.is_given, job.is_due) == (0.0, done, True, False)


def test_a_stop_in_mid_run_is_proved_by_the_motors_own_sensor(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.saw(True)
    one.until(lambda view: view.motors[0].seen == "running")
    one.until(lambda view: view.motors[0].state == "running")
    assert one.ask(lambda ref: Requested("stop", None, "page", ref=ref)).accepted
    one.until(lambda view: view.motors[0].seen == "still")
    one.care.look()
    (proved,) = [line for line in one.care.log.read() if line.what == "stop_proved"]
    allowed_s = one.service.plan.motors["collector"].release_s
    assert proved.more["allowed_s"] == round(allowed_s, 2)
    assert 0.0 <= proved.more["took_s"] <= allowed_s


def test_a_contactor_that_sticks_is_written_down(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.saw(True)
    one.until(lambda view: view.motors[0].seen == "running" and view.motors[0].state == "running")
    one.follows = False
    assert one.ask(lambda ref: Requested("stop", None, "page", ref=ref)).accepted
    one.until(lambda view: view.motors[0].overrun)
    one.care.look()
    (proved,) = [line for line in one.care.log.read() if line.what == "stop_proved"]
    assert proved.more["took_s"] is None


def test_a_stop_whose_sensor_spoke_too_late_proves_nothing_and_blames_nobody(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.saw(True)
    core = one.until(lambda view: view.motors[0].seen == "running" and view.motors[0].state == "running")
    proof = StopProof({"collector": 1.75})
    proof.take(core)
    off = replace(core.motors[0], on=False, state="coasting")
    proof.take(replace(core, motors=(off,)))
    proof.take(replace(core, now_s=core.now_s + 2.0, motors=(replace(off, seen=None),)))
    proof.take(replace(core, now_s=core.now_s + 3.0, motors=(replace(off, seen="still"),)))
    assert proof.found() == []


def test_a_spin_down_that_ends_proves_no_stop(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.saw(True)
    one.until(lambda view: view.motors[0].seen == "running")
    one.saw(False)
    one.until(lambda view: not view.motors[0].on and view.motors[0].seen == "still")
    one.care.look()
    assert one.care.log.read() == ()


def reading(at_s: float, pa: float, tap: str = "main") -> Done:
    return Done(at_s, "suction", "collector", "Ada", {"tap": tap, "gates": ["saw gate"], "pa": pa})


def test_a_reading_far_below_day_one_is_told_with_what_to_look_at(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.care.log.add(reading(NOW_S - 60 * DAY_S, 1600.0))
    one.care.log.add(reading(NOW_S - 20 * DAY_S, 1500.0))
    one.care.look()
    assert one.care.troubles() == {}
    one.care.log.add(reading(NOW_S, 1200.0))
    one.care.look()
    assert one.care.troubles() == {
        "reading_low:collector": "Suction at main is 25% below day one (1.20 kPa, was 1.60 kPa): look in this order: "
        "bin, filter, hose."
    }
    # At other gates or another tap it is another day one.
    one.care.log.add(replace(reading(NOW_S, 400.0), more={"tap": "main", "gates": [], "pa": 400.0}))
    one.care.log.add(reading(NOW_S + 1, 1550.0))
    one.care.look()
    assert one.care.troubles() == {}


def test_the_monthly_check_is_due_only_once_there_is_a_day_one(shed: Callable[..., Shed]) -> None:
    one = shed()
    one.care.look()
    assert one.care.troubles() == {}
    one.care.log.add(reading(NOW_S - 32 * DAY_S, 1600.0))
    one.care.look()
    assert one.care.troubles() == {
        "check_due:collector": "The monthly check of collector is due: the last reading is 32 days old."
    }
