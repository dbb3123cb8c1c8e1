"""Names of the boot and of the run."""

import re
from pathlib import Path

from gatekeeper.records.boot import boot_id, run_id


def test_the_boot_id_is_the_kernels(tmp_path: Path) -> None:
    source = tmp_path / "boot_id"
    source.write_text("0F4E5B3A-1111-4222-8333-123456789ABC\n")
    assert boot_id(source) == "0f4e5b3a-1111-4222-8333-123456789abc"


def test_without_the_kernels_word_every_start_is_another_boot(tmp_path: Path) -> None:
    source = tmp_path / "boot_id"
    source.write_bytes(b"\xff\xfe")
    ids = [boot_id(tmp_path / "none"), boot_id(tmp_path / "none"), boot_id(source)]
    assert len(set(ids)) == 3
    assert all(re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", text) for text in ids)


def test_every_run_has_its_own_name() -> None:
    names = {run_id() for _ in range(100)}
    assert len(names) == 100
    assert all(re.fullmatch(r"[0-9a-f]{12}", name) for name in names)
