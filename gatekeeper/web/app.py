"""The web application: a door in front, pages and streams to read, forms to ask with. It knows the face and no more."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from gatekeeper.service.face import Bench, Face
from gatekeeper.service.face_broker import BrokerDoor
from gatekeeper.service.face_care import Upkeep
from gatekeeper.service.face_commissioning import Commissioning
from gatekeeper.service.face_interview import Interviews
from gatekeeper.service.face_people import People
from gatekeeper.web.answers import refusal
from gatekeeper.web.care import CareRoutes
from gatekeeper.web.door import DoorSettings, Refusal, Refused
from gatekeeper.web.door_front import Front
from gatekeeper.web.door_sessions import InMemory, SessionStore
from gatekeeper.web.entering import NotLetIn
from gatekeeper.web.frame import STATIC
from gatekeeper.web.handlers import NO_PAGE, Handlers
from gatekeeper.web.interview import InterviewRoutes
from gatekeeper.web.people import PeopleRoutes

NO_METHOD = Refusal(405, "no_method", "That address does not take this kind of request.")
NOT_UNDERSTOOD = Refusal(400, "not_understood", "The request cannot be read. Send it again from the page.")

_TYPES = {"page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8"}


def static(name: str) -> Callable[[], Response]:
    """A handler that serves one of the static files."""

    def serve() -> Response:
        headers = {"Cache-Control": "public, max-age=31536000, immutable"}
        return Response(STATIC[name], media_type=_TYPES[name], headers=headers)

    return serve


def create_app(
    face: Face,
    settings: DoorSettings,
    bench: Bench | None = None,
    sessions: SessionStore | None = None,
    *,
    upkeep: Upkeep | None = None,
    people: People | None = None,
    interviews: Interviews | None = None,
    commissioning: Commissioning | None = None,
    broker: BrokerDoor | None = None,
) -> FastAPI:
    """The application around one running controller.

    Args:
        face: the controller.
        settings: the door.
        bench: a virtual shop's bench, drawn when given.
        sessions: where signed-in phones are kept; in memory when None.
        upkeep: care of the service, drawn and asked when given.
        people: changes step by step and the list for an inspection, when given.
        interviews: machines added, moved and retired, when given.
        commissioning: the shop tried part by part, when given.
        broker: gives a broker's commands leave, where the shop's file lets any in.

    ``app.state.live`` is the shared drawing: ``end_from_any_thread`` ends every open stream at once.
    """
    web = Handlers(face, settings, bench, InMemory() if sessions is None else sessions, commissioning, broker)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        web.live.start()
        try:
            yield
        finally:
            web.live.stop()
            await asyncio.to_thread(web.entrance.save_at_end)

    app = FastAPI(
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
        redirect_slashes=False,
    )
    app.state.live = web.live

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
        "/": web.shop,
        "/machine/{name:path}": web.machine,
        "/calibrate/{name:path}": web.calibration,
        "/settings": web.settings,
        "/cautions": web.cautions,
        "/history": web.history,
        "/live": web.stream,
    }
    if settings.metrics:
        reading["/metrics"] = web.metrics
    always: dict[str, Callable[..., object]] = {
        "/sign-in": web.sign_in_page,
        "/page.css": static("page.css"),
        "/page.js": static("page.js"),
    }
    asking: dict[str, Callable[..., object]] = {
        "/stop": web.stop,
        "/ask": web.ask,
        "/spin-down": web.set_spin_down,
        "/undo": web.undo,
        "/calibrate": web.calibrate,
        "/bench": web.work_bench,
        "/sign-in": web.entrance.sign_in,
        "/sign-out": web.entrance.sign_out,
        "/phones": web.entrance.phones,
        "/pin": web.entrance.change_pin,
        "/cautions": web.cautions_read,
    }
    may_look = [Depends(web.entrance.may_look)]
    for path, read in reading.items():
        app.add_api_route(
            path, read, methods=["GET"], response_class=HTMLResponse, response_model=None, dependencies=may_look
        )
    for path, read in always.items():
        app.add_api_route(path, read, methods=["GET"], response_class=HTMLResponse, response_model=None)
    for path, take in asking.items():
        app.add_api_route(path, take, methods=["POST"], response_class=HTMLResponse, response_model=None)
    care = CareRoutes(upkeep, face, web.entrance, web.said, web.visit)
    care.add_to(app, may_look)
    PeopleRoutes(people, face, web.entrance, web.said, web.visit).add_to(app, may_look)
    InterviewRoutes(interviews, web.entrance, web.said, web.interviewed).add_to(app, may_look)
    web.can_change_machines = interviews is not None
    web.commissioning.add_to(app, may_look)
    web.broker.add_to(app)
    # Level 4 takes well under a millisecond for the largest page; streams are left as they are.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=4)
    app.add_middleware(Front, settings=settings)
    return app
