"""In front of every request: its host, where it comes from, how often it comes; and the headers of every answer."""

import time
from collections.abc import Callable

from fastapi import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gatekeeper.web import door
from gatekeeper.web.answers import refusal
from gatekeeper.web.door import DoorSettings, Refusal
from gatekeeper.web.door_limits import ASKING, ASKING_ALL, READING, READING_ALL, Limit
from gatekeeper.web.uploads import UPLOAD, refuse_upload

HEADERS = {
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
#: Forms that may be a stop; they are counted where their fields are known.
_MAY_STOP = frozenset({"/stop", "/ask"})


def reached(request: Request) -> door.Address | None:
    """The address of ours that a request reached."""
    server = request.scope.get("server")
    return door.address(server[0]) if server else None


def client_of(request: Request) -> door.Address | None:
    """Where a request comes from; None where a proxy passed it on, or there is no address."""
    if door.through_proxy(request.headers):
        return None
    return door.address(request.client.host) if request.client else None


class Front:
    """The door as a layer of the application.

    Args:
        app: what is behind it.
        settings: the door's.
        clock: monotonic seconds.
    """

    def __init__(self, app: ASGIApp, settings: DoorSettings, clock: Callable[[], float] = time.monotonic) -> None:
        self._app = app
        self._settings = settings
        self._clock = clock
        self._reading = Limit(READING, READING_ALL)
        self._asking = Limit(ASKING, ASKING_ALL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request, or pass it on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [
                    *message["headers"],
                    *((name.lower().encode(), value.encode()) for name, value in HEADERS.items()),
                ]
            await send(message)

        request = Request(scope)
        why = self._refuse(request)
        if why is not None:
            await refusal(request, why)(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)

    def _refuse(self, request: Request) -> Refusal | None:
        why = door.refuse_host(request.headers, reached(request), self._settings)
        if why is None:
            why = door.refuse_origin(request.headers, self._settings)
        if why is None and request.method == "POST":
            is_upload = request.url.path == UPLOAD
            why = refuse_upload(request.headers) if is_upload else door.refuse_post(request.headers)
        if why is not None or (request.method == "POST" and request.url.path in _MAY_STOP):
            return why
        limit = self._asking if request.method == "POST" else self._reading
        return limit.refuse(client_of(request), self._clock())
