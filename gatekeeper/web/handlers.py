"""What the web answers: pages and streams to read, forms to ask with. It knows the face and no more."""

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import Future
from dataclasses import replace

from fastapi import Request
from fastapi.responses import RedirectResponse, Response, StreamingResponse

from gatekeeper.markup import Html, join
from gatekeeper.service.face import Answer, Bench, BenchControl, Face, ShopView, SpinDown, StopWord
from gatekeeper.service.face_broker import BrokerDoor
from gatekeeper.service.face_commissioning import Commissioning
from gatekeeper.web import door, entering_pages, history, metrics, pages, spin_down
from gatekeeper.web.answers import Said, answered, form_of, wants_json, way_back
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
from gatekeeper.web.broker import BrokerRoutes
from gatekeeper.web.commissioning import CommissioningRoutes
from gatekeeper.web.commissioning_pages import LIVE as COMMISSION
from gatekeeper.web.door import DoorSettings, Refusal, Refused
from gatekeeper.web.door_front import client_of, reached
from gatekeeper.web.door_pins import one_owner
from gatekeeper.web.door_rights import Right, right_for
from gatekeeper.web.door_sessions import SessionStore
from gatekeeper.web.entering import Entrance, address_of
from gatekeeper.web.frame import Visit, frame
from gatekeeper.web.live import MOST_STREAMS, MOST_STREAMS_OF_ONE, Live
from gatekeeper.web.routes import NO_PAGE, page_of

#: How long the page waits for the core's answer, and a stop without scripts for its confirmation (C16).
_ANSWER_S = 2.0
_LOOK_AGAIN_S = 0.05
#: A stop that the core has not answered yet is shared for so long; then it is asked anew.
_SHARED_S = 0.5
_CAUTIONS_COOKIE = "gatekeeper_cautions_read"
_YEAR_S = 365 * 24 * 3600

NO_ANSWER = Answer(
    False, "no_answer", "The controller did not answer within 2 s. Look at the page before you try again."
)
NOT_CONFIRMED = Answer(False, "not_confirmed", "Not confirmed. Use the red button.")
STANDS_STILL = Answer(True, "stands_still", "Nothing runs that could be stopped.")
NO_DAY = Refusal(404, "no_day", "There is no record of that day.")
TOO_MANY_STREAMS = Refusal(429, "too_many_pages", "Too many pages are open at once. Close one and try again.", 5)


class Handlers:
    """The handlers, around one face."""

    def __init__(
        self,
        face: Face,
        settings: DoorSettings,
        bench: Bench | None,
        store: SessionStore,
        commissioning: Commissioning | None,
        broker: BrokerDoor | None,
    ) -> None:
        self.face = face
        self.bench = bench
        self.live = Live(face, bench, self._draw, restless=frozenset({COMMISSION}))
        self._settings = settings
        self.said = Said()
        self.entrance = Entrance(settings, store, self.said)
        self.broker = BrokerRoutes(broker, self.entrance, self.said, settings)
        self.commissioning = CommissioningRoutes(
            commissioning,
            face,
            self.live.controls,
            self.entrance,
            self.said,
            self.visit,
            encrypted=settings.encrypted,
        )
        #: Whether there is a page that changes machines.
        self.can_change_machines = False
        self._watching: dict[str, int] = {}
        self._stops: dict[str | None, tuple[Future[Answer], float]] = {}

    # ------------------------------------------------------------ who

    def _refuse_writing(self, request: Request) -> Response | None:
        """The refusal of whoever may not change settings."""
        return self.entrance.refuse_below(request, Right.SETTINGS)

    def _draw(self, page: str, view: ShopView, controls: tuple[BenchControl, ...]) -> dict[str, Html] | None:
        if page == COMMISSION:
            return self.commissioning.live_parts(view, controls)
        return pages.live_parts(page, view, controls)

    def _is_live(self, page: str) -> bool:
        return self.commissioning.is_there if page == COMMISSION else pages.is_live(page, self.face.view())

    def visit(self, request: Request) -> Visit:
        return Visit(
            path=request.url.path,
            signed_in=self.entrance.right(request) >= Right.AIR,
            can_sign_out=self.entrance.sessions.handle_of(request.cookies.get(door.COOKIE)) is not None,
            answer=self.said.of(request.query_params.get("said")),
            cautions_read=_CAUTIONS_COOKIE in request.cookies,
            can_commission=self.commissioning.is_there,
            can_change_machines=self.can_change_machines,
        )

    def interviewed(self, request: Request, title: str, content: Html) -> Html:
        """An interview in the frame of this shop; what became of the last press stands beside the question."""
        return frame(self.face.view(), title, "frame", replace(self.visit(request), answer=None), content)

    # ------------------------------------------------------------ reading

    def shop(self, request: Request) -> Response:
        return page_of(pages.shop(self.face.view(), self.live.controls(), self.visit(request)))

    def machine(self, request: Request, name: str) -> Response:
        page = pages.machine(self.face.view(), name, self.visit(request))
        if page is None:
            raise Refused(nobody(name))
        return page_of(page)

    def calibration(self, request: Request, name: str) -> Response:
        page = pages.calibrate(self.face.view(), name, self.live.controls(), self.visit(request))
        if page is None:
            raise Refused(no_clamp(name))
        return page_of(page)

    def settings(self, request: Request) -> Response:
        door_part = entering_pages.door_part(
            self.entrance.sessions.listed() if self.entrance.right(request) is Right.SETTINGS else None,
            self.entrance.sessions.handle_of(request.cookies.get(door.COOKIE)),
            pin_in_file=self._settings.keep_pin is None,
        )
        below = join(self.broker.part(), door_part)
        return page_of(pages.settings_page(self.face.view(), self.visit(request), below))

    def cautions(self, request: Request) -> Response:
        return page_of(pages.cautions(self.face.view(), self.visit(request)))

    def history(self, request: Request) -> Response:
        try:
            day = self.face.history(request.query_params.get("day"))
        except LookupError:
            raise Refused(NO_DAY) from None
        return page_of(history.page(self.face.view(), day, self.visit(request)))

    def sign_in_page(self, request: Request) -> Response:
        back = door.own_path(request.query_params.get("back"))
        said = self.said.of(request.query_params.get("said"))
        if self.entrance.right(request) < Right.LOOK:
            return page_of(entering_pages.closed(back, said, two_pins=self._settings.air_pin is not None))
        form = entering_pages.sign_in_form(back, said, two_pins=self._settings.air_pin is not None)
        return page_of(pages.sign_in(self.face.view(), self.visit(request), form))

    def metrics(self) -> Response:
        text = metrics.exposition(self.face.view(), self.face.beat())
        return Response(text, media_type=metrics.MEDIA_TYPE, headers={"Cache-Control": "no-store"})

    async def stream(self, request: Request) -> Response:
        page = request.query_params.get("page", "shop")
        if not self._is_live(page):
            raise Refused(NO_PAGE)
        owner = one_owner(client_of(request))
        if self.live.streams >= MOST_STREAMS or self._watching.get(owner, 0) >= MOST_STREAMS_OF_ONE:
            raise Refused(TOO_MANY_STREAMS)
        headers = {"Cache-Control": "no-store"}
        events = self._events(page, owner, request)
        return StreamingResponse(events, media_type="text/event-stream", headers=headers)

    async def _events(self, page: str, owner: str, request: Request) -> AsyncIterator[bytes]:
        """The stream of one page, for as long as whoever opened it may look."""
        if self._watching.get(owner, 0) >= MOST_STREAMS_OF_ONE:
            return  # many asked at the same instant
        self._watching[owner] = self._watching.get(owner, 0) + 1
        try:
            async for event in self.live.stream(page):
                if self.entrance.right(request) < Right.LOOK:
                    return
                yield event
        finally:
            self._watching[owner] -= 1
            if not self._watching[owner]:
                del self._watching[owner]

    # ------------------------------------------------------------ asking

    async def _answer(self, asked: "Future[Answer]") -> Answer:
        # Shielded: a waiter that gives up must not cancel what the control thread is about to answer.
        try:
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(asked)), _ANSWER_S)
        except TimeoutError:
            return NO_ANSWER

    async def stop(self, request: Request) -> Response:
        if not door.in_own_network(client_of(request), reached(request), self._settings.subnets):
            raise Refused(door.NOT_HERE)
        subject = (await form_of(request)).get("subject") or None
        motors = [motor for motor in self.face.view().motors if subject in (None, motor.name)]
        if subject is not None and not motors:
            raise Refused(nobody(subject))
        if self.entrance.stops_too_often(request) and not any(motor.runs for motor in motors):
            # A flood of stops at rest would fill record and control thread, and there is nothing to stop.
            return answered(request, STANDS_STILL, self.said)
        answer = await self._answer(self._ask_to_stop(subject, address_of(request)))
        if answer is NO_ANSWER:
            answer = NOT_CONFIRMED
        elif answer.accepted and not wants_json(request):
            answer = await self._confirmed(subject)
        return answered(request, answer, self.said)

    def _ask_to_stop(self, subject: str | None, address: str | None) -> "Future[Answer]":
        """Ask the core, or join those whose stop of the same it has not answered yet."""
        now_s = asyncio.get_running_loop().time()
        asked, asked_s = self._stops.get(subject, (None, 0.0))
        if asked is None or asked.done() or now_s - asked_s > _SHARED_S:
            asked = self.face.request("stop", subject, "page", address=address)
            self._stops[subject] = asked, now_s
        return asked

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
        what = fields.get("what", "")
        if what == "stop":
            return await self.stop(request)
        too_often = self.entrance.refuse_too_often(request)
        if too_often is not None:
            raise Refused(too_often)
        refused = self.entrance.refuse_below(request, right_for(what))
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
                wanted.what, wanted.subject, "page", wanted.for_s, wanted.text, address=address_of(request)
            )
        )
        return answered(request, answer, self.said, fields.get("back"))

    def _hold(
        self, request: Request, view: ShopView, caution: str, label: str, action: str, fields: dict[str, str]
    ) -> Response:
        if wants_json(request) or "text/html" not in request.headers.get("accept", ""):
            raise Refused(HOLD)
        back = way_back(request)
        visit = replace(self.visit(request), path=back)
        return page_of(pages.confirm(view, visit, caution, label, action, fields | {"back": back}))

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
        answer = await self._answer(self.face.set_spin_down(subject, value_s, "page", address=address_of(request)))
        return answered(request, answer, self.said, fields.get("back"))

    async def undo(self, request: Request) -> Response:
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        subject = (await form_of(request)).get("subject", "")
        view = self.face.view()
        if _delays(view).get(subject) is None:
            raise Refused(nobody(subject or "name"))
        answer = await self._answer(self.face.undo(subject, "page", address=address_of(request)))
        return answered(request, answer, self.said)

    async def calibrate(self, request: Request) -> Response:
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        machine, press = calibration_press(self.face.view(), await form_of(request))
        answer = await asyncio.to_thread(self.face.calibrate, machine, press, "page", address_of(request))
        return answered(request, answer, self.said)

    async def work_bench(self, request: Request) -> Response:
        if self.bench is None:
            raise Refused(NO_PAGE)
        refused = self._refuse_writing(request)
        if refused is not None:
            return refused
        fields = await form_of(request)
        answer = await asyncio.to_thread(self.bench.work, fields.get("key", ""), fields.get("to", ""))
        return answered(request, answer, self.said)

    # ------------------------------------------------------------ the door itself

    async def cautions_read(self, request: Request) -> Response:
        response = RedirectResponse("/", 303)
        response.set_cookie(
            _CAUTIONS_COOKIE, "1", max_age=_YEAR_S, httponly=True, samesite="strict", secure=self._settings.encrypted
        )
        return response


def _delays(view: ShopView) -> dict[str, SpinDown | None]:
    """Every delay that the page can change."""
    return {m.name: m.spin_down for m in view.motors} | {t.name: t.spin_down for t in view.tools}
