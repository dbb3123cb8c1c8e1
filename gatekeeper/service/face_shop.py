"""The page's view of all that is so at one instant. See ``gatekeeper.service.face``."""

from dataclasses import dataclass

from gatekeeper.service.face_calibration import CalibrationView
from gatekeeper.service.face_parts import Attention, Offer, OutOfService, Saying, SpinDown, Starts, StopView
from gatekeeper.service.face_words import GateWord, HandWord, Heap, SensorWord, Units


@dataclass(frozen=True, slots=True)
class MotorView:
    """A collector, tool vacuum, air cleaner or filter shaker.

    Args:
        name: as in the shop's file.
        kind: "collector", "tool vacuum", "air cleaner" or "filter shaker".
        word: its state in a word or two ("off", "starting", "on", "running on", "coming to rest", "out of service").
        runs: it counts as running: commanded on, confirmed, or within its coast time.
        reason: why it runs or may not, and its end; given whenever it runs.
        stops_at_s: end of the countdown when it is counting down.
        spin_down: None on motors without one.
        starts: None where no count is kept.
        hand: None where no Hand-Off-Auto switch is wired.
        out_of_service: None while it is in service.
        stop: the last stop that a person asked for.
        has_ducts: it draws through ducts and gates.
        speed: how fast it runs and why, where its drive follows the air and it is on; else None.
    """

    name: str
    kind: str
    word: str
    runs: bool
    reason: Saying | None = None
    stops_at_s: float | None = None
    spin_down: SpinDown | None = None
    starts: Starts | None = None
    hand: HandWord | None = None
    out_of_service: OutOfService | None = None
    stop: StopView | None = None
    has_ducts: bool = True
    offers: tuple[Offer, ...] = ()
    speed: Saying | None = None


@dataclass(frozen=True, slots=True)
class GateView:
    """One gate.

    Args:
        name: as in the shop's file.
        motor: the collector whose system it is on.
        duct: the duct it sits on.
        word: where it stands.
        automatic: False for a gate moved by hand.
        tools: the machines it serves.
        reason: why it is open, moving, waiting or held, and until when; given whenever it is not simply shut.
        proof: how its place is known, in words ("its switch says so", "a full travel time has passed, no switch").
    """

    name: str
    motor: str
    duct: str
    word: GateWord
    automatic: bool
    tools: tuple[str, ...]
    reason: Saying | None = None
    proof: str = ""
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class ToolView:
    """One machine.

    Args:
        name: as in the shop's file.
        sensor: what its sensor says.
        sensor_note: a sentence when the sensor is lost, else None.
        gates, motors: by name.
        since_s: since when it runs; None while it stands.
        current_a: the last current, true RMS; None where a contact tells.
        trip_note: from which current it counts as running, and how that is known, one sentence; None where no clamp
            tells, and nothing can be calibrated.
        spin_down: its own, always given (``value_s`` None: it follows its collector's).
    """

    name: str
    sensor: SensorWord
    sensor_note: str | None
    gates: tuple[str, ...]
    motors: tuple[str, ...]
    since_s: float | None = None
    current_a: float | None = None
    trip_note: str | None = None
    spin_down: SpinDown | None = None
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class DuctView:
    """One duct of the tree. Air leaves it towards ``towards``: another duct, or its motor.

    Args:
        diameter_m: hydraulic diameter, drawn as line width.
        length_m: centre-line length.
        gate: the gate that sits on it, or None.
        moves: air moves in it now.
        velocity_ms: how fast, where that is known.
    """

    name: str
    towards: str
    motor: str
    diameter_m: float
    length_m: float
    gate: str | None = None
    moves: bool = False
    velocity_ms: float | None = None


@dataclass(frozen=True, slots=True)
class MessageView:
    """A message that says what happened, why, and what to do.

    Args:
        key: code and subject ("gate_stuck:Bandsaw gate"); the subject of a ``seen`` request.
        sentence: what is so. cause: the likely cause. remedy: what to do, a verb first.
        first_wall_s, last_wall_s, count: first and last time, and how often.
        seen: a person has read it. cleared: it is over and stays for the reader only.
        subject: the motor, gate or tool it is about, or None; shown on that machine's own page.
        stands_for: the keys of the messages that were folded into it because they have one cause; empty for most.
    """

    key: str
    heap: Heap
    sentence: str
    cause: str
    remedy: str
    first_wall_s: float
    last_wall_s: float
    count: int = 1
    seen: bool = False
    cleared: bool = False
    subject: str | None = None
    offers: tuple[Offer, ...] = ()
    stands_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShopView:
    """All that is so at one instant.

    Args:
        version: grows by at least one with every change of anything else in here.
        seq: number of the last entry of the record that it contains.
        now_s: monotonic clock when it was made. wall_s: wall clock when it was made.
        name: the shop's name.
        sentence: the one sentence at the top.
        harm: the worst that stands, or None.
        remote_start: a motor may be started from the page.
        motors, gates, tools, ducts: in the order of the shop's file.
        messages: newest first.
        cautions: sentences about this shop ("Single-phase motor: the starts are an estimate").
        offers: what may be done with the whole shop (reset, out of service, sweep).
        calibration: the machine that is being calibrated, or None.
    """

    version: int
    seq: int
    now_s: float
    wall_s: float
    name: str
    units: Units
    sentence: Saying
    harm: Heap | None
    remote_start: bool
    attention: tuple[Attention, ...]
    motors: tuple[MotorView, ...]
    gates: tuple[GateView, ...]
    tools: tuple[ToolView, ...]
    ducts: tuple[DuctView, ...]
    messages: tuple[MessageView, ...]
    cautions: tuple[str, ...] = ()
    offers: tuple[Offer, ...] = ()
    calibration: CalibrationView | None = None


@dataclass(frozen=True, slots=True)
class Beat:
    """The sign of life of the control thread.

    Args:
        now_s: the controller's monotonic clock, read just now.
        step_s: the instant of the control thread's last finished step on the same clock. It must come from the
            step itself, at least once a second, and from no other timer: when it falls three seconds behind
            ``now_s``, the page calls everything old.
    """

    now_s: float
    step_s: float
