"""Every kind of file that people or cards hand in, broken in ways that nobody thought of.

Each kind has a good file, a reader, and the refusals that its reader may raise; whatever else comes out is a fault.
"""

import io
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gatekeeper.backing import CannotRestore, checked, source_of
from gatekeeper.control.messages import Entry, Keep
from gatekeeper.recording import RecordingError, read_recording
from gatekeeper.records.backup import make_backup
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError
from gatekeeper.records.small_file import SmallFile
from gatekeeper.records.state import StateStore
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.web.door_rights import Right
from gatekeeper.web.door_sessions import Sessions
from sim.scenario import load_scenario

SCENARIO = Path(__file__).parents[2] / "sim" / "scenarios" / "planer-then-saw.yaml"
WALL_S = 1_790_000_000.0


@dataclass(frozen=True)
class Kind:
    """One kind of file. ``usual``: how many cases the suite tries; the reader sees a folder with the file in it."""

    name: str
    file: str
    usual: int
    make: Callable[[Path], None]
    read: Callable[[Path], object]
    refusals: tuple[type[Exception], ...] = ()


def _garage() -> Shop:
    found = load_shop(example("garage-one-collector").read_text(encoding="utf-8"), "garage.yaml")
    assert isinstance(found, Shop)
    return found


def _text(path: Path) -> str:
    """As ``gatekeeper.files.read_text`` takes it: what is no UTF-8 is refused before."""
    return path.read_bytes().decode("utf-8")


def _make_shop(folder: Path) -> None:
    shutil.copy(example("garage-one-collector"), folder / "shop.yaml")


def _make_scenario(folder: Path) -> None:
    shutil.copy(SCENARIO, folder / "scenario.yaml")


def _read_shop(folder: Path) -> object:
    found = load_shop(_text(folder / "shop.yaml"), "shop.yaml")
    assert isinstance(found, Shop | Faults)
    return found


def _read_scenario(folder: Path) -> object:
    found = load_scenario(_text(folder / "scenario.yaml"), "scenario.yaml", _garage())
    assert found is not None
    return found


def _current() -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    return 5.0 * np.sin(np.arange(2000) * 2 * np.pi * 50 / 2000)


def _make_npz(folder: Path) -> None:
    held = io.BytesIO()
    np.savez_compressed(held, current_A=_current())
    (folder / "sawing.npz").write_bytes(held.getvalue())


def _make_csv(folder: Path) -> None:
    lines = [f"{number / 2000:.5f},{value:.4f}" for number, value in enumerate(_current())]
    (folder / "sawing.csv").write_text("seconds,amperes\n" + "\n".join(lines) + "\n")


def _read_sawing(file: str) -> Callable[[Path], object]:
    return lambda folder: read_recording(folder / file, 2000.0, 50.0)


def _make_state(folder: Path) -> None:
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    store.put([Keep("spin_down/collector", 12.0), Keep("out_of_service/collector", {"who": "page", "why": "x"})])
    store.close()


def _read_state(folder: Path) -> object:
    store = StateStore(folder / "state.sqlite")
    found = store.load("boot")
    store.put([Keep("spin_down/collector", 9.0)])
    store.close()
    return found


def _make_history(folder: Path) -> None:
    history = History(folder / "history.sqlite")
    history.open()
    entries = [Entry(n, n, float(n), "boot", "run", "tool", "planer", "running", why="seen") for n in range(1, 40)]
    history.write([(entry, WALL_S + entry.t_s) for entry in entries])
    history.close()


def _read_history(folder: Path) -> object:
    reader = HistoryReader(folder / "history.sqlite")
    found = reader.last(50)
    reader.lanes(WALL_S, WALL_S + 100.0)
    reader.totals()
    return found


def _open_history(folder: Path) -> object:
    history = History(folder / "history.sqlite")
    said = history.open()
    history.close()
    return said


def _make_backup(folder: Path) -> None:
    inside = folder / "state"
    inside.mkdir()
    _make_state(inside)
    _make_history(inside)
    text = example("one-evening").read_text(encoding="utf-8")
    make_backup(source_of("A shop", "shop.yaml", text, inside), folder / "shop.backup")
    shutil.rmtree(inside)


def _make_phones(folder: Path) -> None:
    sessions = Sessions(SmallFile(folder / "phones.json"), lambda: WALL_S, "481516/")
    sessions.open(Right.SETTINGS, "192.168.1.23")
    sessions.save()


def _read_phones(folder: Path) -> object:
    return Sessions(SmallFile(folder / "phones.json"), lambda: WALL_S, "481516/").listed()


KINDS = (
    Kind("shop file", "shop.yaml", 160, _make_shop, _read_shop, (UnicodeDecodeError,)),
    Kind("scenario file", "scenario.yaml", 100, _make_scenario, _read_scenario, (UnicodeDecodeError,)),
    Kind("recording .npz", "sawing.npz", 160, _make_npz, _read_sawing("sawing.npz"), (RecordingError,)),
    Kind("recording .csv", "sawing.csv", 120, _make_csv, _read_sawing("sawing.csv"), (RecordingError,)),
    Kind("state file", "state.sqlite", 120, _make_state, _read_state),
    Kind("history file, read", "history.sqlite", 120, _make_history, _read_history, (HistoryUnreadableError,)),
    Kind("history file, opened", "history.sqlite", 80, _make_history, _open_history),
    Kind("backup file", "shop.backup", 100, _make_backup, lambda f: checked(f / "shop.backup"), (CannotRestore,)),
    Kind("signed-in phones", "phones.json", 60, _make_phones, _read_phones),
)

#: One slip: where (as a share of the file), what, how much, and with which bytes.
SLIP = st.tuples(
    st.floats(0, 1, exclude_max=True),
    st.sampled_from(["flip", "drop", "put in", "over", "double", "cut", "zero"]),
    st.integers(1, 4096),
    st.binary(min_size=1, max_size=24)
    | st.sampled_from([b"\x00", b"[" * 2000, b"&a *a ", b"!!python/object:x", b"9" * 400]),
)


def broken(content: bytes, slips: list[tuple[float, str, int, bytes]]) -> bytes:
    """The bytes after some slips."""
    found = bytearray(content)
    for share, what, much, new in slips:
        at = int(share * len(found))
        match what:
            case "flip":
                if found:
                    found[at] ^= 1 << (much % 8)
            case "drop":
                del found[at : at + much]
            case "put in":
                found[at:at] = new
            case "over":
                found[at : at + len(new)] = new
            case "double":
                found[at:at] = found[at : at + much]
            case "cut":
                del found[at:]
            case _:
                found[at : at + much] = bytes(min(much, len(found) - at))
    return bytes(found)


def try_out(kind: Kind, folder: Path, cases: int, *, seed_free: bool = False) -> dict[str, int]:
    """Read so many broken files of one kind; how many were read and how many refused."""
    good = folder / "good"
    good.mkdir(parents=True)
    kind.make(good)
    content = (good / kind.file).read_bytes()
    told = {"read": 0, "refused": 0}
    said: list[str] = []
    number = 0

    @settings(
        max_examples=cases,
        derandomize=not seed_free,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(slips=st.lists(SLIP, min_size=1, max_size=4))
    def read(slips: list[tuple[float, str, int, bytes]]) -> None:
        nonlocal number
        number += 1
        here = folder / str(number)
        shutil.copytree(good, here)
        (here / kind.file).write_bytes(broken(content, slips))
        try:
            kind.read(here)
            told["read"] += 1
        except kind.refusals as refusal:
            said.append(str(refusal))
            told["refused"] += 1
        shutil.rmtree(here)

    read()
    assert all(one.strip() for one in said)
    return told
