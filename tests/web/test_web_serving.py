"""The real server: streams that share one drawing, tell when the controller is silent, and end at once."""

import contextlib
import http.client
import json
import socket
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from fake_face import PIN, FakeFace
from shop_views import clearing, cutting, shop

from gatekeeper.web import live
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.serving import Serving

DEADLINE_S = 30


class Stream:
    """One open page: reads one event at a time."""

    def __init__(self, port: int, page: str = "shop") -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)
        self._connection.request("GET", f"/live?page={page}")
        self.response = self._connection.getresponse()

    def close(self) -> None:
        self.response.close()
        self._connection.close()

    def event(self) -> tuple[str, str] | None:
        """Kind and data of the next event; None at the end."""
        kind, data = "message", ""
        while line := self.response.readline().decode().rstrip("\n") if not self.response.isclosed() else "":
            name, _, value = line.partition(": ")
            if name == "event":
                kind = value
            else:
                data = value
        return (kind, data) if data else None

    def parts(self) -> dict[str, str]:
        """The next event that brings parts."""
        while (event := self.event()) is not None:
            if event[0] == "message":
                found = json.loads(event[1])
                assert isinstance(found, dict)
                return found
        raise AssertionError("the stream ended")

    def beat(self) -> tuple[float, float]:
        """The next sign of life: the clock and the last step."""
        while (event := self.event()) is not None:
            if event[0] == "beat":
                now_s, step_s = event[1].split()
                return float(now_s), float(step_s)
        raise AssertionError("the stream ended")


@pytest.fixture
def face() -> FakeFace:
    return FakeFace(shop())


@pytest.fixture
def serving(face: FakeFace, monkeypatch: pytest.MonkeyPatch) -> Iterator[Serving]:
    # So patient with open requests that only ending the streams themselves lets it stop in time.
    monkeypatch.setattr("gatekeeper.web.serving._LAST_ANSWERS_S", 60)
    made = Serving(create_app(face, DoorSettings(PIN)))
    made.start()
    yield made
    made.stop()


Open = Callable[..., Stream]


@pytest.fixture
def look(serving: Serving) -> Iterator[Open]:
    """Opens pages, and closes them at the end."""
    with contextlib.ExitStack() as opened:

        def look(page: str = "shop") -> Stream:
            stream = Stream(serving.port, page)
            opened.callback(stream.close)
            return stream

        yield look


def test_a_stream_brings_the_whole_first_and_then_only_what_changed(look: Open, face: FakeFace) -> None:
    stream = look()
    assert stream.response.getheader("content-type") == "text/event-stream; charset=utf-8"
    whole = stream.parts()
    assert set(whole) == {"stops", "top", "needs", "runs", "ducts", "listed", "spin", "messages", "bench"}
    face.show(replace(shop(), sentence=cutting().sentence))
    change = stream.parts()
    assert set(change) == {"top"}
    assert "Table saw running, " in change["top"]


def test_a_page_that_comes_later_gets_the_whole_of_what_is_so_now(look: Open, face: FakeFace) -> None:
    first = look()
    first.parts()
    face.show(clearing())
    first.parts()
    late = look().parts()
    assert "Clearing: collector stops in " in late["top"]
    assert "messages" in late  # though it did not change
    assert set(look("machine/Planer").parts()) == {"stops", "machine", "spin", "sensed"}
    assert set(look("settings").parts()) == {"stops", "settings"}


def test_the_sign_of_life_is_the_control_threads_own(look: Open, face: FakeFace) -> None:
    stream = look()
    assert stream.beat() == (1000.0, 1000.0)
    face.hung_at_s = 990.5
    while (beat := stream.beat()) == (1000.0, 1000.0):
        continue
    assert beat == (1000.0, 990.5)


def test_every_stream_is_ended_at_once_when_the_server_stops(serving: Serving, look: Open) -> None:
    streams = [look() for _ in range(20)]
    for stream in streams:
        stream.parts()
    serving.stop()
    assert serving.is_running is False
    for stream in streams:
        while stream.event() is not None:
            continue
    with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S):
        pass


def test_more_pages_than_it_bears_are_refused(look: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gatekeeper.web.handlers.MOST_STREAMS", 1)
    look().parts()
    refused = look()
    assert refused.response.status == 429
    assert refused.response.getheader("retry-after") == "5"
    assert refused.response.read().decode() == "Too many pages are open at once. Close one and try again.\n"


def test_one_drawing_serves_all_pages(look: Open, face: FakeFace, monkeypatch: pytest.MonkeyPatch) -> None:
    streams = [look() for _ in range(5)]
    for stream in streams:
        stream.parts()
    drawn: list[live.Parts] = []
    real = live._event

    def counted(parts: live.Parts) -> bytes:
        drawn.append(parts)
        return real(parts)

    monkeypatch.setattr(live, "_event", counted)
    face.show(replace(shop(), sentence=cutting().sentence))
    for stream in streams:
        assert set(stream.parts()) == {"top"}
    assert len(drawn) == 2  # the whole and the change, whatever the number of pages


def test_a_drawing_that_fails_is_said_and_tried_again(
    serving: Serving, look: Open, face: FakeFace, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    stream = look()
    stream.parts()
    assert serving._live is not None
    draw, failures = serving._live._draw, [ZeroDivisionError("no ink")]

    def fails_once(*given: Any) -> live.Parts | None:
        if failures:
            raise failures.pop()
        return draw(*given)

    monkeypatch.setattr(serving._live, "_draw", fails_once)
    face.show(replace(shop(), sentence=cutting().sentence))
    assert set(stream.parts()) == {"top"}
    assert "the page could not be drawn" in caplog.text


def test_a_taken_port_is_said_at_once(serving: Serving, face: FakeFace) -> None:
    with pytest.raises(OSError, match="Address already in use"):
        Serving(create_app(face, DoorSettings(PIN)), port=serving.port)


def test_it_answers_on_ipv6_under_its_literal_address(face: FakeFace) -> None:
    try:
        made = Serving(create_app(face, DoorSettings(PIN)), host="::1")
    except OSError:
        pytest.skip("missing hardware: no IPv6 on this machine")
    made.start()
    connection = http.client.HTTPConnection("::1", made.port, timeout=DEADLINE_S)
    try:
        connection.request("GET", "/cautions")
        answer = connection.getresponse()
        assert (answer.status, b"Cautions" in answer.read()) == (200, True)
    finally:
        connection.close()
        made.stop()
