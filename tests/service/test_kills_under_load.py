"""The real process, killed a dozen times under load; ``tests/bench/bench_kills.py`` does it by the hundred."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from killing import Killing

KILLS = 6


@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_acknowledged_is_lost_in_kills_under_load(seed: int, tmp_path: Path) -> None:
    killing = Killing(tmp_path, seed)
    try:
        for number in range(KILLS):
            killing.kill_once(longest_s=4.0 if number == 2 else 0.5)
    finally:
        killing.close()
    assert killing.tally.lost == []
    assert killing.tally.kills == KILLS
    assert killing.tally.acknowledged > 0
