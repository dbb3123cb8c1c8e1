"""What a stranger may try with bare connections, on the real server. The list in hardware/security.md names each."""

import contextlib
import socket
import ssl
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fake_face import PIN, FakeFace
from shop_views import shop

from gatekeeper.web.accepting import Places
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.serving import Serving

DEADLINE_S = 30.0
#: One machine has many addresses of its own: each of them is a stranger of its own to the server.
STRANGER, PHONE = "127.0.0.66", "127.0.0.23"
SETTINGS = DoorSettings(PIN, loopback_needs_pin=True)

Connect = Callable[..., socket.socket]


@pytest.fixture
def face() -> FakeFace:
    return FakeFace(shop())


@pytest.fixture
def places() -> Places:
    return Places(most_of_one=4, most_in_all=10)


@pytest.fixture
def serving(face: FakeFace, places: Places) -> Iterator[Serving]:
    made = Serving(create_app(face, SETTINGS), places=places)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def connect(serving: Serving) -> Iterator[Connect]:
    """Opens connections from an address of this machine, and closes them at the end."""
    with contextlib.ExitStack() as opened:

        def connect(at: str = STRANGER) -> socket.socket:
            made = socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S, (at, 0))
            return opened.enter_context(made)

        yield connect


def until_closed(connection: socket.socket) -> bytes:
    """Everything that comes until the other side closes, in whatever way."""
    found = b""
    with contextlib.suppress(ConnectionError, ssl.SSLError):
        while piece := connection.recv(65536):
            found += piece
    return found


def get(connection: socket.socket, path: str = "/page.css", more: str = "") -> bytes:
    connection.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n{more}\r\n".encode())
    return until_closed(connection)


def posted(connection: socket.socket, path: str, headers: str, body: str) -> bytes:
    origin = "Origin: http://localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    connection.sendall(f"POST {path} HTTP/1.1\r\nHost: localhost\r\n{origin}{headers}\r\n{body}".encode())
    return until_closed(connection)


# ---------------------------------------------------------------- slowness


@pytest.mark.parametrize("first", [b"", b"G", b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "])
def test_attack_a_request_that_never_ends_its_headers(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, first: bytes
) -> None:
    monkeypatch.setattr("gatekeeper.web.patience.HEADERS_S", 0.1)
    slow = connect()
    slow.sendall(first)
    assert until_closed(slow) == b""
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")


def test_attack_a_second_request_that_never_ends(connect: Connect, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gatekeeper.web.patience.HEADERS_S", 0.1)
    slow = connect()
    slow.sendall(b"GET /nothing HTTP/1.1\r\nHost: localhost\r\n\r\nGET /")
    found = until_closed(slow)
    assert found.startswith(b"HTTP/1.1 404")
    assert found.count(b"HTTP/1.1") == 1


def test_attack_a_body_that_comes_byte_by_byte(
    connect: Connect, face: FakeFace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gatekeeper.web.answers.BODY_S", 0.1)
    monkeypatch.setattr("gatekeeper.web.patience.HEADERS_S", 0.1)
    found = posted(connect(), "/stop", "Content-Length: 1000\r\nConnection: close\r\n", "subject=Coll")
    assert found.startswith(b"HTTP/1.1 408")
    assert b"The request did not arrive in time. Send it again from the page." in found
    assert face.asked == []


def test_attack_headers_without_end(connect: Connect) -> None:
    flood = connect()
    with contextlib.suppress(ConnectionError):
        flood.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-A: " + b"a" * 200_000)
    assert not until_closed(flood).startswith(b"HTTP/1.1 200")
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")


# ---------------------------------------------------------------- many


def test_attack_many_connections_from_one_address(connect: Connect, places: Places) -> None:
    held = [connect() for _ in range(4)]
    for connection in held:  # each is really there
        connection.sendall(b"GET /nothing HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert connection.recv(12) == b"HTTP/1.1 404"
    assert until_closed(connect()) == b""
    assert places.taken == 4
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")


def test_attack_many_connections_from_many_addresses(connect: Connect, places: Places) -> None:
    held = [connect(f"127.0.1.{number % 5 + 1}") for number in range(10)]
    for connection in held:
        connection.sendall(b"GET /nothing HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert connection.recv(12) == b"HTTP/1.1 404"
    assert places.taken == 10
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")  # whoever had the most gave one up
    assert until_closed(held[0])[-40:].endswith(b"\n")
    assert places.taken <= 10


def test_attack_many_streams_from_one_address(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, face: FakeFace
) -> None:
    monkeypatch.setattr("gatekeeper.web.handlers.MOST_STREAMS_OF_ONE", 2)

    def stream(at: str) -> bytes:
        connection = connect(at)
        connection.sendall(b"GET /live?page=shop HTTP/1.1\r\nHost: localhost\r\n\r\n")
        found = b""
        while b"data: {" not in found and b"Too many" not in found:
            found += connection.recv(65536)
        return found

    assert stream(STRANGER).startswith(b"HTTP/1.1 200")
    assert stream(STRANGER).startswith(b"HTTP/1.1 200")
    assert stream(STRANGER).startswith(b"HTTP/1.1 429")
    assert stream(PHONE).startswith(b"HTTP/1.1 200")
    stop = posted(connect(), "/stop", "Content-Length: 0\r\nConnection: close\r\n", "")
    assert stop.startswith(b"HTTP/1.1 200")
    assert [asked[0] for asked in face.asked] == ["stop"]


def test_attack_looking_on_after_being_signed_out(face: FakeFace) -> None:
    settings = DoorSettings(PIN, loopback_needs_pin=True, reading_open=False)
    serving = Serving(create_app(face, settings))
    serving.start()
    try:
        with socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as owner:
            body = f"pin={PIN}"
            signed = posted(owner, "/sign-in", f"Content-Length: {len(body)}\r\nConnection: close\r\n", body)
        cookie = signed.partition(b"set-cookie: ")[2].partition(b";")[0].decode()
        with socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as looking:
            looking.sendall(f"GET /live?page=shop HTTP/1.1\r\nHost: localhost\r\nCookie: {cookie}\r\n\r\n".encode())
            found = b""
            while b"data: {" not in found:
                found += looking.recv(65536)
            with socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as owner:
                out = posted(owner, "/sign-out", f"Content-Length: 0\r\nCookie: {cookie}\r\nConnection: close\r\n", "")
            assert out.startswith(b"HTTP/1.1 303")
            assert until_ended(looking)
    finally:
        serving.stop()


def until_ended(stream: socket.socket) -> bool:
    """Wait for the end of a stream: the empty piece."""
    found = b""
    while not found.endswith(b"0\r\n\r\n"):
        piece = stream.recv(65536)
        assert piece, "it was cut off"
        found += piece
    return True


# ---------------------------------------------------------------- two requests in one


@pytest.mark.parametrize(
    ("headers", "body"),
    [
        ("Transfer-Encoding: chunked\r\n", "0\r\n\r\n"),
        ("Content-Length: 4\r\nTransfer-Encoding: chunked\r\n", "0\r\n\r\n"),
        ("Content-Length: 4\r\nContent-Length: 5\r\n", "what"),
        ("Content-Length: 4, 4\r\n", "what"),
        ("Content-Length: +4\r\n", "what"),
        ("Content-Length : 4\r\n", "what"),
        ("Content-Length: 0x4\r\n", "what"),
        ("Transfer-Encoding: xchunked\r\n", "0\r\n\r\n"),
        ("X: a\r\n Content-Length: 4\r\n", "what"),
    ],
)
def test_attack_a_request_hidden_in_another(connect: Connect, face: FakeFace, headers: str, body: str) -> None:
    hidden = "POST /stop HTTP/1.1\r\nHost: localhost\r\nOrigin: http://localhost\r\nContent-Length: 0\r\n\r\n"
    found = posted(connect(), "/ask", headers + "Connection: close\r\n", body + hidden)
    assert found[:12] in (b"HTTP/1.1 400", b"HTTP/1.1 411", b"HTTP/1.1 401", b"HTTP/1.1 501", b"")
    assert found.count(b"HTTP/1.1 ") <= 1
    assert face.asked == []


@pytest.mark.parametrize(
    "request_line",
    [
        b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"CONNECT 192.168.1.1:22 HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET /\xff\xfe HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: local\x00host\r\n\r\n",
        b"\r\n\r\n\r\nPRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"G" * 20_000,
    ],
)
def test_attack_what_is_no_request_at_all(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, request_line: bytes
) -> None:
    monkeypatch.setattr("gatekeeper.web.patience.HEADERS_S", 0.1)
    strange = connect()
    with contextlib.suppress(ConnectionError):
        strange.sendall(request_line)
    found = until_closed(strange)
    assert found[:12] in (b"", b"HTTP/1.1 400", b"HTTP/1.1 421", b"HTTP/1.1 404", b"HTTP/1.1 405")
    assert b"Traceback" not in found
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize("more", [b"\x00\x01\x02", b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"])
@pytest.mark.parametrize("begin", ["GET /live?page=shop", "POST /sign-in"])
def test_attack_more_bytes_in_the_middle_of_an_answer(
    connect: Connect, capfd: pytest.CaptureFixture[str], begin: str, more: bytes
) -> None:
    connection = connect()
    asking = "Host: localhost\r\nOrigin: http://localhost\r\nConnection: close\r\n"
    if begin.startswith("POST"):
        asking += "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 2\r\n"
    connection.sendall(f"{begin} HTTP/1.1\r\n{asking}\r\n".encode())
    if begin.startswith("GET"):
        assert connection.recv(12) == b"HTTP/1.1 200"
    with contextlib.suppress(ConnectionError):
        connection.sendall(more * 3)
    until_closed(connection)
    assert get(connect(PHONE)).startswith(b"HTTP/1.1 200")
    assert capfd.readouterr().err == ""


def test_attack_another_protocol_by_upgrade(connect: Connect, capfd: pytest.CaptureFixture[str]) -> None:
    upgrade = "Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n"
    connection = connect()
    connection.sendall(f"GET /page.css HTTP/1.1\r\nHost: localhost\r\nConnection: Upgrade\r\n{upgrade}\r\n".encode())
    assert connection.recv(12) == b"HTTP/1.1 200"
    assert capfd.readouterr().err == ""  # what strangers send fills no journal


# ---------------------------------------------------------------- encryption


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    folder = tmp_path_factory.mktemp("certificate")
    return self_signed(folder, days=90)


def self_signed(folder: Path, days: int) -> tuple[str, str]:
    """A certificate and its key, as the openssl program makes them."""
    certificate, key = folder / "page.crt", folder / "page.key"
    words = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    words += ["-keyout", str(key), "-out", str(certificate), "-days", str(days), "-subj", "/CN=shop.local"]
    subprocess.run(words, check=True, capture_output=True)
    return str(certificate), str(key)


def test_attack_listening_in_and_speaking_plainly_to_an_encrypted_page(
    face: FakeFace, places: Places, certificate: tuple[str, str]
) -> None:
    settings = DoorSettings(PIN, loopback_needs_pin=True, encrypted=True)
    serving = Serving(create_app(face, settings), certificate=certificate, places=places)
    serving.start()
    trusting = ssl.create_default_context(cafile=certificate[0])
    trusting.check_hostname = False
    try:
        with socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as plain:
            plain.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert b"HTTP/1.1" not in until_closed(plain)
        with (
            socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as bare,
            trusting.wrap_socket(bare) as wrapped,
        ):
            body = f"pin={PIN}"
            found = posted(wrapped, "/sign-in", f"Content-Length: {len(body)}\r\nConnection: close\r\n", body)
        assert b"403" in found[:12]  # an origin without encryption is another origin
        with (
            socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S) as bare,
            trusting.wrap_socket(bare) as wrapped,
        ):
            assert wrapped.version() in ("TLSv1.2", "TLSv1.3")
            assert get(wrapped).startswith(b"HTTP/1.1 200")
        held = [socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S, (STRANGER, 0)) for _ in range(4)]
        with socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S, (STRANGER, 0)) as fifth:
            assert until_closed(fifth) == b""  # counted before any encryption begins
        for one in held:
            one.close()
    finally:
        serving.stop()
    assert places.taken == 0
