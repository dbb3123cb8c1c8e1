"""The web application: a door in front, pages and streams to read, forms to ask with. It knows the face and no more."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future
from contextlib import asynccontextmanager
from dataclasses import replace

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gatekeeper.service.face import Answer, Bench, Face, ShopView, SpinDown, StopWord
from gatekeeper.web import door, history, pages, spin_down
from gatekeeper.web.answers import Said, answered, form_of, refusal, wants_json, way_back
from gatekeeper.web.asking import (
    BELOW_CAUTION,
    CAUTION,
    HOLD,
    calibration_press,
    no_clamp,
    nobody,
    number,
    out_of_range,
    wish,
)
from gatekeeper.web.door import DoorSettings, PinLock, Refusal, Refused, Sessions, SessionsInMemory, SessionStore
from gatekeeper.web.frame import STATIC, Visit
from gatekeeper.web.live import MOST_STREAMS, Live

#: How long the page waits for the core's answer, and a stop without scripts for its confirmation (C16).
_ANSWER_S = 2.0
_LOOK_AGAIN_S = 0.05
_CAUTIONS_COOKIE = "gatekeeper_cautions_read"
_YEAR_S = 365 * 24 * 3600

NO_ANSWER = Answer(
    False, "no_answer", "The controller did not answer within 2 s. Look at the page before you try again."
)
NOT_CONFIRMED = Answer(False, "not_confirmed", "Not confirmed. Use the red button.")
NO_PAGE = Refusal(404, "no_page", "There is no such page here.")
NO_METHOD = Refusal(405, "no_method", "That address does not take this kind of request.")
NOT_UNDERSTOOD = Refusal(400, "not_understood", "The request cannot be read. Send it again from the page.")
NO_DAY = Refusal(404, "no_day", "There is no record of that day.")
TOO_MANY_STREAMS = Refusal(429, "too_many_pages", "Too many pages are open at once. Close one and try again.", 5)

_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
_TYPES = {"page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8"}


class _Door:
    """In front of every request: its host, and for a POST where it comes from and what it weighs."""

    def __init__(self, app: ASGIApp, settings: DoorSettings) -> None:
        self._app = app
        self._settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [
                    *message["headers"],
                    *((name.lower().encode(), value.encode()) for name, value in _HEADERS.items()),
                ]
            await send(message)

        request = Request(scope)
        why = door.refuse_host(request.headers, _reached(request), self._settings)
        if why is None and request.method == "POST":
            why = door.refuse_post(request.headers)
        if why is not None:
            await refusal(request, why)(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)


def _reached(request: Request) -> door.Address | None:
    server = request.scope.get("server")
    return door.address(server[0]) if server else None


def _client(request: Request) -> door.Address | None:
    if door.through_proxy(request.headers):
        return None
    return door.address(request.client.host) if request.client else None


class _Web:
    """The handlers, around one face."""

    def __init__(self, face: Face, settings: DoorSettings, bench: Bench | None, store: SessionStore) -> None:
        self.face = face
        self.bench = bench
        self.live = Live(face, bench, pages.live_parts)
        self._settings = settings
        self._lock = PinLock(settings.pin)
        self._sessions = Sessions(store, time.time)
        self._said = Said()

    # ------------------------------------------------------------ who

    def _is_here(self, request: Request) -> bool:
        """A browser on the board itself, with no proxy in between."""
        client = _client(request)
        return client is not None and client.is_loopback and not self._settings.loopback_needs_pin

    def _may_write(self, request: Request) -> bool:
        return self._is_here(request) or self._sessions.knows(request.cookies.get(door.COOKIE))

    def _refuse_writing(self, request: Request) -> Response | None:
        if self._may_write(request):
            return None
        if self._settings.pin is None:
            return refusal(request, door.NO_PIN_SET)
        if not wants_json(request) and "text/html" in request.headers.get("accept", ""):
            return RedirectResponse("/sign-in?back=" + way_back(request), 303)
        return refusal(request, door.NEEDS_PIN)

    def _visit(self, request: Request) -> Visit:
        return Visit(
            path=request.url.path,
            signed_in=self._may_write(request),
            can_sign_out=self._sessions.knows(request.cookies.get(door.COOKIE)),
            answer=self._said.of(request.query_params.get("said")),
            cautions_read=_CAUTIONS_COOKIE in request.cookies,
        )

    @staticmethod
    def _address(request: Request) -> str | None:
        client = _client(request)
        return None if client is None else str(client)

    # ------------------------------------------------------------ reading

    def shop(self, request: Request) -> Response:
        return _page(pages.shop(self.face.view(), self.live.controls(), self._visit(request)))

    def machine(self, request: Request, name: str) -> Response:
        page = pages.machine(self.face.view(), name, self._visit(request))
        if page is None:
            raise Refused(nobody(name))
        return _page(page)

    def calibration(self, request: Request, name: str) -> Response:
        page = pages.calibrate(self.face.view(), name, self.live.controls(), self._visit(request))
        if page is None:
            raise Refused(no_clamp(name))
        return _page(page)

    def settings(self, request: Request) -> Response:
        return _page(pages.settings_page(self.face.view(), self._visit(request)))

    def cautions(self, request: Request) -> Response:
        return _page(pages.cautions(self.face.view(), self._visit(request)))

    def history(self, request: Request) -> Response:
        try:
            day = self.face.history(request.query_params.get("day"))
        except LookupError:
            raise Refused(NO_DAY) from None
        return _page(history.page(self.face.view(), day, self._visit(request)))

    def sign_in_page(self, request: Request) -> Response:
        back = door.own_path(request.query_params.get("back"))
        return _page(pages.sign_in(self.face.view(), self._visit(request), back))

    async def stream(self, request: Request) -> Response:
        page = request.query_params.get("page", "shop")
        if not pages.is_live(page, self.face.view()):
            raise Refused(NO_PAGE)
        if self.live.streams >= MOST_STREAMS:
            raise Refused(TOO_MANY_STREAMS)
        headers = {"Cache-Control": "no-store"}
        return StreamingResponse(self.live.stream(page), media_type="text/event-stream", headers=headers)

    # ------------------------------------------------------------ asking

    async def _answer(self, asked: "Future[Answer]") -> Answer:
        # Shielded: a waiter that gives up must not cancel what the control thread is about to answer.
        try:
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(asked)), _ANSWER_S)
        except TimeoutError:
            return NO_ANSWER

    async def stop(self, request: Request) -> Response:
        if not door.in_own_network(_client(request), _reached(request)):
            raise Refused(door.NOT_HERE)
        subject = (await form_of(request)).get("subject") or None
        if subject is not None and subject not in {motor.name for motor in self.face.view().motors}:
            raise Refused(nobody(subject))
        answer = await self._answer(self.face.request("stop", subject, "page", address=self._address(request)))
        if answer is NO_ANSWER:
            answer = NOT_CONFIRMED
        elif answer.accepted and not wants_json(request):
            answer = await self._confirmed(subject)
        return answered(request, answer, self._said)

    async def _confirmed(self, subject: str | None) -> Answer:
        """What became of a stop, for a page without scripts: what is confirmed within 2 s, else that it is not."""
        loop = asyncio.get_running_loop()
        end_s = loop.time() + _ANSWER_S
        while True:
            motors = self.face.view().motors
            stops = [m.stop for m in motors if m.stop and subject in (None, m.name)]
            if stops and all(stop.word in (StopWord.STOPPING, StopWord.STOPPED) for stop in stops):
                return Answer(True, "stopping", " ".join(dict.fromkeys(stop.sentence for stop in stops)))
            if loop.time() >= end_s:
                return NOT_CONFIRMED
            await asyncio.sleep(_LOOK_AGAIN_S)

    async def ask(self, request: Request) -> Response:
        fields = await form_of(request)
        if fields.get("what") == "stop":
            return await self.stop(request)
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        view = self.face.view()
        wanted = wish(view, fields)
        if wanted.needs_hold and fields.get("held") != "1":
            caution = (wanted.offer.caution if wanted.offer else None) or CAUTION
            label = wanted.offer.label if wanted.offer else "Start"
            return self._hold(request, view, caution, label, "/ask", fields)
        answer = await self._answer(
            self.face.request(
                wanted.what, wanted.subject, "page", wanted.for_s, wanted.text, address=self._address(request)
            )
        )
        return answered(request, answer, self._said, fields.get("back"))

    def _hold(
        self, request: Request, view: ShopView, caution: str, label: str, action: str, fields: dict[str, str]
    ) -> Response:
        if wants_json(request) or "text/html" not in request.headers.get("accept", ""):
            raise Refused(HOLD)
        back = way_back(request)
        visit = replace(self._visit(request), path=back)
        return _page(pages.confirm(view, visit, caution, label, action, fields | {"back": back}))

    async def set_spin_down(self, request: Request) -> Response:
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        fields = await form_of(request)
        view = self.face.view()
        subject = fields.get("subject", "")
        spin = _delays(view).get(subject)
        if spin is None:
            raise Refused(nobody(subject or "name"))
        value_s: float | None = None
        if "value_s" in fields:
            value_s = number(fields["value_s"])
            if value_s is None or not spin.low_s <= value_s <= spin.high_s:
                raise Refused(out_of_range(subject, spin.low_s, spin.high_s))
            if value_s < spin_down.lowest_s(spin) and fields.get("held") != "1":
                return self._hold(request, view, BELOW_CAUTION, f"Set {value_s:g} s", "/spin-down", fields)
        answer = await self._answer(self.face.set_spin_down(subject, value_s, "page", address=self._address(request)))
        return answered(request, answer, self._said, fields.get("back"))

    async def undo(self, request: Request) -> Response:
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        subject = (await form_of(request)).get("subject", "")
        view = self.face.view()
        if _delays(view).get(subject) is None:
            raise Refused(nobody(subject or "name"))
        answer = await self._answer(self.face.undo(subject, "page", address=self._address(request)))
        return answered(request, answer, self._said)

    async def calibrate(self, request: Request) -> Response:
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        machine, press = calibration_press(self.face.view(), await form_of(request))
        answer = await asyncio.to_thread(self.face.calibrate, machine, press, "page", self._address(request))
        return answered(request, answer, self._said)

    async def work_bench(self, request: Request) -> Response:
        if self.bench is None:
            raise Refused(NO_PAGE)
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        fields = await form_of(request)
        answer = await asyncio.to_thread(self.bench.work, fields.get("key", ""), fields.get("to", ""))
        return answered(request, answer, self._said)

    # ------------------------------------------------------------ the door itself

    async def sign_in(self, request: Request) -> Response:
        fields = await form_of(request)
        why = self._lock.refuse(fields.get("pin", ""), _client(request), time.monotonic())
        if why is not None:
            return refusal(request, why)
        response = RedirectResponse(door.own_path(fields.get("back")), 303)
        response.set_cookie(
            door.COOKIE, self._sessions.open(), max_age=int(door.SESSION_S), httponly=True, samesite="strict"
        )
        return response

    async def sign_out(self, request: Request) -> Response:
        self._sessions.close(request.cookies.get(door.COOKIE))
        response = RedirectResponse("/", 303)
        response.delete_cookie(door.COOKIE, httponly=True, samesite="strict")
        return response

    async def cautions_read(self, request: Request) -> Response:
        response = RedirectResponse("/", 303)
        response.set_cookie(_CAUTIONS_COOKIE, "1", max_age=_YEAR_S, httponly=True, samesite="strict")
        return response


def _delays(view: ShopView) -> dict[str, SpinDown | None]:
    """Every delay that the page can change."""
    return {m.name: m.spin_down for m in view.motors} | {t.name: t.spin_down for t in view.tools}


def _page(html: str) -> Response:
    return HTMLResponse(html, headers={"Cache-Control": "no-store"})


def _static(name: str) -> Callable[[], Response]:
    def serve() -> Response:
        headers = {"Cache-Control": "public, max-age=31536000, immutable"}
        return Response(STATIC[name], media_type=_TYPES[name], headers=headers)

    return serve


def create_app(
    face: Face, settings: DoorSettings, bench: Bench | None = None, sessions: SessionStore | None = None
) -> FastAPI:
    """The application around one running controller.

    Args:
        face: the controller.
        settings: the door.
        bench: a virtual shop's bench, drawn when given.
        sessions: where signed-in phones are kept; in memory when None.

    ``app.state.live`` is the shared drawing: ``end_from_any_thread`` ends every open stream at once.
    """
    web = _Web(face, settings, bench, SessionsInMemory() if sessions is None else sessions)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        web.live.start()
        try:
            yield
        finally:
            web.live.stop()

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan, redirect_slashes=False)
    app.state.live = web.live

    async def refuse(request: Request, error: Exception) -> Response:
        assert isinstance(error, Refused)
        return refusal(request, error.why)

    async def refuse_http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return refusal(request, {404: NO_PAGE, 405: NO_METHOD}.get(error.status_code, NOT_UNDERSTOOD))

    app.add_exception_handler(Refused, refuse)
    app.add_exception_handler(HTTPException, refuse_http)
    reading: dict[str, Callable[..., object]] = {
        "/": web.shop,
        "/machine/{name:path}": web.machine,
        "/calibrate/{name:path}": web.calibration,
        "/settings": web.settings,
        "/cautions": web.cautions,
        "/history": web.history,
        "/sign-in": web.sign_in_page,
        "/live": web.stream,
        "/page.css": _static("page.css"),
        "/page.js": _static("page.js"),
    }
    asking: dict[str, Callable[..., object]] = {
        "/stop": web.stop,
        "/ask": web.ask,
        "/spin-down": web.set_spin_down,
        "/undo": web.undo,
        "/calibrate": web.calibrate,
        "/bench": web.work_bench,
        "/sign-in": web.sign_in,
        "/sign-out": web.sign_out,
        "/cautions": web.cautions_read,
    }
    for path, read in reading.items():
        app.add_api_route(path, read, methods=["GET"], response_class=HTMLResponse, response_model=None)
    for path, take in asking.items():
        app.add_api_route(path, take, methods=["POST"], response_class=HTMLResponse, response_model=None)
    # Level 4 takes well under a millisecond for the largest page; streams are left as they are.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=4)
    app.add_middleware(_Door, settings=settings)
    return app
