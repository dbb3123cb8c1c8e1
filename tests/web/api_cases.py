"""Cases for the page's addresses, made by Schemathesis from a description of them, with broken ones among them.

The program gives out no description (a stranger needs none): FastAPI's own is completed here with the fields of each
form, and a test holds addresses and table equal.
"""

from collections import Counter
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import schemathesis
from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from shop_views import shop

from gatekeeper.interview_page import MachinesPage
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.shop.examples import example
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

FORM = "application/x-www-form-urlencoded"
#: The fields of each form. Known words stand beside any text, so that cases get past the first check too.
NAMES = ["Collector", "Planer", "Planer gate", "Bandsaw", "gate_stuck:Bandsaw gate"]
WORDS = ["open", "shut", "hold", "release", "air_here", "run", "stop", "sweep", "flush", "reset", "clear", "seen"]
WORDS += ["out_of_service", "back_in_service", "stopped", "still_running", "sparks"]
ANY: dict[str, Any] = {"type": "string", "maxLength": 300}
NUMBER: dict[str, Any] = {"anyOf": [{"type": "number"}, ANY]}


def _of(words: list[str]) -> dict[str, Any]:
    return {"anyOf": [{"enum": words}, ANY]}


FORMS: dict[str, dict[str, Any]] = {
    "/stop": {"subject": _of(NAMES)},
    "/ask": {
        "what": _of(WORDS),
        "subject": _of(NAMES),
        "for_s": NUMBER,
        "held": _of(["1"]),
        "by": ANY,
        "why": ANY,
        "back": ANY,
    },
    "/spin-down": {"subject": _of(NAMES), "value_s": NUMBER, "held": _of(["1"]), "back": ANY},
    "/undo": {"subject": _of(NAMES)},
    "/calibrate": {"machine": _of(NAMES), "press": _of(["begin", "go_on", "write", "leave"])},
    "/bench": {"key": _of(["tool:Planer"]), "to": _of(["on", "off"])},
    "/sign-in": {"pin": _of([PIN]), "back": ANY},
    "/sign-out": {},
    "/phones": {"phone": _of(["all"])},
    "/pin": {"pin": _of([PIN]), "new": ANY},
    "/cautions": {},
    "/broker": {"for_s": _of(["3600", "end"])},
    "/care": {"what": _of(["checked", "day_one"]), "motor": _of(NAMES), "by": ANY},
    "/reading": {"motor": _of(NAMES), "tap": ANY, "value": NUMBER, "by": ANY},
    "/measured": {"gauge": _of(NAMES), "by": ANY},
    "/leave-out": {},
    "/change": {"motor": _of(NAMES), "number": NUMBER, "by": ANY, "tap": ANY, "reading": ANY},
    "/change/begin": {"motor": _of(NAMES), "job": _of(["bin", "bag", "filter"]), "by": ANY},
    "/change/leave": {"motor": _of(NAMES), "by": ANY},
    "/commission": {
        "key": _of(["tools/Planer"]),
        "press": _of(["begin", "leave_out", "put_by"]),
        "number": NUMBER,
        "held": _of(["1"]),
        "value.why": ANY,
    },
    "/commission/who": {"by": ANY},
    "/restore": {},
    "/machines/begin": {"what": _of(["add", "move", "retire"]), "machine": _of(["planer"])},
    "/machines/answer": {"mark": _of(["0.00000000"]), "answer": _of(["lathe"]), "written": ANY, "unit": _of(["ft"])},
    "/machines/back": {"mark": _of(["0.00000000"])},
    "/machines/write": {"mark": _of(["0.00000000"])},
    "/machines/leave": {"mark": _of(["0.00000000"])},
    "/machines/take-over": {},
}
QUERIES: dict[str, list[str]] = {
    "/": ["said"],
    "/history": ["day", "said"],
    "/sign-in": ["back", "said"],
    "/settings": ["said"],
    "/machines": ["said", "typed"],
}
#: A stream has no end; its address is tried in other tests.
LEFT_OUT = frozenset({"/live"})


def description(app: FastAPI) -> dict[str, Any]:
    """The application's addresses with the fields of their forms."""
    found: dict[str, Any] = app.openapi()
    for path, methods in found["paths"].items():
        if "post" in methods:
            body = {"type": "object", "properties": FORMS.get(path, {})}
            methods["post"]["requestBody"] = {"content": {FORM: {"schema": body}}}
        if "get" in methods:
            asked = [{"name": name, "in": "query", "schema": ANY} for name in QUERIES.get(path, [])]
            named = [{"name": "name", "in": "path", "required": True, "schema": _of(NAMES) | {"minLength": 1}}]
            methods["get"]["parameters"] = asked + (named if "{name}" in path else [])
    found["paths"] = {path: methods for path, methods in found["paths"].items() if path not in LEFT_OUT}
    return found


def try_out(cases_each: int, seed_free: bool = False) -> Counter[str]:
    """Send so many cases to each address, from a stranger and from a signed-in phone in turn.

    Returns:
        How many cases came to which status.

    Raises:
        AssertionError: an answer that must not be; names the request.
    """
    kept: list[str] = []
    face = FakeFace(replace(shop(), remote_start=True))
    # A case may take long to make, so no limit of the door may be what it meets.
    door = DoorSettings(PIN, frozenset({"shop.local"}), keep_pin=kept.append)
    folder = TemporaryDirectory()
    text = example("one-evening").read_text(encoding="utf-8")
    file = ShopFile(Path(folder.name, "shop.yaml"), text)
    file.path.write_text(text, encoding="utf-8")
    app = create_app(face, door, FakeBench(), interviews=MachinesPage(lambda: file, lambda: None, lambda: None))
    told: Counter[str] = Counter()
    clients = [
        TestClient(
            app,
            base_url=ORIGIN,
            client=("127.0.0.1" if at_board else "192.168.1.66", 5),
            headers={"Origin": ORIGIN},
            follow_redirects=False,
            raise_server_exceptions=True,
        )
        for at_board in (False, True)
    ]
    schema = schemathesis.openapi.from_dict(description(app))
    schema.config.generation.update(modes=[GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
    for wrapped in schema.get_all_operations():
        operation = wrapped.ok()

        @settings(
            max_examples=cases_each,
            derandomize=not seed_free,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def send(case: schemathesis.Case) -> None:
            sent = case.as_transport_kwargs(base_url=ORIGIN)
            for client in clients:
                client.cookies.clear()
                answer = client.request(
                    sent["method"],
                    sent["url"],
                    params=sent.get("params"),
                    headers={k: v for k, v in sent["headers"].items() if k.lower() in ("content-type", "accept")},
                    **{key: sent[key] for key in ("data", "json", "files") if key in sent},
                )
                told[str(answer.status_code)] += 1
                said = f"{sent['method']} {sent['url']}: {answer.status_code}"
                assert answer.status_code < 500, said
                assert "Traceback" not in answer.text, said
                assert "content-security-policy" in answer.headers, said

        send()
    folder.cleanup()
    return told
