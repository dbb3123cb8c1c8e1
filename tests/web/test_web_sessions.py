"""Signed-in phones: kept as hashes, known after a restart, listed, taken back, and gone with a changed PIN."""

import json
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gatekeeper.records.small_file import MOST_BYTES, SmallFile
from gatekeeper.web.door_rights import Right, right_for
from gatekeeper.web.door_sessions import MOST_SESSIONS, SESSION_S, InMemory, Sessions

NOW_S = 1_790_000_000.0


class Clock:
    def __init__(self) -> None:
        self.now_s = NOW_S

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_a_phone_is_known_by_its_token_until_its_time_is_over(clock: Clock) -> None:
    sessions = Sessions(InMemory(), clock)
    token = sessions.open(Right.AIR, "192.168.1.23")
    assert sessions.right_of(token) is Right.AIR
    assert sessions.right_of(token + "x") is Right.NOTHING
    assert sessions.right_of("\ud800") is Right.NOTHING
    assert sessions.right_of(None) is Right.NOTHING
    clock.now_s += SESSION_S
    assert sessions.right_of(token) is Right.NOTHING
    assert sessions.listed() == []


def test_a_restart_leaves_phones_signed_in_and_only_hashes_are_kept(clock: Clock, tmp_path: Path) -> None:
    file = SmallFile(tmp_path / "phones.json")
    before = Sessions(file, clock, "481516/")
    token = before.open(Right.SETTINGS, "192.168.1.23")
    before.save()
    assert token not in (tmp_path / "phones.json").read_text()
    assert (tmp_path / "phones.json").stat().st_mode & 0o777 == 0o600
    after = Sessions(SmallFile(tmp_path / "phones.json"), clock, "481516/")
    assert after.right_of(token) is Right.SETTINGS
    assert [(one.address, one.since_wall_s) for one in after.listed()] == [("192.168.1.23", NOW_S)]
    clock.now_s += SESSION_S
    assert Sessions(file, clock, "481516/").right_of(token) is Right.NOTHING


def test_another_pin_signs_every_phone_out_by_whatever_way_it_changed(clock: Clock) -> None:
    store = InMemory()
    before = Sessions(store, clock, "481516/")
    token = before.open(Right.SETTINGS, None)
    before.save()
    assert Sessions(store, clock, "108108/").right_of(token) is Right.NOTHING
    before.revoke_all("108108/")
    before.save()
    kept = before.open(Right.SETTINGS, None)
    before.save()
    after = Sessions(store, clock, "108108/")
    assert (after.right_of(token), after.right_of(kept)) == (Right.NOTHING, Right.SETTINGS)
    assert Sessions(store, clock, "481516/").right_of(kept) is Right.NOTHING


def test_phones_are_listed_by_when_they_were_seen_and_revoked_by_their_handle(clock: Clock) -> None:
    sessions = Sessions(InMemory(), clock)
    first, second = (sessions.open(Right.SETTINGS, f"192.168.1.{n}") for n in (1, 2))
    clock.now_s += 60
    assert sessions.right_of(first, "192.168.1.9") is Right.SETTINGS
    listed = sessions.listed()
    assert [(one.address, one.seen_wall_s - NOW_S) for one in listed] == [("192.168.1.9", 60), ("192.168.1.2", 0)]
    assert listed[0].handle == sessions.handle_of(first)
    assert sessions.revoke(listed[0].handle) is True
    assert sessions.revoke(listed[0].handle) is False
    assert [sessions.right_of(one) for one in (first, second)] == [Right.NOTHING, Right.SETTINGS]
    sessions.close(second)
    assert sessions.right_of(second) is Right.NOTHING


def test_the_phone_that_was_seen_longest_ago_makes_room(clock: Clock) -> None:
    sessions = Sessions(InMemory(), clock)
    tokens = []
    for _ in range(MOST_SESSIONS + 1):
        clock.now_s += 1
        tokens.append(sessions.open(Right.AIR, None))
        sessions.right_of(tokens[0], "192.168.1.1")
    assert [sessions.right_of(one) is Right.AIR for one in tokens] == [True, False] + [True] * (MOST_SESSIONS - 1)


def test_a_disk_that_says_no_leaves_what_stood_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = SmallFile(tmp_path / "pin")
    file.write("481516\n")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        file.write("108108\n")
    assert file.read() == "481516\n"
    assert [path.name for path in tmp_path.iterdir()] == ["pin"]


def test_a_file_that_is_no_text_or_too_large_counts_as_none(tmp_path: Path) -> None:
    path = tmp_path / "phones.json"
    assert SmallFile(path).read() is None
    path.write_bytes(b"\xff\xfe")
    assert SmallFile(path).read() is None
    path.write_bytes(b"x" * (MOST_BYTES + 1))
    assert SmallFile(path).read() is None
    path.write_bytes(b"x" * MOST_BYTES)
    assert SmallFile(path).read() == "x" * MOST_BYTES


def test_a_link_that_somebody_left_is_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.write_text("theirs")
    (tmp_path / ".pin.new").symlink_to(other)
    SmallFile(tmp_path / "pin").write("481516\n")
    assert other.read_text() == "theirs"
    assert not (tmp_path / "pin").is_symlink()


def _kept() -> str:
    store = InMemory()
    sessions = Sessions(store, lambda: NOW_S, "481516/")
    sessions.open(Right.SETTINGS, "192.168.1.23")
    sessions.save()
    text = store.read()
    assert text is not None
    return text


KEPT = _kept()
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda one: st.lists(one, max_size=4) | st.dictionaries(st.text(), one, max_size=4),
    max_leaves=12,
)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(text=st.text())
@example("")
@example("[" * 100_000)
@example("null")
@example('{"form": 1}')
@example('{"form": 1, "phones": 7}')
@example('{"form": 1, "salt": 1e400, "mark": "", "phones": []}')
def test_any_text_means_nobody_is_signed_in(text: str) -> None:
    store = InMemory()
    store.write(text)
    assert Sessions(store, lambda: NOW_S, "481516/").listed() == []


@settings(deadline=None, derandomize=True, max_examples=60)
@given(key=st.sampled_from([*json.loads(KEPT), *json.loads(KEPT)["phones"][0]]), value=JSON)
@example("ends_wall_s", float("nan"))
@example("ends_wall_s", 10**400)
@example("seen_wall_s", -1)
@example("right", "OWNER")
@example("handle", "<script>")
@example("address", 7)
def test_a_kept_text_with_one_strange_value_is_read_or_dropped_whole(key: str, value: object) -> None:
    found = json.loads(KEPT)
    (found if key in found else found["phones"][0])[key] = value
    store = InMemory()
    store.write(json.dumps(found))
    sessions = Sessions(store, lambda: NOW_S, "481516/")
    for one in sessions.listed():
        assert isinstance(one.right, Right)
        assert 0 <= one.seen_wall_s < 2**33
        assert one.handle.isalnum()
    sessions.save()


@pytest.mark.parametrize(
    ("what", "right"),
    [
        ("stop", Right.NOTHING),
        ("air_here", Right.AIR),
        ("run", Right.AIR),
        ("open", Right.AIR),
        ("hold", Right.AIR),
        ("out_of_service", Right.AIR),
        ("release", Right.SETTINGS),
        ("reset", Right.SETTINGS),
        ("clear", Right.SETTINGS),
        ("back_in_service", Right.SETTINGS),
        ("anything else", Right.SETTINGS),
    ],
)
def test_what_each_request_needs(what: str, right: Right) -> None:
    assert right_for(what) is right
