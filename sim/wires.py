"""One wire of a shop as a converter sees it, with everything that is wrong with a real one.

What `sim.currents` gives is the current of one machine on steady mains. Here several machines share a wire, change
their speed or stall, the mains drifts and hunts as behind a generator, the clamp passes no direct current, samples
come a little early or late, and the converter adds its noise and its steps. Sources stand in this folder's README.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatekeeper.sensing.codes import FrontEnd
from sim.currents import Load, Samples, Stint, drawn, ends_s

#: Lower corner of a clamp on its burden, hertz: 1 to 3 degrees of phase error at 50 Hz. Textbook.
CLAMP_CORNER_HZ = 1.5
#: Locked rotor of an induction motor over its running current: the first instant of the measured start.
STALLED_TIMES = 13.2


@dataclass(frozen=True, slots=True)
class Mains:
    """The mains, whose frequency need not stand still.

    Args:
        hz: frequency at time 0, hertz, 40 to 70.
        drift_hz_per_s: how it drifts, hertz a second.
        hunts_hz: how far it swings about that, hertz, as a governor does.
        hunts_s: the time of one swing, seconds, above 0.

    Raises:
        ValueError: a value is outside its range.
    """

    hz: float = 50.0
    drift_hz_per_s: float = 0.0
    hunts_hz: float = 0.0
    hunts_s: float = 2.0

    def __post_init__(self) -> None:
        if not (40.0 <= self.hz <= 70.0 and math.isfinite(self.drift_hz_per_s)):
            raise ValueError("The mains runs at 40 to 70 Hz, and its drift must be a number.")
        if not (0.0 <= self.hunts_hz < math.inf and self.hunts_s > 0.0):
            raise ValueError("The mains swings by 0 Hz or more, in more than 0 s.")

    def hz_at(self, t_s: float) -> float:
        """The frequency at one instant, hertz."""
        return self.hz + self.drift_hz_per_s * t_s + self.hunts_hz * math.sin(2 * math.pi * t_s / self.hunts_s)

    def phase_rad(self, t_s: Samples) -> Samples:
        """The phase at each instant: the frequency summed up from time 0."""
        turn = 2 * math.pi / self.hunts_s
        swung = self.hunts_hz * (1.0 - np.cos(turn * t_s)) / turn
        phase: Samples = 2 * math.pi * (self.hz * t_s + self.drift_hz_per_s * t_s * t_s / 2 + swung)
        return phase


@dataclass(frozen=True, slots=True)
class Change:
    """From ``at_s`` on the machine draws ``times`` its running current: another speed, a cut, a stall."""

    at_s: float
    times: float


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine on the wire, when it is on, and how its draw changes meanwhile."""

    load: Load
    stint: Stint | None
    changes: tuple[Change, ...] = ()


def wire_amperes(machines: Sequence[Machine], mains: Mains, t_s: Samples) -> Samples:
    """The true current of a wire at each instant, amperes."""
    phase_rad = mains.phase_rad(t_s)
    total = np.zeros_like(t_s)
    for machine in machines:
        stint = machine.stint
        end_s = math.inf if stint is None else ends_s(machine.load, stint, mains.hz)
        current = drawn(machine.load, stint, end_s, t_s, phase_rad)
        for change in machine.changes:
            # A later change replaces the earlier one: each is the share of the running current, not of the last.
            until_s = min((other.at_s for other in machine.changes if other.at_s > change.at_s), default=math.inf)
            current = np.where((t_s >= change.at_s) & (t_s < min(until_s, end_s)), current * change.times, current)
        total += current
    return total


def through_clamp(samples_a: Samples, rate_hz: float, corner_hz: float = CLAMP_CORNER_HZ) -> Samples:
    """What a clamp lets through: a high-pass of first order, at rest before the first sample."""
    keeps = 1.0 / (1.0 + 2 * math.pi * corner_hz / rate_hz)
    out, was, shown = np.empty_like(samples_a), 0.0, 0.0
    for number, now in enumerate(samples_a.tolist()):
        shown = keeps * (shown + now - was)
        was = now
        out[number] = shown
    return out


@dataclass(frozen=True, slots=True)
class Chain:
    """Clamp and converter.

    Args:
        rate_hz: samples a second.
        front: clamp, burden, reference and bits.
        noise_lsb: noise of the converter, RMS in its steps.
        jitter_s: how far a sample comes early or late, RMS seconds.
        corner_hz: the clamp's lower corner; 0 for one that passes direct current.
    """

    rate_hz: float
    front: FrontEnd
    noise_lsb: float = 0.7
    jitter_s: float = 0.0
    corner_hz: float = CLAMP_CORNER_HZ

    def instants(self, start_s: float, seconds: float, chance: np.random.Generator) -> Samples:
        """When the samples of a stretch are really taken; the reader believes that they are evenly spaced."""
        even: Samples = start_s + np.arange(round(seconds * self.rate_hz)) / self.rate_hz
        return even + chance.normal(0.0, self.jitter_s, len(even)) if self.jitter_s else even

    def codes(self, true_a: Samples, chance: np.random.Generator) -> list[int]:
        """The codes that the converter gives for these true currents at those instants."""
        shown_a = through_clamp(true_a, self.rate_hz, self.corner_hz) if self.corner_hz else true_a
        steps = self.front.rest_code + shown_a / self.front.a_per_code + chance.normal(0.0, self.noise_lsb, len(true_a))
        codes: list[int] = np.clip(np.floor(steps), 0, self.front.top_code).astype(np.int64).tolist()
        return codes


def wire_codes(
    machines: Sequence[Machine],
    seconds: float,
    chain: Chain,
    mains: Mains | None = None,
    *,
    start_s: float = 0.0,
    seed: int = 1,
) -> list[int]:
    """A stretch of a wire from its machines to codes; the same seed gives the same codes."""
    chance = np.random.default_rng(seed)
    t_s = chain.instants(start_s, seconds, chance)
    return chain.codes(wire_amperes(machines, mains or Mains(), t_s), chance)
