"""``gatekeeper backup`` and ``gatekeeper restore``: what they check, do and say."""

from datetime import datetime
from pathlib import Path

from gatekeeper import __version__
from gatekeeper.records import restore
from gatekeeper.records.backup import CannotBackUp, Source, make_backup
from gatekeeper.records.backup_form import CARE, COMMISSIONED, HISTORY, PIN, SHOP, STATE, Manifest, NotABackup
from gatekeeper.records.restore import Restored
from gatekeeper.service.lock import AlreadyRunning, InstanceLock
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

#: A backup that was left on the page waits under this name for the next start.
WAITING = "restore.waiting"
REFUSED = "restore.refused"
_CALLED = {
    SHOP: "the shop file with its calibration",
    STATE: "settings, stops in force and stores of starts",
    HISTORY: "the history with hours and starts",
    CARE: "what was cared for and checked",
    COMMISSIONED: "what was commissioned, and what came of it",
    PIN: "the page's PIN",
}

_AFTER = (
    "Nothing starts because of this. How often each motor has started since the backup is not known: before its first "
    "start somebody presses Clear at its message, and it has one start in hand.",
    "What was taken out of service after the backup was made is not in it: look round the shop first.",
)


class CannotRestore(Exception):
    """Nothing was restored; the text is for the person who asked."""


def backed_up(shop_name: str, shop_file: str, text: str, folder: Path, out: Path, *, replace: bool) -> list[str]:
    """Make a backup and say what is in it, as lines.

    Raises: CannotBackUp.
    """
    if out.is_dir():
        raise CannotBackUp(f"{out}: this is a folder; name a file, such as {out / 'shop.backup'}.")
    if out.exists() and not replace:
        raise CannotBackUp(f"{out}: this file is there already; name another, or add --replace.")
    if not out.parent.is_dir():
        raise CannotBackUp(f"{out.parent}: there is no such folder.")
    manifest = make_backup(source_of(shop_name, shop_file, text, folder), out)
    secret = ["It holds the page's PIN, so only its owner may read it."] if PIN in manifest.parts else []
    return [
        f"{out}: {_size(out.stat().st_size)}, checked.",
        *contents(manifest),
        *secret,
        "Keep it away from the board: on a computer or a stick.",
        f"next: gatekeeper restore {out} --look",
    ]


def source_of(shop_name: str, shop_file: str, text: str, folder: Path) -> Source:
    """What a backup of this shop is made from, now."""
    name = Path(shop_file).name
    file = name if name.endswith((".yaml", ".yml")) else f"{name or 'shop'}.yaml"
    return Source(shop_name, file, text, folder, __version__, datetime.now().astimezone())


def contents(manifest: Manifest) -> list[str]:
    """What a backup holds, as lines."""
    lines = [f"  - {_CALLED[name]} ({_size(size)})" for name, (size, _) in manifest.parts.items()]
    return [*lines, *(f"  - {sentence}" for sentence in manifest.left_out)]


def looked_at(path: Path) -> list[str]:
    """What a backup holds, checked whole; nothing is changed. Raises CannotRestore."""
    manifest = checked(path)
    return [
        f"{path.name}: backup of {manifest.shop} from {manifest.made}, version {manifest.program}. All of it is whole.",
        *contents(manifest),
        f"next: gatekeeper restore {path} --shop {manifest.shop_file}",
    ]


def checked(path: Path, scratch: Path | None = None) -> Manifest:
    """The manifest of a backup that can be put back. Raises CannotRestore."""
    try:
        return restore.look(path, what_stops, scratch)
    except NotABackup as trouble:
        raise CannotRestore(str(trouble)) from None


def put_back(path: Path, shop_path: Path, folder: Path, *, replace: bool) -> Restored:
    """Put a backup back while no controller runs from that folder.

    Raises: CannotRestore; nothing was touched.
    """
    checked(path)
    try:
        lock = InstanceLock(folder)
    except AlreadyRunning as running:
        raise CannotRestore(f"{running} Nothing was restored.") from None
    except OSError as error:
        said = f"{folder} cannot be used ({error.strerror}). Name another folder with --state."
        raise CannotRestore(said) from None
    try:
        return restore.put_back(path, shop_path, folder, what_stops, replace=replace, now=datetime.now())
    except NotABackup as trouble:
        raise CannotRestore(str(trouble)) from None
    except FileExistsError as there:
        raise CannotRestore(
            f"{there} is there already. Nothing was restored. Add --replace to set it aside, or name another place "
            "with --shop and --state."
        ) from None
    except OSError as error:
        raise CannotRestore(
            f"The restore did not end ({error.strerror or 'the disk refused'}). What was there lies in a folder "
            f"before-restore-... in {folder}. Free room or put in a good card, then restore again."
        ) from None
    finally:
        lock.release()


def restored_lines(restored: Restored, shop_path: Path, folder: Path) -> list[str]:
    """What a person must know after a restore."""
    manifest = restored.manifest
    lines = [
        f"{manifest.shop} is back as it was on {manifest.made}: {shop_path}, and the rest in {folder}.",
        *contents(manifest),
    ]
    if restored.aside is not None:
        lines.append(f"What was there before lies in {restored.aside}.")
    if restored.carried:
        lines.append("These stops were in force there and still are: " + ", ".join(restored.carried) + ".")
    if STATE in manifest.parts:
        lines += _AFTER
    return [*lines, f"next: gatekeeper check {shop_path}"]


def take_up_waiting(shop_path: Path, folder: Path) -> list[str]:
    """Put back what was left on the page, before a controller starts; what came of it, as lines.

    A file that cannot be put back never stops the start: it is laid beside as ``restore.refused``.
    """
    waiting = folder / WAITING
    if not waiting.exists() or not shop_path.is_file():
        return []
    try:
        restored = put_back(waiting, shop_path, folder, replace=True)
    except CannotRestore as trouble:
        waiting.replace(folder / REFUSED)
        return [f"The backup that was left on the page was not put back: {trouble}"]
    waiting.unlink()
    return restored_lines(restored, shop_path, folder)


def what_stops(text: str, name: str) -> str | None:
    """What stops a shop file, in one sentence; None where it is a shop."""
    shop = load_shop(text, name)
    if not isinstance(shop, Faults):
        return None
    more = f" ({len(shop.each) - 1} more)" if len(shop.each) > 1 else ""
    return f"{shop.lines()[0]}{more}"


def left_on_the_page(given: Path, folder: Path) -> str:
    """Check an uploaded backup and lay it ready for the next start; what the page says of it.

    Raises: CannotRestore.
    """
    manifest = checked(given, folder)
    given.replace(folder / WAITING)
    return (
        f"Backup of {manifest.shop} from {manifest.made}: whole, and laid ready. Nothing has changed yet. It is put "
        "back when the controller starts the next time; what is here now is kept aside then."
    )


def _size(size: int) -> str:
    return f"{size} bytes" if size < 10_000 else f"{size / 1000:.0f} kB" if size < 1e6 else f"{size / 1e6:.1f} MB"
