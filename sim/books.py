"""What really happened in a play, as it is counted: figures, tracks, and the truth beside the record."""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Protocol

from gatekeeper.control.messages import Entry
from gatekeeper.shop.model import Shop
from sim.cuts import Cut
from sim.figures import Figures, HoodPoint, MessageAt, MotorFigures, Span, ToolFigures, Tracks

if TYPE_CHECKING:
    from sim.electricity import Electricity
    from sim.shop_air import ShopAir

HOUR_S = 3600.0
#: Starts that a motor's store holds at the most (C8).
STORE = 2
#: The kinds of entry that are counted.
COUNTED = frozenset({"message", "refusal"})
WATT_SECONDS_PER_KWH = 3.6e6

Truth = Callable[[str, str, Any], None]


class Plant(Protocol):
    """What the books ask of a plant at their end."""

    @property
    def air(self) -> "ShopAir": ...

    @property
    def electricity(self) -> "Electricity": ...


class _Tool:
    """What is counted of one tool."""

    __slots__ = (
        "caught_kg",
        "cut_s",
        "cuts",
        "late_s",
        "least",
        "made_kg",
        "share_s",
        "since_s",
        "solved_s",
        "without",
    )

    def __init__(self) -> None:
        self.since_s: float | None = None
        self.cuts = self.without = 0
        self.cut_s = self.made_kg = self.caught_kg = self.late_s = self.share_s = self.solved_s = 0.0
        self.least: float | None = None


class _Motor:
    """What is counted of one motor."""

    __slots__ = (
        "has_power",
        "loaded_s",
        "loaded_since_s",
        "running_s",
        "since_s",
        "starts_s",
        "top",
        "word",
        "word_since_s",
    )

    def __init__(self) -> None:
        self.has_power = False
        self.since_s = self.word_since_s = self.running_s = self.loaded_s = self.loaded_since_s = 0.0
        self.top = 1.0
        self.starts_s: list[float] = []
        self.word = ""

    def load(self, now_s: float, top: float) -> None:
        """Its speed changes to a share of full speed, or counting ends: by the fan laws power goes with its cube."""
        if self.has_power:
            self.loaded_s += (now_s - self.loaded_since_s) * self.top**3
        self.top, self.loaded_since_s = top, now_s


class Books:
    """The account of one play.

    Args:
        shop: the shop.
        with_tracks: keep what a report draws; without it a long play needs little memory.
        truth: takes the truth as (kind, subject, value), or None.
    """

    def __init__(self, shop: Shop, *, with_tracks: bool = True, truth: Truth | None = None) -> None:
        self._shop = shop
        self._with_tracks = with_tracks
        self._truth = truth
        self._tools = {name: _Tool() for name in shop.tools}
        self._motors = {name: _Motor() for name in shop.motors}
        self._loud = {name for name, motor in shop.motors.items() if motor.has_ducts}
        self._loud_now: set[str] = set()
        self._loud_since_s = self._noise_s = 0.0
        self._gate_words: dict[str, tuple[str, float]] = {}
        self._moves_s: list[float] = []
        self._moves_of: defaultdict[str, list[float]] = defaultdict(list)
        self._gate_truth: dict[str, float] = {}
        self._motor_truth: dict[str, float] = {}
        self._air_truth: dict[str, float] = {}
        self._worst_late_s = 0.0
        self._without_after_first = 0
        self._messages: Counter[str] = Counter()
        self._refusals: Counter[str] = Counter()
        self.trips = self.faults_put = 0
        self._faults_since: dict[tuple[str, str], float] = {}
        self._down_since_s: float | None = None
        self.tracks = Tracks(
            {name: [] for name in shop.tools},
            {name: [] for name in shop.gates},
            {name: [] for name in shop.motors},
            {name: [] for name in shop.tools},
        )

    # ---------------------------------------------------------------- what happens

    def tool(self, now_s: float, name: str, runs: bool, amperes: float) -> None:
        """A tool starts or stops to run."""
        tool = self._tools[name]
        if runs:
            tool.since_s = now_s
            tool.cuts += 1
        else:
            self._end_tool(now_s, name)
        if self._truth is not None:
            self._truth("truth_tool", name, round(amperes, 3) if runs else 0.0)

    def _end_tool(self, now_s: float, name: str) -> None:
        tool = self._tools[name]
        if tool.since_s is not None:
            tool.cut_s += now_s - tool.since_s
            self._span(self.tracks.tools[name], tool.since_s, now_s, "running")
            tool.since_s = None

    def cut_ended(self, now_s: float, name: str, cut: Cut) -> None:
        """A cut has ended, with its air."""
        tool = self._tools[name]
        passed_s = now_s - cut.began_s
        arrived_s = cut.arrived_s()
        late_s = passed_s if arrived_s is None else arrived_s - cut.began_s
        tool.late_s += late_s
        if arrived_s is None:
            tool.without += 1
            self._without_after_first += not cut.is_first
        else:
            self._worst_late_s = max(self._worst_late_s, late_s)
            least = cut.least_share()
            if least is not None and (tool.least is None or least < tool.least):
                tool.least = least
        tool.made_kg += cut.made_kg
        tool.caught_kg += cut.caught_kg
        tool.share_s += cut.share_s
        tool.solved_s += passed_s
        if self._with_tracks and cut.points:
            last = len(cut.points) - 1
            self.tracks.hoods[name] += [
                HoodPoint(t_s, flow, cut.need_m3s, place == last) for place, (t_s, flow) in enumerate(cut.points)
            ]

    def gate(self, now_s: float, name: str, word: str, position: float) -> None:
        """A gate stands or moves."""
        before, since_s = self._gate_words.get(name, ("", now_s))
        if word != before:
            self._span(self.tracks.gates[name], since_s, now_s, before)
            self._gate_words[name] = word, now_s
        if self._truth is not None and self._gate_truth.get(name) != position:
            self._gate_truth[name] = position
            self._truth("truth_gate", name, round(position, 3))

    def gate_driven(self, now_s: float, name: str) -> None:
        """An actuator has set a gate in motion."""
        self._moves_s.append(now_s)
        self._moves_of[name].append(now_s)

    def motor(self, now_s: float, name: str, has_power: bool, speed: float, top: float = 1.0) -> None:
        """A motor starts, stops, or reaches its speed or standstill; ``top``: the speed that its drive is told."""
        motor = self._motors[name]
        if top != motor.top or has_power is not motor.has_power:
            motor.load(now_s, top)
        if has_power is not motor.has_power:
            motor.has_power = has_power
            if has_power:
                motor.since_s = now_s
                motor.starts_s.append(now_s)
            else:
                motor.running_s += now_s - motor.since_s
            if name in self._loud:
                self._noise(now_s, name, has_power)
        word = "running" if has_power else "coasting" if speed > 0.0 else ""
        if word != motor.word:
            self._span(self.tracks.motors[name], motor.word_since_s, now_s, motor.word)
            motor.word, motor.word_since_s = word, now_s
        if self._truth is not None and self._motor_truth.get(name) != speed:
            self._motor_truth[name] = speed
            self._truth("truth_motor", name, round(speed, 3))

    def _noise(self, now_s: float, name: str, is_loud: bool) -> None:
        was_loud = bool(self._loud_now)
        (self._loud_now.add if is_loud else self._loud_now.discard)(name)
        if self._loud_now and not was_loud:
            self._loud_since_s = now_s
        elif was_loud and not self._loud_now:
            self._noise_s += now_s - self._loud_since_s

    def air(self, flows_m3s: Mapping[str, float]) -> None:
        """The flow in every duct, where the truth is wanted."""
        if self._truth is None:
            return
        for duct, flow in flows_m3s.items():
            told = round(flow, 4)
            if self._air_truth.get(duct) != told:
                self._air_truth[duct] = told
                self._truth("truth_air", duct, told)

    @property
    def wants_truth(self) -> bool:
        """Somebody takes the truth."""
        return self._truth is not None

    def entry(self, now_s: float, entry: Entry) -> None:
        """An entry of the record."""
        if entry.kind == "message":
            value = entry.value
            code, what = value["code"], value["what"]
            self._messages[code] += what == "raised"
            if self._with_tracks and what != "seen":
                told = MessageAt(now_s, code, entry.subject or "", value["heap"], what == "raised")
                self.tracks.messages.append(told)
        elif entry.kind == "refusal":
            self._refusals[str(entry.value)] += 1

    def controller(self, now_s: float, is_up: bool) -> None:
        """The controller begins to run, or is gone."""
        if not is_up and self._down_since_s is None:
            self._down_since_s = now_s
        elif is_up and self._down_since_s is not None:
            self._span(self.tracks.controller, self._down_since_s, now_s, "down")
            self._down_since_s = None

    def fault(self, now_s: float, what: str, subject: str | None, is_broken: bool) -> None:
        """Something is broken, or mended."""
        key = what, subject or "the shop"
        if is_broken:
            self.faults_put += 1
            self._faults_since.setdefault(key, now_s)
        elif (since_s := self._faults_since.pop(key, None)) is not None:
            self._span(self.tracks.faults, since_s, now_s, f"{key[0]}: {key[1]}")

    def _span(self, spans: list[Span], from_s: float, to_s: float, word: str) -> None:
        if self._with_tracks and word and to_s > from_s:
            spans.append(Span(from_s, to_s, word))

    # ---------------------------------------------------------------- the account

    def close(self, now_s: float, plant: Plant) -> Figures:
        """End every span at ``now_s`` and draw up the figures. Nothing may happen in the play after it."""
        for name in self._tools:
            self._end_tool(now_s, name)
        for name, cut in plant.air.cuts.items():
            self.cut_ended(now_s, name, cut)
        for name, (word, since_s) in self._gate_words.items():
            self._span(self.tracks.gates[name], since_s, now_s, word)
        for name, motor in self._motors.items():
            motor.load(now_s, motor.top)
            if motor.has_power:
                motor.running_s += now_s - motor.since_s
            self._span(self.tracks.motors[name], motor.word_since_s, now_s, motor.word)
        if self._loud_now:
            self._noise_s += now_s - self._loud_since_s
        if self._down_since_s is not None:
            self._span(self.tracks.controller, self._down_since_s, now_s, "down")
        for (what, subject), since_s in self._faults_since.items():
            self._span(self.tracks.faults, since_s, now_s, f"{what}: {subject}")
        return self._figures(now_s, plant)

    def _figures(self, now_s: float, plant: Plant) -> Figures:
        motors = {name: self._motor_figures(name, plant) for name in self._motors}
        tools = {name: _tool_figures(tool) for name, tool in self._tools.items()}
        made = sum(tool.chips_made_kg for tool in tools.values())
        caught = sum(tool.chips_caught_kg for tool in tools.values())
        systems = plant.air.systems.values()
        loud = [motors[name] for name in self._loud]
        moves = {name: most_in_an_hour(moves_s) for name, moves_s in self._moves_of.items()}
        busiest = max(moves, key=moves.__getitem__, default=None)
        return Figures(
            hours_s=now_s,
            cuts=sum(tool.cuts for tool in tools.values()),
            cut_s=sum(tool.cut_s for tool in tools.values()),
            cuts_without_air=sum(tool.without_air for tool in tools.values()),
            cuts_without_air_after_first=self._without_after_first,
            late_air_s=sum(tool.late_air_s for tool in tools.values()),
            worst_late_air_s=self._worst_late_s,
            chips_made_kg=made,
            chips_caught_kg=caught,
            chips_escaped_kg=made - caught,
            chips_left_kg=sum(system.chips.in_ducts_kg for system in systems if system.chips is not None),
            chips_left_in_kg=plant.air.chips_left_in_kg(),
            chips_in_bin_kg=sum(system.bin_kg for system in systems),
            dust_on_filter_kg=sum(system.dust_kg for system in systems),
            motors=motors,
            tools=tools,
            motor_starts=sum(motor.starts for motor in loud),
            worst_starts_in_an_hour=max((motor.worst_starts_in_an_hour for motor in loud), default=0),
            energy_kwh=sum(motor.energy_kwh for motor in motors.values()),
            gate_moves=len(self._moves_s),
            worst_moves_in_an_hour=most_in_an_hour(self._moves_s),
            busiest_gate=busiest,
            busiest_gate_moves_in_an_hour=moves[busiest] if busiest is not None else 0,
            noise_s=self._noise_s,
            breaker_trips=self.trips,
            messages=dict(sorted(self._messages.items())),
            refusals=dict(sorted(self._refusals.items())),
            faults_put=self.faults_put,
            room_dust_worst_mg_m3=plant.air.room.worst_mg_m3,
            room_dust_left_mg_m3=plant.air.room.now_mg_m3,
            air_is_known=all(system.duct_air is not None for system in systems),
        )

    def _motor_figures(self, name: str, plant: Plant) -> MotorFigures:
        motor, of_file = self._motors[name], self._shop.motors[name]
        return MotorFigures(
            starts=len(motor.starts_s),
            running_s=motor.running_s,
            energy_kwh=of_file.power_w * motor.loaded_s / WATT_SECONDS_PER_KWH,
            worst_starts_in_an_hour=most_in_an_hour(motor.starts_s),
            starts_allowed=STORE + int(of_file.starts_per_hour),
            hottest=plant.electricity.hottest(name),
        )


def _tool_figures(tool: _Tool) -> ToolFigures:
    return ToolFigures(
        cuts=tool.cuts,
        cut_s=tool.cut_s,
        without_air=tool.without,
        mean_share=tool.share_s / tool.solved_s if tool.solved_s > 0.0 else None,
        least_share=tool.least,
        chips_made_kg=tool.made_kg,
        chips_caught_kg=tool.caught_kg,
        late_air_s=tool.late_s,
    )


def most_in_an_hour(instants_s: list[float]) -> int:
    """The most of some instants, in order of time, that lie within one stretch of 3600 s, its end not counted."""
    return max((place + 1 - bisect_right(instants_s, t_s - HOUR_S) for place, t_s in enumerate(instants_s)), default=0)
