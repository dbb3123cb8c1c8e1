"""A crash at every write, cut and sync of the kept values: old or new, never a mix, nothing acknowledged is lost."""

import os
import random
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from recording_disk import FULL, IOERR_WRITE, OK, Crash, Op, lay_out, recording

from gatekeeper.control.messages import Keep
from gatekeeper.records import damage, state_form
from gatekeeper.records.state import NotKeptError, StateStore
from gatekeeper.records.state_form import Change

#: What a shop keeps: a first list, a start, a delay with its change, a motor out of service, a stop, a long value.
PUTS: list[tuple[list[Keep], list[Change]]] = [
    ([Keep("starts/fan", {"level": 2.0}), Keep("starts/vac", {"level": 2.0}), Keep("clean_stop", None)], []),
    ([Keep("starts/fan", {"level": 1.0}), Keep("on/fan", True), Keep("beat", {"t_s": 7.0, "on": ["fan"]})], []),
    ([Keep("setting/fan/spin_down_s", 20.0)], [Change(1.0, "the page", "fan", "spin_down_s", 8.0, 20.0)]),
    ([Keep("out_of_service/fan", {"who": "page", "why": "bag " * 900}), Keep("on/fan", None)], []),
    ([Keep("emergency", True), Keep("latched/vac", "welded")], []),
    ([Keep("out_of_service/fan", None), Keep("starts/fan", {"level": 2.0}), Keep("long", "x" * 30_000)], []),
    ([Keep("long", None), Keep("emergency", None), Keep("clean_stop", True)], []),
]
#: Power cuts tried at each operation, by how much of what was not synced reaches the disk.
REACHES = (0.0, 0.25, 0.5, 0.5, 0.5, 0.75, 1.0)


def values_after(count: int) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for keeps, _ in PUTS[:count]:
        for keep in keeps:
            values[keep.key] = keep.value
    return {key: value for key, value in values.items() if value is not None}


@pytest.fixture
def written(tmp_path: Path) -> list[Op]:
    """All that the disk was told from the first start on, with a mark at each acknowledgement."""
    folder = tmp_path / "shop"
    with recording() as disk, pytest.MonkeyPatch.context() as patched:
        sync_folder, mark_begun = damage.sync_folder, StateStore._mark_begun

        def note_sync(path: Path) -> None:
            sync_folder(path)
            disk.ops.append(Op("sync folder"))

        def note_begun(self: StateStore) -> None:
            mark_begun(self)
            note = self.path.with_name(self.path.name + ".begun")
            # It is no database, so it is noted here, before the sync of its folder that came last.
            last = disk.ops.pop()
            disk.ops += [Op("create", str(note)), Op("write", str(note), 0, note.read_bytes()), Op("sync", str(note))]
            disk.ops.append(last)

        patched.setattr(os, "fsync", lambda handle: None)
        patched.setattr(damage, "sync_folder", note_sync)
        patched.setattr(StateStore, "_mark_begun", note_begun)
        store = StateStore(folder / "state.sqlite")
        assert store.load("boot").fresh
        for number, (keeps, changes) in enumerate(PUTS, 1):
            store.put(keeps, changes)
            disk.mark(number)
        store.close()
    return disk.ops


@pytest.fixture
def no_waiting(written: list[Op], monkeypatch: pytest.MonkeyPatch) -> None:
    """Once all is written: the folders that are laid out are only looked at, by the hundred."""
    whole = state_form.connect

    def quick(path: Path) -> sqlite3.Connection:
        connection = whole(path)
        connection.execute("PRAGMA synchronous = OFF")
        return connection

    monkeypatch.setattr(state_form, "connect", quick)
    monkeypatch.setattr(os, "fsync", lambda handle: None)


def look(files: dict[str, bytes], tmp_path: Path, acknowledged: int, where: str) -> int:
    """Start anew on these files; how many puts are there."""
    folder = tmp_path / "found"
    lay_out(files, tmp_path / "shop", folder)
    store = StateStore(folder / "state.sqlite")
    kept = store.load("the next boot")
    changes = store.changes()
    store.close()
    shutil.rmtree(folder)
    assert not kept.damaged, f"{where}: {store.trouble}"
    counts = range(acknowledged, min(acknowledged + 2, len(PUTS) + 1))
    possible = [count for count in counts if kept.values == values_after(count)]
    assert possible, f"{where}: {acknowledged} puts were acknowledged, found {kept.values}"
    assert kept.fresh == (possible[0] == 0), where
    assert len(changes) == (possible[-1] >= 3), where
    return possible[-1]


@pytest.mark.usefixtures("no_waiting")
def test_a_kill_after_every_operation(written: list[Op], tmp_path: Path) -> None:
    crash, acknowledged, seen = Crash(written), 0, set()
    for upto in range(len(written) + 1):
        acknowledged += upto > 0 and written[upto - 1].what == "mark"
        seen.add(look(crash.killed(upto), tmp_path, acknowledged, f"after operation {upto}"))
    assert seen == set(range(len(PUTS) + 1))
    assert len(written) > 100


@pytest.mark.usefixtures("no_waiting")
def test_a_power_cut_after_every_operation(written: list[Op], tmp_path: Path) -> None:
    crash, acknowledged, chance = Crash(written), 0, random.Random(20250309)
    for upto in range(len(written) + 1):
        acknowledged += upto > 0 and written[upto - 1].what == "mark"
        for reaches in REACHES:
            look(crash.power_cut(upto, chance, reaches), tmp_path, acknowledged, f"after {upto}, reaching {reaches}")


@pytest.mark.usefixtures("no_waiting")
def test_without_its_syncs_a_power_cut_would_be_seen_here(written: list[Op], tmp_path: Path) -> None:
    """The test's own test: were the database's syncs lies, some acknowledged put would be gone."""
    main = str(tmp_path / "shop" / "state.sqlite")
    lying = [op for op in written if (op.what, op.path) != ("sync", main)]
    lost = 0
    for seed in range(20):
        found = tmp_path / f"found {seed}"
        lay_out(Crash(lying).power_cut(len(lying), random.Random(seed), 0.5), tmp_path / "shop", found)
        store = StateStore(found / "state.sqlite")
        lost += store.load("the next boot").values != values_after(len(PUTS))
        store.close()
    assert lost > 5


@pytest.mark.parametrize(
    ("code", "said"), [(FULL, "there is no room left on its disk"), (IOERR_WRITE, "its disk failed")]
)
def test_a_disk_that_fails_at_any_operation(
    code: int, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each operation of a put fails once: the put says so or is kept, and the next one finds all in order."""
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    refusals: list[str] = []
    failed = 0
    with recording() as disk:
        for number in range(60):
            left = number

            def fails(op: Op) -> int:
                nonlocal left
                left -= 1
                return code if left == -1 else OK

            path = tmp_path / str(number) / "state.sqlite"
            store = StateStore(path)
            store.load("boot")
            store.put([Keep("starts/fan", {"level": 2.0})])
            disk.verdict = fails
            is_kept = True
            try:
                store.put([Keep("starts/fan", {"level": 1.0}), Keep("long", "y" * 20_000)])
            except NotKeptError as refusal:
                is_kept = False
                refusals.append(str(refusal))
            disk.verdict = lambda op: OK
            store.close()
            again = StateStore(path)
            kept = again.load("boot")
            assert not kept.damaged
            assert (kept.values["starts/fan"] == {"level": 1.0}) == ("long" in kept.values)
            assert "long" in kept.values or not is_kept
            again.put([Keep("starts/fan", {"level": 0.5})])
            again.close()
            if left >= 0:
                break
            failed += 1
    # Most failures are met by opening the file once more and writing everything; those that are not say why.
    assert 10 < failed < 60
    assert all(said in refusal for refusal in refusals)
