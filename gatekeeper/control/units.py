"""What the core believes of one gate, one motor, one tool: plain state, no decisions.

Every field holds an immutable value, and ``FIELDS`` names them all, so that the state of a whole shop is one tuple that
can be read and put back (``save``/``restore``). ``INSTANTS`` are the fields on the monotonic clock at which something
changes by itself. What follows from the plan alone stands beside them, as plain attributes.
"""

from collections.abc import Callable
from math import inf
from operator import attrgetter
from typing import Any, ClassVar

from gatekeeper.control.plan import GatePlan, MotorKind, MotorPlan, Proof, ToolPlan
from gatekeeper.control.starts import StartStore
from gatekeeper.control.tables import OPEN, STUCK, GateState, MotorState


class Unit:
    """Base of the three: saving and restoring by the declared fields."""

    FIELDS: ClassVar[tuple[str, ...]]
    INSTANTS: ClassVar[frozenset[str]]
    _read: ClassVar[Any]
    #: Every instant of one unit, for the next deadline.
    instants: ClassVar[Callable[[Any], tuple[float | None, ...]]]

    def __init_subclass__(cls) -> None:
        cls._read = attrgetter(*cls.FIELDS)
        cls.instants = staticmethod(attrgetter(*sorted(cls.INSTANTS)))

    def save(self) -> tuple[Any, ...]:
        """Every field, in order."""
        return type(self)._read(self)  # type: ignore[no-any-return]

    def restore(self, values: tuple[Any, ...]) -> None:
        """Put a saved state back."""
        for name, value in zip(self.FIELDS, values, strict=True):
            setattr(self, name, value)


class Gate(Unit):
    """One gate.

    ``busy_until`` is the end of the actuator's longest possible motion (its slot on the supply); ``arrive_by`` the
    instant at which a move without a switch has arrived, or one with a switch has missed. ``tries`` counts misses of
    the present intention. ``held`` is the words of whoever holds it; ``free_at`` ends the three seconds after a
    release. ``hand`` is what a person asked of it, until ``hand_until``. ``wait_from`` is since when, and
    ``wait_rule`` for what, it waits for a slot. ``sure``: the switch has spoken since the last order to shut, so that
    "open" is no word from before the move. ``doubt_until``: the end of the time of a shutting, halted or not: before it
    a switch that says "open" may only tell where it comes from.
    """

    FIELDS = (
        "state", "switch", "busy_until", "arrive_by", "tries", "held", "free_at", "hand", "hand_until", "hand_why",
        "clear_until", "shake_until", "shaken", "wait_from", "worked", "sure", "wait_rule",
        "doubt_until",
    )  # fmt: skip
    INSTANTS = frozenset(
        {"busy_until", "arrive_by", "free_at", "hand_until", "clear_until", "shake_until", "doubt_until"}
    )

    def __init__(self, plan: GatePlan) -> None:
        self.plan = plan
        self.name = plan.name
        self.state: GateState
        self.switch: str | None = None
        self.sure = False
        self.busy_until: float | None = None
        self.arrive_by: float | None = None
        self.tries = 0
        self.held: str | None = None
        self.worked = False
        self.free_at: float | None = None
        self.hand: str | None = None
        self.hand_until: float | None = None
        self.hand_why: str | None = None
        self.clear_until: float | None = None
        self.shake_until: float | None = None
        self.shaken = False
        self.wait_from: float | None = None
        self.wait_rule: str | None = None
        self.doubt_until: float | None = None

    @property
    def is_open(self) -> bool:
        """Confirmed open (RULES, terms): by its switch, or by a full uninterrupted travel."""
        if self.state is STUCK:
            return self.switch == "open" and self.sure and self.doubt_until is None
        return self.state is OPEN

    @property
    def moves(self) -> bool:
        """True while we believe that our command moves it."""
        return self.state in (GateState.OPENING, GateState.SHUTTING, GateState.SHAKING)

    def is_busy(self, now_s: float) -> bool:
        """True while its actuator may still be moving: it keeps its slot on the supply."""
        return self.busy_until is not None and self.busy_until > now_s

    def may_move(self, now_s: float) -> bool:
        """False for a hand gate and where fingers may be in it (C26): held, stuck, or released a moment ago."""
        return (
            self.plan.actuated
            and self.held is None
            and self.state is not STUCK
            and (self.free_at is None or self.free_at <= now_s)
        )

    @property
    def can_serve(self) -> bool:
        """True where it can still be brought open by us, now or in a moment."""
        return self.plan.actuated and self.held is None and self.state is not STUCK

    @property
    def belief(self) -> str:
        """The word of the record."""
        if self.held is not None and self.state is not STUCK:
            return "held"
        return GateState.SHUTTING if self.state is GateState.SHAKING else self.state


class Motor(Unit):
    """One motor that we start.

    ``on`` is our word to the switch, ``seen`` what confirms it. ``run_until`` ends a person's timed run.
    ``path_lost_by`` is when a lost path stops the fan; ``air_from`` from when the air proof must have spoken.
    ``air_last`` is the gate shut last, ``air_next`` when the next may be, ``air_held`` the gates opened again because
    air was not proved, ``air_doubt`` those that were believed open then. ``parked`` are the gates that the last cut
    leaves open. ``cut_s`` is what was cut since an air cleaner last stopped. ``flush`` are the branches still to be
    cleared. ``extra`` are the gates that the air wanted beside those of the tools that ran last. ``has_duct``: it pulls
    on gates. ``path_binds``: it has a duct, and its path is not the person's (C3a).
    """

    FIELDS = (
        "state", "on", "lease_until", "coast_until", "store", "confirm_by", "confirmed", "retry_used", "retrying",
        "seen", "sensor_lost", "stop_check_at", "air", "hand", "out_of_service", "latch", "run_until", "run_what",
        "path_lost_by", "air_last", "air_next", "air_held", "air_doubt", "air_from", "parked", "cut_s", "cut_from",
        "shake_by", "flush", "flush_from", "flush_until", "overrun", "resume", "wait_from", "wait_why", "beat_at",
        "extra",
    )  # fmt: skip
    INSTANTS = frozenset(
        {
            "coast_until",
            "confirm_by",
            "stop_check_at",
            "run_until",
            "flush_until",
            "shake_by",
            "path_lost_by",
            "air_from",
            "air_next",
        }
    )

    def __init__(self, plan: MotorPlan, store: StartStore) -> None:
        self.plan = plan
        self.name = plan.name
        self.is_cleaner = plan.kind is MotorKind.AIR_CLEANER
        self.is_shaker = plan.kind is MotorKind.SHAKER
        self.has_duct = plan.kind in (MotorKind.COLLECTOR, MotorKind.VACUUM)
        self.path_binds = self.has_duct and plan.proof is not Proof.PERSON
        self.proves_air = plan.proof is Proof.AIR
        self.state: MotorState
        self.on = False
        self.lease_until: float | None = None
        self.coast_until: float | None = None
        self.store = store
        self.confirm_by: float | None = None
        self.confirmed = False
        self.retry_used = False
        self.retrying = False
        self.seen: str | None = None
        self.stop_check_at: float | None = None
        self.air: bool | None = None
        self.hand = "auto"
        self.out_of_service: tuple[str, str, float] | None = None
        self.latch: str | None = None
        self.run_until: float | None = None
        self.run_what: str | None = None
        self.path_lost_by: float | None = None
        self.air_last: str | None = None
        self.air_next: float | None = None
        self.air_held: tuple[str, ...] = ()
        self.air_doubt: tuple[str, ...] = ()
        self.sensor_lost = False
        self.air_from: float | None = None
        self.parked: tuple[str, ...] = ()
        self.cut_s = 0.0
        self.cut_from: float | None = None
        self.shake_by: float | None = None
        self.flush: tuple[str, ...] = ()
        self.flush_from: float | None = None
        self.flush_until: float | None = None
        self.overrun = False
        self.resume = False
        self.wait_from: float | None = None
        self.wait_why: str | None = None
        self.beat_at: float | None = None
        self.extra: tuple[str, ...] = ()

    def asked_until(self) -> float | None:
        """When the last of a person's runs ends: a timed run, or a flush of the branches."""
        if self.run_until is None or self.flush_until is None:
            return self.flush_until if self.run_until is None else self.run_until
        return max(self.run_until, self.flush_until)

    def renew_from(self) -> float:
        """From when its lease is renewed: at half of it, as a moment late on the very end is no longer a renewal."""
        return inf if self.lease_until is None else self.lease_until - self.plan.lease_s / 2

    def lease_is_over(self, now_s: float) -> bool:
        """True where it is on and nobody has renewed that in time (C23)."""
        return self.on and self.lease_until is not None and now_s >= self.lease_until

    def fan_runs(self, now_s: float) -> bool:
        """RULES, terms: commanded on, or confirmed running, or within its coast time after either; or by hand."""
        return (
            self.on
            or self.seen == "running"
            or self.hand == "hand"
            or (self.coast_until is not None and self.coast_until > now_s)
        )


class Tool(Unit):
    """One tool with a sensor.

    ``reading`` is the last word of its sensor. ``counting`` says that it counts as running for C5. ``causes`` are the
    motors for which its present run, or the delay after it, is a fresh cause (C21). ``was_running`` is the good reading
    before a lost one; ``said_stopped`` a person's word. ``order`` is the order of starts. ``resumed_until`` ends causes
    that stand only because a run may be resumed (C21).
    """

    FIELDS = (
        "reading", "counting", "causes", "started_at", "stopped_at", "stale_at", "was_running", "said_stopped",
        "ask_at", "asked", "answer_by", "overlong", "order", "found", "hold_until", "shut_start",
        "resumed_until",
    )  # fmt: skip
    INSTANTS = frozenset({"ask_at", "answer_by", "hold_until", "resumed_until"})

    def __init__(self, plan: ToolPlan) -> None:
        self.plan = plan
        self.name = plan.name
        self.reading = "unknown"
        self.counting = False
        self.causes: frozenset[str] = frozenset()
        self.started_at: float | None = None
        self.stopped_at: float | None = None
        self.stale_at: float | None = None
        self.hold_until: float | None = None
        self.was_running = False
        self.said_stopped = False
        self.ask_at: float | None = None
        self.asked = False
        self.answer_by: float | None = None
        self.overlong = False
        self.order = 0
        self.found = False
        self.shut_start = False
        self.resumed_until: float | None = None

    @property
    def wants_gates(self) -> bool:
        """Its gates are to be open: it runs, or ran when its sensor was lost and nobody said that it stopped."""
        return self.reading == "running" or (self.reading == "stale" and self.was_running and not self.said_stopped)

    @property
    def may_run(self) -> bool:
        """Its gates must not be shut (C1, C12): it runs, or nobody can say that it does not."""
        return self.reading in ("running", "unknown") or (self.reading == "stale" and not self.said_stopped)
