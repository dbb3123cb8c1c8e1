"""Currents as samples: their size, their start and end, and that blocks fit together."""

import math
from threading import Event

import numpy as np
import pytest
from plant_rig import example_shop

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from sim.clamps import Codes, SampleClock, Wire
from sim.currents import Load, LoadKind, Stint, amperes, draws_at, ends_s, speed_at
from sim.loads import load_of_motor, load_of_tool

RATE_HZ = 1000.0


def instants(start_s: float, seconds: float, rate_hz: float = RATE_HZ) -> np.ndarray:
    return start_s + np.arange(round(seconds * rate_hz)) / rate_hz


def rms(samples: np.ndarray) -> float:
    return float(np.sqrt(np.mean(samples**2)))


@pytest.mark.parametrize("kind", list(LoadKind))
@pytest.mark.parametrize(("mains_hz", "rate_hz"), [(50.0, 1000.0), (60.0, 1200.0), (50.0, 30000.0)])
def test_once_up_to_speed_every_kind_draws_its_running_current(kind: LoadKind, mains_hz: float, rate_hz: float) -> None:
    current = amperes(Load(kind, 6.0), Stint(1.0), mains_hz, instants(10.0, 1.0, rate_hz))

    assert rms(current) == pytest.approx(6.0, rel=0.03)


def test_an_induction_motor_starts_as_the_measured_one_did() -> None:
    load, stint = Load(LoadKind.INDUCTION, 0.57), Stint(5.0)

    # Measured: 7.5 A at 0.1 s, 5.7 A at 0.2 s, 5 A at 0.4 s, 1.1 A at 0.52 s, 0.63 A at 0.66 s.
    for age_s, measured_a in ((0.1, 7.5), (0.2, 5.7), (0.4, 5.0), (0.52, 1.1), (0.66, 0.63)):
        cycle = amperes(load, stint, 50.0, instants(5.0 + age_s - 0.01, 0.02, 10000.0))
        assert rms(cycle) == pytest.approx(measured_a, rel=0.08)


def test_a_universal_motor_runs_up_with_its_time_constant() -> None:
    load, stint = Load(LoadKind.UNIVERSAL, 4.0, start_times=5.1), Stint(5.0)

    for age_s in (0.05, 0.1, 0.2):
        cycle = amperes(load, stint, 50.0, instants(5.0 + age_s - 0.01, 0.02, 10000.0))
        assert rms(cycle) == pytest.approx(4.0 * (1 + 4.1 * math.exp(-age_s / 0.081)), rel=0.02)


def test_a_universal_motor_has_the_measured_harmonics_and_a_sharp_peak() -> None:
    current = amperes(Load(LoadKind.UNIVERSAL, 3.0), Stint(0.0), 50.0, instants(100.0, 1.0, 10000.0))
    lines = np.abs(np.fft.rfft(current))

    assert [lines[50 * n] / lines[50] for n in (3, 5, 7)] == pytest.approx([0.138, 0.029, 0.010], abs=1e-6)
    assert 1.6 < np.max(np.abs(current)) / rms(current) < 1.75


def test_a_soft_start_creeps_up_from_less_than_its_running_current() -> None:
    load, stint = Load(LoadKind.SOFT_START, 3.0, run_up_s=1.2), Stint(0.0)
    cycles = [rms(amperes(load, stint, 50.0, instants(t, 0.02, 10000.0))) for t in (0.0, 0.3, 0.6, 0.9, 1.18)]

    assert cycles == sorted(cycles)
    assert cycles[0] == pytest.approx(0.9, rel=0.05)
    assert cycles[-1] == pytest.approx(3.0, rel=0.05)


def test_standby_electronics_draw_their_current_in_pulses_while_the_machine_stands() -> None:
    current = amperes(Load(LoadKind.SOFT_START, 3.0, standby_a=0.043), None, 50.0, instants(7.0, 1.0, 20000.0))

    assert rms(current) == pytest.approx(0.043, rel=0.03)
    assert np.mean(current == 0.0) > 0.7


def test_blocks_of_any_length_fit_together_without_a_jump() -> None:
    load, stint = Load(LoadKind.INDUCTION, 5.0), Stint(3.013)
    whole = amperes(load, stint, 50.0, instants(3.0, 0.3))
    begun, pieces = 0, []
    for size in (1, 7, 20, 33, 100, 139):
        pieces.append(amperes(load, stint, 50.0, 3.0 + np.arange(begun, begun + size) / RATE_HZ))
        begun += size

    assert np.allclose(np.concatenate(pieces), whole, atol=1e-9)


def test_a_machine_that_is_switched_off_stops_at_its_next_current_zero() -> None:
    load, stint = Load(LoadKind.INDUCTION, 5.0), Stint(0.0, off_s=8.0031)
    end_s = ends_s(load, stint, 50.0)
    fine = instants(8.0, 0.03, 100000.0)
    current = amperes(load, stint, 50.0, fine)

    assert 8.0031 <= end_s < 8.0131
    assert np.all(current[fine >= end_s] == 0.0)
    assert abs(current[fine < end_s][-1]) < 0.05
    assert np.any(np.abs(current[(fine > 8.0031) & (fine < end_s)]) > 0.5)
    assert draws_at(load, stint, 50.0, 8.0031)
    assert not draws_at(load, stint, 50.0, end_s)


def test_a_start_while_it_still_turns_draws_less() -> None:
    load = Load(LoadKind.INDUCTION, 5.0, run_down_s=8.0)
    first = Stint(0.0, off_s=10.0)
    speed = speed_at(load, first, 12.0)
    cold = rms(amperes(load, Stint(12.0), 50.0, instants(12.0, 0.1)))
    warm = rms(amperes(load, Stint(12.0, speed=speed), 50.0, instants(12.0, 0.1)))

    assert speed == pytest.approx(0.75)
    assert warm < cold / 3
    assert speed_at(load, first, 18.0) == 0.0
    assert speed_at(load, Stint(0.0), 0.4) == pytest.approx(0.5)


@pytest.mark.parametrize(
    "values", [{"running_a": 0.0}, {"running_a": math.inf}, {"standby_a": -1.0}, {"start_times": 0.5}]
)
def test_a_load_out_of_its_range_is_refused(values: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="running current must be above 0 A"):
        Load(**({"kind": LoadKind.HEATER, "running_a": 1.0} | values))  # type: ignore[arg-type]


def test_times_out_of_their_range_are_refused() -> None:
    with pytest.raises(ValueError, match="run-up and run-down must be more than 0 s"):
        Load(LoadKind.HEATER, 1.0, run_up_s=0.0)


def test_what_machines_draw_comes_from_the_file_where_it_says_so() -> None:
    garage, shared = example_shop("garage-one-collector"), example_shop("shared-twelve")

    assert load_of_tool(garage, garage.tools["planer"]).running_a == 8.0
    assert load_of_tool(garage, garage.tools["mitre saw"]).kind is LoadKind.UNIVERSAL
    # A machine of a shared circuit idles near the lower end of its band, where the circuit tells it from the other.
    assert load_of_tool(shared, shared.tools["belt sander"]).running_a == pytest.approx(5.5)
    assert load_of_tool(shared, shared.tools["lathe"]).kind is LoadKind.SOFT_START
    # 5.5 kW, three phases of 400 V, 0.68 for efficiency and power factor.
    assert load_of_motor(shared.motors["collector"]).running_a == pytest.approx(11.67, abs=0.01)


@pytest.mark.parametrize("name", ["garage-one-collector", "long-narrow", "school-room", "shared-twelve"])
def test_every_guessed_current_is_well_seen_by_its_clamp(name: str) -> None:
    shop = example_shop(name)

    for tool in shop.tools.values():
        sensor = tool.sensor
        if sensor is not None and sensor.channel is not None and sensor.trip_a is not None:
            assert 2 * sensor.trip_a <= load_of_tool(shop, tool).running_a <= 0.7 * sensor.channel.range_a


class StillClock:
    """A clock that stands at one instant."""

    def __init__(self) -> None:
        self.t_s = 50.0

    def now(self) -> float:
        return self.t_s

    def real_s(self, seconds: float) -> float:
        return 0.0


def test_codes_are_those_of_the_pure_coding() -> None:
    front = FrontEnd.from_turns(2000.0, 82.5)
    clock = StillClock()
    time = SampleClock(clock, RATE_HZ, Event())
    load, stint = Load(LoadKind.HEATER, 100.0), Stint(0.0)
    codes = Codes([Wire(front, lambda: [(load, stint)], lambda: False)], time, 50.0, seed=1)
    time.pace(0.1)
    given = codes.give(100)[0]
    pure = codes_from_amperes(amperes(load, stint, 50.0, time.block(100)).tolist(), front)

    assert len(given) == 100
    assert all(type(code) is int for code in given)
    assert max(abs(a - b) for a, b in zip(given, pure, strict=True)) <= 4  # the noise
    assert (min(given), max(given)) == (0, front.top_code)  # 100 A does not fit


def test_a_silent_channel_is_noise_in_the_middle_and_a_dead_one_reads_zero() -> None:
    front, dead = FrontEnd.from_turns(2000.0, 82.5), [False]
    codes = Codes([Wire(front, list, lambda: dead[0])], SampleClock(StillClock(), RATE_HZ, Event()), 50.0, seed=1)
    silent = codes.give(500)[0]
    dead[0] = True

    assert 0.5 < float(np.std(silent)) < 0.95
    assert abs(float(np.mean(silent)) - 2047.5) < 0.2
    assert codes.give(5)[0] == [0, 0, 0, 0, 0]


def test_a_late_reader_reads_what_it_missed_and_a_far_too_late_one_has_a_hole() -> None:
    clock = StillClock()
    time = SampleClock(clock, RATE_HZ, Event())
    clock.t_s += 0.2
    assert time.now() == 50.0
    time.pace(0.02)
    assert time.now() == pytest.approx(50.02)
    clock.t_s += 1.0
    assert time.now() == pytest.approx(51.2)
    time.pace(0.02)
    clock.t_s += 1.0  # held up within a read: the samples were taken all the same
    assert time.now() == pytest.approx(51.22)
