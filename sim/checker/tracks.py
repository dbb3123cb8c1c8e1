"""What the record has said so far of one gate, one tool, one motor."""

from dataclasses import dataclass, field

from sim.checker.facts import GateFacts
from sim.checker.form import TOL_S

AFTER_PRESS_S = 3.0
"""Rule C26: a released gate moves no sooner than this after the press, seconds."""

SWITCH_GRACE_S = 10.0
"""How long past its travel a gate with a switch may still be awaited by the core, seconds: only ever an excuse."""

STORE_LIMIT = 2.0
"""Rule C8: the store of starts holds at most two."""


@dataclass(slots=True)
class GateTrack:
    """One gate. `command` is the last order that still counts: `open`, `shut`, `halt`, or None after waking."""

    facts: GateFacts
    switch: str | None = None
    switch_t: float = 0.0
    command: str | None = None
    command_t: float = 0.0
    dead_s: float = 0.0
    arrived: bool = False
    missed: bool = False
    missed_t: float = 0.0
    missed_seq: int = 0
    belief: str | None = None
    stuck: bool = False
    held: bool = False
    released_t: float = float("-inf")
    out_of_service: bool = False
    by_hand: bool = False
    for_path_t: float = float("-inf")
    reason_t: float = float("-inf")

    def _end(self) -> float:
        return self.command_t + self.dead_s + self.facts.travel_s

    def moving(self, t_s: float) -> bool:
        """Whether the actuator is surely under way."""
        if self.command not in ("open", "shut") or self.arrived or self.missed:
            return False
        return t_s < self._end() - TOL_S

    def maybe_moving(self, t_s: float) -> bool:
        """Whether the core may still count it as under way: the generous reading, for excuses only."""
        if self.command not in ("open", "shut") or self.arrived:
            return False
        grace = SWITCH_GRACE_S if self.facts.switch and not self.missed else 0.0
        return t_s <= self.command_t + self.facts.dead_s + self.facts.travel_s + grace + TOL_S

    def maybe_holds_slot(self, t_s: float) -> bool:
        """As `maybe_moving`; a switch may speak before the actuator has come to rest."""
        if self.command in ("open", "shut") and self.arrived:
            return t_s <= self.command_t + self.facts.dead_s + self.facts.travel_s + TOL_S
        return self.maybe_moving(t_s)

    def confirmed_open(self, t_s: float) -> bool:
        """The term of the rules: a switch says so, or a full travel time has passed since an open command, no miss."""
        if self.facts.switch:
            return self.switch == "open" and not (self.command == "shut" and self.moving(t_s))
        if not self.facts.actuated or self.missed or self.command != "open":
            return False
        return t_s >= self.command_t + self.facts.travel_s - TOL_S

    def open_since(self) -> float:
        """When a gate that is confirmed open became so."""
        if not self.facts.switch:
            return self.command_t + self.facts.travel_s
        doubted = self.missed_t > self.switch_t  # a miss against a switch that says open may be believed for a while
        return self.command_t + self.facts.travel_s + SWITCH_GRACE_S if doubted else self.switch_t

    def open_before_told(self, t_s: float) -> bool:
        """Told to open while its switch said open already: a doubtful word, which counts once the move is over."""
        over_t = self.command_t + self.facts.travel_s + SWITCH_GRACE_S
        return self.facts.switch and self.command == "open" and self.switch_t < self.command_t and t_s < over_t

    def confirmed_shut(self, t_s: float) -> bool:
        """As `confirmed_open`, for shut."""
        if self.facts.switch and (self.facts.sees_shut or self.switch == "shut"):
            return self.switch == "shut"
        if self.switch == "open":
            return False
        if not self.facts.actuated or self.missed or self.command != "shut":
            return False
        return t_s >= self.command_t + self.facts.travel_s - TOL_S

    def opening(self) -> bool:
        """An open command counts and was not missed: the gate is open or on its way."""
        return self.command == "open" and not self.missed

    def at_rest_as_told(self, word: str, t_s: float) -> bool:
        """Whether the order repeats what the gate has already done, so that nothing moves."""
        if self.facts.switch and self.switch == word and not self.missed and not self.moving(t_s):
            return True
        return self.command == word and not self.missed and not self.moving(t_s) and not self._moved_away(word)

    def _moved_away(self, word: str) -> bool:
        """It has a switch that does not say that an earlier order had brought it there."""
        if word == "shut" and not self.facts.sees_shut:
            return self.switch == "open"
        return self.facts.switch and self.switch != word

    def order(self, word: str, t_s: float) -> None:
        """A gate command was sent."""
        if word == "halt":
            # The core may count the dead time with every move.
            dead_end_s = self.command_t + self.facts.dead_s + self.facts.travel_s
            if self.command == "shut" and self.confirmed_shut(t_s) and t_s >= dead_end_s - TOL_S:
                return
            just_proven = self.command in ("open", "shut") and not self.facts.switch and t_s < dead_end_s - TOL_S
            if self.moving(t_s) or just_proven or (self.facts.switch and self.maybe_moving(t_s)):
                self.command, self.command_t = "halt", t_s
            return
        if word == self.command and not self.missed and (self.moving(t_s) or not self._moved_away(word)):
            return
        self.dead_s = self.facts.dead_s if self.moving(t_s) else 0.0
        self.arrived = self.at_rest_as_told(word, t_s)
        self.command, self.command_t, self.missed = word, t_s, False

    def see_switch(self, word: str, t_s: float) -> None:
        """A position switch spoke."""
        if word != self.switch:
            self.switch, self.switch_t = word, t_s
        if word == self.command:
            self.arrived = True

    def resting_after_press(self, t_s: float, slack_s: float) -> bool:
        """Within the three seconds after a release; `slack_s` widens or narrows them."""
        return t_s < self.released_t + AFTER_PRESS_S + slack_s

    def wake(self) -> None:
        """A new run: held, stuck, worked-on and out of service outlive it, nothing else does."""
        self.switch = self.command = self.belief = None
        self.arrived = self.missed = self.by_hand = False
        self.released_t = self.reason_t = float("-inf")


@dataclass(slots=True)
class ToolTrack:
    """One tool. `causes` names the motors for which its last start is a fresh cause; True where that is sure."""

    state: str | None = None
    start_t: float = 0.0
    start_seq: int = 0
    stop_t: float | None = None
    back_t: float = float("-inf")
    vouched_t: float = float("-inf")
    others_ran: bool = False
    stale_t: float = 0.0
    lost_running: bool = False
    lost_overlong: bool = False
    doubted: bool = False
    said_stopped: bool = False
    causes: dict[str, bool] = field(default_factory=dict)

    def possibly_running(self) -> bool:
        """Rule C1 with C12: running on good readings, or lost and nobody has said that it stopped."""
        return self.state in ("running", "stale") and not self.said_stopped


@dataclass(slots=True)
class PersonRun:
    """A run that a person asked for. `for_s` None: the record does not say how long."""

    since_t: float
    seq: int
    for_s: float | None
    sure: bool
    what: str = "run"
    ended: bool = False


@dataclass(slots=True)
class MotorTrack:
    """One motor. `store` is the number of starts at `store_t`."""

    on: bool = False
    on_t: float = 0.0
    on_seq: int = 0
    until_s: float = float("inf")
    off_t: float = float("-inf")
    told_off: bool = False
    told_t: float = float("-inf")
    ran_until: float = float("-inf")
    seen: str | None = None
    seen_t: float = 0.0
    sensor_lost: bool = False
    confirmed: bool = False
    air: bool | None = None
    air_t: float = 0.0
    mode: str | None = None
    mode_t: float = float("-inf")
    out_of_service: bool = False
    store: float = STORE_LIMIT
    store_t: float = 0.0
    rest_until: float = float("-inf")
    rest_excuse: float = float("-inf")
    record_lost: bool = False
    locked: bool = False
    free_start: bool = False
    failed: bool = False
    latched: bool = False
    says: str | None = None
    any_cut: bool = False
    resume_until: float = float("-inf")
    resumed_t: float = float("-inf")
    path_lost_t: float | None = None
    runs: list[PersonRun] = field(default_factory=list)
    retry_causes: dict[str, bool] = field(default_factory=dict)
    retry_runs: list[PersonRun] = field(default_factory=list)

    def is_on(self, t_s: float) -> bool:
        """Commanded on, and its lease has not run out."""
        return self.on and t_s <= self.until_s + TOL_S

    def wake(self) -> None:
        """A new run: the start store, the latch and out of service outlive it, nothing else does."""
        self.says = None
        self.on = self.told_off = self.failed = self.any_cut = self.confirmed = self.free_start = False
        self.sensor_lost = False
        self.seen = self.air = self.mode = self.path_lost_t = None
        self.off_t = self.ran_until = self.resume_until = float("-inf")
        self.runs.clear()
        self.retry_causes.clear()
        self.retry_runs.clear()
