"""A disk between SQLite and the system that writes down every operation, and can fail at any of them.

SQLite reaches its files through a table of functions, a "VFS" (sqlite.org/vfs.html). Here a copy of the usual one is
put before it, by ``ctypes`` on the very library that Python's ``sqlite3`` uses; the product is not touched. What was
written down can be laid out again as the disk would stand after a kill or a power cut at any operation: see ``Crash``.
"""

import _sqlite3
import contextlib
import ctypes
import random
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

#: SQLite's own numbers (sqlite.org/rescode.html, sqlite3.h).
OK, IOERR_WRITE, FULL = 0, 778, 13
#: A journal or a log: the first sync of a new one takes its folder along.
_OPEN_JOURNAL = 0x00000800 | 0x00080000
_SECTOR = 512

_POINTER, _INT, _I64, _TEXT = ctypes.c_void_p, ctypes.c_int, ctypes.c_int64, ctypes.c_char_p
_WRITE = ctypes.CFUNCTYPE(_INT, _POINTER, _POINTER, _INT, _I64)
_TRUNCATE = ctypes.CFUNCTYPE(_INT, _POINTER, _I64)
_SYNC = ctypes.CFUNCTYPE(_INT, _POINTER, _INT)
#: A name is handed on as the very pointer that came: SQLite keeps it.
_OPEN = ctypes.CFUNCTYPE(_INT, _POINTER, _POINTER, _POINTER, _INT, _POINTER)
_DELETE = ctypes.CFUNCTYPE(_INT, _POINTER, _TEXT, _INT)


class _Methods(ctypes.Structure):
    """``sqlite3_io_methods``: what is done with one open file."""

    _fields_ = (
        ("iVersion", _INT),
        ("xClose", _POINTER),
        ("xRead", _POINTER),
        ("xWrite", _POINTER),
        ("xTruncate", _POINTER),
        ("xSync", _POINTER),
        ("others", _POINTER * 13),
    )


class _File(ctypes.Structure):
    """``sqlite3_file``: begins with its methods."""

    _fields_ = (("methods", ctypes.POINTER(_Methods)),)


class _Vfs(ctypes.Structure):
    """``sqlite3_vfs`` up to the functions that are replaced; the rest is copied as it stands."""

    _fields_ = (
        ("iVersion", _INT),
        ("szOsFile", _INT),
        ("mxPathname", _INT),
        ("pNext", _POINTER),
        ("zName", _TEXT),
        ("pAppData", _POINTER),
        ("xOpen", _POINTER),
        ("xDelete", _POINTER),
        ("others", _POINTER * 16),
    )


@dataclass(frozen=True)
class Op:
    """One operation: ``write``, ``truncate``, ``sync``, ``create``, ``delete``, ``sync folder`` or ``mark``."""

    what: str
    path: str = ""
    at: int = 0
    data: bytes = b""
    mark: Any = None


#: Asked before each operation; a number other than 0 is answered to SQLite as its error, and nothing is done.
Verdict = Callable[[Op], int]


@dataclass
class Disk:
    """What was done, in order, and what is answered."""

    ops: list[Op] = field(default_factory=list)
    verdict: Verdict = lambda op: OK

    def take(self, op: Op) -> int:
        """Write an operation down, unless the verdict is that it fails."""
        refused = self.verdict(op)
        if refused == OK:
            self.ops.append(op)
        return refused

    def mark(self, mark: Any) -> None:
        """Note something of the test's own between the operations."""
        self.ops.append(Op("mark", mark=mark))


@contextlib.contextmanager
def recording() -> Iterator[Disk]:
    """Every database that is opened meanwhile goes through the returned disk."""
    library = ctypes.CDLL(_sqlite3.__file__)
    library.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
    library.sqlite3_vfs_register.argtypes = [ctypes.POINTER(_Vfs), _INT]
    library.sqlite3_vfs_unregister.argtypes = [ctypes.POINTER(_Vfs)]
    sqlite3.connect(":memory:").close()  # the library is set up at its first use
    usual = library.sqlite3_vfs_find(None)
    disk = Disk()
    paths: dict[int, str] = {}
    usual_open, usual_delete = _OPEN(usual.contents.xOpen), _DELETE(usual.contents.xDelete)
    made: dict[int, tuple[_Methods, tuple[Any, ...]]] = {}

    def methods_over(below: Any) -> Any:
        """A copy of one table of file functions with ours in it; one for each table that the usual VFS has."""
        address = ctypes.addressof(below.contents)
        if address not in made:
            ours = _Methods.from_buffer_copy(below.contents)
            write, truncate = (
                _WRITE(below.contents.xWrite),
                _TRUNCATE(below.contents.xTruncate),
            )

            def on_write(file: int, data: int, size: int, at: int) -> int:
                op = Op("write", paths[file], at, ctypes.string_at(data, size))
                return disk.take(op) or int(write(file, data, size, at))

            def on_truncate(file: int, size: int) -> int:
                return disk.take(Op("truncate", paths[file], size)) or int(truncate(file, size))

            def on_sync(file: int, _flags: int) -> int:
                # Not passed on: what a sync means is worked out from the list, and the tests need not wait for a disk.
                return disk.take(Op("sync", paths[file]))

            kept = (_WRITE(on_write), _TRUNCATE(on_truncate), _SYNC(on_sync))
            ours.xWrite, ours.xTruncate, ours.xSync = (ctypes.cast(one, _POINTER).value for one in kept)
            made[address] = ours, (kept, write, truncate)
        return ctypes.pointer(made[address][0])

    def on_open(_vfs: int, name: int | None, file: int, flags: int, flags_out: int) -> int:
        path = "" if name is None else ctypes.string_at(name).decode()
        is_new = bool(path) and not Path(path).exists()
        if is_new and (refused := disk.verdict(Op("create", path))):
            return refused
        result = int(usual_open(ctypes.cast(usual, _POINTER), name, file, flags, flags_out))
        if result == OK:
            if is_new:
                disk.ops.append(Op("create", path, at=flags & _OPEN_JOURNAL))
            paths[file] = path
            opened = ctypes.cast(file, ctypes.POINTER(_File))
            opened.contents.methods = methods_over(opened.contents.methods)
        return result

    def on_delete(_vfs: int, name: bytes, sync_folder: int) -> int:
        return disk.take(Op("delete", name.decode(), sync_folder)) or int(
            usual_delete(ctypes.cast(usual, _POINTER), name, sync_folder)
        )

    ours = _Vfs.from_buffer_copy(usual.contents)
    ours.zName, ours.pNext = b"recording", None
    kept = (_OPEN(on_open), _DELETE(on_delete))
    ours.xOpen, ours.xDelete = (ctypes.cast(one, _POINTER).value for one in kept)
    assert library.sqlite3_vfs_register(ctypes.byref(ours), 1) == OK
    try:
        yield disk
    finally:
        library.sqlite3_vfs_unregister(ctypes.byref(ours))
        library.sqlite3_vfs_register(usual, 1)


class Crash:
    """The files of one folder as they may stand after an end at some operation.

    A killed process leaves all that it did. A power cut leaves what was synced; of what came after, each write may have
    reached the disk whole, in part (to a sector of 512 bytes) or not at all, in any order, and a name that was not
    synced with its folder may be missing or there. A new journal or log takes its folder along at its first sync.
    """

    def __init__(self, ops: list[Op]) -> None:
        self._ops = ops

    def killed(self, upto: int) -> dict[str, bytes]:
        """All of the first ``upto`` operations."""
        files: dict[str, bytearray] = {}
        for op in self._ops[:upto]:
            _apply(files, op)
        return {path: bytes(data) for path, data in files.items()}

    def power_cut(self, upto: int, chance: random.Random, reaches: float) -> dict[str, bytes]:
        """What was synced, and each later operation with the chance ``reaches``, 0 to 1."""
        ops = self._ops[:upto]
        synced, named = self._durable(ops)
        files: dict[str, bytearray] = {}
        for number, op in enumerate(ops):
            is_kept = number < named if op.what in ("create", "delete") else number < synced.get(op.path, 0)
            if is_kept or chance.random() < reaches:
                _apply(files, op)
            elif op.what == "write" and chance.random() < reaches:
                torn = chance.randrange(0, len(op.data) + 1, _SECTOR)
                _apply(files, Op("write", op.path, op.at, op.data[:torn]))
        return {path: bytes(data) for path, data in files.items()}

    @staticmethod
    def _durable(ops: list[Op]) -> tuple[dict[str, int], int]:
        """Up to which operation each file's content is on the disk, and up to which the names are."""
        synced: dict[str, int] = {}
        named = 0
        fresh_journals: set[str] = set()
        for number, op in enumerate(ops):
            if op.what == "create" and op.at & _OPEN_JOURNAL:
                fresh_journals.add(op.path)
            if op.what == "sync":
                synced[op.path] = number
                if op.path in fresh_journals:
                    fresh_journals.discard(op.path)
                    named = number
            if op.what == "sync folder" or (op.what == "delete" and op.at):
                named = number + 1
        return synced, named


def _apply(files: dict[str, bytearray], op: Op) -> None:
    if op.what == "create":
        files.setdefault(op.path, bytearray())
    elif op.what == "delete":
        files.pop(op.path, None)
    elif op.what == "write" and op.path in files:
        data = files[op.path]
        data.extend(bytes(max(0, op.at + len(op.data) - len(data))))
        data[op.at : op.at + len(op.data)] = op.data
    elif op.what == "truncate" and op.path in files:
        data = files[op.path]
        del data[op.at :]
        data.extend(bytes(op.at - len(data)))


def lay_out(files: dict[str, bytes], old: Path, new: Path) -> None:
    """Write files of the folder ``old`` into the empty folder ``new``."""
    new.mkdir()
    for path, data in files.items():
        (new / Path(path).relative_to(old)).write_bytes(data)
