"""The addresses of commissioning: the step in hand, one stage's steps, the record, and the presses."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import replace
from urllib.parse import quote, unquote

from fastapi import FastAPI, Request
from fastapi.responses import Response

from gatekeeper.markup import Html
from gatekeeper.service.face import Answer, BenchControl, Face, Press, ShopView
from gatekeeper.service.face_commissioning import Commissioning, CommissioningView, StepOffer
from gatekeeper.web import commissioning_pages, pages
from gatekeeper.web.answers import Said, answered, form_of, wants_html
from gatekeeper.web.asking import CAUTION, HOLD
from gatekeeper.web.commissioning_pages import HOME, LONGEST_NAME, LONGEST_VALUE, VALUE
from gatekeeper.web.door import Refusal, Refused
from gatekeeper.web.door_rights import Right
from gatekeeper.web.entering import Entrance
from gatekeeper.web.frame import Visit
from gatekeeper.web.routes import Handler, add_routes, page_of

NO_COMMISSIONING = Refusal(404, "no_commissioning", "This controller has nothing to commission.")
NO_STAGE = Refusal(404, "no_stage", "There is no such stage in this shop.")
NO_STEP = Refusal(400, "no_step", "The request cannot be read. Send it again from the page.")
NO_NAME = Refusal(400, "no_name", "Say first who tries it: your name, at the top of the page of commissioning.")
_COOKIE = "gatekeeper_tries"
_WEEK_S = 7 * 24 * 3600


class CommissioningRoutes:
    """The handlers, around the commissioning of one running shop.

    Args:
        commissioning: of the running service; None where there is none.
        face: for the frame of the page.
        controls: the bench's parts as they are now; none without a bench.
        entrance: who may what.
        said: sentences on their way to a page.
        visit: what the frame knows of the visitor.
        encrypted: the page is served over TLS, so a cookie may be bound to it.
    """

    def __init__(
        self,
        commissioning: Commissioning | None,
        face: Face,
        controls: Callable[[], tuple[BenchControl, ...]],
        entrance: Entrance,
        said: Said,
        visit: Callable[[Request], Visit],
        *,
        encrypted: bool,
    ) -> None:
        self._commissioning, self._face, self._controls = commissioning, face, controls
        self._encrypted = encrypted
        #: The step that was in hand last, of whoever's.
        self._last: str | None = None
        self._entrance, self._said, self._visit = entrance, said, visit

    def add_to(self, app: FastAPI, may_look: list[object]) -> None:
        """Register every address; ``may_look`` stands before the pages."""
        reading: Mapping[str, Handler] = {
            HOME: self.page,
            f"{HOME}/record": self.record,
            f"{HOME}/{{stage}}": self.stage,
        }
        asking: Mapping[str, Handler] = {HOME: self.press, f"{HOME}/who": self.who}
        add_routes(app, reading, asking, may_look)

    @property
    def _known(self) -> Commissioning:
        if self._commissioning is None:
            raise Refused(NO_COMMISSIONING)
        return self._commissioning

    # ------------------------------------------------------------ reading

    @property
    def is_there(self) -> bool:
        """Whether this controller can be commissioned from its page."""
        return self._commissioning is not None

    def live_parts(self, shop: ShopView, controls: tuple[BenchControl, ...]) -> dict[str, Html] | None:
        """The live parts of the page of the walk; from the drawing thread."""
        if self._commissioning is None:
            return None
        view = self._noted(self._commissioning.view())
        return commissioning_pages.live_parts(shop, view, controls, self._last)

    def _noted(self, view: CommissioningView) -> CommissioningView:
        """Remember which step is in hand, to say what came of it once it is not any more."""
        if view.walk is not None:
            self._last = view.walk.key
        return view

    async def page(self, request: Request) -> Response:
        view = self._noted(await asyncio.to_thread(self._known.view))
        shop, visit = self._face.view(), self._visit(request)
        return page_of(commissioning_pages.page(shop, view, self._controls(), _name_of(request), visit, self._last))

    async def stage(self, request: Request, stage: str) -> Response:
        view = await asyncio.to_thread(self._known.view)
        page = commissioning_pages.stage_page(self._face.view(), view, stage, self._visit(request))
        if page is None:
            raise Refused(NO_STAGE)
        return page_of(page)

    async def record(self, request: Request) -> Response:
        record = await asyncio.to_thread(self._known.record)
        return page_of(commissioning_pages.record_page(self._face.view(), record, self._visit(request)))

    # ------------------------------------------------------------ asking

    async def who(self, request: Request) -> Response:
        """A name for what is pressed on this phone from now on."""
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        name = _one_line((await form_of(request)).get("by", ""))
        if not name:
            raise Refused(NO_NAME)
        response = answered(request, Answer(True, "named", f"{name} tries it."), self._said, HOME)
        response.set_cookie(
            _COOKIE, quote(name), max_age=_WEEK_S, httponly=True, samesite="strict", secure=self._encrypted
        )
        return response

    async def press(self, request: Request) -> Response:
        """One press. What moves or starts something is held, or pressed a second time on a page of its own."""
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        fields = await form_of(request)
        name = _name_of(request)
        if not name:
            raise Refused(NO_NAME)
        key, press, number = fields.get("key", ""), fields.get("press", ""), _number(fields.get("number"))
        known = self._known
        view = await asyncio.to_thread(known.view)
        offer = _offered(view, key, press)
        if offer is not None and offer.how is Press.HOLD and fields.get("held") != "1":
            return self._hold(request, offer, fields)
        values = {
            field.removeprefix(VALUE): _one_line(value, LONGEST_VALUE)
            for field, value in fields.items()
            if field.startswith(VALUE)
        }
        answer = await asyncio.to_thread(known.press, key, press, name, values, number)
        if answer.accepted:
            self._last = key
        return answered(request, answer, self._said, HOME)

    def _hold(self, request: Request, offer: StepOffer, fields: dict[str, str]) -> Response:
        if not wants_html(request):
            raise Refused(HOLD)
        visit = replace(self._visit(request), path=HOME)
        return page_of(pages.confirm(self._face.view(), visit, offer.caution or CAUTION, offer.label, HOME, fields))


def _offered(view: CommissioningView, key: str, press: str) -> StepOffer | None:
    """The button that was pressed, where it is still there; the engine refuses what is not."""
    if view.walk is not None and view.walk.key == key:
        return next((one for one in view.walk.offers if one.press == press), None)
    steps = (step for stage in view.stages for step in stage.steps if step.key == key)
    return next((one for step in steps for one in step.offers if one.press == press), None)


def _number(given: str | None) -> int | None:
    if given is None:
        return None
    if not given.isascii() or not given.isdigit() or len(given) > 9:
        raise Refused(NO_STEP)
    return int(given)


def _name_of(request: Request) -> str:
    return _one_line(unquote(request.cookies.get(_COOKIE, "")))


def _one_line(text: str, longest: int = LONGEST_NAME) -> str:
    """On one line and without characters that cannot be seen."""
    seen = "".join(mark if mark.isprintable() else " " for mark in text[: 4 * longest])
    return " ".join(seen.split())[:longest].strip()
