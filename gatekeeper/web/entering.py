"""Signing in and out, the list of signed-in phones, another PIN; and what a request may do by who sends it."""

import asyncio
import contextlib
import time
from collections.abc import Callable

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from gatekeeper.service.face import Answer
from gatekeeper.web import door
from gatekeeper.web.answers import Said, answered, form_of, refusal, wants_html, way_back
from gatekeeper.web.door import DoorSettings, Refusal, Refused
from gatekeeper.web.door_front import client_of
from gatekeeper.web.door_limits import ASKING, ASKING_ALL, STOPPING, STOPPING_ALL, Limit
from gatekeeper.web.door_pins import PinLock
from gatekeeper.web.door_rights import Right
from gatekeeper.web.door_sessions import SESSION_S, InMemory, Sessions, SessionStore

PIN_IN_FILE = Refusal(
    403,
    "pin_in_file",
    "The PIN stands in the shop's file (page: pin). Change it there, then start the controller anew.",
)
BAD_PIN = Refusal(400, "bad_pin", "The new PIN must be 6 to 8 digits, and another than the PIN for air.")
NOT_KEPT = Refusal(409, "pin_not_kept", "The disk did not take the new PIN; the old one stays. Look at the card.")
ALL_PHONES = "all"


class Entrance:
    """Who a request comes from and what that may do.

    Args:
        settings: the door's.
        store: where signed-in phones are kept.
        said: sentences on their way to a page.
        clock, wall_s: monotonic and wall clock, seconds.
    """

    def __init__(
        self,
        settings: DoorSettings,
        store: SessionStore,
        said: Said,
        clock: Callable[[], float] = time.monotonic,
        wall_s: Callable[[], float] = time.time,
    ) -> None:
        self._settings = settings
        self._said = said
        self._clock = clock
        self._tries: SessionStore = InMemory() if settings.tries is None else settings.tries
        self._lock = PinLock(settings.pin, settings.air_pin, self._tries.read(), clock())
        self.sessions = Sessions(store, wall_s, self._pins(settings.pin))
        self._asking = Limit(ASKING, ASKING_ALL)
        self._stopping = Limit(STOPPING, STOPPING_ALL)

    def _pins(self, pin: str | None) -> str:
        return f"{pin or ''}/{self._settings.air_pin or ''}"

    # ------------------------------------------------------------ rights

    def is_here(self, request: Request) -> bool:
        """A browser on the board itself, with no proxy in between."""
        client = client_of(request)
        return client is not None and client.is_loopback and not self._settings.loopback_needs_pin

    def right(self, request: Request) -> Right:
        """What whoever sent this may do."""
        if self.is_here(request):
            return Right.SETTINGS
        signed_in = self.sessions.right_of(request.cookies.get(door.COOKIE), address_of(request))
        return max(signed_in, Right.LOOK if self._settings.reading_open else Right.NOTHING)

    def refuse_below(self, request: Request, wanted: Right) -> Response | None:
        """The refusal of a request whose sender may do less than ``wanted``; a person is led to the sign-in page."""
        has = self.right(request)
        if has >= wanted:
            return None
        if self._settings.pin is None and self._settings.air_pin is None:
            return refusal(request, door.NO_PIN_SET)
        why = door.NEEDS_FULL_PIN if has is Right.AIR else door.NEEDS_PIN
        if not wants_html(request):
            return refusal(request, why)
        back = door.quoted(request.url.path) if request.method == "GET" else way_back(request)
        said = f"&said={self._said.keep(why.sentence)}" if has is Right.AIR else ""
        return RedirectResponse(f"/sign-in?back={back}{said}", 303)

    def may_look(self, request: Request) -> None:
        """Stands before every page.

        Raises:
            NotLetIn: looking needs the PIN here.
        """
        refused = self.refuse_below(request, Right.LOOK)
        if refused is not None:
            raise NotLetIn(refused)

    def refuse_too_often(self, request: Request) -> Refusal | None:
        """Count a request that is no stop."""
        return self._asking.refuse(client_of(request), self._clock())

    def stops_too_often(self, request: Request) -> bool:
        """Count a stop. It is never refused for that; see ``app``."""
        return self._stopping.refuse(client_of(request), self._clock()) is not None

    # ------------------------------------------------------------ handlers

    async def sign_in(self, request: Request) -> Response:
        """A PIN becomes a cookie."""
        fields = await form_of(request)
        right = await self._look(fields.get("pin", ""), request)
        if isinstance(right, Refusal):
            return refusal(request, right)
        token = self.sessions.open(right, address_of(request))
        await self._save()
        response = RedirectResponse(door.own_path(fields.get("back")), 303)
        response.set_cookie(
            door.COOKIE,
            token,
            max_age=int(SESSION_S),
            httponly=True,
            samesite="strict",
            secure=self._settings.encrypted,
        )
        return response

    async def sign_out(self, request: Request) -> Response:
        """This phone forgets."""
        self.sessions.close(request.cookies.get(door.COOKIE))
        await self._save()
        return self._without_cookie("/")

    async def phones(self, request: Request) -> Response:
        """Sign out one phone of the list, or all."""
        refused = self.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        handle = (await form_of(request)).get("phone", "")
        if handle == ALL_PHONES:
            self.sessions.revoke_all()
            said = "Every phone is signed out."
        elif self.sessions.revoke(handle):
            said = "That phone is signed out."
        else:
            return answered(request, Answer(False, "no_such_phone", "That phone is signed out already."), self._said)
        if not await self._save():
            said += " The disk did not take it: after a restart it may be signed in again. Look at the card."
        return answered(request, Answer(True, "signed_out", said), self._said)

    async def change_pin(self, request: Request) -> Response:
        """Another PIN; every phone is signed out by it."""
        refused = self.refuse_below(request, Right.SETTINGS)
        if refused is not None:
            return refused
        keep = self._settings.keep_pin
        if keep is None:
            raise Refused(PIN_IN_FILE)
        fields = await form_of(request)
        new = fields.get("new", "")
        if not (new.isascii() and new.isdecimal() and 6 <= len(new) <= 8) or self._lock.is_air_pin(new):
            raise Refused(BAD_PIN)
        right = await self._look(fields.get("pin", ""), request)
        if isinstance(right, Refusal):
            return refusal(request, right)
        if right is not Right.SETTINGS:
            raise Refused(door.NEEDS_FULL_PIN)
        try:
            await asyncio.to_thread(keep, new)
        except OSError:
            raise Refused(NOT_KEPT) from None
        self._lock.set(new)
        await asyncio.to_thread(self.sessions.revoke_all, self._pins(new))
        await self._save()
        said = "The PIN is changed, and every phone is signed out. Sign in with the new one."
        response = answered(request, Answer(True, "pin_changed", said), self._said)
        self._forget_cookie(response)
        return response

    async def _look(self, pin: str, request: Request) -> Right | Refusal:
        right = self._lock.look(pin, client_of(request), self._clock())
        text = self._lock.to_keep(self._clock())
        if text is not None:
            await asyncio.to_thread(self._keep_tries, text)
        return right

    def _keep_tries(self, text: str) -> None:
        """On a disk that says no, waits end with the process."""
        with contextlib.suppress(OSError):
            self._tries.write(text)

    async def _save(self) -> bool:
        """Whether the disk took it. In this process it counts either way."""
        try:
            await asyncio.to_thread(self.sessions.save)
        except OSError:
            return False
        return True

    def save_at_end(self) -> None:
        """When each phone was seen last, and who has to wait."""
        text = self._lock.to_keep(self._clock(), at_end=True)
        if text is not None:
            self._keep_tries(text)
        try:
            self.sessions.save()
        except OSError:
            return

    def _without_cookie(self, path: str) -> Response:
        response = RedirectResponse(path, 303)
        self._forget_cookie(response)
        return response

    def _forget_cookie(self, response: Response) -> None:
        response.delete_cookie(door.COOKIE, httponly=True, samesite="strict", secure=self._settings.encrypted)


class NotLetIn(Exception):
    """Carries the answer to somebody who may not look."""

    def __init__(self, answer: Response) -> None:
        super().__init__("not let in")
        self.answer = answer


def address_of(request: Request) -> str | None:
    """Where a request comes from, for people."""
    client = client_of(request)
    return None if client is None else str(client)
