"""The loads of a real shop, from the generator through clamp and converter: each gives the right answer."""

import math

import pytest

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block, Seen
from sim.currents import Load, LoadKind, Stint
from sim.wires import STALLED_TIMES, Chain, Change, Machine, Mains, wire_codes

RATE_HZ = 1000.0
SCAN_S = 1 / RATE_HZ
LAMP = Machine(Load(LoadKind.HEATER, 0.45), Stint(-100.0))
LED_LAMP = Machine(Load(LoadKind.ELECTRONICS, 0.3), Stint(-100.0))


def front(bits: int = 12) -> FrontEnd:
    return FrontEnd(volts_per_a=1.65 / (30 * math.sqrt(2)), bits=bits)


def told(
    machines: list[Machine],
    seconds: float,
    *,
    rated_a: float | None = None,
    trip_a: float | None = None,
    mains: Mains | None = None,
    jitter_s: float = 0.0,
    bits: int = 12,
    seed: int = 1,
) -> tuple[CurrentSensor, list[Seen]]:
    """What a sensor says of a wire, read in blocks of 20 ms."""
    chain = Chain(RATE_HZ, front(bits), jitter_s=jitter_s)
    codes = wire_codes(machines, seconds, chain, mains, seed=seed)
    sensor = CurrentSensor(50.0, DetectorSettings.for_tool(rated_a, trip_a), front(bits))
    seen = []
    for k in range(0, len(codes), 20):
        seen += sensor.feed(Block(k / RATE_HZ, RATE_HZ, codes[k : k + 20]))
    return sensor, seen


def story(seen: list[Seen]) -> list[tuple[str, str]]:
    return [(change.state.value, change.reason.value) for change in seen]


ONE_RUN = [("stopped", "first_look"), ("running", "started"), ("stopped", "ended")]
MOTORS = {
    "universal": Load(LoadKind.UNIVERSAL, 3.0, start_times=5.1),
    "induction": Load(LoadKind.INDUCTION, 2.5),
    "soft start": Load(LoadKind.SOFT_START, 3.0, standby_a=0.043, run_up_s=1.2),
    "drive": Load(LoadKind.DRIVE, 4.0, standby_a=0.1, run_up_s=2.0),
    "heater": Load(LoadKind.HEATER, 3.0),
    "half wave": Load(LoadKind.HALF_WAVE, 3.0),
}


@pytest.mark.parametrize(
    "mains", [Mains(50.0), Mains(47.5), Mains(53.0, hunts_hz=0.7), Mains(51.0, drift_hz_per_s=-0.4)]
)
@pytest.mark.parametrize("bits", [12, 10])
@pytest.mark.parametrize("name", list(MOTORS))
def test_every_kind_of_machine_starts_once_and_stops_once_on_any_mains(name: str, bits: int, mains: Mains) -> None:
    for phase in range(4):
        on_s, off_s = 2.0 + phase * 0.0031, 6.0
        machine = Machine(MOTORS[name], Stint(on_s, off_s))
        _, seen = told([machine], 8.0, rated_a=6.0, mains=mains, jitter_s=1e-4, bits=bits, seed=phase)

        assert story(seen) == ONE_RUN
        # A half wave that is switched on in its empty half flows up to half a cycle later.
        waits_s = 0.5 / 45.0 if name == "half wave" else 0.0
        assert seen[1].t_s - on_s <= waits_s + 2 / 45.0 + SCAN_S
        assert 0.4 <= seen[2].t_s - off_s <= 0.7


def test_a_soft_start_that_creeps_from_under_the_trip_is_one_start() -> None:
    """From 0.15 A to 0.5 A: seen once, when it has crept over the trip, and never lost on the way."""
    _, seen = told([Machine(Load(LoadKind.SOFT_START, 0.5, run_up_s=1.2), Stint(2.0, 6.0))], 8.0, rated_a=2.0)

    assert story(seen) == ONE_RUN
    assert 2.1 < seen[1].t_s < 2.4


@pytest.mark.parametrize("times", [1.6, 0.4])
def test_a_second_speed_is_neither_a_start_nor_a_stop(times: float) -> None:
    planer = Machine(Load(LoadKind.INDUCTION, 4.0), Stint(2.0, 8.0), (Change(4.0, times), Change(6.0, 1.0)))
    sensor, seen = told([planer], 10.0, rated_a=8.0)

    assert story(seen) == ONE_RUN
    assert sensor.net_a == pytest.approx(0.0, abs=0.05)


def test_switching_over_between_two_speeds_is_no_stop() -> None:
    """A pole switch opens one winding before it closes the other: 0.2 s without current."""
    switched = [
        Machine(Load(LoadKind.INDUCTION, 4.0), Stint(2.0, 5.0)),
        Machine(Load(LoadKind.INDUCTION, 6.0), Stint(5.2, 8.0, speed=0.5)),
    ]
    assert story(told(switched, 10.0, rated_a=8.0)[1]) == ONE_RUN


def test_a_stalled_tool_still_runs_and_a_clipped_one_is_told_when_it_lasts() -> None:
    short = Machine(Load(LoadKind.INDUCTION, 4.0), Stint(2.0, 8.0), (Change(4.0, STALLED_TIMES), Change(5.5, 1.0)))
    assert story(told([short], 10.0, rated_a=8.0)[1]) == ONE_RUN

    lasting = Machine(Load(LoadKind.INDUCTION, 4.0), Stint(2.0, 12.0), (Change(4.0, STALLED_TIMES),))
    _, seen = told([lasting], 14.0, rated_a=8.0)
    # Locked until the fuse: beyond the clamp's range for over three seconds, a fault of the range and no stop.
    assert story(seen)[:3] == [*ONE_RUN[:2], ("stale", "clipped")]
    assert seen[2].t_s == pytest.approx(7.0, abs=0.05)
    assert story(seen)[3:] == [("stopped", "returned")]
    assert seen[3].t_s > 12.0


@pytest.mark.parametrize("idle_a", [0.1, 0.3, 0.45])
def test_a_drive_that_idles_on_the_line_is_no_tool_and_its_motor_is(idle_a: float) -> None:
    drive = Machine(Load(LoadKind.DRIVE, 4.0, standby_a=idle_a, run_up_s=2.0), Stint(3.0, 8.0))

    assert story(told([drive], 10.0)[1]) == ONE_RUN
    # Known by its plate, its trip must be above what it idles at: 8 % of 8 A is 0.64 A.
    assert story(told([drive], 10.0, rated_a=8.0)[1]) == ONE_RUN


def test_a_lamp_on_the_circuit_is_learned_by_nobody_but_known_by_its_trip() -> None:
    """A filament lamp of 0.45 A looks like a small tool; a trip above it, as calibration proposes, tells them apart."""
    saw = Machine(Load(LoadKind.UNIVERSAL, 3.0), Stint(4.0, 8.0))
    lit = Machine(LAMP.load, Stint(2.0, 12.0))

    assert story(told([lit, saw], 14.0, trip_a=1.2)[1]) == ONE_RUN
    assert story(told([lit], 14.0)[1]) == ONE_RUN


def test_an_led_lamp_on_the_circuit_is_no_tool_and_hides_none() -> None:
    saw = Machine(Load(LoadKind.UNIVERSAL, 3.0), Stint(4.0, 8.0))
    lit = Machine(LED_LAMP.load, Stint(2.0, 12.0))

    _, seen = told([lit, saw], 14.0)
    assert story(seen) == ONE_RUN
    assert 4.0 < seen[1].t_s < 4.1


def test_a_half_wave_tool_reads_low_by_what_no_clamp_can_pass() -> None:
    sensor, seen = told([Machine(Load(LoadKind.HALF_WAVE, 3.0), Stint(2.0))], 8.0, rated_a=3.0)

    assert story(seen) == ONE_RUN[:2]
    assert sensor.net_a == pytest.approx(3.0 * math.sqrt(1 - 4 / math.pi**2), rel=0.02)


def test_the_current_on_a_slow_generator_reads_true() -> None:
    sensor, _ = told([Machine(Load(LoadKind.UNIVERSAL, 3.0), Stint(2.0))], 8.0, mains=Mains(46.0))

    assert sensor.mains_hz == pytest.approx(46.0, rel=0.006)
    assert sensor.net_a == pytest.approx(3.0, rel=0.03)


def surged(running_a: float, surge_a: float, phase: int) -> list[Machine]:
    """Electronics that come on with a surge of half a cycle at most; a clamp answers with a level that creeps back."""
    on_s = 2.0 + phase * 0.0013
    return [
        Machine(Load(LoadKind.ELECTRONICS, running_a), Stint(on_s)),
        Machine(Load(LoadKind.HEATER, surge_a), Stint(on_s, on_s + 0.001)),
    ]


@pytest.mark.parametrize("phase", range(16))
@pytest.mark.parametrize("surge_a", [3.0, 8.0, 15.0])
def test_electronics_with_a_surge_through_a_clamp_are_no_tool(surge_a: float, phase: int) -> None:
    assert story(told(surged(0.3, surge_a, phase), 4.0)[1]) == ONE_RUN[:1]
    # Known by its trip: what runs on is under it, and the level that creeps back is no current.
    assert story(told(surged(0.3, surge_a, phase), 4.0, trip_a=0.6)[1]) == ONE_RUN[:1]


@pytest.mark.parametrize("phase", range(0, 16, 3))
def test_a_tool_beside_such_a_surge_is_seen(phase: int) -> None:
    saw = Machine(Load(LoadKind.UNIVERSAL, 1.5), Stint(2.05))
    seen = told([*surged(0.3, 15.0, phase), saw], 4.0)[1]
    assert story(seen) == ONE_RUN[:2]
    assert seen[1].t_s <= 2.05 + 0.14
