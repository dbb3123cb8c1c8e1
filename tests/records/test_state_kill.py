"""Killed at any instant, and images of the files taken at any instant: nothing acknowledged is lost, no put is half."""

import os
import random
import select
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gatekeeper.records.state import StateStore

CHILD = Path(__file__).with_name("keeping_child.py")
KILLS = 25
IMAGES = 60


@contextmanager
def child(path: Path, first: int) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen([sys.executable, str(CHILD), str(path), str(first)], stdout=subprocess.PIPE, bufsize=0)
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        yield process
    finally:
        process.kill()
        process.wait(30)
        assert process.stdout is not None
        process.stdout.close()


def last_number(said: bytes, before: int) -> int:
    """The last whole line: a number without its line end may be cut short."""
    lines = said.split(b"\n")[:-1]
    return int(lines[-1]) if lines else before


def check(path: Path, acknowledged: int) -> int:
    """What is in the file: all of one put, that which was acknowledged last or the one in flight."""
    store = StateStore(path)
    kept = store.load("boot")
    changes = store.changes(limit=1)
    store.close()
    assert store.trouble is None
    assert kept.damaged is False
    number: int = kept.values["starts:motor 0"] if kept.values else 0
    assert number in (acknowledged, acknowledged + 1)
    if number:
        assert {kept.values[f"starts:motor {i}"] for i in range(10)} == {number}
        assert kept.values.get("long") == ("x" * (number * 997 % 20_000) if number % 3 else None)
        assert changes[0].new == number
    return number


def test_killed_at_random_instants_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    rng = random.Random(20250309)
    number = 0
    waited = 0
    for _ in range(KILLS):
        before = number
        with child(path, number) as process:
            assert process.stdout is not None
            # After some puts, at an instant that has nothing to do with where the child is in its work.
            puts = rng.randrange(6)
            waited += puts
            said = b"".join(process.stdout.readline() for _ in range(puts))
            timer = threading.Timer(rng.uniform(0.0, rng.choice((0.003, 0.03))), process.kill)
            timer.start()
            said += process.stdout.read()
            timer.join()
        assert process.returncode == -signal.SIGKILL
        number = check(path, last_number(said, before))
    # The kills came among the puts, not before them.
    assert number >= waited > 2 * KILLS


def test_images_of_the_files_at_random_instants_open_whole(tmp_path: Path) -> None:
    """The process is halted, the files are copied as they stand, and the copy is opened: a board that lost its power.

    What the disk's own cache would lose is not in such an image: that part rests on SQLite's order of syncs.
    """
    path = tmp_path / "live" / "state.sqlite"
    rng = random.Random(9)
    acknowledged = 0
    in_flight = 0
    with child(path, 0) as process:
        assert process.stdout is not None
        said = b""
        for image in range(IMAGES):
            # Run on until something is said, then a random while longer: within a put on a fast disk, or on a slow one.
            select.select([process.stdout], [], [], 30)
            halt = threading.Timer(rng.uniform(0.0, rng.choice((0.002, 0.03))), os.kill, (process.pid, signal.SIGSTOP))
            halt.start()
            halt.join()
            assert os.WIFSTOPPED(os.waitpid(process.pid, os.WUNTRACED)[1])
            while select.select([process.stdout], [], [], 0)[0]:
                said += os.read(process.stdout.fileno(), 65536)
            said_lines, line_end, said = said.rpartition(b"\n")
            acknowledged = last_number(said_lines + line_end, acknowledged)
            copy = tmp_path / f"image {image}"
            shutil.copytree(path.parent, copy)
            os.kill(process.pid, signal.SIGCONT)
            journal = copy / "state.sqlite-journal"
            in_flight += journal.exists() and journal.stat().st_size > 0
            check(copy / "state.sqlite", acknowledged)
            shutil.rmtree(copy)
    assert acknowledged >= IMAGES
    # Some images were taken in the middle of a commit, with a journal to play back.
    assert in_flight > 0
