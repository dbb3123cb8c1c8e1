"""Figures of the sensing part, as tables for its README. Run: python tests/bench/bench_sensing.py [--only NAME ...]

Everything comes from the generator in sim, through clamp, noise and converter, and is made anew by each run.
"""

import argparse
import math
import statistics
import time
from collections.abc import Callable, Iterable

import numpy as np

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.rms import CycleMeter
from gatekeeper.sensing.seen import Block, Reason
from sim.currents import Load, LoadKind, Stint
from sim.wires import Chain, Machine, Mains, wire_amperes, wire_codes

MAINS_HZ = 50.0
CHIPS = {"MCP3208": 12, "MCP3008": 10}


def front(bits: int = 12, range_a: float = 30.0) -> FrontEnd:
    """A clamp of 30 A RMS full scale at 3.3 V, or another."""
    return FrontEnd(volts_per_a=1.65 / (range_a * math.sqrt(2)), bits=bits)


def table(heads: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    heads = list(heads)
    print("| " + " | ".join(heads) + " |")
    print("|" + "---|" * len(heads))
    for row in rows:
        print("| " + " | ".join(str(cell) for cell in row) + " |", flush=True)
    print()


def starts_of(codes: list[int], rate_hz: float, wired: FrontEnd, settings: DetectorSettings) -> list[float]:
    sensor = CurrentSensor(MAINS_HZ, settings, wired)
    return [seen.t_s for seen in sensor.feed(Block(0.0, rate_hz, codes)) if seen.reason is Reason.STARTED]


# ---------------------------------------------------------------- CPU


def cpu() -> None:
    """Share of one core for N channels, fed in blocks of 20 ms as one scan thread would."""
    print("CPU of one core, blocks of 20 ms, 12 bits\n")
    rows = []
    for channels in (8, 16, 32):
        for per_cycle in (16, 32):
            rate_hz = MAINS_HZ * per_cycle
            shares = []
            for rms_a in (0.0, 5.0):
                wires = [Machine(Load(LoadKind.HEATER, rms_a), Stint(-1.0))] if rms_a else []
                one = wire_codes(wires, 10.0, Chain(rate_hz, front()))
                sensors = [CurrentSensor(MAINS_HZ, front=front()) for _ in range(channels)]
                blocks = [Block(k / MAINS_HZ, rate_hz, one[k * per_cycle : (k + 1) * per_cycle]) for k in range(500)]
                begin_s = time.process_time()
                for block in blocks:
                    for sensor in sensors:
                        sensor.feed(block)
                shares.append((time.process_time() - begin_s) / 10.0 * 100)
            rows.append((channels, per_cycle, f"{shares[0]:.1f} %", f"{shares[1]:.1f} %"))
    table(("channels", "samples a cycle", "at rest", "running"), rows)


# ---------------------------------------------------------------- the meter


def unlocked() -> None:
    """Error of RMS where the sampling is not locked to the mains: third 15 %, fifth 8 %, seventh 4 %."""
    print("Largest error of RMS, sampling not locked, over 20 rates and 2 s each\n")
    rows = []
    for per_cycle in (8, 10, 12, 16, 20, 32):
        worst = {(jitter_s, n): 0.0 for jitter_s in (0.0, 5e-4) for n in (4, 40)}
        for k in range(20):
            rate_hz = MAINS_HZ * (per_cycle + (k + 0.5) / 20)
            for jitter_s in (0.0, 5e-4):
                chance = np.random.default_rng(k)
                t_s = np.arange(round(2 * rate_hz)) / rate_hz
                t_s += chance.normal(0.0, jitter_s, len(t_s)) if jitter_s else 0.0
                w = 2 * np.pi * MAINS_HZ * t_s
                wave = np.sin(w) + 0.15 * np.sin(3 * w + 1) + 0.08 * np.sin(5 * w + 2) + 0.04 * np.sin(7 * w)
                true = math.sqrt((1 + 0.15**2 + 0.08**2 + 0.04**2) / 2)
                ms = np.array([r.cycle_ms for r in CycleMeter(MAINS_HZ).feed(Block(0.0, rate_hz, wave.tolist()))])
                for n in (4, 40):
                    means = ms if n == 4 else np.convolve(ms, np.ones(37) / 37, "valid")
                    worst[jitter_s, n] = max(worst[jitter_s, n], float(np.max(np.abs(np.sqrt(means) / true - 1))))
        rows.append((f"{per_cycle} to {per_cycle + 1}", *(f"{100 * value:.1f} %" for value in worst.values())))
    heads = ("samples a cycle", "one cycle", "ten cycles", "one cycle, 0.5 ms jitter", "ten cycles, 0.5 ms jitter")
    table(heads, rows)


# ---------------------------------------------------------------- delay


def delay(tries: int) -> None:
    """Mains cycles from current on the wire to 'running', over random phases."""
    print(f"Delay from current to running in mains cycles, 30 A range, trip 0.2 A, {tries} starts a row\n")
    rows = []
    for chip, bits in CHIPS.items():
        for per_cycle in (8, 16, 32):
            for noise_lsb in (0.7, 3.0):
                for rms_a in (0.3, 0.6, 3.0):
                    rows.append((chip, per_cycle, noise_lsb, rms_a, *_delays(bits, per_cycle, noise_lsb, rms_a, tries)))
    table(("converter", "samples a cycle", "noise, steps", "current, A", "median", "99th percentile", "missed"), rows)


def _delays(bits: int, per_cycle: int, noise_lsb: float, rms_a: float, tries: int) -> tuple[str, str, int]:
    chance = np.random.default_rng(2)
    rate_hz, delays, missed = MAINS_HZ * per_cycle, [], 0
    chain = Chain(rate_hz, front(bits), noise_lsb=noise_lsb, corner_hz=0.0)
    for seed in range(tries):
        on_s = 1.0 + float(chance.uniform(0, 1 / MAINS_HZ))
        codes = wire_codes([Machine(Load(LoadKind.HEATER, rms_a), Stint(on_s))], 1.4, chain, seed=seed)
        starts = starts_of(codes, rate_hz, front(bits), DetectorSettings())
        missed += not starts
        delays += [(starts[0] - on_s) * MAINS_HZ] if starts else []
    if len(delays) < 2:
        return "-", "-", missed
    return f"{statistics.median(delays):.2f}", f"{statistics.quantiles(delays, n=100)[98]:.2f}", missed


# ---------------------------------------------------------------- false starts


def idle(hours: float) -> None:
    """False starts in hours of noise, 16 samples a cycle; a new chance for every sample."""
    print(f"False starts in {hours:g} h at rest, 16 samples a cycle, 30 A range, nothing known of the tool\n")
    rows = []
    rate_hz = MAINS_HZ * 16
    for chip, bits in CHIPS.items():
        for noise_lsb in (0.7, 3.0):
            sensor, false_starts = CurrentSensor(MAINS_HZ, front=front(bits)), 0
            chance = np.random.default_rng(3)
            for k in range(max(1, round(hours * 60))):
                steps = front(bits).rest_code + chance.normal(0.0, noise_lsb, round(60 * rate_hz))
                codes = np.floor(steps).astype(int).tolist()
                false_starts += sum(s.reason is Reason.STARTED for s in sensor.feed(Block(60.0 * k, rate_hz, codes)))
            found = sensor.state.value if sensor.state else "-"
            rows.append((chip, noise_lsb, f"{noise_lsb * front(bits).a_per_code:.3f} A", found, false_starts))
    table(("converter", "noise, steps", "noise", "state at the end", "false starts"), rows)


# ---------------------------------------------------------------- the receiver curve


def _tools(count: int) -> list[tuple[list[Machine], float]]:
    """Machines of every kind from 0.25 A to 4 A, switched on at random; and when."""
    chance = np.random.default_rng(11)
    kinds = [LoadKind.UNIVERSAL, LoadKind.INDUCTION, LoadKind.HEATER, LoadKind.SOFT_START, LoadKind.HALF_WAVE]
    found = []
    for k in range(count):
        amperes = 0.25 * 16 ** float(chance.uniform())
        on_s = 2.0 + float(chance.uniform(0, 0.02))
        found.append(([Machine(Load(kinds[k % len(kinds)], amperes, standby_a=0.043), Stint(on_s))], on_s))
    return found


def _no_tools(count: int) -> list[list[Machine]]:
    """What must not count: electronics of 0.05 to 0.5 A coming on, with a charging surge of half a cycle."""
    chance = np.random.default_rng(12)
    found = []
    for _ in range(count):
        on_s = 2.0 + float(chance.uniform(0, 0.02))
        draw = Machine(Load(LoadKind.ELECTRONICS, float(chance.uniform(0.05, 0.5))), Stint(on_s))
        surge = Machine(Load(LoadKind.HEATER, float(chance.uniform(1.0, 15.0))), Stint(on_s, on_s + 0.001))
        found.append([draw, surge])
    return found


def _plain(codes: list[int], rate_hz: float, trip_a: float, hold_cycles: int) -> list[float]:
    """A plain threshold with a hold: RMS of each whole cycle, mean removed, at or above the trip for so many in row."""
    n = round(rate_hz / MAINS_HZ)
    cycles = np.array(codes[: len(codes) // n * n], dtype=float).reshape(-1, n) * front().a_per_code
    above = cycles.std(axis=1) >= trip_a
    run = 0
    for k, is_above in enumerate(above):
        run = run + 1 if is_above else 0
        if run == hold_cycles:
            return [(k + 1) / MAINS_HZ]
    return []


def receiver(count: int) -> None:
    """Missed and false against the trip: ours, ours as calibrated (shape not asked), and a plain threshold."""
    print(f"Missed of {count} machines (0.25 to 4 A), false of {count} electronics (to 0.5 A, surge to 15 A)\n")
    rate_hz = MAINS_HZ * 16
    chain = Chain(rate_hz, front())
    tools = [(wire_codes(wire, 5.0, chain, seed=k), on_s) for k, (wire, on_s) in enumerate(_tools(count))]
    others = [wire_codes(wire, 5.0, chain, seed=k) for k, wire in enumerate(_no_tools(count))]
    ways: dict[str, Callable[[list[int], float], list[float]]] = {
        "ours": lambda codes, trip_a: starts_of(
            codes, rate_hz, front(), DetectorSettings(trip_a=trip_a, spiky_trip_a=5 * trip_a)
        ),
        "ours, shape not asked": lambda codes, trip_a: starts_of(
            codes, rate_hz, front(), DetectorSettings.for_tool(trip_a=trip_a)
        ),
        "plain, 2 cycles": lambda codes, trip_a: _plain(codes, rate_hz, trip_a, 2),
        "plain, 10 cycles": lambda codes, trip_a: _plain(codes, rate_hz, trip_a, 10),
    }
    rows = []
    for trip_a in (0.05, 0.1, 0.2, 0.3, 0.5, 0.8):
        for name, way in ways.items():
            seen = [(way(codes, trip_a), on_s) for codes, on_s in tools]
            delays = [(starts[0] - on_s) * MAINS_HZ for starts, on_s in seen if starts and starts[0] >= on_s]
            false = sum(bool(way(codes, trip_a)) for codes in others)
            median = f"{statistics.median(delays):.1f}" if delays else "-"
            rows.append(
                (trip_a, name, f"{100 * (1 - len(delays) / count):.0f} %", f"{100 * false / count:.0f} %", median)
            )
    table(("trip, A", "way", "missed", "false", "median delay, cycles"), rows)


# ---------------------------------------------------------------- the smallest current


def smallest(tries: int) -> None:
    """The smallest current of which 99 % of starts are seen within half a second, at a trip of 4 times the noise."""
    print(f"Smallest current told from idle, noise 0.7 steps, 16 samples a cycle, {tries} starts a current\n")
    rate_hz = MAINS_HZ * 16
    rows = []
    for chip, bits in CHIPS.items():
        for range_a in (10.0, 30.0, 100.0):
            wired = front(bits, range_a)
            trip_a = 4 * wired.noise_a
            settings = DetectorSettings.for_tool(trip_a=trip_a)
            chain = Chain(rate_hz, wired, corner_hz=0.0)
            for step in range(60):
                rms_a = trip_a * 0.8 * 1.03**step
                wire = [Machine(Load(LoadKind.HEATER, rms_a), Stint(1.003))]
                missed = sum(
                    not starts_of(wire_codes(wire, 1.5, chain, seed=seed), rate_hz, wired, settings)
                    for seed in range(tries)
                )
                if missed <= tries / 100:
                    break
            rows.append((chip, f"{range_a:g} A", f"{wired.noise_a:.3f} A", f"{trip_a:.3f} A", f"{rms_a:.3f} A"))
    table(("converter", "range", "noise", "trip, 4 times that", "smallest current"), rows)


# ---------------------------------------------------------------- mains


def mains() -> None:
    """Error of ten cycles' RMS on mains that are not as given: with the window as given, and following."""
    print("Error of RMS over ten cycles, 50 Hz given, 20 samples a cycle\n")
    rows = []
    for true_hz in (45.0, 47.0, 49.0, 51.0, 53.0, 57.0, 60.0, 65.0):
        t_s = np.arange(4000) / 1000
        load = [Machine(Load(LoadKind.UNIVERSAL, 3.0), Stint(-9.0))]
        samples = wire_amperes(load, Mains(true_hz), t_s).tolist()
        meter = CycleMeter(MAINS_HZ)
        readings = meter.feed(Block(0.0, 1000.0, samples))
        ms = np.array([r.cycle_ms for r in readings])
        means = np.sqrt(np.convolve(ms, np.ones(37) / 37, "valid")) / 3.0 - 1
        first, last = np.max(np.abs(np.sqrt(ms[:20]) / 3.0 - 1)), np.max(np.abs(means[-200:]))
        rows.append((f"{true_hz:g} Hz", f"{meter.mains_hz:.2f} Hz", f"{100 * first:.1f} %", f"{100 * last:.1f} %"))
    table(("mains", "found", "one cycle, window as given", "ten cycles, window followed"), rows)


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    names = ("cpu", "unlocked", "mains", "delay", "idle", "receiver", "smallest")
    options.add_argument("--only", nargs="+", choices=names, default=names)
    options.add_argument("--hours", type=float, default=0.25, help="hours of noise a row; 24 take about ten minutes")
    options.add_argument("--tries", type=int, default=200, help="starts for each row of the other tables")
    chosen = options.parse_args()
    runs: dict[str, Callable[[], None]] = {
        "cpu": cpu,
        "unlocked": unlocked,
        "mains": mains,
        "delay": lambda: delay(chosen.tries),
        "idle": lambda: idle(chosen.hours),
        "receiver": lambda: receiver(chosen.tries),
        "smallest": lambda: smallest(chosen.tries),
    }
    for name in chosen.only:
        runs[name]()
