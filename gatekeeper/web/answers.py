"""Answers to forms: for scripts as JSON, for people as a page; and what was said last, kept for the way back."""

import asyncio
import json
import secrets
from collections import OrderedDict
from urllib.parse import parse_qsl, urlsplit

from fastapi import Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.requests import ClientDisconnect

from gatekeeper.service.face import Answer
from gatekeeper.web.door import NOT_A_FORM, TOO_SLOW, Refusal, Refused, own_path
from gatekeeper.web.frame import refused

#: Addresses that only take forms: nobody is sent back there.
_FORMS_ONLY = frozenset(
    {
        "/ask",
        "/spin-down",
        "/undo",
        "/bench",
        "/calibrate",
        "/stop",
        "/sign-out",
        "/reading",
        "/measured",
        "/restore",
        "/leave-out",
        "/phones",
        "/pin",
        "/broker",
        "/commission/who",
    }
)
#: A form is a few hundred bytes; a phone sends it at once, over a bad radio in a second or two. Ours.
BODY_S = 5.0
#: Answers that wait to be shown once; the oldest are forgotten.
_MOST_KEPT = 64


class Said:
    """Sentences that are shown after a redirect. They travel by a handle, so no link can put words on the page."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, str] = OrderedDict()

    def keep(self, sentence: str) -> str:
        """Keep a sentence; the handle is for the address."""
        handle = secrets.token_urlsafe(9)
        self._kept[handle] = sentence
        while len(self._kept) > _MOST_KEPT:
            self._kept.popitem(last=False)
        return handle

    def of(self, handle: str | None) -> str | None:
        """The sentence of a handle, as long as it is kept."""
        return self._kept.get(handle) if handle else None


def wants_json(request: Request) -> bool:
    """Whether the page's script asks."""
    return request.headers.get("accept", "").startswith("application/json")


def wants_html(request: Request) -> bool:
    """Whether a person's browser asks, to show the answer as a page."""
    return not wants_json(request) and "text/html" in request.headers.get("accept", "")


def _json(status: int, accepted: bool, code: str, sentence: str) -> Response:
    body = json.dumps({"accepted": accepted, "code": code, "sentence": sentence})
    return Response(body, status, media_type="application/json")


def refusal(request: Request, why: Refusal) -> Response:
    """One plain sentence: as JSON, as a page, or as text."""
    response: Response
    if wants_json(request):
        response = _json(why.status, False, why.code, why.sentence)
    elif "text/html" in request.headers.get("accept", ""):
        response = HTMLResponse(refused("Refused", why.sentence), why.status)
    else:
        response = PlainTextResponse(why.sentence + "\n", why.status)
    if why.retry_after_s is not None:
        response.headers["Retry-After"] = str(why.retry_after_s)
    return response


def way_back(request: Request, asked_from: str | None = None) -> str:
    """The path of the page that the form stood on.

    ``asked_from``: the page before, where the form itself was an answer. Else the referrer says it; the origin was
    checked, so it is ours.
    """
    path = own_path(asked_from or urlsplit(request.headers.get("referer", "")).path)
    return "/" if path in _FORMS_ONLY else path


def answered(request: Request, answer: Answer, said: Said, asked_from: str | None = None) -> Response:
    """The core's answer: a script gets it as it is, a person goes back to the page, where it is shown."""
    if wants_json(request):
        return _json(200 if answer.accepted else 409, answer.accepted, answer.code, answer.sentence)
    if "text/html" in request.headers.get("accept", ""):
        return RedirectResponse(f"{way_back(request, asked_from)}?said={said.keep(answer.sentence)}", 303)
    return PlainTextResponse(answer.sentence + "\n", 200 if answer.accepted else 409)


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form; each at most once.

    Raises:
        Refused: it cannot be read.
    """
    try:
        body = await asyncio.wait_for(request.body(), BODY_S)
        pairs = parse_qsl(body.decode(), keep_blank_values=True, strict_parsing=False, max_num_fields=12)
    except TimeoutError:
        raise Refused(TOO_SLOW) from None
    except ClientDisconnect:
        raise Refused(NOT_A_FORM) from None
    except ValueError:
        raise Refused(NOT_A_FORM) from None
    fields = dict(pairs)
    if len(fields) != len(pairs):
        raise Refused(NOT_A_FORM)
    return fields
