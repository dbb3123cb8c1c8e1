"""Every form that the application takes, sent by a stranger and from a foreign page: whatever is added is tried too."""

from unittest.mock import MagicMock

import pytest
from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from shop_views import shop

from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

#: Behind the face: every part of a running controller that a form may reach.
PORTS = ("upkeep", "people", "interviews", "commissioning", "broker")
#: Open to everybody: a stop, the way in and out, and "I have read this".
FREE = {"/stop", "/sign-in", "/sign-out", "/cautions"}
BOUNDARY = "multipart/form-data; boundary=b"


class Shop:
    """The application with everything behind it, and a phone."""

    def __init__(self) -> None:
        self.ports = {name: MagicMock() for name in PORTS}
        self.face = FakeFace(shop())
        settings = DoorSettings(PIN, frozenset({"shop.local"}), air_pin="2342")
        self.app = create_app(self.face, settings, FakeBench(), **self.ports)
        self.phone = TestClient(
            self.app, base_url=ORIGIN, client=("192.168.1.66", 5), headers={"Origin": ORIGIN}, follow_redirects=False
        )

    def forms(self) -> set[str]:
        return {one.path for one in self.app.routes if isinstance(one, APIRoute) and "POST" in (one.methods or ())}

    def send(self, path: str, **headers: str) -> int:
        if path == "/restore":
            body = b'--b\r\nContent-Disposition: form-data; name="file"; filename="x"\r\n\r\nPK\r\n--b--\r\n'
            return self.phone.post(path, content=body, headers={"Content-Type": BOUNDARY} | headers).status_code
        fields = {"what": "open", "subject": "Planer gate", "motor": "Collector", "job": "bin", "phone": "all"}
        return self.phone.post(
            path, data=fields | {"by": "x", "for_s": "3600", "number": "1"}, headers=headers
        ).status_code

    def was_asked(self) -> list[object]:
        return [*self.face.asked, *(call for port in self.ports.values() for call in port.mock_calls)]


@pytest.fixture
def here() -> Shop:
    return Shop()


def test_attack_every_form_there_is_sent_by_a_stranger(here: Shop) -> None:
    forms = here.forms() - FREE
    assert len(forms) >= 20
    assert {path: here.send(path) for path in forms} == dict.fromkeys(forms, 401)
    assert here.was_asked() == []


def test_attack_every_form_there_is_sent_from_another_page(here: Shop) -> None:
    assert here.phone.post("/sign-in", data={"pin": PIN}).status_code == 303
    forms = here.forms()
    for origin in ("http://evil.example", "null"):
        assert {path: here.send(path, Origin=origin) for path in forms} == dict.fromkeys(forms, 403)
    assert here.was_asked() == []
