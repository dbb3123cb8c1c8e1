"""Every address of the page under cases that nobody wrote by hand: no 5xx, no traceback, no hang."""

import pytest
from api_cases import FORMS, LEFT_OUT, QUERIES, try_out
from fake_face import PIN, FakeFace
from shop_views import shop

from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.door_limits import Limit


def test_the_table_of_forms_names_every_address_that_takes_one() -> None:
    paths = create_app(FakeFace(shop()), DoorSettings(PIN)).openapi()["paths"]
    assert {path for path, methods in paths.items() if "post" in methods} == set(FORMS)
    assert set(QUERIES) | LEFT_OUT <= {path for path, methods in paths.items() if "get" in methods}


def test_no_case_meets_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Limit, "refuse", lambda self, client, now_s: None)
    told = try_out(12)
    assert sum(told.values()) > 400
    assert {"200", "303", "400", "401", "404"} <= set(told)
