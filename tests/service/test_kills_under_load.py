"""The real process, killed a dozen times under load; ``tests/bench/bench_kills.py`` does it by the hundred."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from killing import Killing

KILLS = 12


def test_nothing_acknowledged_is_lost_in_a_dozen_kills_under_load(tmp_path: Path) -> None:
    killing = Killing(tmp_path, 20250310)
    try:
        for number in range(KILLS):
            killing.kill_once(longest_s=4.0 if number % 3 == 0 else 0.5)
    finally:
        killing.close()
    assert killing.tally.lost == []
    assert killing.tally.kills == KILLS
    assert killing.tally.acknowledged > KILLS
