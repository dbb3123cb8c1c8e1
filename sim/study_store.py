"""Where the days of a study are kept, so that a study that was stopped goes on and one that was done is there at once.

One file of JSON lines for each shop, program and kind of day; a line for each day: its key and its outcomes. Lines are
only ever added, each is written whole and flushed, and a torn last line is passed over. The program counts by the
content of its own files: after any change of it nothing old is believed, and the old file of that shop is removed.
"""

import hashlib
import json
import os
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import IO, Any


def cache_folder(named: str | None = None) -> Path:
    """The folder of kept days: ``named``, else the user's cache folder (XDG_CACHE_HOME, ~/.cache)."""
    if named is not None:
        return Path(named)
    home = os.environ.get("XDG_CACHE_HOME")
    return (Path(home) if home else Path.home() / ".cache") / "gatekeeper" / "study"


@lru_cache(maxsize=1)
def program_hash() -> str:
    """The content of every module of ours as one word."""
    digest = hashlib.sha256()
    for package in ("gatekeeper", "sim"):
        folder = Path(str(resources.files(package)))
        for path in sorted(folder.rglob("*.py")):
            digest.update(str(path.relative_to(folder)).encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def key_of(*parts: str) -> str:
    """Any number of texts as one short word that stands for them all."""
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:24]


class DayStore:
    """The kept days of one shop. Raises OSError where the folder cannot be used.

    Args:
        folder: made when it is not there.
        shop: stands for the shop, a word made by ``key_of``.
        program: stands for the program, likewise.
    """

    def __init__(self, folder: Path, shop: str, program: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / f"{shop}.{program}.jsonl"
        for other in folder.glob(f"{shop}.*.jsonl"):
            if other != self.path:
                other.unlink(missing_ok=True)
        self._kept: dict[str, Any] = {}
        if self.path.exists():
            self._read()
        self._file: IO[str] = self.path.open("a", encoding="utf-8")
        if self._is_torn():
            self._file.write("\n")

    def _read(self) -> None:
        for line in self.path.read_text(encoding="utf-8", errors="replace").splitlines():
            try:
                one = json.loads(line)
                self._kept[one["key"]] = one["day"]
            except (ValueError, KeyError, TypeError):
                continue

    def _is_torn(self) -> bool:
        """Whether the last line was not written to its end."""
        if not self.path.stat().st_size:
            return False
        with self.path.open("rb") as file:
            file.seek(-1, os.SEEK_END)
            return file.read(1) != b"\n"

    def get(self, key: str) -> Mapping[str, Any] | None:
        """What is kept under a key, or None."""
        kept = self._kept.get(key)
        return kept if isinstance(kept, dict) else None

    def keep(self, key: str, day: Mapping[str, Any]) -> None:
        """Keep one day, at once."""
        self._kept[key] = day
        self._file.write(json.dumps({"key": key, "day": day}, ensure_ascii=False) + "\n")
        self._file.flush()

    def close(self) -> None:
        self._file.close()
