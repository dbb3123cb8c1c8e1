"""The speed of a collector on a drive, from what the core believes now; the core itself knows nothing of it.

One ``DrivePace`` for each motor. The control thread only leaves its newest view here (``take``); the drive's own thread
asks for speed and floor at each exchange. What the table of ``drive_table`` has no row for, what is not known and what
is in doubt runs at full speed. It speeds up at once, and slows down only when less has been enough for a while, so that
short cuts do not make it hunt, and so that what care measures at full speed finds its time.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gatekeeper.control.snapshot import CoreView, GateNow, MotorNow, ToolNow
from gatekeeper.service.drive_table import FULL, Binds, SpeedRow, SpeedTable
from gatekeeper.service.face_parts import Saying
from gatekeeper.shop.model import Drive, Motor, Shop, Units

#: Standing messages about a motor, its gates or its tools, while which the table is not believed.
_DOUBTFUL = frozenset({"air_not_proved", "not_collected", "no_path", "no_air", "short_of_air", "counted_stopped"})
#: What care says of a motor, by the code of its trouble, and how that is told beside the speed.
_CARE_DOUBTS = {
    "filter_called": "its filter takes too much pressure",
    "filter_overdue": "its filter is long overdue for cleaning",
    "bin_called": "its bin is full",
    "filter_loaded": "its filter takes more pressure than it should",
    "pressure_low": "its suction lies below day one",
    "pressure_high": "less air comes in than on day one",
    "suction_low": "its air lies below day one",
    "reading_low": "its suction lies below day one",
}
_FOOT_M = 0.3048

#: What stands against the air of the shop, by code and motor, as care tells it.
Troubles = Callable[[], Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class PaceNow:
    """One choice: what is told to the drive, whole per cent of full speed, its floor, and why.

    ``until_s``: when it may slow down, on the monotonic clock, where it only waits for that.
    """

    percent: int
    floor: int
    why: str
    until_s: float | None = None

    @property
    def saying(self) -> Saying:
        """The same as the page shows it."""
        return Saying(f"{self.percent} %: {self.why}.", until_s=self.until_s)


class DrivePace:
    """One motor's speed; implements ``devices.drive_pace.Pace``.

    Args:
        shop: the shop.
        motor: the motor, on a drive that follows the air.
        table: its table; None where the air was not computed.
        now_s: monotonic clock.
        troubles: what care says.
        hurry: called in the control thread when the speed that is wanted may have changed; must not block.
    """

    def __init__(
        self,
        shop: Shop,
        motor: Motor,
        table: SpeedTable | None,
        now_s: Callable[[], float],
        *,
        troubles: Troubles = dict,
        hurry: Callable[[], None] = lambda: None,
    ) -> None:
        drive = drive_of(shop, motor)
        assert drive is not None
        assert drive.full_speed_hz is not None
        self._motor, self._units = motor.name, shop.units
        self._hz_each = drive.full_speed_hz / FULL
        self._hold_s = drive.lower_after_s
        self._table, self._now_s, self._troubles, self._hurry = table, now_s, troubles, hurry
        self._gates = frozenset(gate.name for gate in shop.gates_of(motor.name))
        self._tools = frozenset(tool.name for tool in shop.tools_of(motor.name))
        self._view: CoreView | None = None
        self._mark: object = None
        self._percent = FULL
        self._less_since_s: float | None = None
        self._most_since = 0
        #: The newest choice; any thread may read it.
        self.now = PaceNow(FULL, FULL, "it rests")

    # ---------------------------------------------------------------- the control thread

    def take(self, view: CoreView) -> None:
        """A new view of the core: only leave it here, and wake the drive's thread where it matters."""
        self._view = view
        mark = (
            tuple(gate.belief for gate in view.gates),
            tuple(tool.reading for tool in view.tools),
            tuple(motor.state for motor in view.motors),
        )
        if mark != self._mark:
            self._mark = mark
            self._hurry()

    # ---------------------------------------------------------------- the drive's thread

    def speed_hz(self) -> float:
        """The speed to be told now, Hz."""
        self.now = self._choose()
        return self.now.percent * self._hz_each

    def floor_hz(self) -> float:
        """The speed below which, by the newest view, a duct with chips is too slow or the drive may not go, Hz."""
        view = self._view
        row, _ = self._row(view) if view is not None else (None, "")
        return (row.floor if row is not None else FULL) * self._hz_each

    def due_s(self) -> float | None:
        """When it slows down although nothing happens; None for never. For whoever has no thread to ask again."""
        return None if self._less_since_s is None else self._less_since_s + self._hold_s

    # ---------------------------------------------------------------- choosing

    def _choose(self) -> PaceNow:
        view, now_s = self._view, self._now_s()
        row, why = self._row(view) if view is not None else (None, "nothing is known yet")
        target = row.percent if row is not None else FULL
        floor = row.floor if row is not None else FULL
        if target >= self._percent:
            self._percent, self._less_since_s = target, None
            return PaceNow(target, floor, why)
        if self._less_since_s is None:
            self._less_since_s, self._most_since = now_s, target
        self._most_since = max(self._most_since, target)
        due_s = self._less_since_s + self._hold_s
        if now_s < due_s:
            return PaceNow(self._percent, floor, f"for {{time}} more, then {self._most_since} %", due_s)
        # Down to what was enough for all of that time, and no further.
        self._percent = self._most_since
        self._less_since_s = None
        if target < self._percent:
            self._less_since_s, self._most_since = now_s, target
        return PaceNow(self._percent, floor, why)

    def _row(self, view: CoreView) -> tuple[SpeedRow | None, str]:
        """The row for what is so, or None, and why in words."""
        motor = next(one for one in view.motors if one.name == self._motor)
        gates = [gate for gate in view.gates if gate.name in self._gates]
        tools = [tool for tool in view.tools if tool.name in self._tools]
        doubt = self._doubt(view, motor, gates, tools)
        if doubt is not None:
            return None, doubt
        running = frozenset(tool.name for tool in tools if tool.may_run)
        opened = frozenset(gate.name for gate in gates if gate.is_open)
        assert self._table is not None
        row = self._table.row(running, opened)
        if row is None:
            return None, "no speed was computed for what runs and stands open now"
        return row, reason(row, running, self._units)

    def _doubt(self, view: CoreView, motor: MotorNow, gates: list[GateNow], tools: list[ToolNow]) -> str | None:
        """Why nothing below full speed may be believed now; None where it may."""
        if self._table is None:
            return "the air in its ducts was not computed"
        if not motor.on:
            return "it rests"
        if motor.hand != "auto":
            return "it is run by hand"
        if motor.state not in ("running", "spin_down"):
            return "it comes up to speed"
        if motor.path_lost:
            return "no gate is open for it"
        if motor.run_until_s is not None:
            return "somebody asked for its air, and nobody knows how much of it"
        return _at_gates(gates, self._now_s()) or _at_tools(tools) or self._messages(view)

    def _messages(self, view: CoreView) -> str | None:
        subjects = {self._motor, *self._gates, *self._tools}
        for alarm in view.alarms:
            if alarm.code in _DOUBTFUL and alarm.subject in subjects:
                return f"a message about {alarm.subject} stands"
        troubles = self._troubles()
        return next((why for code, why in _CARE_DOUBTS.items() if f"{code}:{self._motor}" in troubles), None)


def _at_gates(gates: list[GateNow], now_s: float) -> str | None:
    for gate in gates:
        if gate.belief in ("opening", "shutting"):
            return f"{gate.name} is moving"
        if gate.belief != "shut" and not (gate.is_open and gate.belief in ("open", "held")):
            return f"nobody knows where {gate.name} stands"
    clears = [gate.name for gate in gates if gate.clear_until_s is not None and gate.clear_until_s > now_s]
    return f"the branch of {clears[0]} is being cleared" if clears else None


def _at_tools(tools: list[ToolNow]) -> str | None:
    for tool in tools:
        if tool.reading == "stale":
            return f"the sensor of {tool.name} is lost"
        if tool.reading not in ("running", "stopped"):
            return f"nobody can say yet whether {tool.name} runs"
    return None


def reason(row: SpeedRow, running: frozenset[str], units: Units) -> str:
    """Why a speed is what it is, in words: "the bandsaw needs no more; the air in main keeps 21 m/s"."""
    slowest = f"the air in {row.slowest} keeps {velocity(row.slowest_ms, units)}"
    match row.binds:
        case Binds.NEED:
            return f"the {row.subject} needs no more; {slowest}"
        case Binds.VELOCITY:
            return f"any slower, and chips settle in {row.subject}"
        case Binds.LEAST:
            return f"its least speed is enough; {slowest}"
        case _ if row.subject in running:
            return f"the {row.subject} wants all of it"
        case _:
            return f"chips in {row.subject} want all of it"


def velocity(velocity_ms: float, units: Units) -> str:
    """A velocity for people, rounded down so that "keeps" stays true: "20.1 m/s", "3950 ft/min"."""
    if units is Units.INCH:
        return f"{velocity_ms * 60 / _FOOT_M // 10 * 10:.0f} ft/min"
    return f"{int(velocity_ms * 10 + 1e-9) / 10:.1f} m/s"


def drive_of(shop: Shop, motor: Motor) -> Drive | None:
    """The drive of a motor whose speed follows the air; None for any other motor."""
    drive = shop.drives.get(motor.switch.drive or "")
    return drive if drive is not None and drive.follows_air else None


def paces_of(
    shop: Shop,
    tables: Mapping[str, SpeedTable],
    now_s: Callable[[], float],
    troubles: Troubles = dict,
    hurry: Callable[[str], None] = lambda motor: None,
) -> dict[str, DrivePace]:
    """One for each motor on a drive that follows the air, by motor. ``hurry`` gets the motor's name."""
    return {
        name: DrivePace(
            shop,
            motor,
            tables.get(name),
            now_s,
            troubles=troubles,
            hurry=lambda name=name: hurry(name),  # type: ignore[misc]
        )
        for name, motor in shop.motors.items()
        if drive_of(shop, motor) is not None
    }
