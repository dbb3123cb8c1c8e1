"""A week in the suite: memory, handles, threads and files stay where they are. ``bench_soak.py`` does a year."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from soaking import Soak

WARM_UP_DAYS, DAYS, KEEP_DAYS = 4, 3, 2.0
#: Bounds of growth a day, once caches are full: well above what is measured, below what a day's record takes.
MOST_RSS_KB, MOST_OBJECTS, MOST_HISTORY_BYTES = 500, 1000, 500_000


def test_a_working_week_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    soak = Soak(tmp_path, "garage-one-collector", KEEP_DAYS, monkeypatch)
    try:
        for _ in range(WARM_UP_DAYS):
            soak.work_a_day()
        before = soak.measure()
        for _ in range(DAYS):
            soak.work_a_day()
        after = soak.measure()
        view = soak.service.last_view
    finally:
        soak.close()
    assert view is not None
    assert view.alarms == ()
    assert after.lost == 0
    assert after.handles <= before.handles
    assert after.threads <= before.threads
    assert after.state_bytes == before.state_bytes
    grown = after.history_bytes + after.log_bytes - before.history_bytes - before.log_bytes
    assert grown < MOST_HISTORY_BYTES * DAYS
    assert after.objects - before.objects < MOST_OBJECTS * DAYS
    assert after.rss_kb - before.rss_kb < MOST_RSS_KB * DAYS
