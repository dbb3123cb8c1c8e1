"""What keeping costs: puts a second, bytes written a put, history entries a second. Run it, nothing is asserted.

    python tests/bench/bench_records.py [FOLDER]

FOLDER: on the disk to be measured; else the system's folder for temporary files. A put is one value out of forty, as
a motor start is kept. Bytes are the kernel's own count for this process: ``write_bytes`` of /proc/self/io.
"""

import platform
import sqlite3
import sys
import tempfile
import threading
import time
from pathlib import Path

from gatekeeper.control.messages import Entry, Keep
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.history_writer import HistoryWriter
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_writer import StateWriter

PUTS = 500
BATCHES = 50
PER_BATCH = 1000


def disk_bytes() -> int:
    """Bytes that this process caused to be sent to the disk so far."""
    for line in Path("/proc/self/io").read_text().splitlines():
        name, _, value = line.partition(": ")
        if name == "write_bytes":
            return int(value)
    return 0


def say(name: str, value: float, unit: str) -> None:
    print(f"{name:<52} {value:>12,.2f} {unit}")


def percentile(sorted_values: list[float], part: float) -> float:
    return sorted_values[min(len(sorted_values) - 1, int(len(sorted_values) * part))]


def bench_puts(folder: Path) -> None:
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    store.put([Keep(f"starts:motor {i}", {"stored": 1.5, "at_s": 100.0}) for i in range(40)])
    took = []
    bytes_before = disk_bytes()
    begin = time.perf_counter()
    for number in range(PUTS):
        one = time.perf_counter()
        store.put([Keep(f"starts:motor {number % 40}", {"stored": 1.5, "at_s": 200.0 + number})])
        took.append(time.perf_counter() - one)
    total_s = time.perf_counter() - begin
    took.sort()
    say("puts a second, each durable", PUTS / total_s, "1/s")
    say("one put, median", percentile(took, 0.5) * 1e3, "ms")
    say("one put, 99th percentile", percentile(took, 0.99) * 1e3, "ms")
    say("bytes to the disk a put", (disk_bytes() - bytes_before) / PUTS, "B")
    store.close()
    begin = time.perf_counter()
    StateStore(folder / "state.sqlite").load("boot")
    say("load with every check, 40 values", (time.perf_counter() - begin) * 1e3, "ms")


def bench_submit(folder: Path) -> None:
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    writer = StateWriter(store)
    writer.start()
    came = threading.Semaphore(0)
    took = []
    begin = time.perf_counter()
    for number in range(PUTS):
        one = time.perf_counter()
        writer.submit([Keep(f"starts:motor {number % 40}", number)], lambda kept, sentence: came.release())
        took.append(time.perf_counter() - one)
    for _ in range(PUTS):
        came.acquire()
    total_s = time.perf_counter() - begin
    writer.stop(30)
    took.sort()
    say("submit, as the control thread sees it, median", percentile(took, 0.5) * 1e6, "us")
    say("submit, 99th percentile", percentile(took, 0.99) * 1e6, "us")
    say("answers a second when all are handed over at once", PUTS / total_s, "1/s")


def entry(seq: int) -> Entry:
    value = {"what": "on" if seq % 200 == 0 else "renew", "until_s": seq / 10 + 2}
    return Entry(
        seq, seq, seq / 10, "boot", "run", "motor_command", f"collector {seq % 3}", value, seq - 1, "C23", None
    )


def bench_history(folder: Path) -> None:
    history = History(folder / "history.sqlite")
    history.open()
    bytes_before = disk_bytes()
    total = BATCHES * PER_BATCH
    entries = [(entry(seq), 1_741_505_405.0 + seq / 10) for seq in range(total)]
    begin = time.perf_counter()
    for number in range(0, total, PER_BATCH):
        history.write(entries[number : number + PER_BATCH])
    total_s = time.perf_counter() - begin
    say(f"history entries a second, {PER_BATCH} a transaction", total / total_s, "1/s")
    say("bytes to the disk an entry", (disk_bytes() - bytes_before) / total, "B")
    history.close()
    say("bytes of file an entry", history.path.stat().st_size / total, "B")
    reader = HistoryReader(history.path)
    begin = time.perf_counter()
    reader.last(100)
    say("read the last 100 entries", (time.perf_counter() - begin) * 1e3, "ms")
    begin = time.perf_counter()
    reader.lanes(1_741_505_405.0 + 1000, 1_741_505_405.0 + 4000)
    say("read a stretch of 30,000 entries as lanes", (time.perf_counter() - begin) * 1e3, "ms")


def bench_add(folder: Path) -> None:
    writer = HistoryWriter(History(folder / "other.sqlite"))
    writer.start()
    took = []
    for seq in range(10_000):
        made = entry(seq)
        one = time.perf_counter()
        writer.add(made)
        took.append(time.perf_counter() - one)
    writer.stop(30)
    took.sort()
    say("add, as the control thread sees it, median", percentile(took, 0.5) * 1e6, "us")
    say("add, 99th percentile", percentile(took, 0.99) * 1e6, "us")


def main() -> None:
    base = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=base) as name:
        folder = Path(name)
        print(f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {platform.machine()}")
        for bench in (bench_puts, bench_submit, bench_history, bench_add):
            bench(folder)


if __name__ == "__main__":
    main()
