"""Reading the shop file that a command names, and writing what it makes. What goes wrong is one plain sentence."""

import os
from pathlib import Path

from gatekeeper.shop import examples
from gatekeeper.shop.faults import did_you_mean, listed


class FileTrouble(Exception):
    """A file that cannot be read; its text is the sentence for the person who named it."""


def read_shop_text(named: str) -> tuple[str, str]:
    """The text of a shop file and the name to call it by. ``named`` is a path, or the name of an example shop.

    Raises FileTrouble with one sentence when there is no such file or it is not text.
    """
    return read_text(named, examples.folder(), "shop file", "an example"), named


def read_text(named: str, shipped: Path, kind: str, one_that_ships: str) -> str:
    """The text of a file that people name.

    Args:
        named: a path, or the name of a file in ``shipped`` without its ``.yaml``.
        shipped: the folder of those that ship with the program.
        kind, one_that_ships: what it is and what one that ships is called, for messages.

    Raises FileTrouble with one sentence when there is no such file or it is not text.
    """
    path = Path(named)
    names = tuple(sorted(file.stem for file in shipped.glob("*.yaml")))
    try:
        if not path.exists() and named in names:
            path = shipped / f"{named}.yaml"
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        hint = did_you_mean(path.stem, names) if names else ""
        raise FileTrouble(
            f"{named}: there is no such file; name a {kind}, or {one_that_ships}: {listed(names, longest=30)}{hint}"
        ) from None
    except IsADirectoryError:
        raise FileTrouble(f"{named}: this is a folder; name a {kind}") from None
    except UnicodeDecodeError as error:
        raise FileTrouble(f"{named}: byte {error.start + 1} is no UTF-8 text; save the file as UTF-8") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name cannot be used"
        raise FileTrouble(f"{named}: this file cannot be read ({reason})") from None


def write_new(path: Path, content: bytes, *, replace: bool = False) -> None:
    """Write a file whole or not at all: beside it first, on the disk, then under its name.

    Raises FileTrouble with one sentence when it is there already (unless ``replace``) or cannot be written.
    """
    if not replace and path.exists():
        raise FileTrouble(f"{path}: this file is there already; name another")
    beside = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        try:
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if path.exists():
                os.chmod(beside, path.stat().st_mode & 0o7777)
            os.replace(beside, path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise FileTrouble(f"{path}: this file cannot be written ({error.strerror or 'the disk refused'})") from None
