"""A small text that outlives a power cut: written beside, made durable, then put under its name. For one user only."""

import contextlib
import os
from pathlib import Path

from gatekeeper.records.damage import sync_folder

#: Nothing of ours that is kept so is larger; what is, is not ours.
MOST_BYTES = 256 * 1024


class SmallFile:
    """One file of a few kilobytes that only its owner may read.

    Args:
        path: the file; its folder must be there.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self) -> str | None:
        """The text; None where there is none, it is too large, or it is no text."""
        try:
            with open(self._path, "rb") as file:
                content = file.read(MOST_BYTES + 1)
            return content.decode("utf-8") if len(content) <= MOST_BYTES else None
        except (OSError, ValueError):
            return None

    def write(self, text: str) -> None:
        """Make the text durable, whole or not at all.

        Raises:
            OSError: the disk said no; what stood there before still does.
        """
        beside = self._path.with_name(f".{self._path.name}.new")
        try:
            # Anew each time: a file that somebody left there may be open to others, or a link.
            beside.unlink(missing_ok=True)
            descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.replace(beside, self._path)
        except OSError:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
            raise
        sync_folder(self._path.parent)
