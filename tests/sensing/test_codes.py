"""Converter arithmetic."""

import pytest

from gatekeeper.sensing.codes import FrontEnd, amperes_from_codes, burden_ohm, codes_from_amperes

FRONT = FrontEnd.from_turns(2000, 22.0)


def test_steps_and_ends_of_the_range():
    assert (FRONT.volts_per_a, FRONT.top_code, FRONT.rest_code) == (0.011, 4095, 2048.0)
    assert FRONT.a_per_code == pytest.approx(3.3 / 4096 / 0.011)
    assert FRONT.clip_a == pytest.approx(150.0, abs=0.1)
    assert codes_from_amperes([0.0, 0.99 * FRONT.a_per_code, FRONT.a_per_code], FRONT) == [2048, 2048, 2049]
    assert codes_from_amperes([-1e6, -150.0, 1e6], FRONT) == [0, 0, 4095]


def test_there_and_back_is_within_half_a_step():
    currents = [k * 0.37 - 140 for k in range(700)]
    back = amperes_from_codes(codes_from_amperes(currents, FRONT), FRONT)
    assert max(abs(a - b) for a, b in zip(currents, back, strict=True)) <= FRONT.a_per_code / 2 * 1.000001


def test_noise_is_the_callers_and_is_used_again_when_short():
    assert codes_from_amperes([0.0] * 5, FRONT, [0.0, 3.2, -1.5]) == [2048, 2051, 2046, 2048, 2051]


def test_a_bias_off_the_middle_clips_at_the_nearer_end():
    front = FrontEnd(0.01, vref_v=5.0, bits=10, bias_v=2.0)
    assert front.rest_code == pytest.approx(409.6)
    assert front.clip_a == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("build", "text"),
    [
        (lambda: FrontEnd(0.0), "The clamp gives 0.0 V per ampere; it must be more than 0."),
        (lambda: FrontEnd(0.01, vref_v=0.0), "The converter's reference is 0.0 V; it must be more than 0 V."),
        (lambda: FrontEnd(0.01, bits=7), "The converter has 7 bits; 8 to 24 are allowed."),
        (lambda: FrontEnd(0.01, bias_v=3.3), "The bias is 3.3 V; it must lie between 0 V and 3.3 V."),
        (lambda: FrontEnd.from_turns(0, 22), "The clamp has 0 turns; it must be more than 0."),
        (
            lambda: FrontEnd.from_turns(2000, 0),
            "The burden is 0 ohm; it must be more than 0 ohm (never leave it open).",
        ),
        (
            lambda: burden_ohm(0.0, 2000),
            "The largest current, the turns and the reference must each be more than 0.",
        ),
    ],
)
def test_wrong_figures_are_refused_in_words(build, text):
    with pytest.raises(ValueError) as caught:
        build()
    assert str(caught.value) == text
