"""The web application: a door in front, pages and streams to read, forms to ask with. It knows the face and no more."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI
from starlette.middleware.gzip import GZipMiddleware

from gatekeeper.service.face import Bench, Face
from gatekeeper.service.face_broker import BrokerDoor
from gatekeeper.service.face_care import Upkeep
from gatekeeper.service.face_commissioning import Commissioning
from gatekeeper.service.face_interview import Interviews
from gatekeeper.service.face_people import People
from gatekeeper.web.care import CareRoutes
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.door_front import Front
from gatekeeper.web.door_sessions import InMemory, SessionStore
from gatekeeper.web.handlers import Handlers
from gatekeeper.web.interview import InterviewRoutes
from gatekeeper.web.people import PeopleRoutes
from gatekeeper.web.routes import add_refusals, add_routes, add_static


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

    add_refusals(app)
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
    add_routes(app, reading, asking, may_look)
    add_routes(app, {"/sign-in": web.sign_in_page}, {})
    add_static(app)
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
