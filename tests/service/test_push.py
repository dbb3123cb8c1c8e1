"""Messages to one phone, against real HTTP servers on this machine: good ones, slow, dead, broken and treacherous."""

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from gatekeeper.service import push as push_module
from gatekeeper.service.clock import HandClock
from gatekeeper.service.face import Heap, MessageView, Saying, ShopView, Units
from gatekeeper.service.push import (
    AGAIN_S,
    FIRST_WAIT_S,
    LONGEST_WAIT_S,
    MOST_WAITING,
    OLD_S,
    TOLD_AFTER,
    NotSentError,
    Push,
    poster,
    push_of,
)
from gatekeeper.shop.model import MessageHeap, PasswordPlace
from gatekeeper.shop.model import Push as PushSettings

#: Only guards against hanging.
DEADLINE_S = 20.0


def message(code: str, subject: str, heap: Heap = Heap.NOW, **more: object) -> MessageView:
    made = MessageView(
        key=f"{code}:{subject}",
        heap=heap,
        sentence=f"{subject} hurts.",
        cause="A cause.",
        remedy="Look at it.",
        first_wall_s=1.0,
        last_wall_s=1.0,
    )
    return replace(made, **more)  # type: ignore[arg-type]


def view(*messages: MessageView) -> ShopView:
    return ShopView(
        version=1,
        seq=1,
        now_s=1.0,
        wall_s=1.0,
        name="Shed",
        units=Units.METRIC,
        sentence=Saying("Nothing runs."),
        harm=None,
        remote_start=False,
        attention=(),
        motors=(),
        gates=(),
        tools=(),
        ducts=(),
        messages=messages,
    )


@dataclass
class Server:
    """A push service on this machine."""

    answer: int = 200
    location: str | None = None
    got: list[tuple[str, str, str | None]] = field(default_factory=list)
    hold: threading.Event | None = None
    came: threading.Condition = field(default_factory=threading.Condition)
    url: str = ""

    def take(self, handler: BaseHTTPRequestHandler) -> None:
        text = handler.rfile.read(int(handler.headers["Content-Length"])).decode()
        with self.came:
            self.got.append((handler.path, text, handler.headers["Authorization"]))
            self.came.notify_all()
        if self.hold is not None:
            self.hold.wait(DEADLINE_S)
        handler.send_response(self.answer)
        if self.location is not None:
            handler.send_header("Location", self.location)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    def texts(self) -> list[str]:
        return [text for _, text, _ in self.got]


@pytest.fixture
def serve() -> Iterator[Callable[..., Server]]:
    running: list[tuple[ThreadingHTTPServer, threading.Thread, Server]] = []

    def make(**how: object) -> Server:
        server = Server(**how)  # type: ignore[arg-type]

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                server.take(self)

            def do_GET(self) -> None:
                with server.came:
                    server.got.append((self.path, "GET", self.headers["Authorization"]))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        http.daemon_threads = True
        thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        server.url = f"http://127.0.0.1:{http.server_port}/shop"
        running.append((http, thread, server))
        return server

    yield make
    for http, thread, server in running:
        if server.hold is not None:
            server.hold.set()
        http.shutdown()
        http.server_close()
        thread.join(DEADLINE_S)


class Told:
    """What stands against the push, as the page would show it."""

    def __init__(self) -> None:
        self.now: str | None = None
        self.ever: list[str | None] = []

    def __call__(self, code: str, sentence: str | None) -> None:
        assert code == "push"
        self.now = sentence
        self.ever.append(sentence)


def pushing(url: str, token: str | None = None, *heaps: Heap) -> tuple[Push, HandClock, Told]:
    clock, told = HandClock(100.0), Told()
    return Push(heaps or (Heap.NOW, Heap.TODAY), poster(url, token), told, clock.now), clock, told


def test_a_message_is_one_line_of_plain_text_sent_once_with_its_token(serve: Callable[..., Server]) -> None:
    server = serve()
    push, clock, told = pushing(server.url, "s3cret")
    for _ in range(3):
        push.look(view(message("gate_stuck", "saw gate")))
        push.send()
        clock.advance(60.0)
    assert server.got == [("/shop", "Shed: saw gate hurts. Look at it.", "Bearer s3cret")]
    assert told.ever == []


def test_only_the_heaps_asked_for_are_sent_and_nothing_that_was_seen_or_is_over(serve: Callable[..., Server]) -> None:
    server = serve()
    push, _, _ = pushing(server.url, None, Heap.NOW)
    push.look(
        view(
            message("no_air", "saw"),
            message("gate_stuck", "planer gate", Heap.TODAY),
            message("no_air", "lathe", seen=True),
            message("no_air", "jointer", cleared=True),
        )
    )
    push.send()
    assert server.got == [("/shop", "Shed: saw hurts. Look at it.", None)]


def test_what_comes_and_goes_is_sent_again_after_an_hour_and_says_how_often(serve: Callable[..., Server]) -> None:
    server = serve()
    push, clock, _ = pushing(server.url)
    for count in range(1, 8):
        push.look(view(message("sensor_lost", "saw", count=count)))
        push.send()
        clock.advance(AGAIN_S / 4)
        push.look(view(message("sensor_lost", "saw", count=count, cleared=True)))
    assert server.texts() == [
        "Shed: saw hurts. Look at it.",
        "Shed: saw hurts. (5 times) Look at it.",
    ]


def test_nothing_about_people_files_or_hosts_is_sent(serve: Callable[..., Server]) -> None:
    server = serve()
    push, _, _ = pushing(server.url)
    push.look(view(message("broker", "home", Heap.TODAY, sentence="The broker home at 192.168.1.5 refuses user ada.")))
    push.send()
    assert server.texts() == ["Shed: The broker home does not answer. Look at it."]


@pytest.mark.parametrize(
    ("answer", "why"), [(500, "it answers with 500"), (404, "it answers with 404"), (429, "it answers with 429")]
)
def test_a_service_in_trouble_is_asked_again_ever_more_rarely(
    serve: Callable[..., Server], answer: int, why: str
) -> None:
    server = serve(answer=answer)
    push, clock, told = pushing(server.url)
    waits = []
    for _ in range(12):
        push.look(view(message("no_air", "saw")))
        push.send()
        push.send()  # before its time is up nothing is tried
        waits.append(push.next_s - clock.now())
        clock.jump_to(push.next_s)
    assert waits[:4] == [FIRST_WAIT_S, 2 * FIRST_WAIT_S, 4 * FIRST_WAIT_S, 8 * FIRST_WAIT_S]
    assert waits[-1] == LONGEST_WAIT_S
    assert len(server.got) == 12
    assert told.ever == [f"Messages do not reach the phone: {why}."]
    server.answer = 200
    push.send()
    assert (push.waiting, told.now) == ((), None)
    assert server.texts()[-1] == "Shed: saw hurts. Look at it."


def test_a_redirect_is_not_followed_and_the_token_goes_nowhere_else(serve: Callable[..., Server]) -> None:
    stranger = serve()
    for answer in (301, 302, 303, 307, 308):
        server = serve(answer=answer, location=stranger.url)
        with pytest.raises(NotSentError, match=r"^it sends us elsewhere, and we do not follow$"):
            poster(server.url, "s3cret")("text")
        assert len(server.got) == 1
    assert stranger.got == []


def test_a_dead_address_and_one_that_talks_nonsense_are_failures_without_their_address() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(NotSentError, match=r"^it cannot be reached$"):
        poster(f"http://127.0.0.1:{port}/hush", "s3cret")("text")
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def nonsense() -> None:
            talker, _ = listening.accept()
            with talker:
                talker.recv(4096)
                talker.sendall(b"\x00\xff no http\r\n\r\n")

        thread = threading.Thread(target=nonsense)
        thread.start()
        with pytest.raises(NotSentError, match=r"^it cannot be reached$"):
            poster(f"http://127.0.0.1:{listening.getsockname()[1]}/", None)("text")
        thread.join(DEADLINE_S)


def test_a_service_that_does_not_answer_is_left(serve: Callable[..., Server], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(push_module, "ANSWER_S", 0.05)
    server = serve(hold=threading.Event())
    push, _, _ = pushing(server.url)
    push.look(view(message("no_air", "saw")))
    push.send()
    assert push.waiting == ("Shed: saw hurts. Look at it.",)
    assert push.next_s == 100.0 + FIRST_WAIT_S


def test_a_service_that_answers_for_ever_is_left_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """A byte now and then keeps every time-out from passing."""
    monkeypatch.setattr(push_module, "WHOLE_S", 0.2)
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def drip() -> None:
            talker, _ = listening.accept()
            with talker, contextlib.suppress(OSError):
                while not over.wait(0.01):
                    talker.sendall(b"HTTP/1.1 100 Continue\r\n\r\n")

        thread = threading.Thread(target=drip)
        thread.start()
        with pytest.raises(NotSentError, match=r"^it does not answer within 0 s$"):
            poster(f"http://127.0.0.1:{listening.getsockname()[1]}/", None)("text")
        over.set()
        thread.join(DEADLINE_S)


@pytest.mark.parametrize("url", ["ftp://push.example/", "push.example", "https://", "http://push.example:port/"])
def test_a_kept_address_that_is_none_is_told(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PUSH_URL", url)
    told = Told()
    assert push_of(settings(url_from=(PasswordPlace.ENVIRONMENT, "PUSH_URL")), told) is None
    assert told.now == ("Messages do not reach the phone: its address is none of the web; write https:// and a host.")


def test_the_queue_is_bounded_and_what_is_over_or_old_leaves_it(serve: Callable[..., Server]) -> None:
    push, clock, _ = pushing("http://127.0.0.1:1/")
    many = [message("no_air", f"saw {number}") for number in range(MOST_WAITING + 5)]
    push.look(view(*many))
    assert len(push.waiting) == MOST_WAITING
    assert push.waiting[0] == "Shed: saw 5 hurts. Look at it."
    push.look(view(*many[10:]))
    assert push.waiting[0] == "Shed: saw 10 hurts. Look at it."
    clock.advance(OLD_S)
    push.look(view(*many[10:]))
    assert push.waiting == ()


def test_that_the_phone_is_not_reached_is_told_on_the_page_and_not_to_the_phone() -> None:
    push, _, _ = pushing("http://127.0.0.1:1/", None, *Heap)
    push.look(view(message("push", "", Heap.WHEN_YOU_CAN)))
    assert push.waiting == ()


class Face:
    """What a running service's face is to the push."""

    def __init__(self) -> None:
        self.news = threading.Condition()
        self.now = view()

    def view(self) -> ShopView:
        return self.now

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        with self.news:
            return self.news.wait_for(lambda: self.now.version != version, timeout_s)

    def show(self, shown: ShopView) -> None:
        with self.news:
            self.now = replace(shown, version=self.now.version + 1)
            self.news.notify_all()


def test_it_works_in_its_own_thread_and_ends_while_a_try_hangs(serve: Callable[..., Server]) -> None:
    server = serve(hold=threading.Event())
    push, _, _ = pushing(server.url)
    face = Face()
    push.start(face)
    face.show(view(message("no_air", "saw")))
    with server.came:
        assert server.came.wait_for(lambda: server.got, DEADLINE_S)
    face.show(view(message("no_air", "saw"), message("no_air", "planer")))  # nobody waits for the hanging try
    push.stop(0.01)
    server.hold.set()  # type: ignore[union-attr]
    assert push._thread is not None
    push._thread.join(DEADLINE_S)
    assert not push._thread.is_alive()
    assert server.texts() == ["Shed: saw hurts. Look at it."]


def settings(**how: object) -> PushSettings:
    given: dict[str, object] = {"url": None, "url_from": None, "token_from": None, "heaps": (MessageHeap.NOW,)}
    return PushSettings(**given | how)  # type: ignore[arg-type]


def test_address_and_token_come_from_the_environment_or_a_file(
    serve: Callable[..., Server], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server, told = serve(), Told()
    monkeypatch.setenv("PUSH_URL", server.url)
    kept = tmp_path / "token"
    kept.write_text("t0ken\nmore\n", encoding="utf-8")
    push = push_of(
        settings(url_from=(PasswordPlace.ENVIRONMENT, "PUSH_URL"), token_from=(PasswordPlace.FILE, str(kept))), told
    )
    assert push is not None
    push.look(view(message("no_air", "saw"), message("gate_stuck", "saw gate", Heap.TODAY)))
    push.send()
    assert server.got == [("/shop", "Shed: saw hurts. Look at it.", "Bearer t0ken")]


def test_a_secret_that_is_not_there_is_told_and_the_shop_runs_without_its_phone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PUSH_URL", raising=False)
    empty = tmp_path / "empty"
    empty.write_text("\n", encoding="utf-8")
    wanted = {
        (PasswordPlace.ENVIRONMENT, "PUSH_URL"): "The environment has no PUSH_URL.",
        (PasswordPlace.FILE, str(tmp_path / "none")): (
            f"The file {tmp_path / 'none'} cannot be read: No such file or directory."
        ),
        (PasswordPlace.FILE, str(empty)): f"The file {empty} is empty.",
    }
    for where, why in wanted.items():
        told = Told()
        assert push_of(settings(url_from=where), told) is None
        assert told.now == f"Messages do not reach the phone: {why}"


def test_after_a_few_failures_and_not_at_the_first_the_page_says_so() -> None:
    push, clock, told = pushing("http://127.0.0.1:1/")
    for tries in range(1, TOLD_AFTER + 1):
        push.look(view(message("no_air", "saw")))
        push.send()
        clock.jump_to(push.next_s)
        assert (told.now is None) is (tries < TOLD_AFTER)
