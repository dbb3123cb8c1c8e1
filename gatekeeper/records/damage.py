"""A file that cannot be read or written: why, in plain words, and how it is set aside with every byte kept."""

import os
import sqlite3
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType

#: Files that SQLite keeps beside a database; they are part of it and go with it.
COMPANIONS = ("-journal", "-wal", "-shm")

Clock = Callable[[], datetime]

#: By SQLite's own error name (longest match wins): what is so, and what to do.
_REASONS = {
    "SQLITE_FULL": ("there is no room left on its disk", "Free some room there."),
    "SQLITE_READONLY": ("it may only be read, not written", "Let the program write to that file and its folder."),
    "SQLITE_PERM": ("it may only be read, not written", "Let the program write to that file and its folder."),
    "SQLITE_CANTOPEN": (
        "it cannot be opened",
        "See that its folder exists and that the program may read and write there.",
    ),
    "SQLITE_IOERR": (
        "its disk failed to read or write",
        "See that the disk is not full; if it is not, replace the card or disk.",
    ),
    "SQLITE_BUSY": ("another program is using it", "Close the other program."),
    "SQLITE_LOCKED": ("another program is using it", "Close the other program."),
    "SQLITE_NOTADB": ("it is not a database", "If this comes again, replace the card or disk."),
    "SQLITE_CORRUPT": ("its structure is broken", "If this comes again, replace the card or disk."),
}
_UNKNOWN_ADVICE = "If this comes again, replace the card or disk."


class DamageFound(Exception):
    """The file cannot be believed; the text completes "it was set aside because ..."."""


class FileInUseError(Exception):
    """Another program holds the file; the text is a whole sentence with what to do."""


def reason_and_advice(error: Exception) -> tuple[str, str]:
    """Why the disk or SQLite said no, without a full stop, and what to do about it, a sentence."""
    if isinstance(error, sqlite3.Error):
        name = getattr(error, "sqlite_errorname", "")
        for known in sorted(_REASONS, key=len, reverse=True):
            if name.startswith(known):
                return _REASONS[known]
        return f"SQLite says: {error}", _UNKNOWN_ADVICE
    if isinstance(error, FileInUseError):
        return _REASONS["SQLITE_BUSY"]
    if isinstance(error, OSError) and error.strerror:
        return f"the system says: {error.strerror}", "See that its folder exists and that the program may write there."
    # Broken text inside the file reaches us as an error of Python's own, of several kinds.
    return _REASONS["SQLITE_CORRUPT"]


def is_busy(error: Exception) -> bool:
    """True where the file is only held by somebody else for the moment."""
    return getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))


def is_damage(error: Exception) -> bool:
    """True where waiting cannot help: the content itself is broken."""
    name = getattr(error, "sqlite_errorname", "")
    return isinstance(error, DamageFound) or name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT"))


def in_use(path: Path) -> FileInUseError:
    """What to say when another program holds ``path``."""
    return FileInUseError(
        f"{path.name} in {path.parent} is in use by another program. "
        "Close that program, or stop the other controller, then start again."
    )


def local_now() -> datetime:
    """The wall clock with its zone; only for people and for names of files."""
    return datetime.now().astimezone()


def sync_folder(folder: Path) -> None:
    """Make names in ``folder`` durable; without it a new or renamed file may be gone after a power cut."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def image_before_opening(path: Path) -> dict[str, bytes]:
    """The bytes of a small database by name ending, where something lies beside it; else nothing.

    SQLite plays back or throws away what lies beside a database as soon as it opens it, so the bytes that were found
    must be read before.
    """
    beside = [tail for tail in COMPANIONS if path.with_name(path.name + tail).is_file()]
    found = {tail: path.with_name(path.name + tail).read_bytes() for tail in beside}
    if not any(found.values()):
        return {}
    return {**found, "": path.read_bytes()}


def set_aside(path: Path, when: datetime, image: Mapping[str, bytes] = MappingProxyType({})) -> str:
    """Rename ``path`` and what SQLite keeps beside it; no byte is lost.

    Args:
        path: the database, or whatever stands in its place.
        when: goes into the name, as ``state.sqlite.damaged-2025-11-25-130149``.
        image: what ``image_before_opening`` read; written in place of what SQLite made of it.

    Returns: the new file name, without its folder.
    Raises: OSError where the folder cannot be written.
    """
    base = f"{path.name}.damaged-{when:%Y-%m-%d-%H%M%S}"
    name = base
    number = 2
    while any(os.path.lexists(path.with_name(name + tail)) for tail in ("", *COMPANIONS)):
        name = f"{base}-{number}"
        number += 1
    # The database goes last: if the power fails between two renames, the next start still finds it damaged and
    # sets the rest aside, and never begins a new one beside an old journal.
    for tail in (*COMPANIONS, ""):
        old = path.with_name(path.name + tail)
        if os.path.lexists(old):
            os.rename(old, path.with_name(name + tail))
    for tail, data in image.items():
        with open(path.with_name(name + tail), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    sync_folder(path.parent)
    return name
