"""Synthetic currents from the facts published with the shared recordings, and the recordings themselves."""

import json
import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block, Seen, State

WAVES = Path(__file__).resolve().parents[3] / "shared" / "waves"


@dataclass(frozen=True)
class Wave:
    """A recording with its truth; the truth is for the test alone."""

    name: str
    samples_a: "np.ndarray[tuple[int], np.dtype[np.float64]]"
    rate_hz: float
    mains_hz: float
    on_s: tuple[float, ...]
    off_s: tuple[float, ...]


def load_wave(path: Path) -> Wave:
    archive = np.load(path, allow_pickle=False)
    facts = json.loads(str(archive["metadata_json"]))
    samples = archive["current_A"].astype(float)
    if samples.ndim == 3:
        samples = samples[0, :, 0]
    on_s = facts.get("on_times_s") or ([facts["on_time_s"]] if facts["on_time_s"] else [])
    return Wave(path.stem, samples, facts["fs_hz"], facts["mains_hz"], tuple(on_s), tuple(facts.get("off_times_s", ())))


@pytest.fixture(scope="session")
def waves() -> dict[str, Wave]:
    if not WAVES.is_dir():
        pytest.skip("the shared recordings are not here (../shared/waves)")
    return {path.stem: load_wave(path) for path in sorted(WAVES.glob("*.npz"))}


@dataclass
class Bench:
    """Feeds currents to a sensor and keeps what it said."""

    rate_hz: float = 1600.0
    mains_hz: float = 50.0
    settings: DetectorSettings | None = None
    front: FrontEnd | None = None

    def __post_init__(self) -> None:
        self.sensor = CurrentSensor(self.mains_hz, self.settings, self.front)
        self.t_s = 0.0
        self.seen: list[Seen] = []

    def feed(self, samples: list[float]) -> list[Seen]:
        new = self.sensor.feed(Block(self.t_s, self.rate_hz, samples))
        self.t_s += len(samples) / self.rate_hz
        self.seen += new
        return new

    def currents(self, seconds: float, current: Callable[[float], float], noise_a: float = 0.005) -> list[float]:
        """Sample `current` (amperes at a time from its own start) with the chain's noise."""
        chance = random.Random(7)
        n = round(seconds * self.rate_hz)
        return [current(i / self.rate_hz) + chance.gauss(0, noise_a) for i in range(n)]

    def play(self, seconds: float, current: Callable[[float], float], noise_a: float = 0.005) -> list[Seen]:
        return self.feed(self.currents(seconds, current, noise_a))

    def rest(self, seconds: float, noise_a: float = 0.005) -> list[Seen]:
        return self.play(seconds, lambda t_s: 0.0, noise_a)

    def words(self) -> list[str]:
        return [seen.state.value for seen in self.seen]

    def starts(self) -> list[Seen]:
        return [seen for seen in self.seen if seen.state is State.RUNNING]


def sine(rms_a: float, mains_hz: float = 50.0, phase: float = 0.0) -> Callable[[float], float]:
    return lambda t_s: rms_a * math.sqrt(2) * math.sin(2 * math.pi * mains_hz * t_s + phase)


def pulses(rms_a: float, width: float = 0.2, mains_hz: float = 50.0) -> Callable[[float], float]:
    """The current of a charged capacitor behind a bridge: one short half-sine at the top of each half wave."""
    peak_a = rms_a / math.sqrt(width / 2)

    def current(t_s: float) -> float:
        half, sign = (2 * mains_hz * t_s) % 1, 1 if (mains_hz * t_s) % 1 < 0.5 else -1
        x = (half - 0.5 + width / 2) / width
        return sign * peak_a * math.sin(math.pi * x) if 0 < x < 1 else 0.0

    return current


def induction_start(running_a: float, mains_hz: float = 50.0) -> Callable[[float], float]:
    """13 times the running current, falling to one within two thirds of a second (measured on a small compressor)."""
    times_s = [0.0, 0.1, 0.2, 0.4, 0.52, 0.66, 1e9]
    ratios = [13.2, 13.2, 10.0, 8.8, 1.93, 1.1, 1.0]
    wave = sine(1.0, mains_hz)
    return lambda t_s: running_a * float(np.interp(t_s, times_s, ratios)) * wave(t_s)


def universal_motor(running_a: float, mains_hz: float = 50.0) -> Callable[[float], float]:
    """Run-up with a time constant of 81 ms from 5 times the current; harmonics of a vacuum cleaner."""
    w = 2 * math.pi * mains_hz
    return lambda t_s: (
        running_a * math.sqrt(2) * (1 + 4 * math.exp(-t_s / 0.081))
        * (math.sin(w * t_s) - 0.138 * math.sin(3 * w * t_s) + 0.029 * math.sin(5 * w * t_s))
    )  # fmt: skip


class Lab:
    """What the tests of this folder share (test modules cannot import one another)."""

    Bench = Bench
    sine = staticmethod(sine)
    pulses = staticmethod(pulses)
    induction_start = staticmethod(induction_start)
    universal_motor = staticmethod(universal_motor)


@pytest.fixture
def lab() -> type[Lab]:
    return Lab
