"""Fixtures for the web's tests: a face that keeps the rules, a client that sits in the shop, a served page."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from shop_views import shop

from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings


@pytest.fixture
def face() -> FakeFace:
    return FakeFace(shop())


@pytest.fixture
def bench() -> FakeBench:
    return FakeBench()


@pytest.fixture
def client(face: FakeFace, bench: FakeBench) -> Iterator[TestClient]:
    """A phone in the shop's own network, not signed in."""
    app = create_app(face, DoorSettings(PIN, frozenset({"shop.local"})), bench)
    with TestClient(
        app, base_url=ORIGIN, client=("192.168.1.23", 50000), headers={"Origin": ORIGIN}, follow_redirects=False
    ) as made:
        yield made


@pytest.fixture
def signed_in(client: TestClient) -> TestClient:
    answer = client.post("/sign-in", data={"pin": PIN})
    assert answer.status_code == 303
    return client


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--pictures", action="store_true", help="write the pictures of the real page to hardware/pictures/"
    )
