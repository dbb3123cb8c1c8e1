"""What speaks to a neighbour's broker, at a real one: what is kept, what is dropped, and the minute after a flood."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from real_broker import Broker, Publisher, until

from gatekeeper.devices.mqtt_speaker import DEAF_S, FLOOD_WORDS, MqttSpeaker

STATE, WORD = "homie/5/x/$state", "homie/5/x/fan/stop/set"


class Clock:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path)
    yield made
    made.kill()


def test_after_a_flood_it_hears_again_when_the_minute_is_over(broker: Broker) -> None:
    heard: list[tuple[str, str]] = []
    clock = Clock()
    speaker = MqttSpeaker(
        "house",
        "127.0.0.1",
        broker.port,
        state_topic=STATE,
        heard=[WORD],
        hear=lambda topic, word: heard.append((topic, word)),
        clock=clock,
    )
    speaker.start()
    speaker.say({"homie/5/x/fan/runs": "true"})
    stranger = Publisher(broker)
    until(lambda: speaker.trouble is None, "the connection")
    stranger.say(WORD, "true")
    until(lambda: heard == [(WORD, "true")], "the first word")
    for _ in range(FLOOD_WORDS + 10):
        stranger.say(WORD, "true")
    until(lambda: speaker.trouble is not None, "the word of the flood")
    assert speaker.trouble == "The broker house is flooded with commands. None is heard for 60 s."
    clock.now_s += DEAF_S
    until(lambda: speaker.trouble is None, "the end of the minute")
    before = len(heard)
    stranger.say(WORD, "later")
    until(lambda: heard[before:] == [(WORD, "later")], "a word after it")
    stranger.close()
    speaker.close()


def test_a_speaker_that_never_reached_its_broker_ends_at_once(broker: Broker) -> None:
    broker.kill()
    speaker = MqttSpeaker("house", "127.0.0.1", broker.port, state_topic=STATE)
    speaker.say({f"homie/5/x/{number}/runs": "true" for number in range(1000)})
    speaker.start()
    until(lambda: "cannot be reached" in str(speaker.trouble), "the trouble")
    speaker.close()
    assert speaker.trouble == f"The broker house at 127.0.0.1:{broker.port} cannot be reached."
