"""Figures of the sensing part: CPU, detection delay, false starts. Run: python tests/bench/bench_sensing.py"""

import argparse
import math
import random
import statistics
import time

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.seen import Block, Reason

MAINS_HZ = 50


def front(bits: int) -> FrontEnd:
    """30 A RMS full scale at 3.3 V."""
    return FrontEnd(volts_per_a=1.65 / (30 * math.sqrt(2)), bits=bits)


def codes(
    seconds: float, rate_hz: int, rms_a: float, bits: int, chance: random.Random, phase: float = 0.0
) -> list[int]:
    n = round(seconds * rate_hz)
    wave = (rms_a * math.sqrt(2) * math.sin(2 * math.pi * MAINS_HZ * i / rate_hz + phase) for i in range(n))
    return codes_from_amperes(wave, front(bits), [chance.gauss(0, 0.7) for _ in range(n)])


def cpu() -> None:
    """Share of one core for N channels, fed in blocks of 20 ms as one scan thread would."""
    chance = random.Random(1)
    print("CPU of one core, blocks of 20 ms, 12 bits")
    print("channels  samples/cycle  at rest %  running %")
    for channels in (8, 16, 32):
        for per_cycle in (16, 32):
            rate_hz = MAINS_HZ * per_cycle
            shares = []
            for rms_a in (0.0, 5.0):
                one = codes(10.0, rate_hz, rms_a, 12, chance)
                sensors = [CurrentSensor(MAINS_HZ, front=front(12)) for _ in range(channels)]
                blocks = [Block(k / MAINS_HZ, rate_hz, one[k * per_cycle : (k + 1) * per_cycle]) for k in range(500)]
                begin_s = time.process_time()
                for block in blocks:
                    for sensor in sensors:
                        sensor.feed(block)
                shares.append((time.process_time() - begin_s) / 10.0 * 100)
            print(f"{channels:8d} {per_cycle:14d} {shares[0]:10.2f} {shares[1]:10.2f}")


def delay(tries: int) -> None:
    """Mains cycles from current on the wire to 'running', over random phases."""
    print(f"\nDelay from current to running, mains cycles, {tries} starts each, 0.7 steps of noise, 30 A range")
    print("bits  samples/cycle  current A  median  99th pct  missed")
    for bits in (12, 10):
        for per_cycle in (8, 16, 32):
            for rms_a in (0.3, 0.6, 3.0):
                chance = random.Random(2)
                rate_hz = MAINS_HZ * per_cycle
                delays, missed = [], 0
                for _ in range(tries):
                    rest = codes(0.5 + chance.random() / MAINS_HZ, rate_hz, 0.0, bits, chance)
                    run = codes(0.3, rate_hz, rms_a, bits, chance, chance.uniform(0, 2 * math.pi))
                    sensor = CurrentSensor(MAINS_HZ, front=front(bits))
                    seen = sensor.feed(Block(0.0, rate_hz, rest + run))
                    starts = [s.t_s for s in seen if s.reason is Reason.STARTED]
                    if starts:
                        delays.append((starts[0] - len(rest) / rate_hz) * MAINS_HZ)
                    else:
                        missed += 1
                line = f"{bits:4d} {per_cycle:14d} {rms_a:10.1f}"
                if len(delays) > 1:
                    high = statistics.quantiles(delays, n=100)[98]
                    print(f"{line} {statistics.median(delays):7.2f} {high:9.2f} {missed:7d}")
                else:
                    print(f"{line} {'-':>7} {'-':>9} {missed:7d}")


def idle(hours: float) -> None:
    """False starts in hours of noise, 16 samples a cycle; a new chance for every sample."""
    print(f"\nFalse starts in {hours:g} h of noise, 16 samples a cycle, 30 A range")
    for bits in (12, 10):
        chance = random.Random(3)
        rate_hz, sensor, false_starts, n = MAINS_HZ * 16, CurrentSensor(MAINS_HZ, front=front(bits)), 0, 8000
        for k in range(round(hours * 3600 * rate_hz / n)):
            block = [2048 >> (12 - bits)] * n
            noise = [math.floor(0.5 + chance.gauss(0, 0.7)) for _ in range(n)]
            seen = sensor.feed(Block(k * n / rate_hz, rate_hz, [a + b for a, b in zip(block, noise, strict=True)]))
            false_starts += sum(s.reason is Reason.STARTED for s in seen)
        print(f"{bits} bits: {false_starts} (level at rest {sensor.rest_a:.3f} A, trip {sensor.trip_a:.3f} A)")


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--hours", type=float, default=0.25, help="hours of noise; 24 take about half an hour")
    options.add_argument("--tries", type=int, default=200, help="starts for each line of the delay table")
    chosen = options.parse_args()
    cpu()
    delay(chosen.tries)
    idle(chosen.hours)
