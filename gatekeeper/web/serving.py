"""The web server in a thread of its own, that ends at once: open streams never hold up the end of the controller."""

import asyncio
import contextlib
import logging
import socket
import threading

import uvicorn
from fastapi import FastAPI

from gatekeeper.web.accepting import Listening, Places
from gatekeeper.web.live import Live
from gatekeeper.web.patience import MOST_HEADER_BYTES, PatientProtocol

#: A request that is still being answered may take this long when the server ends (whole seconds, uvicorn's unit).
_LAST_ANSWERS_S = 1
_READY_S = 30.0
_END_S = 5.0

_LOG = logging.getLogger(__name__)


class _Server(uvicorn.Server):
    """uvicorn that says when it is ready."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.is_up = threading.Event()
        self.event_loop: asyncio.AbstractEventLoop | None = None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.event_loop = asyncio.get_running_loop()
        self.is_up.set()


class Serving:
    """Serves one application on one port, from ``start`` to ``stop``.

    Args:
        app: made by ``create_app``, or one without streams.
        host: the address to listen on; "::" listens on IPv6 and IPv4 alike.
        port: 0 lets the system choose.
        certificate: full paths of the certificate and its key; with them it speaks only https.
        places: how many connections there may be; as many as is usual when None.

    Raises:
        OSError: the address cannot be listened on, for instance because the port is taken, or the certificate cannot
            be used. Raised at once, in the caller's thread.
    """

    def __init__(
        self,
        app: FastAPI,
        host: str = "127.0.0.1",
        port: int = 0,
        certificate: tuple[str, str] | None = None,
        places: Places | None = None,
    ) -> None:
        live = getattr(app.state, "live", None)
        assert live is None or isinstance(live, Live)
        self._live = live
        self.places = Places() if places is None else places
        self._socket = _listening(host, port, self.places)
        self._port = int(self._socket.getsockname()[1])
        config = uvicorn.Config(
            app,
            http=PatientProtocol,
            loop="asyncio",
            ws="none",
            access_log=False,
            # What strangers send is no news: a warning for each would fill the journal.
            log_level="error",
            proxy_headers=False,
            server_header=False,
            h11_max_incomplete_event_size=MOST_HEADER_BYTES,
            timeout_graceful_shutdown=_LAST_ANSWERS_S,
            ssl_certfile=certificate[0] if certificate else None,
            ssl_keyfile=certificate[1] if certificate else None,
        )
        try:
            config.load()
        except OSError:
            self._socket.close()
            raise
        self._server = _Server(config)
        self._answered = threading.Event()
        self._answered.set()
        self._thread = threading.Thread(target=self._run, name="web", daemon=True)

    @property
    def port(self) -> int:
        """The port that it really listens on."""
        return self._port

    def start(self) -> None:
        """Serve in a thread; returns when the first request can be taken.

        Raises:
            RuntimeError: the server did not come up.
        """
        self._thread.start()
        if not self._server.is_up.wait(_READY_S) or not self._server.started:
            raise RuntimeError("The web server did not come up.")

    @property
    def is_running(self) -> bool:
        """Whether its thread lives."""
        return self._thread.is_alive()

    def answers(self) -> bool:
        """Whether its thread has done anything since this was asked last, and ask it anew."""
        answered = self._answered.is_set()
        self._answered.clear()
        loop = self._server.event_loop
        if loop is not None:
            # A loop that was closed has nobody left to answer.
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(self._answered.set)
        return answered

    def stop(self) -> None:
        """End every stream at once, then the server. Returns when its thread ends or hangs; may be called twice."""
        if self._live is not None:
            self._live.end_from_any_thread()
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(_END_S)
        self._socket.close()
        # Of a thread that ended by a fault or hangs the lines are left; whoever waits at one is to try anew.
        self.places.shut_all()

    def _run(self) -> None:
        try:
            self._server.run(sockets=[self._socket])
        except BaseException:
            # Also what would end a process: here it ends this thread only, and somebody must see why.
            _LOG.exception("the page's thread ended by a fault")
        finally:
            self._server.is_up.set()


def _listening(host: str, port: int, places: Places) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = Listening(family, places)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            found.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
        found.bind((host, port))
        found.listen(128)
    except OSError:
        found.close()
        raise
    return found
