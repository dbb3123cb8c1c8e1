"""Putting a backup back: checked whole before anything is touched, and what was there is kept aside.

Nothing starts because of a restore (C21): what was on, the last beat and the clean stop are forgotten. What happened
between the backup and now is in no record, so a motor's store of starts counts as lost (C8a): one start, free once a
person has pressed Clear. A stop that was in force in what is replaced stays in force.
"""

import contextlib
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Keep
from gatekeeper.records import backup_form, damage
from gatekeeper.records.backup import check_history
from gatekeeper.records.backup_form import (
    CARE,
    COMMISSIONED,
    HISTORY,
    PIN,
    SHOP,
    STATE,
    Manifest,
    NotABackup,
    read_manifest,
    sum_of,
)
from gatekeeper.records.damage import DamageFound
from gatekeeper.records.state import StateStore

#: The boot that a restored record comes from: equals no real one, so no kept instant of it is believed.
RESTORED_BOOT = "restored"
#: Kept keys that are stops in force; they are carried over from what is replaced.
_STOPS = ("out_of_service/", "latched/", "held/", "stuck/", "emergency", "fire")
#: Kept keys that could let something go on by itself.
_FORGOTTEN = ("on/", "beat", "clean_stop")
_BEGUN = STATE + ".begun"

#: Says of a shop file's text what stops it, in one sentence; None where it is a shop.
CheckShop = Callable[[str, str], str | None]


@dataclass(frozen=True, slots=True)
class Restored:
    """What became of a restore.

    Args:
        manifest: what the backup says of itself.
        aside: where what was there before now lies; None where nothing was.
        carried: keys of stops that were taken over from what was replaced.
    """

    manifest: Manifest
    aside: Path | None
    carried: tuple[str, ...]


def look(path: Path, check_shop: CheckShop, scratch: Path | None = None) -> Manifest:
    """Check a backup whole and change nothing.

    Args:
        path: the file.
        check_shop: reads the shop file in it.
        scratch: a folder with room to unpack; the system's own unless given.

    Raises: NotABackup.
    """
    with _room(scratch) as folder:
        return _unpack(path, folder, check_shop)


def put_back(
    path: Path, shop_path: Path, folder: Path, check_shop: CheckShop, *, replace: bool, now: datetime
) -> Restored:
    """Check a backup, then put its parts where they belong. The controller must not run.

    Args:
        path: the backup.
        shop_path: where the shop file goes.
        folder: where state and history go; made where missing.
        check_shop: reads the shop file in it.
        replace: set what is there aside; else anything that is there is a refusal.
        now: goes into the name of what is set aside.

    Raises:
        NotABackup: nothing was touched.
        FileExistsError: something is there already and ``replace`` was not given; the text says what.
        OSError: the disk refused.
    """
    there = _what_is_there(shop_path, folder)
    if there and not replace:
        raise FileExistsError(there[0])
    folder.mkdir(parents=True, exist_ok=True)
    with _room(folder) as made:
        manifest = _unpack(path, made, check_shop)
        carried = _prepare_state(made, folder) if (made / STATE).exists() else ()
        # A new card is made by root, and the controller is not root.
        _give(made, folder)
        aside = _set_aside(there, folder, now)
        if (made / _BEGUN).exists():
            os.replace(made / _BEGUN, folder / _BEGUN)
        for name in (PIN, CARE, COMMISSIONED, HISTORY):
            if (made / name).exists():
                os.replace(made / name, folder / name)
        shop_path.parent.mkdir(parents=True, exist_ok=True)
        _write_shop((made / SHOP).read_bytes(), shop_path)
        # Last: until it is there, the state counts as lost and every stop as in force.
        if (made / STATE).exists():
            os.replace(made / STATE, folder / STATE)
        damage.sync_folder(folder)
    return Restored(manifest, aside, carried)


@contextlib.contextmanager
def _room(scratch: Path | None) -> Iterator[Path]:
    """A folder to unpack in, gone afterwards."""
    made = Path(tempfile.mkdtemp(prefix=".restore-", dir=scratch))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


# ---------------------------------------------------------------- checking


def _unpack(path: Path, folder: Path, check_shop: CheckShop) -> Manifest:
    name = path.name
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = read_manifest(archive, name)
            if sum(size for size, _ in manifest.parts.values()) > backup_form.LARGEST_BYTES:
                raise NotABackup(f"{name} is too large to be a backup of a shop.")
            for part, (size, total) in manifest.parts.items():
                _extract(archive, part, size, folder / part)
                if sum_of(folder / part) != (size, total):
                    raise NotABackup(f"{name} is damaged: {part} does not match its check sum. Use an earlier backup.")
    except FileNotFoundError:
        raise NotABackup(f"{path}: there is no such file.") from None
    except IsADirectoryError:
        raise NotABackup(f"{path}: this is a folder; name a backup.") from None
    except zipfile.BadZipFile:
        said = f"{name} is damaged or no backup of this program. Name a file that gatekeeper backup has made."
        raise NotABackup(said) from None
    except (KeyError, EOFError, NotImplementedError, RuntimeError, ValueError, zlib.error):
        raise NotABackup(f"{name} is damaged: a part of it cannot be unpacked. Use an earlier backup.") from None
    except OSError as error:
        raise NotABackup(f"{name} cannot be read or unpacked ({error.strerror or 'the disk refused'}).") from None
    _check_parts(name, folder, manifest, check_shop)
    return manifest


def _extract(archive: zipfile.ZipFile, part: str, size: int, to: Path) -> None:
    """One part, never more than the manifest says: what is packed may unpack to far more."""
    left = size + 1
    with archive.open(part) as packed, to.open("wb") as file:
        while left > 0 and (piece := packed.read(min(left, backup_form.PIECE_BYTES))):
            file.write(piece)
            left -= len(piece)


def _check_parts(name: str, folder: Path, manifest: Manifest, check_shop: CheckShop) -> None:
    try:
        text = (folder / SHOP).read_bytes().decode()
    except UnicodeDecodeError:
        raise NotABackup(f"{name}: its shop file is no text.") from None
    refused = check_shop(text, manifest.shop_file)
    if refused is not None:
        raise NotABackup(
            f"{name}: this program cannot read its shop file, made by version {manifest.program}: {refused}"
        )
    if (folder / STATE).exists():
        try:
            if _values(folder / STATE) is None:
                raise NotABackup(f"{name} is damaged: its kept settings are empty. Use an earlier backup.")
        except DamageFound as error:
            raise NotABackup(f"{name}: its kept settings cannot be believed: {error}. Use an earlier backup.") from None
    if (folder / HISTORY).exists():
        try:
            with contextlib.closing(sqlite3.connect(folder / HISTORY)) as connection:
                check_history(connection)
        except (sqlite3.Error, DamageFound) as error:
            why = str(error) if isinstance(error, DamageFound) else damage.reason_and_advice(error)[0]
            raise NotABackup(f"{name}: its history cannot be believed: {why}. Use an earlier backup.") from None


def _values(path: Path) -> Mapping[str, Any] | None:
    """The kept values of a file nobody uses; None where nothing was ever kept. Raises DamageFound."""
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / STATE
        for tail in ("", *damage.COMPANIONS):
            if path.with_name(path.name + tail).exists():
                shutil.copyfile(path.with_name(path.name + tail), copy.with_name(STATE + tail))
        store = StateStore(copy)
        try:
            kept = store.load(RESTORED_BOOT)
        finally:
            store.close()
    if store.trouble is not None or kept.damaged:
        raise DamageFound("they do not match their check sum or cannot be read")
    return kept.values if kept.values or not kept.fresh else None


# ---------------------------------------------------------------- preparing


def _prepare_state(made: Path, folder: Path) -> tuple[str, ...]:
    """Make the unpacked state one that nothing starts from. Returns the stops that were carried over."""
    store = StateStore(made / STATE)
    values = store.load(RESTORED_BOOT).values
    keeps = [Keep(key, None) for key in values if key.startswith(_FORGOTTEN)]
    for key, value in values.items():
        if key.startswith("starts/"):
            keeps.append(Keep(key, _lost(value)))
    stops = _stops_there(folder, values)
    keeps += [Keep(key, value) for key, value in stops.items()]
    store.put(keeps)
    store.close()
    return tuple(sorted(stops))


def _lost(value: Any) -> dict[str, Any]:
    """A store of starts whose record is old: at most one start, and that only once a person has pressed Clear."""
    level = value.get("level") if isinstance(value, dict) else None
    is_number = isinstance(level, int | float) and not isinstance(level, bool)
    return {"level": min(1.0, float(level)) if is_number and level is not None else 1.0, "locked": True}


def _stops_there(folder: Path, values: Mapping[str, Any]) -> dict[str, Any]:
    """The stops in force in what is replaced that the backup does not know; all of them where it cannot be read."""
    if not (folder / STATE).exists() and not (folder / _BEGUN).exists():
        return {}
    try:
        found = _values(folder / STATE) if (folder / STATE).exists() else None
        if found is None and (folder / _BEGUN).exists() and not (folder / STATE).exists():
            raise DamageFound("it is gone")
    except (DamageFound, OSError):
        why = {"who": "the controller", "why": "the record that a restore replaced could not be read", "since_s": 0.0}
        return {f"out_of_service/{key.removeprefix('starts/')}": why for key in values if key.startswith("starts/")}
    stops = {key: value for key, value in (found or {}).items() if key.startswith(_STOPS) and value}
    return {key: value for key, value in stops.items() if not values.get(key)}


# ---------------------------------------------------------------- files


def _what_is_there(shop_path: Path, folder: Path) -> list[Path]:
    names = (STATE, *(STATE + tail for tail in damage.COMPANIONS), _BEGUN, HISTORY)
    inside = [*names, *(HISTORY + tail for tail in damage.COMPANIONS), CARE, COMMISSIONED, PIN]
    return [path for path in (shop_path, *(folder / name for name in inside)) if os.path.lexists(path)]


def _set_aside(there: list[Path], folder: Path, now: datetime) -> Path | None:
    """Move what is there into a folder of its own; the note that a state was begun stays until the new one is there."""
    if not there:
        return None
    base = f"before-restore-{now:%Y-%m-%d-%H%M%S}"
    aside, number = folder / base, 2
    while aside.exists():
        aside = folder / f"{base}-{number}"
        number += 1
    aside.mkdir(mode=0o700)
    for path in there:
        if path.name == _BEGUN or path.parent != folder:
            # The shop file stays until the new one takes its place in one step.
            shutil.copyfile(path, aside / path.name)
        else:
            os.replace(path, aside / path.name)
    damage.sync_folder(aside)
    damage.sync_folder(folder)
    return aside


def _give(made: Path, folder: Path) -> None:
    """The PIN is for its owner only; and hand unpacked files to the owner of the folder, where we may."""
    if (made / PIN).exists():
        (made / PIN).chmod(0o600)
    if os.geteuid() != 0:
        return
    owner = folder.stat()
    for path in made.iterdir():
        os.chown(path, owner.st_uid, owner.st_gid)


def _write_shop(content: bytes, shop_path: Path) -> None:
    beside = shop_path.with_name(f".{shop_path.name}.{os.getpid()}.new")
    like = shop_path if shop_path.exists() else shop_path.parent
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if like is shop_path:
            os.chmod(beside, shop_path.stat().st_mode & 0o7777)
        if os.geteuid() == 0:
            os.chown(beside, like.stat().st_uid, like.stat().st_gid)
        os.replace(beside, shop_path)
    finally:
        beside.unlink(missing_ok=True)
    damage.sync_folder(shop_path.parent)
