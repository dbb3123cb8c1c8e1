"""Care: what is due, the five-minute monthly check, trends, hours and starts, a backup to take away or put back."""

import asyncio
from collections.abc import Callable, Mapping
from datetime import datetime

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import Face, Heap
from gatekeeper.service.face_care import CareGauge, CareJob, CareMotor, CareTrend, CareView, Upkeep, UpkeepError
from gatekeeper.trend import trend_svg
from gatekeeper.web.answers import Said, answered, form_of
from gatekeeper.web.door import Refusal, Refused
from gatekeeper.web.door_rights import Right
from gatekeeper.web.entering import Entrance, address_of
from gatekeeper.web.frame import Visit, frame
from gatekeeper.web.routes import Handler, add_routes, page_of
from gatekeeper.web.uploads import file_of

NO_CARE = Refusal(404, "no_care", "Nothing is counted here.")
_SOON = {Heap.NOW: "Now: ", Heap.TODAY: "Today: ", Heap.WHEN_YOU_CAN: "When you can: "}
_LONGEST = 60
_READ = "Hold the gauge at the tap and type what it shows"
_OR_TAKE = ", or wait half a minute and take the measured value."


class CareRoutes:
    """The handlers of care, around one upkeep.

    Args:
        upkeep: of the running service; None where there is none.
        face: for the frame of the page.
        entrance: who may what.
        said: sentences on their way to a page.
        visit: what the frame knows of the visitor.
    """

    def __init__(
        self, upkeep: Upkeep | None, face: Face, entrance: Entrance, said: Said, visit: Callable[[Request], Visit]
    ) -> None:
        self._upkeep, self._face, self._entrance, self._said, self._visit = upkeep, face, entrance, said, visit

    def add_to(self, app: FastAPI, may_look: list[object]) -> None:
        """Register every address; ``may_look`` stands before the page."""
        reading: Mapping[str, Handler] = {"/care": self.page, "/backup": self.backup}
        asking: Mapping[str, Handler] = {
            "/care": self.press,
            "/reading": self.reading,
            "/measured": self.measured,
            "/restore": self.restore,
            "/leave-out": self.leave_out,
        }
        add_routes(app, reading, asking, may_look)

    @property
    def _known(self) -> Upkeep:
        if self._upkeep is None:
            raise Refused(NO_CARE)
        return self._upkeep

    # ------------------------------------------------------------ reading

    async def page(self, request: Request) -> Response:
        view = await asyncio.to_thread(self._known.view)
        may_settings = self._entrance.right(request) >= Right.SETTINGS
        shop = self._face.view()
        drawn = frame(shop, "Care", "frame", self._visit(request), content(view, may_settings=may_settings))
        return page_of(drawn)

    async def backup(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        try:
            path, name = await asyncio.to_thread(self._known.backup)
        except UpkeepError as trouble:
            raise Refused(Refusal(409, "no_backup", str(trouble))) from None
        gone = BackgroundTask(lambda: path.unlink(missing_ok=True))
        headers = {"Cache-Control": "no-store"}
        return FileResponse(path, media_type="application/zip", filename=name, headers=headers, background=gone)

    # ------------------------------------------------------------ asking

    async def press(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.AIR)
        if refused is not None:
            return refused
        fields = await form_of(request)
        what, motor = fields.get("what", ""), fields.get("motor", "")
        if what == "day_one":
            refused = self._entrance.refuse_below(request, Right.SETTINGS)
            if refused is not None:
                return refused
        answer = await asyncio.to_thread(self._known.press, what, motor, _by(request, fields))
        return answered(request, answer, self._said, "/care")

    async def reading(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.AIR)
        if refused is not None:
            return refused
        fields = await form_of(request)
        motor, tap, value = (fields.get(name, "") for name in ("motor", "tap", "value"))
        answer = await asyncio.to_thread(self._known.reading, motor, tap, value, _by(request, fields))
        return answered(request, answer, self._said, "/care")

    async def measured(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.AIR)
        if refused is not None:
            return refused
        fields = await form_of(request)
        answer = await asyncio.to_thread(self._known.measured, fields.get("gauge", ""), _by(request, fields))
        return answered(request, answer, self._said, "/care")

    async def restore(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        known = self._known
        try:
            upload = await asyncio.to_thread(known.upload_to)
        except UpkeepError as trouble:
            raise Refused(Refusal(409, "no_restore", str(trouble))) from None
        try:
            await file_of(request, upload)
            answer = await asyncio.to_thread(known.lay_ready, upload)
        finally:
            upload.unlink(missing_ok=True)
        return answered(request, answer, self._said, "/care")

    async def leave_out(self, request: Request) -> Response:
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        answer = await asyncio.to_thread(self._known.leave_out)
        return answered(request, answer, self._said, "/care")


def _by(request: Request, fields: Mapping[str, str]) -> str:
    """Who, as it is written down: the name that was typed, and where from."""
    typed = "".join(mark for mark in " ".join(fields.get("by", "").split()) if mark.isprintable())[:_LONGEST]
    address = address_of(request)
    where = f"the page, from {address}" if address else "the page"
    return f"{typed} ({where})" if typed else where


# ---------------------------------------------------------------- drawing


def content(view: CareView, *, may_settings: bool) -> Html:
    """The page without its frame."""
    due = sum(job.heap is not None for job in view.jobs) + len(view.told)
    what = "Nothing is due." if not due else "1 thing is due." if due == 1 else f"{due} things are due."
    return join(
        el("h1", None, what),
        [el("p", {"class": "panel"}, sentence) for sentence in view.told],
        el("ul", {"class": "cards"}, [_job(job) for job in view.jobs]),
        el("p", {"class": "target"}, el("a", {"href": "/change"}, "Change a bin, bag or filter, step by step")),
        el("h2", None, "The monthly check, five minutes"),
        [_check(motor, view.example) for motor in view.motors],
        [_trend(trend, view.low_share) for trend in view.trends],
        el("h2", None, "Hours and starts"),
        el("dl", None, [join(el("dt", None, one.name), el("dd", None, one.said)) for one in view.counts])
        if view.counts
        else el("p", {"class": "soft"}, "Nothing has run yet."),
        el("h2", None, "One file with everything"),
        _backup(view, may_settings=may_settings),
    )


def _job(job: CareJob) -> Html:
    soon = _SOON[job.heap] if job.heap is not None else ""
    return el(
        "li",
        {"class": "card", "data-key": job.title},
        el("p", {"class": "what"}, el("b", None, f"{soon}{job.title}")),
        el("p", None, job.state),
        el("p", {"class": "soft"}, job.last),
        el("div", {"class": "offers"}, [_press(press.what, press.motor, press.label) for press in job.presses])
        if job.presses
        else None,
    )


def _press(what: str, motor: str, label: str) -> Html:
    return el(
        "form",
        {"method": "post", "action": "/care"},
        el("input", {"type": "hidden", "name": "what", "value": what}),
        el("input", {"type": "hidden", "name": "motor", "value": motor}),
        el("button", None, label),
    )


def _check(motor: CareMotor, example: str) -> Html:
    key = motor.name.replace(" ", "-")
    return el(
        "section",
        {"class": "panel", "aria-labelledby": f"check-{key}"},
        el("h3", {"id": f"check-{key}"}, motor.name),
        el(
            "ol",
            None,
            el("li", None, "Start one machine, always the same one, and wait until its gate is open."),
            el("li", None, _READ + (_OR_TAKE if motor.gauges else ".")),
            el("li", None, "While it runs, press Stop dust collector. Look that it stands still."),
        ),
        el("p", None, motor.open_now),
        [_gauge(gauge) for gauge in motor.gauges],
        el(
            "form",
            {"method": "post", "action": "/reading", "class": "reading"},
            el("input", {"type": "hidden", "name": "motor", "value": motor.name}),
            el("label", {"for": f"tap-{key}"}, "Tap"),
            el(
                "select", {"id": f"tap-{key}", "name": "tap"}, [el("option", {"value": tap}, tap) for tap in motor.taps]
            ),
            el("label", {"for": f"value-{key}"}, f"Suction, such as {example}"),
            el("input", {"id": f"value-{key}", "name": "value", "required": True, "maxlength": 20}),
            el("label", {"for": f"by-{key}"}, "Your name, if you like"),
            el("input", {"id": f"by-{key}", "name": "by", "maxlength": 40}),
            el("button", None, "Write this reading down"),
        ),
        el("p", None, motor.stop_said),
        el("div", {"class": "offers"}, _press("stop_seen", motor.name, "I saw it stop"))
        if motor.can_see_stop
        else None,
        el("p", None, motor.air_said) if motor.air_said else None,
    )


def _gauge(gauge: CareGauge) -> Html:
    """What a gauge shows; where it has a steady value, that can be taken instead of a typed one."""
    take = None
    if gauge.measured is not None:
        take = el(
            "form",
            {"method": "post", "action": "/measured"},
            el("input", {"type": "hidden", "name": "gauge", "value": gauge.name}),
            el("button", None, f"Take the measured value: {gauge.measured}"),
        )
    return join(el("p", None, " ".join(said for said in (gauge.said, gauge.watch_said) if said)), take)


def _trend(trend: CareTrend, low_share: float) -> Html:
    points = [(one.at_wall_s, one.value) for one in trend.readings]
    head = el("tr", None, [el("th", {"scope": "col"}, name) for name in ("Day", "Suction", "By")])
    rows = [
        el("tr", None, el("td", None, _day(one.at_wall_s)), el("td", None, one.value_said), el("td", None, one.by))
        for one in trend.readings
    ]
    return el(
        "section",
        {"class": "panel"},
        el("h3", None, trend.title),
        trend_svg(points, trend.unit, low_share, f"{trend.title}. {trend.said}"),
        el("p", None, trend.said),
        el("details", None, el("summary", None, "The readings as a table"), el("table", None, head, rows)),
    )


def _day(wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s).strftime("%Y-%m-%d")


def _backup(view: CareView, *, may_settings: bool) -> Html:
    if not may_settings:
        return el("p", {"class": "soft"}, "A backup is for those who may change settings. Sign in first.")
    laid = None
    if view.waiting is not None:
        laid = join(
            el("p", None, view.waiting),
            el("form", {"method": "post", "action": "/leave-out"}, el("button", None, "Do not put it back")),
        )
    restore = el("p", {"class": "soft"}, f"Nothing can be put back from here. {view.no_restore}")
    if view.no_restore is None:
        restore = el(
            "form",
            {"method": "post", "action": "/restore", "enctype": "multipart/form-data", "class": "reading"},
            el("label", {"for": "file"}, "A backup to put back"),
            el("input", {"id": "file", "type": "file", "name": "file", "required": True}),
            el(
                "p",
                {"class": "soft"},
                "It is checked now and put back when the controller starts the next time; what is here is kept aside. "
                "Nothing starts because of it.",
            ),
            el("button", None, "Check it and lay it ready"),
        )
    return join(
        el(
            "p",
            None,
            "Shop file, calibration, settings, records and history. It holds the PIN of this page: keep it safe.",
        ),
        el("p", {"class": "target"}, el("a", {"href": "/backup", "download": True}, "Download a backup")),
        laid,
        restore,
    )
