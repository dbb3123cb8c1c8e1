"""Figures for a scraper: the text format to the letter, off unless asked for, and as open as looking is."""

import re
from dataclasses import replace

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient
from shop_views import cutting, shop, stuck

from gatekeeper.service.face import Beat
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.metrics import exposition

NAMES = frozenset({"shop.local"})
SAMPLE = re.compile(r'[a-z_]+(\{[a-z]+="(\\.|[^"\\\n])*"\})? -?[0-9.e+-]+')


def test_every_line_is_a_comment_or_a_sample_and_every_figure_is_said_once() -> None:
    text = exposition(cutting(), Beat(1000.0, 999.5))
    for line in text.splitlines():
        assert line.startswith("# ") or SAMPLE.fullmatch(line), line
    families = re.findall(r"^# TYPE ([a-z_]+) gauge$", text, re.M)
    assert len(families) == len(set(families)) >= 8
    assert "gatekeeper_control_silence_seconds 0.5\n" in text
    assert 'gatekeeper_motor_runs{motor="Collector"} 1\n' in text
    assert 'gatekeeper_tool_runs{tool="Table saw"} 1\n' in text
    assert 'gatekeeper_tool_runs{tool="Planer"} 0\n' in text


def test_what_is_wrong_can_be_counted() -> None:
    text = exposition(stuck(), Beat(1000.0, 1000.0))
    assert 'gatekeeper_gate_stuck{gate="Bandsaw gate"} 1\n' in text
    assert re.search(r'^gatekeeper_messages\{heap="now"\} [1-9]', text, re.M)


def test_names_are_written_as_the_format_wants() -> None:
    odd = replace(shop().tools[0], name='Säge "1"\\\n2')
    text = exposition(replace(shop(), tools=(odd,)), Beat(1.0, 1.0))
    assert 'gatekeeper_tool_runs{tool="Säge \\"1\\"\\\\\\n2"} 0\n' in text


@pytest.mark.parametrize(
    ("more", "status"), [({}, 404), ({"metrics": True}, 200), ({"metrics": True, "reading_open": False}, 401)]
)
def test_they_are_off_unless_asked_for_and_as_open_as_looking(more: dict[str, bool], status: int) -> None:
    app = create_app(FakeFace(shop()), DoorSettings(PIN, NAMES, **more))  # type: ignore[arg-type]
    answer = TestClient(app, base_url=ORIGIN, client=("192.168.1.40", 5)).get("/metrics")
    assert answer.status_code == status
    if status == 200:
        assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
