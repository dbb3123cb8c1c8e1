"""What the converters of a virtual shop see: the wires' currents as codes, a block at a time.

A converter's own time runs in whole samples and waits for the shop's clock, as an SPI message that the kernel paces
does; a reader that comes late reads what it missed, and one that comes far too late has a hole in its samples.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event

import numpy as np

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.service.clock import Clock
from sim.currents import Load, Samples, Stint, amperes, ends_s

#: Samples a mains cycle; a whole number to the quarter cycle, and at least a thousand a second.
SAMPLES_PER_CYCLE = 20
#: Noise of a quiet converter, RMS in its steps, as in replay.
NOISE_LSB = 0.7
NOISE_LENGTH = 4096
#: A reader that is later than this has lost the samples before.
LATEST_S = 0.25

#: A load and when it was switched last.
Draw = tuple[Load, Stint | None]


class SampleClock:
    """The time of one converter's samples.

    Args:
        clock: the shop's clock.
        rate_hz: samples a second and channel.
        ending: set when nobody is to wait any more.
    """

    def __init__(self, clock: Clock, rate_hz: float, ending: Event) -> None:
        self._clock = clock
        self._rate_hz = rate_hz
        self._ending = ending
        self._is_reading = False
        self.t_s = clock.now()

    def now(self) -> float:
        """The time of the next sample. Asked before and after a read; samples are lost only before one."""
        shop_s = self._clock.now()
        if not self._is_reading and shop_s - self.t_s > LATEST_S:
            self.t_s = shop_s
        self._is_reading = False
        return self.t_s

    def pace(self, seconds: float) -> None:
        """Take samples for so long: wait until the shop's clock is there."""
        self._is_reading = True
        self.t_s += seconds
        ahead_s = self.t_s - self._clock.now()
        if ahead_s > 0:
            self._ending.wait(self._clock.real_s(ahead_s))

    def block(self, scans: int) -> Samples:
        """The instants of the last ``scans`` samples."""
        times: Samples = self.t_s + np.arange(-scans, 0) / self._rate_hz
        return times


@dataclass(frozen=True, slots=True)
class Wire:
    """One converter channel.

    Args:
        front: its clamp and converter.
        draws: what flows through the clamp now.
        is_dead: whether the clamp has lost its bias.
    """

    front: FrontEnd
    draws: Callable[[], Sequence[Draw]]
    is_dead: Callable[[], bool]


class Codes:
    """The codes of one converter's channels.

    Args:
        wires: one for each channel that is scanned.
        time: the converter's time.
        mains_hz: the mains frequency, hertz.
        seed: of the noise, so that a run can be repeated.
    """

    def __init__(self, wires: Sequence[Wire], time: SampleClock, mains_hz: float, seed: int) -> None:
        self._wires = wires
        self._time = time
        self._mains_hz = mains_hz
        self._chance = np.random.default_rng(seed)
        self._noise = self._chance.normal(0.0, NOISE_LSB, NOISE_LENGTH)
        self._silence = [self._quantised(wire.front, np.zeros(NOISE_LENGTH), self._noise) for wire in wires]

    def give(self, scans: int) -> list[list[int]]:
        """The codes of the samples that were just taken, for each channel."""
        times = self._time.block(scans)
        first_s = self._time.t_s if scans == 0 else float(times[0])
        starts = self._chance.integers(0, max(1, NOISE_LENGTH - scans), len(self._wires)).tolist()
        return [
            self._channel(wire, number, times, first_s, start)
            for number, (wire, start) in enumerate(zip(self._wires, starts, strict=True))
        ]

    def _channel(self, wire: Wire, number: int, times: Samples, first_s: float, start: int) -> list[int]:
        if wire.is_dead():
            return [0] * len(times)
        drawn = [draw for draw in wire.draws() if self._flows(draw, first_s)]
        if not drawn:
            return self._silence[number][start : start + len(times)]
        total = np.zeros_like(times)
        for load, stint in drawn:
            total += amperes(load, stint, self._mains_hz, times)
        return self._quantised(wire.front, total, self._noise[start : start + len(times)])

    def _flows(self, draw: Draw, first_s: float) -> bool:
        load, stint = draw
        return load.standby_a > 0 or (stint is not None and ends_s(load, stint, self._mains_hz) > first_s)

    @staticmethod
    def _quantised(front: FrontEnd, current_a: Samples, noise: Samples) -> list[int]:
        """The same staircase as ``gatekeeper.sensing.codes.codes_from_amperes``."""
        steps = np.floor(front.rest_code + current_a / front.a_per_code + noise)
        codes: list[int] = np.clip(steps, 0, front.top_code).astype(np.int64).tolist()
        return codes


def rate_hz(mains_hz: float) -> float:
    """Samples a second and channel."""
    return math.ceil(mains_hz * SAMPLES_PER_CYCLE)
