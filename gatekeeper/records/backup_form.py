"""The form of a backup: one zip file with a manifest that names every part, its size and its check sum."""

import hashlib
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: What the manifest begins with; tells our file from any other zip.
WHAT = "gatekeeper backup"
#: Counted up when an older program could no longer read it: 2 holds a record of commissioning.
FORM = 2
MANIFEST, SHOP, STATE, HISTORY, CARE, COMMISSIONED, PIN = (
    "manifest.json",
    "shop.yaml",
    "state.sqlite",
    "history.sqlite",
    "care.jsonl",
    "commissioning.jsonl",
    "pin",
)
PARTS = (SHOP, STATE, HISTORY, CARE, COMMISSIONED, PIN)
#: More than this unpacked is no backup of a shop: the history alone is held at 200 MB. Bytes, ours.
LARGEST_BYTES = 1_000_000_000
LARGEST_MANIFEST_BYTES = 65_536
#: Read and written in pieces of this size, so that a board with little memory takes it. Bytes, ours.
PIECE_BYTES = 1 << 18


class NotABackup(Exception):
    """The file cannot be put back; the text is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself.

    Args:
        program: version of the program that made it.
        shop: the shop's name.
        shop_file: file name of the shop file, without a folder.
        made_at: local time with its zone, ISO 8601.
        parts: by name, size in bytes and SHA-256 of what is unpacked.
        left_out: why a part is not in it, sentences.
    """

    program: str
    shop: str
    shop_file: str
    made_at: str
    parts: Mapping[str, tuple[int, str]]
    left_out: tuple[str, ...] = ()

    def as_bytes(self) -> bytes:
        """The manifest as it stands in the file."""
        parts = {name: {"bytes": size, "sha256": total} for name, (size, total) in self.parts.items()}
        said = {
            "what": WHAT,
            "form": FORM if COMMISSIONED in self.parts else 1,
            "program": self.program,
            "shop": self.shop,
            "shop_file": self.shop_file,
            "made_at": self.made_at,
            "parts": parts,
            "left_out": list(self.left_out),
        }
        return (json.dumps(said, indent=1, ensure_ascii=False) + "\n").encode()

    @property
    def made(self) -> str:
        """When it was made, for people: "2026-11-25 17:04"."""
        return self.made_at[:16].replace("T", " ")


def sum_of(path: Path) -> tuple[int, str]:
    """Size and SHA-256 of a file."""
    total, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            total.update(piece)
            size += len(piece)
    return size, total.hexdigest()


def read_manifest(archive: zipfile.ZipFile, name: str) -> Manifest:
    """The manifest of an opened file that people call ``name``.

    Raises: NotABackup.
    """
    foreign = NotABackup(f"{name} is no backup of this program. Name a file that gatekeeper backup has made.")
    try:
        if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST_BYTES:
            raise foreign
        said = json.loads(archive.read(MANIFEST).decode())
    except (KeyError, ValueError, NotImplementedError, RuntimeError):
        raise foreign from None
    if not isinstance(said, dict) or said.get("what") != WHAT:
        raise foreign
    form = said.get("form")
    if isinstance(form, int) and not isinstance(form, bool) and form > FORM:
        raise NotABackup(
            f"{name} was made by a newer program (version {_word(said.get('program'))}, form {form}); this one reads "
            f"form {FORM}. Install that version, then restore."
        )
    is_known = isinstance(form, int) and not isinstance(form, bool) and 1 <= form <= FORM
    manifest = _manifest_of(said) if is_known else None
    if manifest is None:
        raise NotABackup(f"{name} is damaged: its manifest cannot be believed. Use an earlier backup.")
    return manifest


def _word(value: object) -> str:
    return value[:40] if isinstance(value, str) and value.isprintable() else "unknown"


def _manifest_of(said: Mapping[str, Any]) -> Manifest | None:
    parts: dict[str, tuple[int, str]] = {}
    raw, left_out = said.get("parts"), said.get("left_out")
    words = [said.get(key) for key in ("program", "shop", "shop_file", "made_at")]
    if not isinstance(raw, dict) or not isinstance(left_out, list) or not all(_is_line(word) for word in words):
        return None
    for name, part in raw.items():
        size = part.get("bytes") if isinstance(part, dict) else None
        total = part.get("sha256") if isinstance(part, dict) else None
        if name not in PARTS or isinstance(size, bool) or not isinstance(size, int) or not isinstance(total, str):
            return None
        parts[name] = (size, total)
    program, shop, shop_file, made_at = (str(word) for word in words)
    is_plain = shop_file == Path(shop_file).name and shop_file not in ("", ".", "..")
    if SHOP not in parts or not is_plain or not all(_is_line(one) for one in left_out):
        return None
    return Manifest(program, shop, shop_file, made_at, parts, tuple(left_out))


def _is_line(word: object) -> bool:
    return isinstance(word, str) and len(word) <= 400 and word.isprintable()
