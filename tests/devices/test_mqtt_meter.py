"""Meters behind a real broker: what comes, what is kept, and every way in which it can be lost."""

import queue
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.devices.base import DeviceError, MeterLink, MeterSeen
from gatekeeper.devices.mqtt_meter import MeterTopic, MqttMeters, number_in, password_of

sys.path.insert(0, str(Path(__file__).parent))
from real_broker import SOON_S, Broker, Publisher, until

PLAIN = MeterTopic("planer meter", "shop/planer/power")
PATH = MeterTopic("saw meter", "shop/saw", "/phases/0/power")


class Heard:
    """A link and all that it reported, by the test's own thread."""

    def __init__(self, broker: Broker, *meters: MeterTopic, **more: Any) -> None:
        self._seen: queue.Queue[tuple[MeterSeen, str]] = queue.Queue()
        self.link = MqttMeters(
            "home",
            "127.0.0.1",
            broker.port,
            meters or (PLAIN,),
            lambda seen: self._seen.put((seen, threading.current_thread().name)),
            clock=lambda: 7.0,
            **more,
        )
        self.link.start()

    def next(self) -> MeterSeen:
        return self._seen.get(timeout=SOON_S)[0]

    def next_thread(self) -> str:
        return self._seen.get(timeout=SOON_S)[1]

    def is_silent(self) -> bool:
        return self._seen.empty()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    running = Broker(tmp_path)
    yield running
    running.kill()


@pytest.fixture
def listen(broker: Broker) -> Iterator[Callable[..., Heard]]:
    made: list[Heard] = []

    def make(*meters: MeterTopic, **more: Any) -> Heard:
        made.append(Heard(broker, *meters, **more))
        until(lambda: made[-1].link.trouble is None, "the link's first word with the broker")
        return made[-1]

    yield make
    for heard in made:
        heard.link.close()


@pytest.fixture
def meter(broker: Broker) -> Iterator[Publisher]:
    publisher = Publisher(broker)
    yield publisher
    publisher.close()


def heard_at_last(heard: Heard, meter: Publisher, topic: str, payload: str) -> MeterSeen:
    """The subscription is confirmed some time after the connection: say it until it is heard."""
    end_s = time.monotonic() + SOON_S
    while time.monotonic() < end_s:
        meter.say(topic, payload)
        try:
            return heard._seen.get(timeout=0.2)[0]
        except queue.Empty:
            continue
    raise AssertionError("nothing was heard")


def test_a_number_comes_through_as_it_is_in_the_links_own_thread(
    listen: Callable[..., Heard], meter: Publisher
) -> None:
    heard = listen()
    assert isinstance(heard.link, MeterLink)
    seen = heard_at_last(heard, meter, PLAIN.topic, "812.5")
    assert seen == MeterSeen(7.0, "planer meter", 812.5)
    meter.say(PLAIN.topic, "3")
    assert heard.next_thread() == "broker home"


def test_several_meters_of_one_broker_each_hear_their_own(listen: Callable[..., Heard], meter: Publisher) -> None:
    other = MeterTopic("fan meter", "shop/saw", "/phases/1/power")
    heard = listen(PLAIN, PATH, other)
    heard_at_last(heard, meter, PLAIN.topic, "1")
    meter.say("shop/saw", '{"phases": [{"power": 4.5}, {"power": 6}]}')
    meter.say("shop/elsewhere", "9")
    meter.say(PLAIN.topic, "2")
    got = [heard.next() for _ in range(3)]
    assert got == [
        MeterSeen(7.0, "saw meter", 4.5),
        MeterSeen(7.0, "fan meter", 6.0),
        MeterSeen(7.0, "planer meter", 2.0),
    ]


def test_a_kept_message_is_marked_and_a_live_one_with_the_same_flag_is_not(
    listen: Callable[..., Heard], meter: Publisher
) -> None:
    meter.say(PLAIN.topic, "800", keep=True)
    heard = listen()
    assert heard.next() == MeterSeen(7.0, "planer meter", 800.0, is_kept=True)
    meter.say(PLAIN.topic, "801", keep=True)
    assert heard.next() == MeterSeen(7.0, "planer meter", 801.0)


def test_a_message_without_a_number_is_told_and_said(listen: Callable[..., Heard], meter: Publisher) -> None:
    heard = listen(PATH)
    heard_at_last(heard, meter, "shop/saw", '{"phases": [{"power": 4.5}]}')
    meter.say("shop/saw", '{"phases": [{"current": 4.5}]}')
    assert heard.next() == MeterSeen(7.0, "saw meter", None)
    assert heard.link.trouble == "A message of saw meter cannot be read: there is no power in it."
    meter.say("shop/saw", '{"phases": [{"power": 4.5}]}')
    assert heard.next() == MeterSeen(7.0, "saw meter", 4.5)
    assert heard.link.trouble is None


def test_a_killed_broker_is_told_once_and_the_link_comes_back_by_itself(
    broker: Broker, listen: Callable[..., Heard], meter: Publisher
) -> None:
    heard = listen()
    heard_at_last(heard, meter, PLAIN.topic, "1")
    broker.kill()
    assert heard.next() == MeterSeen(7.0, "planer meter", None, is_lost=True)
    assert heard.link.trouble in (
        f"The broker home at 127.0.0.1:{broker.port} went away.",
        f"The broker home at 127.0.0.1:{broker.port} cannot be reached.",
    )
    broker.start()
    until(lambda: heard.link.trouble is None, "the link back at the broker")
    again = Publisher(broker)
    seen = heard_at_last(heard, again, PLAIN.topic, "5")
    again.close()
    assert seen == MeterSeen(7.0, "planer meter", 5.0)


def test_a_broker_that_is_not_there_yet_is_told_once_and_found_later(broker: Broker) -> None:
    broker.kill()
    heard = Heard(broker)
    assert heard.link.trouble is not None
    assert heard.next() == MeterSeen(7.0, "planer meter", None, is_lost=True)
    assert heard.link.trouble == f"The broker home at 127.0.0.1:{broker.port} cannot be reached."
    broker.start()
    until(lambda: heard.link.trouble is None, "the link at the broker")
    meter = Publisher(broker)
    assert heard_at_last(heard, meter, PLAIN.topic, "5").value == 5.0
    meter.close()
    heard.link.close()


def test_a_frozen_broker_says_nothing_and_hands_on_when_it_goes_on(
    broker: Broker, listen: Callable[..., Heard], meter: Publisher
) -> None:
    """While it is frozen only silence can tell; the sensor's deadline does (tests/sensing/test_meter.py)."""
    heard = listen()
    heard_at_last(heard, meter, PLAIN.topic, "1")
    while not heard.is_silent():
        heard.next()
    broker.freeze()
    meter.post(PLAIN.topic, "800")
    assert heard.is_silent()
    assert heard.link.trouble is None
    broker.thaw()
    assert heard.next() == MeterSeen(7.0, "planer meter", 800.0)


def test_closing_returns_at_once_and_nothing_is_reported_after(
    broker: Broker, listen: Callable[..., Heard], meter: Publisher
) -> None:
    heard = listen()
    heard_at_last(heard, meter, PLAIN.topic, "1")
    while not heard.is_silent():
        heard.next()
    broker.freeze()
    heard.link.close()
    broker.thaw()
    meter.say(PLAIN.topic, "800")
    broker.kill()
    heard.link._thread.join(SOON_S)
    assert not heard.link._thread.is_alive()
    assert heard.is_silent()


@pytest.fixture
def strict_broker(tmp_path: Path) -> Iterator[Broker]:
    running = Broker(tmp_path, "shop", "right")
    yield running
    running.kill()


def test_a_broker_lets_in_who_knows_the_password(strict_broker: Broker) -> None:
    heard = Heard(strict_broker, user="shop", password="right")
    until(lambda: heard.link.trouble is None, "the link let in")
    meter = Publisher(strict_broker, "shop", "right")
    assert heard_at_last(heard, meter, PLAIN.topic, "4").value == 4.0
    meter.close()
    heard.link.close()


def test_a_broker_that_does_not_let_us_in_is_said(strict_broker: Broker) -> None:
    heard = Heard(strict_broker, user="shop", password="wrong")
    assert heard.next() == MeterSeen(7.0, "planer meter", None, is_lost=True)
    assert heard.link.trouble is not None
    assert heard.link.trouble.startswith(f"The broker home at 127.0.0.1:{strict_broker.port} does not let us in: ")
    assert "wrong" not in heard.link.trouble
    heard.link.close()


def test_a_report_that_raises_does_not_end_the_link(broker: Broker, meter: Publisher) -> None:
    got: list[float | None] = []

    def report(seen: MeterSeen) -> None:
        got.append(seen.value)
        raise RuntimeError("full")

    link = MqttMeters("home", "127.0.0.1", broker.port, (PLAIN,), report)
    link.start()
    until(lambda: link.trouble is None, "the link at the broker")
    end_s = time.monotonic() + SOON_S
    while len(got) < 2 and time.monotonic() < end_s:
        meter.say(PLAIN.topic, "4")
    assert got[:2] == [4.0, 4.0]
    link.close()


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "paho.mqtt.client", None)
    with pytest.raises(DeviceError) as caught:
        MqttMeters("home", "127.0.0.1", 1883, (PLAIN,), lambda seen: None)
    assert str(caught.value) == "The MQTT library is not installed. Run: pip install 'gatekeeper[mqtt]'"


# --- the payload ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "pointer", "value"),
    [
        (b"12", None, 12.0),
        (b" -0.5\n", None, -0.5),
        (b"1.5e2", None, 150.0),
        (b'{"power": 3}', "/power", 3.0),
        (b'{"power": "3.25"}', "/power", 3.25),
        (b'{"a/b": {"c~d": [1, [2]]}}', "/a~1b/c~0d/1/0", 2.0),
        (b'{"": 4}', "/", 4.0),
        (b"[7, 8]", "/1", 8.0),
    ],
)
def test_a_number_is_found(payload: bytes, pointer: str | None, value: float) -> None:
    assert number_in(payload, pointer) == value


@pytest.mark.parametrize(
    ("payload", "pointer", "said"),
    [
        (b"", None, "there is no number in it"),
        (b"on", None, "there is no number in it"),
        (b"nan", None, "there is no number in it"),
        (b"1_000", None, "there is no number in it"),
        (b"1e999", None, "its number has no end"),
        (b'{"power": NaN}', "/power", "its number has no end"),
        (b'{"power": ' + b"9" * 400 + b"}", "/power", "its number has no end"),
        (b'{"power": true}', "/power", "there is no number in it"),
        (b'{"power": null}', "/power", "there is no number in it"),
        (b'{"power": {}}', "/power", "there is no number in it"),
        (b'{"current": 3}', "/power", "there is no power in it"),
        (b"[1]", "/1", "there is no 1 in it"),
        (b"[1]", "/-1", "there is no -1 in it"),
        (b"3", "/power", "there is no power in it"),
        (b"x" * 70_000, None, "it has 70000 bytes"),
        (b"[" * 60_000, "/0", "it is nested too deeply"),
    ],
)
def test_what_is_no_number_is_refused(payload: bytes, pointer: str | None, said: str) -> None:
    with pytest.raises(ValueError) as caught:
        number_in(payload, pointer)
    assert str(caught.value) == said


@pytest.mark.parametrize("payload", [b"{", b"\xff\xfe", b'{"power"'])
def test_what_is_no_json_or_no_text_is_refused(payload: bytes) -> None:
    with pytest.raises(ValueError):
        number_in(payload, "/power")


# --- the password -----------------------------------------------------------------------------------------------------


def test_a_password_comes_from_the_environment_or_the_first_line_of_a_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("SHOP_BROKER", "one two")
    (tmp_path / "word").write_text("three four\nmore\n", encoding="utf-8")
    assert password_of("environment", "SHOP_BROKER") == "one two"
    assert password_of("file", str(tmp_path / "word")) == "three four"


def test_a_password_that_is_not_there_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("SHOP_BROKER", raising=False)
    (tmp_path / "empty").write_text("\n", encoding="utf-8")
    (tmp_path / "noise").write_bytes(b"\xff\xfe")
    said = {
        ("environment", "SHOP_BROKER"): (
            "The broker's password is not in the environment variable SHOP_BROKER. Set it, then start."
        ),
        ("file", str(tmp_path / "none")): (
            f"The broker's password cannot be read from {tmp_path / 'none'}: No such file or directory."
        ),
        ("file", str(tmp_path / "empty")): (
            f"The broker's password cannot be read from {tmp_path / 'empty'}: its first line is empty."
        ),
        ("file", str(tmp_path / "noise")): (
            f"The broker's password cannot be read from {tmp_path / 'noise'}: it is no text."
        ),
    }
    for (place, where), sentence in said.items():
        with pytest.raises(DeviceError) as caught:
            password_of(place, where)
        assert str(caught.value) == sentence


def test_a_broker_that_does_not_let_us_read_is_said() -> None:
    """The test's broker lets everybody read: this answer is one of the protocol's, put in by hand."""
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.reasoncodes import ReasonCode

    got: list[MeterSeen] = []
    link = MqttMeters("home", "127.0.0.1", 1883, (PLAIN,), got.append, clock=lambda: 7.0)
    refused = ReasonCode(PacketTypes.SUBACK, "Not authorized")
    link._on_subscribe(link._client, None, 1, [refused], None)
    assert got == [MeterSeen(7.0, "planer meter", None, is_lost=True)]
    assert link.trouble == "The broker home at 127.0.0.1:1883 does not let us read its meters."
