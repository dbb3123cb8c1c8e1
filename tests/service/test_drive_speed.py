"""The speed of a drive from what the core believes: up at once, down after a while, full speed in doubt."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from driven_shops import DRIVEN, air_of, made
from viewing_room import OFFSET_S, Room

from gatekeeper.control.alarms import Standing
from gatekeeper.control.messages import ToolSeen, Woke
from gatekeeper.control.snapshot import AlarmNow, CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.service.drive_speed import DrivePace, reason, velocity
from gatekeeper.service.drive_table import Binds, SpeedRow, SpeedTable, speed_tables
from gatekeeper.service.live_air import LiveAir
from gatekeeper.service.planning import plan_of
from gatekeeper.service.viewing import Viewing
from gatekeeper.service.viewing_notes import SpeedNow
from gatekeeper.shop.model import Shop, Units

SHOP = made(DRIVEN)
AIR = air_of(SHOP)
TABLE = speed_tables(SHOP, AIR)["collector"]
HOLD_S = 30.0
PLANER, SAW, BOTH = 66, 87, 93


class DriveRoom(Room):
    """A room whose core knows the air, and a drive whose thread asks four times a second."""

    def __init__(self, shop: Shop = SHOP, table: SpeedTable | None = TABLE) -> None:
        super().__init__(shop, ready=False)
        self.plan = plan_of(shop, AIR)
        self.core = Supervisor(self.plan, None, strict=True)
        self.viewing = Viewing(shop, self.plan, lambda: OFFSET_S + self.now_s, LiveAir(AIR.systems))
        self.troubles: dict[str, str] = {}
        self.hurried = 0
        self.pace = DrivePace(
            shop,
            shop.motors["collector"],
            table,
            lambda: self.now_s,
            troubles=lambda: self.troubles,
            hurry=self.hurry,
        )
        self.told: list[tuple[float, int, str]] = []
        self.handle(Woke())
        for name in self.plan.tools:
            self.handle(ToolSeen(name, "stopped"))
        self.go_on(30.0)

    def hurry(self) -> None:
        self.hurried += 1

    def handle(self, event: Any) -> list[Any]:
        answers = super().handle(event)
        if hasattr(self, "pace"):
            self.pace.take(self.core.snapshot())
        return answers

    def go_on(self, for_s: float) -> None:
        """Time passes, with an exchange of the drive every quarter of a second."""
        for _ in range(round(for_s / 0.25)):
            self.run(0.25)
            self.exchange()

    def exchange(self) -> int:
        hz, floor_hz = self.pace.speed_hz(), self.pace.floor_hz()
        now = self.pace.now
        assert hz == pytest.approx(now.percent / 2)  # full speed is 50 Hz
        assert floor_hz <= hz + 1e-9 or now.percent == 100
        if not self.told or self.told[-1][1:] != (now.percent, now.why):
            self.told.append((self.now_s, now.percent, now.why))
        return now.percent

    @property
    def said(self) -> str:
        return self.pace.now.saying.text


@pytest.fixture
def room() -> DriveRoom:
    return DriveRoom()


@pytest.fixture
def cut() -> DriveRoom:
    """The planer has run for so long that the fan has slowed down."""
    made_room = DriveRoom()
    made_room.tool("planer", "running")
    made_room.go_on(60.0)
    assert made_room.exchange() == PLANER
    return made_room


# ---------------------------------------------------------------- up and down


def test_it_starts_at_full_speed_and_slows_down_once_less_was_enough_for_the_whole_time(room: DriveRoom) -> None:
    assert (room.exchange(), room.said) == (100, "100 %: it rests.")
    room.tool("planer", "running")
    room.go_on(60.0)
    slowed_s = next(at_s for at_s, percent, _ in room.told if percent < 100)
    began_s = next(at_s for at_s, _, why in room.told if why == f"for {{time}} more, then {PLANER} %")
    assert slowed_s - began_s == HOLD_S
    before = [why for at_s, _, why in room.told if at_s < began_s]
    assert before[0] == "it rests"
    assert "it comes up to speed" in before
    assert any(why.endswith(" is moving") for why in before)
    assert {percent for at_s, percent, _ in room.told if at_s < slowed_s} == {100}
    assert (room.exchange(), room.said) == (PLANER, "66 %: any slower, and chips settle in planer drop.")


def test_another_machine_brings_full_speed_back_at_its_first_sign(cut: DriveRoom) -> None:
    before = cut.hurried
    cut.tool("table saw", "running")
    assert cut.hurried > before
    assert cut.exchange() == 100
    cut.go_on(60.0)
    assert (cut.exchange(), cut.pace.now.floor) == (BOTH, BOTH)


def test_short_cuts_in_a_row_never_slow_it_down(room: DriveRoom) -> None:
    for _ in range(4):
        room.tool("planer", "running")
        room.go_on(12.0)
        room.tool("planer", "stopped")
        room.go_on(5.0)
    assert {percent for _, percent, _ in room.told} == {100}


def test_it_goes_down_to_what_was_enough_for_all_of_the_time(cut: DriveRoom) -> None:
    """Less for a part of the time counts for nothing: the most that was wanted binds, then the wait begins anew."""
    row = TABLE.rows[frozenset({"planer"}), frozenset({"planer gate"})]
    now_s = [0.0]
    wanted = [100]
    pace = DrivePace(SHOP, SHOP.motors["collector"], TABLE, lambda: now_s[0])
    pace._row = lambda view: (replace(row, percent=wanted[0]), "so")  # type: ignore[method-assign]
    pace.take(cut.core.snapshot())
    told = []
    for percent, until_s in ((100, 5.0), (70, 20.0), (80, 25.0), (60, 80.0), (90, 81.0), (60, 90.0)):
        wanted[0] = percent
        while now_s[0] < until_s:
            now_s[0] += 1.0
            pace.speed_hz()
            if not told or told[-1][1] != pace.now.percent:
                told.append((now_s[0], pace.now.percent))
    # 70 from 6 s on, 80 in between: down to 80 at 36 s; 60 from then on: at 66 s; 90 at once.
    assert told == [(1.0, 100), (36.0, 80), (66.0, 60), (81.0, 90)]


def test_when_it_may_slow_down_is_told_to_the_page(room: DriveRoom) -> None:
    room.tool("planer", "running")
    room.go_on(10.0)
    now = room.pace.now
    assert now.why == f"for {{time}} more, then {PLANER} %"
    assert now.saying.until_s == room.pace.due_s()
    assert now.until_s is not None
    assert 0.0 < now.until_s - room.now_s < HOLD_S


def test_the_time_that_less_must_do_is_the_files() -> None:
    slow = made(DRIVEN.replace("least_speed: 25", "least_speed: 25\n    lower_after: 2 min"))
    room = DriveRoom(slow)
    room.tool("planer", "running")
    room.go_on(115.0)
    assert room.exchange() == 100
    room.go_on(15.0)
    assert room.exchange() == PLANER


def test_running_on_after_the_last_cut_is_full_while_it_clears(cut: DriveRoom) -> None:
    cut.tool("planer", "stopped")
    assert cut.exchange() == 100
    assert cut.said == "100 %: the branch of planer gate is being cleared."


# ---------------------------------------------------------------- in doubt


def lost_sensor(room: DriveRoom) -> None:
    room.tool("table saw", "stale")


def gate_pushed(room: DriveRoom) -> None:
    room.ask("open", "saw gate", for_s=600.0)


def asked_by_hand(room: DriveRoom) -> None:
    room.ask("run", "collector", "local", for_s=600.0)


@pytest.mark.parametrize(
    ("happens", "said"),
    [
        (lost_sensor, "the sensor of table saw is lost"),
        (gate_pushed, "saw gate is moving"),
        (asked_by_hand, "somebody asked for its air, and nobody knows how much of it"),
    ],
)
def test_what_is_in_doubt_runs_at_full_speed(cut: DriveRoom, happens: Callable[[DriveRoom], None], said: str) -> None:
    happens(cut)
    assert (cut.exchange(), cut.said, cut.pace.floor_hz()) == (100, f"100 %: {said}.", 50.0)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("filter_called", "its filter takes too much pressure"),
        ("filter_overdue", "its filter is long overdue for cleaning"),
        ("bin_called", "its bin is full"),
        ("filter_loaded", "its filter takes more pressure than it should"),
        ("pressure_low", "its suction lies below day one"),
        ("pressure_high", "less air comes in than on day one"),
        ("suction_low", "its air lies below day one"),
        ("reading_low", "its suction lies below day one"),
    ],
)
def test_what_care_finds_brings_full_speed(cut: DriveRoom, code: str, said: str) -> None:
    cut.troubles[f"{code}:collector"] = "Something is so."
    assert (cut.exchange(), cut.said, cut.pace.floor_hz()) == (100, f"100 %: {said}.", 50.0)
    cut.troubles.clear()
    cut.go_on(31.0)
    assert cut.exchange() == PLANER


def test_troubles_of_another_motor_are_none_of_its_own(cut: DriveRoom) -> None:
    cut.troubles["filter_called:vacuum"] = "."
    assert cut.exchange() == PLANER


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"motor": {"hand": "hand"}}, "it is run by hand"),
        ({"motor": {"path_lost": True}}, "no gate is open for it"),
        ({"motor": {"state": "starting"}}, "it comes up to speed"),
        ({"motor": {"on": False}}, "it rests"),
        ({"gate": {"belief": "unproven", "is_open": False}}, "nobody knows where planer gate stands"),
        ({"gate": {"belief": "held", "is_open": False}}, "nobody knows where planer gate stands"),
        ({"gate": {"belief": "stuck", "is_open": True}}, "nobody knows where planer gate stands"),
        ({"gate": {"belief": "shutting", "is_open": False}}, "planer gate is moving"),
        ({"gate": {"clear_until_s": 1e9}}, "the branch of planer gate is being cleared"),
        ({"tool": {"reading": "unknown"}}, "nobody can say yet whether planer runs"),
        ({"gate": {"belief": "shut", "is_open": False}}, "no speed was computed for what runs and stands open now"),
        ({"alarm": "air_not_proved"}, "a message about collector stands"),
        ({"alarm": "short_of_air"}, "a message about collector stands"),
    ],
)
def test_each_doubt_by_itself(cut: DriveRoom, change: dict[str, Any], said: str) -> None:
    view = changed(cut.core.snapshot(), change)
    cut.pace.take(view)
    assert (cut.exchange(), cut.pace.now.why) == (100, said)


def changed(view: CoreView, change: dict[str, Any]) -> CoreView:
    ((kind, fields),) = change.items()
    if kind == "motor":
        return replace(view, motors=tuple(replace(one, **fields) for one in view.motors))
    if kind == "gate":
        return replace(
            view, gates=tuple(replace(one, **fields) if one.name == "planer gate" else one for one in view.gates)
        )
    if kind == "tool":
        return replace(view, tools=tuple(replace(one, **fields) if one.name == "planer" else one for one in view.tools))
    return replace(view, alarms=(AlarmNow(fields, "collector", Standing(0.0, 0.0)),))


def test_a_gate_held_open_is_known_to_be_open(cut: DriveRoom) -> None:
    cut.pace.take(changed(cut.core.snapshot(), {"gate": {"belief": "held", "is_open": True}}))
    assert cut.exchange() == PLANER


def test_an_alarm_of_another_system_or_of_another_kind_is_no_doubt(cut: DriveRoom) -> None:
    others = (
        AlarmNow("air_not_proved", "vacuum", Standing(0.0, 0.0)),
        AlarmNow("gate_held", "planer", Standing(0.0, 0.0)),
    )
    cut.pace.take(replace(cut.core.snapshot(), alarms=others))
    assert cut.exchange() == PLANER


def test_without_computed_air_it_runs_at_full_speed() -> None:
    room = DriveRoom(table=None)
    room.tool("planer", "running")
    room.go_on(60.0)
    assert (room.exchange(), room.said) == (100, "100 %: the air in its ducts was not computed.")


def test_before_the_first_view_it_is_full_speed() -> None:
    pace = DrivePace(SHOP, SHOP.motors["collector"], TABLE, lambda: 0.0)
    assert (pace.speed_hz(), pace.floor_hz(), pace.now.why) == (50.0, 50.0, "nothing is known yet")


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["table saw", "bandsaw", "planer"]), st.booleans(), st.floats(0.0, 50.0)), max_size=14
    )
)
def test_no_order_of_cuts_ever_brings_it_below_what_the_table_says(cuts: list[tuple[str, bool, float]]) -> None:
    """At each exchange: never below the row's floor of what the core believes just then; full speed without a row."""
    room = DriveRoom()
    for tool, runs, for_s in cuts:
        room.tool(tool, "running" if runs else "stopped")
        for _ in range(max(1, round(for_s / 0.25))):
            room.run(0.25)
            percent = room.exchange()
            view = room.core.snapshot()
            running = frozenset(tool.name for tool in view.tools if tool.reading == "running")
            opened = frozenset(gate.name for gate in view.gates if gate.is_open)
            row = TABLE.row(running, opened)
            moves = any(gate.belief not in ("open", "shut") for gate in view.gates)
            assert percent >= (100 if row is None or moves else row.percent)


# ---------------------------------------------------------------- words, and the page


ROW = SpeedRow(62, 60, Binds.NEED, "bandsaw", 0.5, "main", 20.19, 20.19)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (ROW, "the bandsaw needs no more; the air in main keeps 20.1 m/s"),
        (replace(ROW, binds=Binds.VELOCITY, subject="main"), "any slower, and chips settle in main"),
        (replace(ROW, binds=Binds.LEAST, subject=None), "its least speed is enough; the air in main keeps 20.1 m/s"),
        (replace(ROW, binds=Binds.NOT_ENOUGH), "the bandsaw wants all of it"),
        (replace(ROW, binds=Binds.NOT_ENOUGH, subject="main"), "chips in main want all of it"),
    ],
)
def test_each_reason_in_words(row: SpeedRow, said: str) -> None:
    assert reason(row, frozenset({"bandsaw"}), Units.METRIC) == said


def test_a_velocity_is_rounded_down() -> None:
    assert velocity(20.199, Units.METRIC) == "20.1 m/s"
    assert velocity(20.32, Units.INCH) == "4000 ft/min"
    assert velocity(20.31, Units.INCH) == "3990 ft/min"


def test_the_page_tells_the_speed_with_its_reason_and_the_air_at_that_speed(cut: DriveRoom) -> None:
    cut.notes = replace(cut.notes, speeds={"collector": SpeedNow(PLANER, cut.pace.now.saying)})
    view = cut.view()
    (motor,) = view.motors
    assert motor.speed is not None
    assert motor.speed.text == "66 %: any slower, and chips settle in planer drop."
    shown = {duct.name: duct.velocity_ms for duct in view.ducts if duct.moves}
    fan = AIR.systems["collector"].prepared.network.fan
    slowed = AIR.systems["collector"].prepared.with_fan(fan.scaled(0.66)).solve(["planer gate"]).ducts()
    assert shown == {name: pytest.approx(slowed[name].velocity_ms) for name in ("main", "planer drop")}
    cut.notes = replace(cut.notes, speeds={})
    full = {duct.name: duct.velocity_ms for duct in cut.view().ducts if duct.moves}
    assert all((full[name] or 0.0) > (shown[name] or 0.0) * 1.4 for name in shown)


def test_a_motor_that_is_off_shows_no_speed(room: DriveRoom) -> None:
    room.notes = replace(room.notes, speeds={"collector": SpeedNow(100, room.pace.now.saying)})
    (motor,) = room.view().motors
    assert motor.speed is None
