"""The log of care: only added to, by several at once; a torn line takes no other with it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gatekeeper.records.care_log import CareLog, Done, NotWrittenError

DONE = [
    Done(1.0, "bin_emptied", "collector", "Ada", {"running_s": 3600.5}),
    Done(2.0, "suction", "collector", "Bö", {"tap": "main", "gates": ["planer gate"], "pa": 1500.0}),
    Done(3.0, "stop_proved", "collector", "the controller", {"took_s": None, "allowed_s": 1.75}),
]


def filled(path: Path) -> CareLog:
    log = CareLog(path)
    for done in DONE:
        log.add(done)
    return log


def test_what_was_added_is_read_in_order(tmp_path: Path) -> None:
    log = filled(tmp_path / "care.jsonl")
    assert list(log.read()) == DONE
    assert list(CareLog(log.path).read()) == DONE
    assert log.torn == 0
    assert log.path.stat().st_mode & 0o007 == 0


def test_what_an_administrator_begins_goes_to_the_owner_of_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[tuple[int, int]] = []
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(os, "fchown", lambda _file, owner, group: given.append((owner, group)))
    filled(tmp_path / "care.jsonl")
    there = tmp_path.stat()
    assert given == [(there.st_uid, there.st_gid)]  # at the first line only


def test_a_file_that_is_not_there_is_an_empty_log(tmp_path: Path) -> None:
    assert CareLog(tmp_path / "care.jsonl").read() == ()


@pytest.mark.parametrize("cut", [1, 5, 30])
def test_a_line_that_a_power_cut_tore_takes_no_other_with_it(tmp_path: Path, cut: int) -> None:
    log = filled(tmp_path / "care.jsonl")
    data = log.path.read_bytes()
    log.path.write_bytes(data[:-cut])
    log.add(DONE[0])
    found = list(log.read())
    # A cut of the line's end alone leaves it whole.
    assert found == ([*DONE, DONE[0]] if cut == 1 else [*DONE[:2], DONE[0]])
    assert log.torn == (0 if cut == 1 else 1)


def test_a_flipped_bit_costs_its_line_only(tmp_path: Path) -> None:
    log = filled(tmp_path / "care.jsonl")
    data = log.path.read_bytes()
    assert data.count(b"1500.0") == 1
    log.path.write_bytes(data.replace(b"1500.0", b"1900.0"))
    assert list(log.read()) == [DONE[0], DONE[2]]
    assert log.torn == 1


def test_what_is_no_line_of_ours_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "care.jsonl"
    path.write_bytes(b"\xff\xfe\n\nnothing\n00000000 {}\n")
    log = CareLog(path)
    assert log.read() == ()
    assert log.torn == 3


def test_a_second_program_may_add_meanwhile(tmp_path: Path) -> None:
    log = filled(tmp_path / "care.jsonl")
    assert len(log.read()) == 3
    script = (
        "from pathlib import Path\n"
        "from gatekeeper.records.care_log import CareLog, Done\n"
        f"log = CareLog(Path({str(log.path)!r}))\n"
        "for number in range(50): log.add(Done(float(number), 'suction', 'other', 'terminal', {'pa': 1.0}))\n"
    )
    other = subprocess.Popen([sys.executable, "-c", script])
    for number in range(50):
        log.add(Done(float(number), "suction", "mine", "page", {"pa": 2.0}))
    assert other.wait(30) == 0
    found = log.read()
    assert log.torn == 0
    assert [done.at_s for done in found if done.subject == "other"] == [float(number) for number in range(50)]
    assert [done.at_s for done in found if done.subject == "mine"] == [float(number) for number in range(50)]


def test_what_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "care.jsonl").mkdir()
    with pytest.raises(NotWrittenError) as refused:
        CareLog(tmp_path / "care.jsonl").add(DONE[0])
    assert str(refused.value) == (
        f"Not kept: care.jsonl in {tmp_path} cannot be written (Is a directory). See that the disk is not full and "
        "that the program may write there."
    )
