"""One controller a shop: a second one is refused before it touches a wire."""

import fcntl
import os
from pathlib import Path


class AlreadyRunning(Exception):
    """Another controller holds the state folder; the text says which."""


class InstanceLock:
    """A lock on a state folder that ends with the process, however it ends.

    Args:
        folder: the state folder; made where missing.

    Raises:
        AlreadyRunning: another process holds it.
        OSError: the folder cannot be made or written.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / "controller.lock"
        self._fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(self._fd, 32).decode("ascii", "replace").strip() or "unknown"
            os.close(self._fd)
            raise AlreadyRunning(
                f"Another controller (process {holder}) already runs this shop from {folder}. Stop that one first."
            ) from None
        os.ftruncate(self._fd, 0)
        os.write(self._fd, f"{os.getpid()}\n".encode("ascii"))

    def release(self) -> None:
        """Let another controller have it."""
        os.close(self._fd)
