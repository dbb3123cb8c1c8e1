"""How addresses are registered and refusals answered, alike for every application of ours."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from gatekeeper.web.answers import refusal
from gatekeeper.web.door import Refusal, Refused
from gatekeeper.web.entering import NotLetIn
from gatekeeper.web.frame import STATIC

Handler = Callable[..., object]

NO_PAGE = Refusal(404, "no_page", "There is no such page here.")
NO_METHOD = Refusal(405, "no_method", "That address does not take this kind of request.")
NOT_UNDERSTOOD = Refusal(400, "not_understood", "The request cannot be read. Send it again from the page.")

_TYPES = {"page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8"}


def page_of(html: str) -> Response:
    """A page as it is sent: never kept by whoever carries it."""
    return HTMLResponse(html, headers={"Cache-Control": "no-store"})


def add_routes(
    app: FastAPI,
    reading: Mapping[str, Handler],
    asking: Mapping[str, Handler],
    may_look: Sequence[Any] | None = None,
) -> None:
    """Register handlers by their addresses.

    Args:
        app: where.
        reading: pages.
        asking: forms.
        may_look: dependencies that stand before the pages.
    """
    for path, read in reading.items():
        app.add_api_route(
            path, read, methods=["GET"], response_class=HTMLResponse, response_model=None, dependencies=may_look
        )
    for path, take in asking.items():
        app.add_api_route(path, take, methods=["POST"], response_class=HTMLResponse, response_model=None)


def add_static(app: FastAPI) -> None:
    """Register the files that every page needs; they may be kept, since their addresses carry their content's mark."""
    add_routes(app, {f"/{name}": _static(name) for name in _TYPES}, {})


def add_refusals(app: FastAPI) -> None:
    """Answer every refusal in words, as a page or as JSON."""

    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, Refused)
        return refusal(request, error.why)

    async def refused_by_http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return refusal(request, {404: NO_PAGE, 405: NO_METHOD}.get(error.status_code, NOT_UNDERSTOOD))

    async def not_let_in(_request: Request, error: Exception) -> Response:
        assert isinstance(error, NotLetIn)
        return error.answer

    app.add_exception_handler(Refused, refused)
    app.add_exception_handler(NotLetIn, not_let_in)
    app.add_exception_handler(HTTPException, refused_by_http)


def _static(name: str) -> Callable[[], Response]:
    def serve() -> Response:
        headers = {"Cache-Control": "public, max-age=31536000, immutable"}
        return Response(STATIC[name], media_type=_TYPES[name], headers=headers)

    return serve
