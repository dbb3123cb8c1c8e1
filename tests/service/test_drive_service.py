"""A drive that follows the air under the whole service, stepped by hand on a virtual shop; and care of it."""

import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from driven_shops import DRIVEN, made

from gatekeeper.checking_up import CannotCheck, checked_up
from gatekeeper.control.snapshot import CoreView
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.care import Care, Eyes
from gatekeeper.service.care_jobs import at_full_speed, trends_of
from gatekeeper.service.clock import HandClock
from gatekeeper.service.drive_table import SpeedTable
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.steady_runs import APART_S
from gatekeeper.service.upkeep import ShopUpkeep, trend_view
from sim.plant import STEP_S, VirtualShop

NOW_S = 1_800_000_000.0
PLANER = 66


class Driven:
    """One service on a virtual shop, and nothing of it in a thread."""

    def __init__(self, folder: Path, text: str = DRIVEN) -> None:
        self.clock = HandClock(0.0)
        pins = open_pins("mock", self.clock.now)
        shop = made(text)
        self.plant = VirtualShop(shop, pins, self.clock)
        self.service = Service(
            shop,
            pins,
            folder,
            clock=self.clock,
            open_bank=self.plant.open_bank,
            wall_s=lambda: NOW_S + self.clock.now(),
        )
        self.plant.step()
        self.service.loop.wake()
        self.go_on(12.0)

    def go_on(self, for_s: float) -> None:
        for _ in range(round(for_s / STEP_S)):
            self.clock.jump_to(self.clock.now() + STEP_S)
            self.plant.step()
            self.service.guardian.step()
            self.service.loop.step()

    @property
    def fan(self) -> float:
        """The speed of the fan as it really turns, a share of full speed."""
        return self.plant.motors()["collector"].speed

    @property
    def drive(self) -> Any:
        return self.service.wires.pins.drives["collector"]

    def troubles(self) -> dict[str, str]:
        return dict(self.service.troubles().sentences)


@pytest.fixture
def driven(tmp_path: Path) -> Iterator[Driven]:
    one = Driven(tmp_path)
    yield one
    one.service.wires.close()
    one.service._lock.release()


@pytest.fixture
def slowed(driven: Driven) -> Driven:
    driven.plant.switch_tool("planer", True)
    driven.go_on(60.0)
    assert driven.fan == PLANER / 100
    return driven


def test_the_fan_slows_down_for_the_planer_and_comes_back_for_the_saw(driven: Driven) -> None:
    driven.plant.switch_tool("planer", True)
    driven.go_on(15.0)
    assert (driven.fan, driven.service.speed_share("collector")) == (1.0, 1.0)
    driven.go_on(45.0)
    assert (driven.fan, driven.service.speed_share("collector")) == (PLANER / 100, PLANER / 100)
    assert driven.drive.values[0x2001] == 3300
    driven.plant.switch_tool("table saw", True)
    driven.go_on(1.0)
    assert driven.drive.values[0x2001] == 5000
    # Just told another speed: whoever measures is told nothing, the page what it reports.
    assert driven.service.speed_share("collector") is None
    assert driven.service.speed_seen("collector") == 1.0
    driven.go_on(2.0)
    assert driven.fan == 1.0
    assert driven.troubles() == {}


def test_the_page_sees_speed_and_reason(slowed: Driven) -> None:
    face = ShopFace(slowed.service)
    face.start()
    (motor,) = face.view().motors
    face.stop()
    assert motor.speed is not None
    assert motor.speed.text == "66 %: any slower, and chips settle in planer drop."


def test_a_drive_that_keeps_its_speed_is_a_message_and_the_page_goes_by_what_it_reports(slowed: Driven) -> None:
    slowed.drive.keeps_speed = True
    slowed.plant.switch_tool("table saw", True)
    slowed.go_on(33.0)
    assert slowed.troubles() == {
        "drive_speed:collector": "The drive of collector does not take its speed: told 50 Hz, it reports 33 Hz and is "
        "left at that. Below 46.5 Hz chips may settle in the duct."
    }
    assert slowed.plant.motors()["collector"].has_power
    face = ShopFace(slowed.service)
    face.start()
    view = face.view()
    face.stop()
    (message,) = [one for one in view.messages if one.key == "drive_speed:collector"]
    assert message.remedy == "Look in its manual for what sets its speed, then at these keys in the shop file."
    slow = {duct.name: duct.velocity_ms for duct in view.ducts}["main"]
    solved = slowed.service.air_systems["collector"].prepared
    air = solved.with_fan(solved.network.fan.scaled(0.66)).solve(["planer gate", "saw gate"]).ducts()
    assert slow == pytest.approx(air["main"].velocity_ms)


def test_a_motor_of_one_speed_is_always_at_full_speed(tmp_path: Path) -> None:
    fixed = Driven(tmp_path, DRIVEN.replace("speed: from the air", "speed: 48"))
    fixed.plant.switch_tool("planer", True)
    fixed.go_on(60.0)
    assert (fixed.service.paces, fixed.service.speed_share("collector")) == ({}, 1.0)
    assert (fixed.drive.values[0x2001], fixed.fan) == (4800, 1.0)
    fixed.service.wires.close()


# ---------------------------------------------------------------- care


def test_a_reading_at_less_speed_is_compared_at_full_speed(driven: Driven) -> None:
    """The same filter, read at full speed and at 66 %: less than half of the suction, and no loaded filter."""
    upkeep = ShopUpkeep(lambda: driven.service, None)
    driven.plant.switch_tool("planer", True)
    driven.go_on(15.0)
    assert upkeep.reading("collector", "main", "1500 Pa", "Ada").accepted
    driven.go_on(45.0)
    assert upkeep.reading("collector", "main", "660 Pa", "Ada").accepted
    (trend,) = trends_of(driven.service.care.log.read())
    assert [one.more["speed"] for one in trend.readings] == [1.0, 0.66]
    assert trend.last_pa == pytest.approx(660.0 / 0.66**2)
    assert not trend.is_low
    told = trend_view(trend, driven.service.shop)
    assert [one.value_said for one in told.readings] == ["1.50 kPa", "1.52 kPa"]
    assert told.said == "Last reading 1% above day one. Counted up to full speed by the fan laws."
    assert "reading_low:collector" not in driven.troubles()


def test_a_loaded_filter_is_found_at_less_speed_too(driven: Driven) -> None:
    upkeep = ShopUpkeep(lambda: driven.service, None)
    driven.plant.switch_tool("planer", True)
    driven.go_on(15.0)
    assert upkeep.reading("collector", "main", "1500 Pa", "Ada").accepted
    driven.go_on(45.0)
    assert upkeep.reading("collector", "main", "500 Pa", "Ada").accepted
    assert driven.troubles()["reading_low:collector"] == (
        "Suction at main is 23% below day one (1.15 kPa, was 1.50 kPa): look in this order: bin, filter, hose."
    )
    # And what is in doubt runs at full speed.
    driven.go_on(1.0)
    assert driven.service.paces["collector"].now.why == "its suction lies below day one"
    assert driven.drive.values[0x2001] == 5000


def test_no_reading_is_taken_while_the_speed_changes(slowed: Driven) -> None:
    slowed.plant.switch_tool("table saw", True)
    slowed.go_on(1.5)
    answer = ShopUpkeep(lambda: slowed.service, None).reading("collector", "main", "1500 Pa", "Ada")
    assert (answer.accepted, answer.code, answer.sentence) == (
        False,
        "speed_changes",
        "The speed of collector is just being changed. Wait, then read again.",
    )


def test_at_the_terminal_the_speed_is_asked_for(tmp_path: Path) -> None:
    def check(text: str, speed: float | None) -> list[str]:
        return checked_up(
            made(text), "driven.yaml", tmp_path, suction="660 Pa", at="main", gates=["planer gate"], stopped=None,
            who="Ada", speed=speed,
        )  # fmt: skip

    fixed = DRIVEN.replace("speed: from the air", "speed: 48")
    untold = (
        "The drive of collector runs as fast as the machines need. Say how fast it ran with --speed, in % of full "
        "speed; the page tells it."
    )
    said = {
        (DRIVEN, None): untold,
        (DRIVEN, 120.0): "A speed of 120 % is none; it lies between 1 and 100.",
        (fixed, 50.0): "The collector has one speed only; leave --speed out.",
    }
    for (text, speed), sentence in said.items():
        with pytest.raises(CannotCheck) as caught:
            check(text, speed)
        assert str(caught.value) == sentence
    lines = check(DRIVEN, 66.0)
    assert lines[1] == (
        "collector: Suction at main with planer gate open. One reading: this is day one. Counted up to full speed by "
        "the fan laws."
    )
    with pytest.raises(CannotCheck) as caught:
        checked_up(
            made(DRIVEN), "driven.yaml", tmp_path, suction=None, at=None, gates=[], stopped=None, who="Ada", speed=50.0
        )
    assert str(caught.value).startswith("A tap and open gates belong to a reading; ")


CLAMPED = (
    DRIVEN.replace(
        "confirmed_by: {drive: fan drive, within: 5 s}",
        "confirmed_by: {converter: board, channel: 0, range: 20 A, within: 5 s}",
    )
    + "converters:\n  board: {kind: MCP3208, chip_select: 0}\n"
)


@pytest.mark.parametrize(("share", "days"), [(1.0, 1), (0.995, 1), (0.66, 0), (None, 0)])
def test_currents_count_at_full_speed_only(tmp_path: Path, share: float | None, days: int) -> None:
    """A fan that turns slower takes far less current: to the watch that would be a loaded filter."""
    shop = made(CLAMPED)
    folder = tmp_path / "shop"
    folder.mkdir()
    one = Driven(folder)
    one.plant.switch_tool("planer", True)
    one.go_on(30.0)
    view: list[CoreView | None] = [one.service.last_view]
    now_s = [one.clock.now()]
    care = Care(
        shop, tmp_path, air_systems(shop), {}, {},
        Eyes(
            view=lambda: view[0], amperes=lambda: {"collector": 8.0}, standing=frozenset, now_s=lambda: now_s[0],
            wall_s=lambda: NOW_S, keep=lambda keep: None, speed=lambda motor: share,
        ),
    )  # fmt: skip
    for _ in range(round(APART_S)):
        now_s[0] += 1.0
        care.look()
    state = care._watches["collector"].state()
    assert [day[:2] for day in state["days"]] == [[date.fromtimestamp(NOW_S).toordinal(), 1]] * days
    one.service.wires.close()


def test_what_counts_as_full_speed() -> None:
    assert [at_full_speed(share) for share in (None, 0.0, 0.98, 0.99, 1.0)] == [False, False, False, True, True]


def test_a_table_is_made_before_the_core_lives(driven: Driven) -> None:
    (table,) = driven.service._speeds.values()
    assert isinstance(table, SpeedTable)
    assert table.is_whole
