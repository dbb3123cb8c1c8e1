"""How a motor finds its row in the table of starts."""

import pytest

from gatekeeper.shop.motor_starts import HP_W, LB_FT2_KGM2, starts_allowed


@pytest.mark.parametrize(
    ("power_w", "poles", "starts", "rest_s", "listed_hp", "is_exact"),
    [
        (3 * HP_W, 2, 9.9, 80.0, 3.0, True),
        (2200.0, 2, 9.9, 80.0, 3.0, True),
        (750.0, 2, 15.0, 75.0, 1.0, True),
        (2 * HP_W, 4, 19.8, 40.0, 3.0, False),
        (7.5 * HP_W, 2, 6.2, 92.0, 10.0, False),
        (100.0, 6, 34.0, 33.0, 1.0, False),
        (25 * HP_W, 6, 10.0, 51.0, 25.0, True),
    ],
)
def test_a_power_takes_its_own_row_or_the_next_larger(
    power_w: float, poles: int, starts: float, rest_s: float, listed_hp: float, is_exact: bool
) -> None:
    allowed = starts_allowed(power_w, poles, None)

    assert allowed is not None
    assert (allowed.starts_per_hour, allowed.rest_s) == (starts, rest_s)
    assert (allowed.listed_hp, allowed.is_exact) == (listed_hp, is_exact)


def test_a_heavy_wheel_allows_fewer_starts_and_a_light_one_no_more_than_a() -> None:
    heavy = starts_allowed(3 * HP_W, 2, 0.7 * LB_FT2_KGM2)
    light = starts_allowed(3 * HP_W, 2, 0.01 * LB_FT2_KGM2)

    assert heavy is not None
    assert heavy.starts_per_hour == pytest.approx(5.0)
    assert light is not None
    assert light.starts_per_hour == 9.9


@pytest.mark.parametrize(("power_w", "poles"), [(30 * HP_W, 2), (3 * HP_W, 8), (3 * HP_W, 3)])
def test_beyond_the_table_there_is_no_answer(power_w: float, poles: int) -> None:
    assert starts_allowed(power_w, poles, None) is None
