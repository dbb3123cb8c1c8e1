"""Messages to a phone from the real program, and a phone's service of every kind behind the address."""

import contextlib
import socket
import struct
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from shop_process import DEADLINE_S, ShopProcess, until

MOTOR, SAW, DOOR = 17, 23, 24
SHOP = """
shop: {name: Shed, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 1.5 kW, starts_per_hour: 60 per hour, switched_by: {pin: GPIO17, when_board_dies: drops}}
  cleaner: {kind: air cleaner, power: 150 W, flow: 900 m3/h, switched_by: {pin: GPIO18, when_board_dies: drops}}
feeders: {main: {gap: 0 s}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 200 ms}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
inputs:
  filter door: {kind: door, pin: GPIO24, motors: cleaner}
page: {port: {port}}
neighbours: {metrics: yes}
messages:
  push: {url: "{url}", token_from: environment TOKEN, heaps: [now, today, when you can]}
"""
DOOR_LINE = (
    "Shed: A door is open: filter door. Its motors stay off. Shut the door when the work is done. "
    "Lock the disconnect while a hand is inside."
)
OUT_LINE = (
    "Shed: Fan is out of service. Bring it back into service when the work is done. "
    "This is no padlock on the disconnect."
)
Answer = Callable[[socket.socket, threading.Event], None]


class PhoneService:
    """Takes one line at a time on this machine, and answers each as ``answer`` does: with the socket and its end."""

    def __init__(self, answer: Answer) -> None:
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._answer = answer
        self._over = threading.Event()
        self.url = f"http://127.0.0.1:{self._listening.getsockname()[1]}/shed"
        self.heard: list[tuple[str, str]] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        socket.create_connection(self._listening.getsockname()).close()
        self._thread.join(DEADLINE_S)
        self._listening.close()

    def _run(self) -> None:
        while not self._over.is_set():
            talker, _ = self._listening.accept()
            with talker:
                talker.settimeout(DEADLINE_S)
                head, body = self._request(talker)
                if head:
                    self.heard.append((head, body))
                    self._answer(talker, self._over)

    def _request(self, talker: socket.socket) -> tuple[str, str]:
        got = b""
        while b"\r\n\r\n" not in got and (more := talker.recv(4096)):
            got += more
        head, _, body = got.partition(b"\r\n\r\n")
        length = next((int(one.split(b":")[1]) for one in head.split(b"\r\n") if one.startswith(b"Content-Length")), 0)
        while len(body) < length and (more := talker.recv(4096)):
            body += more
        return head.decode(), body.decode()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Callable[..., tuple[PhoneService, ShopProcess]]]:
    opened: list[PhoneService | ShopProcess] = []

    def made(answer: Answer) -> tuple[PhoneService, ShopProcess]:
        phone = PhoneService(answer)
        shop = ShopProcess(tmp_path, SHOP.replace("{url}", phone.url))
        opened.extend((phone, shop))
        shop.contact(SAW, False)
        shop.contact(DOOR, True)
        # No proxy of the environment is asked.
        shop.start(TOKEN="s3cret", http_proxy="http://127.0.0.1:1/")
        until(lambda: shop.figure('gatekeeper_gate_open{gate="saw gate"}') == 1, "the path at rest: it is awake")
        return phone, shop

    yield made
    for one in reversed(opened):
        one.close()


def answers(text: bytes) -> Answer:
    return lambda talker, over: talker.sendall(text)


def test_a_fault_reaches_the_phone_once_however_often_it_comes_and_goes(
    running: Callable[..., tuple[PhoneService, ShopProcess]],
) -> None:
    phone, shop = running(answers(b"HTTP/1.1 204 No Content\r\n\r\n"))
    for _ in range(6):
        shop.contact(DOOR, False)
        until(lambda: shop.figure('gatekeeper_messages{heap="today"}') == 1, "the open door")
        shop.contact(DOOR, True)
        until(lambda: shop.figure('gatekeeper_messages{heap="today"}') == 0, "the shut door")
    # A second kind of fault is news, and shows that nothing of the first one is still on its way.
    shop.ask("/ask", "what=out_of_service&subject=fan&by=Ada&why=Belt")
    until(lambda: any("Fan" in body for _, body in phone.heard), "the second fault")
    # Neither who works there nor why goes out.
    assert [body for _, body in phone.heard] == [DOOR_LINE, OUT_LINE]
    for head, _ in phone.heard:
        assert head.split("\r\n")[0] == "POST /shed HTTP/1.1"
        assert "Authorization: Bearer s3cret" in head
        assert "Content-Type: text/plain; charset=utf-8" in head
    assert shop.end() == 0


def never(talker: socket.socket, over: threading.Event) -> None:
    over.wait(DEADLINE_S)


def drips(talker: socket.socket, over: threading.Event) -> None:
    talker.sendall(b"HTTP/1.1 200 OK\r\n")
    with contextlib.suppress(OSError):
        while not over.wait(0.05):
            talker.sendall(b"X")


def huge(talker: socket.socket, over: threading.Event) -> None:
    talker.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 1000000000000\r\n\r\n")
    with contextlib.suppress(OSError):
        while not over.is_set():
            talker.sendall(b"X" * 100_000)


def slams(talker: socket.socket, over: threading.Event) -> None:
    talker.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def elsewhere(talker: socket.socket, over: threading.Event) -> None:
    # Back to itself, so that following it would be heard.
    where = talker.getsockname()[1]
    talker.sendall(f"HTTP/1.1 307 Go\r\nLocation: http://127.0.0.1:{where}/stranger\r\n\r\n".encode())


@pytest.mark.parametrize(
    "answer",
    [never, drips, huge, slams, elsewhere, answers(b"HTTP/1.1 500 Oh\r\n\r\n"), answers(b"\x00" * 70_000)],
    ids=["never answers", "answers for ever", "huge", "slams the door", "sends elsewhere", "500", "nonsense"],
)
def test_a_service_of_any_kind_costs_the_shop_nothing(
    running: Callable[..., tuple[PhoneService, ShopProcess]], answer: Answer
) -> None:
    phone, shop = running(answer)
    shop.contact(DOOR, False)
    until(lambda: phone.heard, "the open door at the phone")
    shop.contact(SAW, True)
    until(lambda: shop.level(MOTOR) == 1.0, "the fan for the saw")
    assert shop.figure("gatekeeper_control_silence_seconds") < 3.0
    # The try that hangs is left behind.
    assert shop.end() == 0
    assert shop.level(MOTOR) == 0.0
    assert "Traceback" not in shop.said()
    assert {head.split(" ")[1] for head, _ in phone.heard} == {"/shed"}
