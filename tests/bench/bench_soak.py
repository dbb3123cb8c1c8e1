"""Working days through the service's own objects at simulated speed: what grows, and what is written in a day.

    python tests/bench/bench_soak.py [DAYS] [KEEP_DAYS] [SHOP]

Which objects run stands at the head of ``tests/service/soaking.py``. KEEP_DAYS is how long the history is kept here (30
unless given; the service's own 400 days would not be full in a year). The first day is written as it comes, every three
seconds of the shop, through a disk that counts what SQLite hands to the system and how often it asks for a sync; that
is the figure of bytes a day. A line a month; the growth is counted from the month in which the history is full.
"""

import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "service"))
sys.path.insert(0, str(Path(__file__).parent.parent / "records"))
from recording_disk import recording
from soaking import DAY_S, Measured, Soak

MONTH_DAYS = 30


def written_in_a_day(name: str) -> None:
    """Bytes that one working day hands to the system, by file."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patched, recording() as disk:
        soak = Soak(Path(folder), name, 400.0, patched)
        soak.work_a_day()
        disk.ops.clear()
        soak.work_a_day(written_as_it_comes=True)
        for part in ("state", "history"):
            ops = [op for op in disk.ops if Path(op.path).name.startswith(part)]
            written = sum(len(op.data) for op in ops if op.what == "write")
            syncs = sum(op.what == "sync" for op in ops)
            print(
                f"{part:<8} {written / 1e6:8.2f} MB a working day, {written * 250 / 1e9:6.2f} GB a year of 250 days, "
                f"{syncs} syncs"
            )
        soak.close()


def told(day: int, now: Measured, begun_s: float) -> None:
    print(
        f"day {day:>4}: {now.rss_kb / 1024:6.1f} MB, {now.objects:>7} objects, {now.handles} handles, "
        f"{now.threads} threads, state {now.state_bytes / 1024:.0f} kB, history {now.history_bytes / 1e6:.1f} MB "
        f"(log {now.log_bytes / 1e6:.1f} MB), {time.monotonic() - begun_s:.0f} s",
        flush=True,
    )


def main() -> None:
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 365
    keep_days = float(sys.argv[2]) if len(sys.argv) > 2 else 30.0
    name = sys.argv[3] if len(sys.argv) > 3 else "garage-one-collector"
    written_in_a_day(name)
    begun_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patched:
        soak = Soak(Path(folder), name, keep_days, patched)
        full: tuple[int, Measured] | None = None
        every = max(1, min(MONTH_DAYS, days // 8))
        for day in range(1, days + 1):
            soak.work_a_day()
            if full is None and day > keep_days * 1.2:
                full = day, soak.measure()
            if day % every == 0 or day == days:
                told(day, soak.measure(), begun_s)
        if full is not None and full[0] < days:
            since, last = days - full[0], soak.measure()
            print(
                f"growth a day since day {full[0]}: {(last.rss_kb - full[1].rss_kb) / since:.1f} kB of memory, "
                f"{(last.objects - full[1].objects) / since:.1f} objects, "
                f"{(last.history_bytes - full[1].history_bytes) / since / 1e3:.1f} kB of history, "
                f"{(last.state_bytes - full[1].state_bytes) / since / 1e3:.2f} kB of kept values"
            )
        tracemalloc.start()
        before = tracemalloc.take_snapshot()
        for _ in range(2):
            soak.work_a_day()
        for line in tracemalloc.take_snapshot().compare_to(before, "filename")[:5]:
            print(f"two days more, by file: {line}")
        soak.close()
    print(f"{days} days of {DAY_S / 3600:.0f} h")


if __name__ == "__main__":
    main()
