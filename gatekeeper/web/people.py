"""What people walk through: a change of bin, bag or filter step by step, and the list for an inspection, to print."""

import asyncio
from collections.abc import Callable, Mapping

from fastapi import FastAPI, Request
from fastapi.responses import Response

from gatekeeper.inspection_drawing import drawn
from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import Face, ShopView
from gatekeeper.service.face_people import ChangeStep, ChangesView, ChangeView, Inspection, People
from gatekeeper.web import parts, words
from gatekeeper.web.answers import Said, answered, form_of
from gatekeeper.web.door import Refusal, Refused
from gatekeeper.web.door_rights import Right
from gatekeeper.web.entering import Entrance
from gatekeeper.web.frame import Visit, frame
from gatekeeper.web.routes import Handler, add_routes, page_of

NO_PEOPLE = Refusal(404, "no_change", "There is nothing to walk through here.")
NO_STEP = Refusal(400, "no_step", "The request cannot be read. Send it again from the page.")
_LONGEST = 40


class PeopleRoutes:
    """The handlers of changes and inspection.

    Args:
        people: of the running service; None where there is none.
        face: for the frame of the page.
        entrance: who may what.
        said: sentences on their way to a page.
        visit: what the frame knows of the visitor.
    """

    def __init__(
        self, people: People | None, face: Face, entrance: Entrance, said: Said, visit: Callable[[Request], Visit]
    ) -> None:
        self._people, self._face, self._entrance, self._said, self._visit = people, face, entrance, said, visit

    def add_to(self, app: FastAPI, may_look: list[object]) -> None:
        """Register every address; ``may_look`` stands before the pages."""
        reading: Mapping[str, Handler] = {"/change": self.page, "/inspection": self.inspection}
        asking: Mapping[str, Handler] = {
            "/change": self.press,
            "/change/begin": self.begin,
            "/change/leave": self.leave,
        }
        add_routes(app, reading, asking, may_look)

    @property
    def _known(self) -> People:
        if self._people is None:
            raise Refused(NO_PEOPLE)
        return self._people

    async def page(self, request: Request) -> Response:
        view = await asyncio.to_thread(self._known.changes)
        shop = self._face.view()
        return page_of(frame(shop, "Change", "frame", self._visit(request), content(shop, view)))

    async def inspection(self, request: Request) -> Response:
        every = self._known.inspection()
        shop = self._face.view()
        return page_of(frame(shop, "Inspection", "frame", self._visit(request), inspected(shop, every)))

    async def begin(self, request: Request) -> Response:
        """Towards rest, so it wants no more than air does (C14)."""
        refused = self._entrance.refuse_below(request, Right.AIR)
        if refused is not None:
            return refused
        fields = await form_of(request)
        by = _name(fields)
        answer = await asyncio.to_thread(self._known.begin, fields.get("motor", ""), fields.get("job", ""), by)
        return answered(request, answer, self._said, "/change")

    async def press(self, request: Request) -> Response:
        """Settings and release: the walk ends with the motor back in service."""
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        fields = await form_of(request)
        number = fields.get("number", "")
        if not number.isascii() or not number.isdigit() or len(number) > 2:
            raise Refused(NO_STEP)
        answer = await asyncio.to_thread(
            self._known.press,
            fields.get("motor", ""),
            int(number),
            _name(fields),
            fields.get("tap", "")[:_LONGEST],
            fields.get("reading", "")[:_LONGEST],
        )
        return answered(request, answer, self._said, "/change")

    async def leave(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        fields = await form_of(request)
        answer = await asyncio.to_thread(self._known.leave, fields.get("motor", ""), _name(fields))
        return answered(request, answer, self._said, "/change")


def _name(fields: Mapping[str, str]) -> str:
    """Who, on one line and without characters that cannot be seen."""
    return "".join(mark for mark in " ".join(fields.get("by", "").split()) if mark.isprintable())[:_LONGEST]


# ---------------------------------------------------------------- drawing


def content(shop: ShopView, view: ChangesView) -> Html:
    """The page of changes."""
    begun = [_begin(motor, job, label) for motor, job, label in view.offers]
    return join(
        el("h1", None, "Bin, bag, filter"),
        [_going(shop, one) for one in view.going],
        el("h2", None, "Begin") if begun else None,
        el("p", None, "Begins with the motor out of service: it stops, and nothing starts it until the walk is over.")
        if begun
        else None,
        el("div", {"class": "offers"}, begun) if begun else None,
        el("p", {"class": "target"}, el("a", {"href": "/inspection"}, "What to try in this shop, to print")),
    )


def _begin(motor: str, job: str, label: str) -> Html:
    form = el(
        "form",
        {"method": "post", "action": "/change/begin"},
        parts.hidden("motor", motor),
        parts.hidden("job", job),
        el("label", None, "Who ", el("input", {"name": "by", "maxlength": _LONGEST, "required": True})),
        el("button", None, label),
    )
    return el("details", {"data-key": f"{motor} {job}"}, el("summary", None, label), form)


def _going(shop: ShopView, one: ChangeView) -> Html:
    return el(
        "section",
        {"class": "panel", "aria-label": one.title},
        el("h2", None, one.title),
        el("p", {"class": "what"}, words.said(one.now, shop.now_s)),
        el("p", {"class": "soft"}, one.stays) if one.stays is not None and one.stays != one.now.text else None,
        el("p", {"class": "soft"}, one.before) if one.before else None,
        _press(one)
        if one.label is not None
        else el("p", {"class": "target"}, el("a", {"href": "/change"}, "Look again")),
        el("ol", {"class": "walk"}, [_step(one, number, step) for number, step in enumerate(one.steps)]),
        el(
            "details",
            {"data-key": f"leave {one.motor}"},
            el("summary", None, "Give it up"),
            el("p", {"class": "caution"}, f"{one.motor} stays out of service until somebody brings it back."),
            el(
                "form",
                {"method": "post", "action": "/change/leave"},
                parts.hidden("motor", one.motor),
                el("button", None, "Give this change up"),
            ),
        ),
    )


def _step(one: ChangeView, number: int, step: ChangeStep) -> Html:
    state = step.done_by or ("now" if number == one.number else "to come")
    return el(
        "li",
        {"aria-current": "step" if number == one.number else None, "class": "soft" if number != one.number else None},
        step.title,
        f": {state}",
    )


def _press(one: ChangeView) -> Html:
    read: Html | None = None
    if one.asks_reading:
        taps = [el("option", {"value": tap}, tap) for tap in one.taps]
        read = join(
            el("label", None, "Where ", el("select", {"name": "tap"}, taps)),
            el(
                "label",
                None,
                f"Suction, such as {one.example} ",
                el("input", {"name": "reading", "maxlength": 20, "autocomplete": "off"}),
            ),
        )
    return el(
        "form",
        {"method": "post", "action": "/change", "data-key": f"{one.motor} {one.number}"},
        parts.hidden("motor", one.motor),
        parts.hidden("number", str(one.number)),
        read,
        el("button", {"class": "start" if one.number == _BACK else None}, one.label),
    )


#: The step that brings the motor back, drawn as what may start something later.
_BACK = 6


def inspected(shop: ShopView, every: Inspection) -> Html:
    """The page of an inspection."""
    return join(
        el("h1", None, "What to try, what must happen"),
        el("p", {"class": "soft"}, f"{shop.name}. To walk through with a pencil: print this page."),
        drawn(every.chapters, every.before),
    )
