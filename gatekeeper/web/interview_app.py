"""The application before there is a controller: it asks for a new shop behind the same door, and nothing else."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI, Request
from fastapi.responses import RedirectResponse, Response
from starlette.middleware.gzip import GZipMiddleware

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face_interview import Interviews
from gatekeeper.web import door, entering_pages
from gatekeeper.web.answers import Said
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.door_front import Front
from gatekeeper.web.door_rights import Right
from gatekeeper.web.door_sessions import InMemory, SessionStore
from gatekeeper.web.entering import Entrance
from gatekeeper.web.frame import head
from gatekeeper.web.interview import InterviewRoutes
from gatekeeper.web.routes import add_refusals, add_routes, add_static, page_of

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
        return page_of(framed(request, "Sign in", form))

    async def to_the_page() -> Response:
        return RedirectResponse(BASE, 303)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        await asyncio.to_thread(entrance.save_at_end)

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan, redirect_slashes=False)

    add_refusals(app)
    add_routes(
        app,
        {"/": to_the_page, "/sign-in": sign_in_page},
        {"/sign-in": entrance.sign_in, "/sign-out": entrance.sign_out},
    )
    add_static(app)
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
