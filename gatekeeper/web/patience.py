"""A connection on which no whole request arrives is closed: nobody holds a place by sending a byte now and then."""

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

#: A phone sends its headers in one packet; over a bad radio in a second or two. Ours.
HEADERS_S = 10.0
MOST_HEADER_BYTES = 16 * 1024


class PatientProtocol(H11Protocol):
    """uvicorn's own protocol, with an end to waiting for the headers of a request."""

    _due: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin to wait."""
        super().connection_made(transport)
        self._look()

    def data_received(self, data: bytes) -> None:
        """Take bytes; stop waiting once they make a request."""
        super().data_received(data)
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._rest()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Answer what is no request; in the middle of another answer there is nothing to say, so the line is cut.

        The library would raise here, and write a page of the journal for every few bytes that a stranger sends.
        """
        if self.cycle is None or self.cycle.response_complete:
            super().send_400_response(msg)
            return
        self.cycle.disconnected = True
        self.cycle.message_event.set()
        self.transport.abort()

    def _look(self) -> None:
        if self.cycle is not None and not self.cycle.response_complete:
            self._rest()
        elif self._due is None and not self.transport.is_closing():
            self._due = self.loop.call_later(HEADERS_S, self._close)

    def _rest(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None

    def _close(self) -> None:
        self._due = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()
