"""The handlers of interviews: a look, and a form for each press. Everything works with scripts off."""

import asyncio
import re
from collections.abc import Callable, Mapping

from fastapi import FastAPI, Request
from fastapi.responses import RedirectResponse, Response

from gatekeeper.markup import Html
from gatekeeper.service.face import Answer
from gatekeeper.service.face_interview import Interviews, InterviewView
from gatekeeper.web import interview_parts
from gatekeeper.web.answers import Said, answered, form_of, wants_html, wants_json
from gatekeeper.web.door import Refusal, Refused
from gatekeeper.web.door_rights import Right
from gatekeeper.web.entering import Entrance
from gatekeeper.web.routes import Handler, add_routes, page_of

NO_INTERVIEW = Refusal(404, "no_interview", "Machines cannot be changed from this page.")
NO_MARK = Refusal(400, "no_mark", "The request cannot be read. Send it again from the page.")
EMPTY = Answer(False, "empty", "Write something into the field first.")
#: The longest answer that is looked at, characters.
_LONGEST = 200
_MARK = re.compile(r"\d{1,4}\.[0-9a-f]{8}", re.ASCII)
#: A decimal comma, as keypads of many countries have it; three digits behind it might be thousands.
_COMMA = re.compile(r"(\d+),(\d{1,2}|\d{4,})", re.ASCII)

#: Puts a page into its frame: the request, its title, its content.
Framed = Callable[[Request, str, Html], Html]


class InterviewRoutes:
    """The handlers of interviews about one shop file.

    Args:
        interviews: what is asked; None where there is nothing to ask.
        entrance: who may what.
        said: sentences on their way to a page.
        framed: puts a page into its frame.
        base: the address of the page; the presses lie below it.
    """

    def __init__(
        self, interviews: Interviews | None, entrance: Entrance, said: Said, framed: Framed, base: str = "/machines"
    ) -> None:
        self._interviews, self._entrance, self._said, self._framed = interviews, entrance, said, framed
        self._base = base

    def add_to(self, app: FastAPI, may_look: list[object]) -> None:
        """Register every address; ``may_look`` stands before the page."""
        asking: Mapping[str, Handler] = {
            "begin": self.begin,
            "answer": self.answer,
            "back": self.back,
            "write": self.write,
            "leave": self.leave,
            "take-over": self.take_over,
        }
        forms = {f"{self._base}/{name}": take for name, take in asking.items()}
        add_routes(app, {self._base: self.page}, forms, may_look)

    @property
    def _known(self) -> Interviews:
        if self._interviews is None:
            raise Refused(NO_INTERVIEW)
        return self._interviews

    # ------------------------------------------------------------ reading

    async def page(self, request: Request) -> Response:
        """Where it stands."""
        view: InterviewView = await asyncio.to_thread(self._known.view)
        content = interview_parts.content(
            view,
            self._base,
            may=self._entrance.right(request) >= Right.SETTINGS,
            said=self._said.of(request.query_params.get("said")),
            typed=self._said.of(request.query_params.get("typed")),
        )
        html = self._framed(request, interview_parts.title(view), content)
        return page_of(html)

    # ------------------------------------------------------------ asking

    async def begin(self, request: Request) -> Response:
        """A machine more, one that moves, one that leaves; a collector more; a gate that is moved otherwise."""

        def press(known: Interviews, fields: Mapping[str, str]) -> Answer:
            what = fields.get("what", "")
            return known.begin(what, fields.get("gate" if what == "gate" else "machine", "")[:_LONGEST])

        return await self._pressed(request, press)

    async def answer(self, request: Request) -> Response:
        """The question that is due: a choice, or what was written with its unit."""

        def press(known: Interviews, fields: Mapping[str, str]) -> Answer:
            text = answer_in(fields)
            return known.answer(_mark(fields), text) if text else EMPTY

        return await self._pressed(request, press)

    async def back(self, request: Request) -> Response:
        """The last answer is taken back."""
        return await self._pressed(request, lambda known, fields: known.back(_mark(fields)))

    async def write(self, request: Request) -> Response:
        """The file is written."""
        return await self._pressed(request, lambda known, fields: known.write(_mark(fields)))

    async def leave(self, request: Request) -> Response:
        """It is given up."""
        return await self._pressed(request, lambda known, fields: known.leave(_mark(fields)))

    async def take_over(self, request: Request) -> Response:
        """The controller starts anew."""
        return await self._pressed(request, lambda known, _: known.take_over())

    async def _pressed(self, request: Request, press: Callable[[Interviews, Mapping[str, str]], Answer]) -> Response:
        known = self._known
        refused = self._entrance.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        fields = await form_of(request)
        answer = await asyncio.to_thread(press, known, fields)
        if wants_json(request) or not wants_html(request):
            return answered(request, answer, self._said, self._base)
        kept = {"said": answer.sentence, "typed": "" if answer.accepted else fields.get("written", "")[:_LONGEST]}
        query = "&".join(f"{name}={self._said.keep(words)}" for name, words in kept.items() if words)
        return RedirectResponse(f"{self._base}?{query}" if query else self._base, 303)


def answer_in(fields: Mapping[str, str]) -> str:
    """The answer that a form says: a choice as it stands, a figure with the unit whose button was pressed."""
    if "answer" in fields:
        return fields["answer"].strip()[:_LONGEST]
    written = fields.get("written", "").strip()[:_LONGEST]
    unit = fields.get("unit", "").strip()[:_LONGEST]
    if not written or not unit:
        return written
    comma = _COMMA.fullmatch(written)
    number = f"{comma[1]}.{comma[2]}" if comma else written
    # Somebody who typed a unit meant that one.
    return number if any(mark.isalpha() or mark in "\"'" for mark in number) else f"{number} {unit}"


def _mark(fields: Mapping[str, str]) -> str:
    mark = fields.get("mark", "")
    if not _MARK.fullmatch(mark):
        raise Refused(NO_MARK)
    return mark
