"""What people did and measured, one line each, only ever added to: bins emptied, filters cleaned, readings, stops.

A file of its own beside the state, because the terminal writes into it while the controller runs. Every line carries a
check sum; a line that was torn or flipped is passed over and counted, and takes no other with it.
"""

import fcntl
import json
import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CARE_FILE = "care.jsonl"
#: More lines are not read: a line a day for fifty years. Ours.
MOST_LINES = 20_000


class NotWrittenError(Exception):
    """A line could not be written; the text is a plain sentence."""


@dataclass(frozen=True, slots=True)
class Done:
    """One line.

    Args:
        at_s: wall clock, seconds since 1970.
        what: ``bin_emptied``, ``filter_cleaned``, ``filter_changed``, ``suction``, ``stop_proved``, ``stop_seen``,
            ``day_one``.
        subject: the motor.
        who: the door it came through, or a name.
        more: what else belongs to it; JSON values.
    """

    at_s: float
    what: str
    subject: str
    who: str
    more: Mapping[str, Any] = field(default_factory=dict)


class CareLog:
    """The file of one shop. Any thread, any process.

    Args:
        path: ``care.jsonl`` in the state folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        #: Lines that could not be believed at the last reading.
        self.torn = 0
        self._read: tuple[tuple[int, int], tuple[Done, ...]] | None = None

    def add(self, done: Done) -> None:
        """Write one line; durable when this returns.

        Raises: NotWrittenError.
        """
        said = {"at_s": done.at_s, "what": done.what, "subject": done.subject, "who": done.who, "more": dict(done.more)}
        body = json.dumps(said, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        line = f"{zlib.crc32(body.encode()):08x} {body}\n".encode()
        try:
            descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o640)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX)
                size = os.fstat(descriptor).st_size
                # A line that a power cut tore must not swallow this one.
                if size and os.pread(descriptor, 1, size - 1) != b"\n":
                    line = b"\n" + line
                if size == 0 and os.geteuid() == 0:
                    # Begun by an administrator: the controller, who owns the folder, must be able to go on with it.
                    owner = self.path.parent.stat()
                    os.fchown(descriptor, owner.st_uid, owner.st_gid)
                if os.write(descriptor, line) != len(line):
                    raise OSError(28, "no room on the disk")
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise NotWrittenError(
                f"Not kept: {self.path.name} in {self.path.parent} cannot be written ({error.strerror}). See that the "
                "disk is not full and that the program may write there."
            ) from None

    def read(self) -> tuple[Done, ...]:
        """Every line that can be believed, oldest first. A file that is not there or cannot be read is empty."""
        try:
            there = self.path.stat()
            stamp = there.st_mtime_ns, there.st_size
            if self._read is not None and self._read[0] == stamp:
                return self._read[1]
            lines = self.path.read_bytes().splitlines()[-MOST_LINES:]
        except OSError:
            return ()
        found = [done for line in lines if line and (done := _done(line)) is not None]
        self.torn = sum(1 for line in lines if line) - len(found)
        self._read = stamp, tuple(found)
        return self._read[1]


def _done(line: bytes) -> Done | None:
    total, _, body = line.partition(b" ")
    if f"{zlib.crc32(body):08x}".encode() != total:
        return None
    try:
        said = json.loads(body)
        return Done(float(said["at_s"]), str(said["what"]), str(said["subject"]), str(said["who"]), dict(said["more"]))
    except (ValueError, KeyError, TypeError):
        return None
