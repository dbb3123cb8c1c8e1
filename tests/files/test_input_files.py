"""No broken file of any kind ends in a traceback or a hang: it is read, or refused in words."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from broken_files import KINDS, Kind, broken, try_out

#: So many times the usual number of cases: GATEKEEPER_FUZZ=50 for a night.
TIMES = int(os.environ.get("GATEKEEPER_FUZZ", "1"))


@pytest.mark.timeout(600 * TIMES)
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_broken_file_is_read_or_refused_in_words(kind: Kind, tmp_path: Path) -> None:
    told = try_out(kind, tmp_path, kind.usual * TIMES)
    assert sum(told.values()) >= kind.usual * TIMES


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("content", [b"", b"\x00" * 5000, b"\xff" * 100, b"PK\x03\x04", b"SQLite format 3\x00", b"---"])
def test_a_file_that_is_something_else_is_read_or_refused_in_words(kind: Kind, content: bytes, tmp_path: Path) -> None:
    (tmp_path / kind.file).write_bytes(content)
    said = "read"
    try:
        kind.read(tmp_path)
    except kind.refusals as refusal:
        said = str(refusal)
    assert said.strip()


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_the_good_file_of_each_kind_is_read(kind: Kind, tmp_path: Path) -> None:
    kind.make(tmp_path)
    kind.read(tmp_path)


@pytest.mark.parametrize(
    ("slip", "made"),
    [
        ((0.5, "flip", 1, b"x"), b"0123476789"),
        ((0.5, "drop", 2, b"x"), b"01234789"),
        ((0.5, "put in", 1, b"xy"), b"01234xy56789"),
        ((0.5, "over", 1, b"xy"), b"01234xy789"),
        ((0.5, "double", 2, b"x"), b"012345656789"),
        ((0.5, "cut", 1, b"x"), b"01234"),
        ((0.5, "zero", 2, b"x"), b"01234\x00\x00789"),
    ],
)
def test_each_slip_breaks_a_file_in_its_way(slip: tuple[float, str, int, bytes], made: bytes) -> None:
    assert broken(b"0123456789", [slip]) == made
