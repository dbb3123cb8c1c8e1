"""Fixtures for the web's tests: a face that keeps the rules, a client that sits in the shop, a served page."""

import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from shop_views import shop

from gatekeeper.service.face import ShopView
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

if TYPE_CHECKING:
    from page_in_chromium import Serve
    from playwright.sync_api import Browser


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


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """One Chromium for all. Imported late: the other tests of the web need no browser."""
    from page_in_chromium import launch
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=30_000)
    with sync_playwright() as playwright:
        found = launch(playwright)
        yield found
        found.close()


@pytest.fixture
def serve(browser: "Browser") -> "Iterator[Serve]":
    """Serves a view; the page must never have complained."""
    from page_in_chromium import Served, served

    with ExitStack() as opened:
        made: list[Served] = []

        def serve(view: ShopView, bench: FakeBench | None = None, *, needs_pin: bool = False) -> Served:
            face = FakeFace(view, moving_clock=True)
            made.append(opened.enter_context(served(browser, face, bench, needs_pin=needs_pin)))
            return made[-1]

        yield serve
        for one in made:
            assert one.complaints == []


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--pictures", action="store_true", help="write the pictures of the real page to hardware/pictures/"
    )
