"""A wire with everything that is wrong with a real one: its mains, its clamp, its samples, its machines' changes."""

import math

import numpy as np
import pytest

from gatekeeper.sensing.codes import FrontEnd, amperes_from_codes
from sim.currents import Load, LoadKind, Samples, Stint
from sim.wires import Chain, Change, Machine, Mains, through_clamp, wire_amperes, wire_codes

FRONT = FrontEnd(volts_per_a=1.65 / (30 * math.sqrt(2)))


def rms(samples: Samples) -> float:
    return float(np.sqrt(np.mean(samples**2)))


def instants(start_s: float, seconds: float, rate_hz: float = 10000.0) -> Samples:
    return start_s + np.arange(round(seconds * rate_hz)) / rate_hz


def test_a_half_wave_load_has_direct_current_and_a_clamp_takes_it_away() -> None:
    """Of a half-wave sine of RMS 1 the direct part is 2 / pi, and sqrt(1 - 4 / pi^2) is left: 0.771."""
    true_a = wire_amperes([Machine(Load(LoadKind.HALF_WAVE, 9.26), Stint(0.0))], Mains(), instants(0.0, 10.0))
    shown_a = through_clamp(true_a, 10000.0)[-10000:]

    assert rms(true_a) == pytest.approx(9.26, rel=0.001)
    assert np.mean(true_a) == pytest.approx(9.26 * 2 / math.pi, rel=0.001)
    assert abs(np.mean(shown_a)) < 0.02
    assert rms(shown_a) == pytest.approx(9.26 * math.sqrt(1 - 4 / math.pi**2), rel=0.01)


def test_a_clamp_lets_the_mains_through_and_turns_it_by_its_corner() -> None:
    wave = np.sin(2 * math.pi * 50 * instants(0.0, 5.0))
    shown = through_clamp(wave, 10000.0, corner_hz=5.0)[-2000:]

    assert rms(shown) == pytest.approx(math.sqrt(0.5) * 50 / math.hypot(50, 5), rel=0.002)


@pytest.mark.parametrize(("kind", "share"), [(LoadKind.DRIVE, 1 / 3), (LoadKind.ELECTRONICS, 0.2)])
def test_rectifiers_draw_in_pulses_about_the_peak(kind: LoadKind, share: float) -> None:
    current = wire_amperes([Machine(Load(kind, 2.0, run_up_s=0.1), Stint(0.0))], Mains(), instants(5.0, 1.0))

    assert rms(current) == pytest.approx(2.0, rel=0.001)
    assert np.mean(np.abs(current) > 0) == pytest.approx(share, abs=0.01)
    assert np.max(current) == pytest.approx(2.0 * math.sqrt(2 / share), rel=0.001)
    assert instants(5.0, 1.0)[np.argmax(current)] % 0.02 == pytest.approx(0.005, abs=1e-4)


def test_a_drive_at_rest_idles_in_short_pulses_and_ramps_its_motor_up() -> None:
    drive = Machine(Load(LoadKind.DRIVE, 4.0, standby_a=0.3, run_up_s=1.0), Stint(10.0))
    idle, ramp, runs = (rms(wire_amperes([drive], Mains(), instants(t_s, 0.2))) for t_s in (5.0, 10.4, 12.0))

    assert idle == pytest.approx(0.3, rel=0.02)
    assert 0.5 * 4.0 < ramp < 0.8 * 4.0
    assert runs == pytest.approx(4.0, rel=0.001)


def test_mains_that_drift_and_hunt_have_the_frequency_they_say() -> None:
    mains = Mains(50.0, drift_hz_per_s=-0.5, hunts_hz=1.0, hunts_s=3.0)
    for t_s in (0.0, 1.3, 2.2, 7.0):
        near = np.array([t_s - 1e-4, t_s + 1e-4])
        slope_hz = float(np.diff(mains.phase_rad(near))[0]) / (2 * math.pi * 2e-4)
        assert slope_hz == pytest.approx(mains.hz_at(t_s), abs=1e-4)


def test_two_speeds_and_a_stall_are_shares_of_the_running_current() -> None:
    saw = Machine(
        Load(LoadKind.HEATER, 4.0),
        Stint(0.0, off_s=5.0),
        changes=(Change(1.0, 1.6), Change(2.0, 1.0), Change(3.0, 8.0)),
    )
    shown = [rms(wire_amperes([saw], Mains(), instants(t_s, 0.2))) for t_s in (0.5, 1.5, 2.5, 3.5, 6.0)]

    assert shown == pytest.approx([4.0, 6.4, 4.0, 32.0, 0.0], rel=0.001)


def test_codes_come_back_as_the_current_with_noise_and_the_same_seed_gives_the_same() -> None:
    wire = [Machine(Load(LoadKind.HEATER, 5.0), Stint(0.0))]
    chain = Chain(800.0, FRONT, corner_hz=0.0)
    codes = wire_codes(wire, 2.0, chain)

    assert codes == wire_codes(wire, 2.0, chain)
    assert codes != wire_codes(wire, 2.0, chain, seed=2)
    assert rms(np.array(amperes_from_codes(codes, FRONT))) == pytest.approx(5.0, rel=0.002)
    assert 0.9 < np.std(np.diff(wire_codes([], 20.0, chain))) / math.sqrt(2) / 0.757 < 1.1


def test_jitter_moves_samples_and_not_their_number() -> None:
    wire = [Machine(Load(LoadKind.HEATER, 5.0), Stint(0.0))]
    even = np.array(wire_codes(wire, 1.0, Chain(800.0, FRONT, noise_lsb=0.0, corner_hz=0.0)))
    late = np.array(wire_codes(wire, 1.0, Chain(800.0, FRONT, noise_lsb=0.0, corner_hz=0.0, jitter_s=1e-4)))

    # The steepest slope of 5 A is 2221 A/s; over the whole wave its RMS is that over sqrt 2.
    assert len(even) == len(late) == 800
    assert np.std((late - even) * FRONT.a_per_code) == pytest.approx(5.0 * 2 * math.pi * 50 * 1e-4, rel=0.1)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"hz": 30.0}, "The mains runs at 40 to 70 Hz, and its drift must be a number."),
        ({"drift_hz_per_s": math.nan}, "The mains runs at 40 to 70 Hz, and its drift must be a number."),
        ({"hunts_s": 0.0}, "The mains swings by 0 Hz or more, in more than 0 s."),
    ],
)
def test_a_mains_out_of_its_range_is_refused(wrong: dict[str, float], said: str) -> None:
    with pytest.raises(ValueError) as caught:
        Mains(**wrong)
    assert str(caught.value) == said
