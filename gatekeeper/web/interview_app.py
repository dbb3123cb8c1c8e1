"""The application before there is a controller: it asks for a new shop behind the same door, and nothing else."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face_interview import Interviews
from gatekeeper.web import door, entering_pages
from gatekeeper.web.answers import Said, refusal
from gatekeeper.web.app import NO_METHOD, NOT_UNDERSTOOD, static
from gatekeeper.web.door import DoorSettings, Refused
from gatekeeper.web.door_front import Front
from gatekeeper.web.door_rights import Right
from gatekeeper.web.door_sessions import InMemory, SessionStore
from gatekeeper.web.entering import Entrance, NotLetIn
from gatekeeper.web.frame import head
from gatekeeper.web.handlers import NO_PAGE
from gatekeeper.web.interview import InterviewRoutes

BASE = "/new"


def create_interview_app(
    interviews: Interviews, settings: DoorSettings, sessions: SessionStore | None = None
) -> FastAPI:
    """The application around one interview for a new shop.

    Args:
        interviews: what is asked.
        settings: the door.
        sessions: where signed-in phones are kept; in memory when None.
    """
    said = Said()
    entrance = Entrance(settings, InMemory() if sessions is None else sessions, said)

    def framed(request: Request, title: str, content: Html) -> Html:
        can_sign_out = entrance.sessions.handle_of(request.cookies.get(door.COOKIE)) is not None
        return _frame(title, content, may=entrance.right(request) >= Right.SETTINGS, can_sign_out=can_sign_out)

    async def sign_in_page(request: Request) -> Response:
        back = door.own_path(request.query_params.get("back"))
        form = entering_pages.sign_in_form(back, said.of(request.query_params.get("said")), two_pins=False, is_new=True)
        return HTMLResponse(framed(request, "Sign in", form), headers={"Cache-Control": "no-store"})

    async def to_the_page() -> Response:
        return RedirectResponse(BASE, 303)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        await asyncio.to_thread(entrance.save_at_end)

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan, redirect_slashes=False)

    async def refuse(request: Request, error: Exception) -> Response:
        assert isinstance(error, Refused)
        return refusal(request, error.why)

    async def refuse_http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return refusal(request, {404: NO_PAGE, 405: NO_METHOD}.get(error.status_code, NOT_UNDERSTOOD))

    async def not_let_in(request: Request, error: Exception) -> Response:
        assert isinstance(error, NotLetIn)
        return error.answer

    app.add_exception_handler(Refused, refuse)
    app.add_exception_handler(NotLetIn, not_let_in)
    app.add_exception_handler(HTTPException, refuse_http)
    reading: dict[str, Callable[..., object]] = {
        "/": to_the_page,
        "/sign-in": sign_in_page,
        "/page.css": static("page.css"),
        "/page.js": static("page.js"),
    }
    asking: dict[str, Callable[..., object]] = {"/sign-in": entrance.sign_in, "/sign-out": entrance.sign_out}
    for path, read in reading.items():
        app.add_api_route(path, read, methods=["GET"], response_class=HTMLResponse, response_model=None)
    for path, take in asking.items():
        app.add_api_route(path, take, methods=["POST"], response_class=HTMLResponse, response_model=None)
    InterviewRoutes(interviews, entrance, said, framed, BASE).add_to(app, [Depends(entrance.may_look)])
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=4)
    app.add_middleware(Front, settings=settings)
    return app


def _frame(title: str, content: Html, *, may: bool, can_sign_out: bool) -> Html:
    """A page without a stop bar: no controller runs, so there is nothing that it could stop."""
    out = el("form", {"method": "post", "action": "/sign-out"}, el("button", {"class": "quiet"}, "Sign out"))
    sign_in = el("a", {"href": f"/sign-in?back={BASE}"}, "Sign in")
    return join(
        Html("<!doctype html>"),
        el(
            "html",
            {"lang": "en"},
            head(title),
            el(
                "body",
                {"class": "alone"},
                el("a", {"class": "skip", "href": "#main"}, "To the content"),
                el(
                    "header",
                    None,
                    el("p", {"class": "shop"}, "Gatekeeper"),
                    el("nav", {"aria-label": "Pages"}, out if can_sign_out else None if may else sign_in),
                ),
                el("main", {"id": "main", "tabindex": -1}, content),
            ),
        ),
    )
