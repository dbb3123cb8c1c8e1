"""Currents of machines as samples: a pure function of time, the mains and when a machine was switched.

Nothing here keeps a state between two calls. The phase of the mains belongs to the time itself, so blocks of any
length and any rate fit together without a jump, and a machine that is switched off stops drawing at its next current
zero, as behind a contact that opens. Sources of the figures stand in this folder's README.
"""

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

#: Measured start of a small compressor: seconds after switching on, and times the running current.
INDUCTION_AGE_S = (0.0, 0.1, 0.2, 0.4, 0.52, 0.66, 0.8)
INDUCTION_TIMES = (13.2, 13.2, 10.0, 8.8, 1.93, 1.1, 1.0)
INDUCTION_RUN_UP_S = 0.8
#: Time constant of a universal motor's run-up.
UNIVERSAL_TAU_S = 0.081
#: Starting peak over rated peak: median of 24 power tools.
UNIVERSAL_TIMES = 5.1
#: Odd harmonics of a vacuum cleaner's motor, as shares of the fundamental.
UNIVERSAL_HARMONICS = ((3, -0.138), (5, 0.029), (7, -0.010))
SOFT_START_S = 1.2
#: Where a soft start begins, as a share of the running current, and its firing angle. Our own assumptions.
SOFT_START_FROM = 0.3
FIRING_RAD = math.pi / 3
#: Electronics on standby draw while the mains is near its peak. Our own assumption.
STANDBY_ABOVE = 0.95
#: A drive's rectifier charges its capacitor around the mains peak: this share of each half wave. Textbook (60 degrees).
DRIVE_CONDUCTS = 1.0 / 3.0
#: Electronics and lamps that are electronics: the same, shorter. Our own assumption.
ELECTRONICS_CONDUCT = 0.2
#: How far the current follows the voltage. Textbook: an idling induction motor mostly magnetises.
LAG_RAD = {"universal motor": 0.35, "induction motor": 1.05}


class LoadKind(Enum):
    """What hangs on a wire, by how it draws its current."""

    UNIVERSAL = "universal motor"
    INDUCTION = "induction motor"
    SOFT_START = "soft start"
    HEATER = "heater"
    HALF_WAVE = "half wave"
    DRIVE = "drive"
    ELECTRONICS = "electronics"


@dataclass(frozen=True, slots=True)
class Load:
    """One machine's wire.

    Args:
        kind: how it draws.
        running_a: true RMS current once it is up to speed, amperes, above 0.
        standby_a: true RMS current of its electronics while it stands, amperes, 0 or more.
        start_times: RMS current at the first instant over the running one, 1 or more; used by motors only.
        run_up_s: from switching on to running, seconds, above 0.
        run_down_s: from full speed to standstill, seconds, above 0. A stopping machine draws nothing, but one that is
            started again while it still turns draws less.

    Raises:
        ValueError: a value is outside its range.
    """

    kind: LoadKind
    running_a: float
    standby_a: float = 0.0
    start_times: float = INDUCTION_TIMES[0]
    run_up_s: float = INDUCTION_RUN_UP_S
    run_down_s: float = 3.0

    def __post_init__(self) -> None:
        if not (0 < self.running_a < math.inf and 0 <= self.standby_a < math.inf and self.start_times >= 1):
            raise ValueError(
                "The running current must be above 0 A, the standby draw 0 A or more, the start 1 or more."
            )
        if not (self.run_up_s > 0 and self.run_down_s > 0):
            raise ValueError("The times of run-up and run-down must be more than 0 s.")


@dataclass(frozen=True, slots=True)
class Stint:
    """One stretch of being switched on, seconds on the shop's clock.

    Args:
        on_s: switched on.
        off_s: switched off; infinite while it is on.
        speed: how fast it still turned when it was switched on, 0 to 1.
    """

    on_s: float
    off_s: float = math.inf
    speed: float = 0.0


def speed_at(load: Load, stint: Stint | None, t_s: float) -> float:
    """How fast a machine turns, 0 (still) to 1 (running); straight lines up and down."""
    if stint is None or t_s < stint.on_s:
        return 0.0
    reached = min(1.0, stint.speed + (min(t_s, stint.off_s) - stint.on_s) / load.run_up_s)
    return max(0.0, reached - max(0.0, t_s - stint.off_s) / load.run_down_s)


def draws_at(load: Load, stint: Stint | None, mains_hz: float, t_s: float) -> bool:
    """True while more than a standby current flows."""
    return stint is not None and stint.on_s <= t_s < ends_s(load, stint, mains_hz)


def ends_s(load: Load, stint: Stint, mains_hz: float) -> float:
    """When the current really ends: at the first current zero from ``off_s`` on."""
    if math.isinf(stint.off_s):
        return math.inf
    halves_hz = 2 * mains_hz
    lag = LAG_RAD.get(load.kind.value, 0.0) / math.pi
    return (math.ceil(stint.off_s * halves_hz - lag) + lag) / halves_hz


def times_running(load: Load, age_s: Samples) -> Samples:
    """RMS current over the running current, for each time since a start from standstill (negative: not yet on)."""
    match load.kind:
        case LoadKind.UNIVERSAL:
            return 1.0 + (load.start_times - 1.0) * np.exp(-np.maximum(age_s, 0.0) / UNIVERSAL_TAU_S)
        case LoadKind.INDUCTION:
            stretched = age_s * (INDUCTION_RUN_UP_S / load.run_up_s)
            share = (load.start_times - 1.0) / (INDUCTION_TIMES[0] - 1.0)
            curve: Samples = np.interp(stretched, INDUCTION_AGE_S, INDUCTION_TIMES)
            return 1.0 + (curve - 1.0) * share
        case LoadKind.SOFT_START | LoadKind.DRIVE:
            return np.clip(SOFT_START_FROM + (1.0 - SOFT_START_FROM) * age_s / load.run_up_s, SOFT_START_FROM, 1.0)
        case LoadKind.HEATER | LoadKind.HALF_WAVE | LoadKind.ELECTRONICS:
            return np.ones_like(age_s)


def wave_shape(kind: LoadKind, phase_rad: Samples) -> Samples:
    """The shape of one load's current over the phase of the mains voltage, RMS 1; zero where its current is zero."""
    angle = phase_rad - LAG_RAD.get(kind.value, 0.0)
    wave: Samples = np.sin(angle)
    if kind is LoadKind.UNIVERSAL:
        square = 1.0
        for number, share in UNIVERSAL_HARMONICS:
            wave += share * np.sin(number * angle)
            square += share * share
        return wave * math.sqrt(2.0 / square)
    if kind is LoadKind.SOFT_START:
        wave[np.mod(angle, math.pi) < FIRING_RAD] = 0.0
        square = ((math.pi - FIRING_RAD) / 2 + math.sin(2 * FIRING_RAD) / 4) / math.pi
        return wave / math.sqrt(square)
    match kind:
        case LoadKind.HALF_WAVE:
            return np.maximum(wave, 0.0) * 2.0
        case LoadKind.DRIVE:
            return charging_shape(angle, DRIVE_CONDUCTS)
        case LoadKind.ELECTRONICS:
            return charging_shape(angle, ELECTRONICS_CONDUCT)
        case _:
            return wave * math.sqrt(2.0)


def charging_shape(phase_rad: Samples, share: float) -> Samples:
    """One half-sine pulse about the peak of each half wave, as long as that share of it (0 to 1), RMS 1."""
    place = (np.mod(phase_rad / math.pi, 1.0) - 0.5) / share + 0.5
    pulse = np.where((place > 0.0) & (place < 1.0), np.sin(math.pi * place), 0.0)
    charging: Samples = np.sign(np.sin(phase_rad)) * pulse * math.sqrt(2.0 / share)
    return charging


def standby_shape(phase_rad: Samples) -> Samples:
    """The short pulses of electronics on standby, RMS 1."""
    wave = np.sin(phase_rad)
    share = 1.0 - 2.0 * math.asin(STANDBY_ABOVE) / math.pi
    pulses: Samples = np.sign(wave) * (np.abs(wave) > STANDBY_ABOVE)
    return pulses / math.sqrt(share)


def amperes(load: Load, stint: Stint | None, mains_hz: float, t_s: Samples) -> Samples:
    """The current in one load's wire at each instant, amperes.

    Args:
        load: the machine.
        stint: when it was switched on and off last; None when it never was.
        mains_hz: the mains frequency, hertz.
        t_s: instants on the shop's clock, seconds, at any rate.
    """
    end_s = math.inf if stint is None else ends_s(load, stint, mains_hz)
    return drawn(load, stint, end_s, t_s, 2 * math.pi * mains_hz * t_s)


def drawn(load: Load, stint: Stint | None, end_s: float, t_s: Samples, phase_rad: Samples) -> Samples:
    """The same for any mains: its phase at each instant is given, and when the current ends."""
    current = standby_shape(phase_rad) * load.standby_a if load.standby_a else np.zeros_like(t_s)
    if stint is None:
        return current
    is_on = (t_s >= stint.on_s) & (t_s < end_s)
    if is_on.any():
        age_s = t_s - stint.on_s + stint.speed * load.run_up_s
        flows = load.running_a * times_running(load, age_s) * wave_shape(load.kind, phase_rad)
        current = np.where(is_on, flows, current)
    return current
