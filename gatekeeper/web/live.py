"""One drawing for everybody: changes of the view become parts of pages once, and all streams share them.

A thread of its own waits for changes and draws, so the event loop never does; the loop only hands out finished bytes.
The control thread is never called back: it wakes the waiting thread and goes on.
"""

import asyncio
import json
import logging
import threading
import time
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass

from gatekeeper.markup import Html
from gatekeeper.service.face import Bench, BenchControl, Face, ShopView

#: Parts of one page, by the id of the element that each fills.
Parts = Mapping[str, Html]
#: Draws the parts of the page of that name; None when there is no such page.
Draw = Callable[[str, ShopView, tuple[BenchControl, ...]], Parts | None]

#: At most ten drawings a second, however fast things change: faster than an eye follows, slow enough for a slow board.
_PAUSE_S = 0.1
#: How long one wait for a change lasts; the sign of life and the bench are looked at as often.
_WAIT_S = 0.25
#: A sign of life is passed on this often (seconds). The page calls everything old after three.
_BEAT_S = 1.0
#: Pages that watch at once: together, and from one address, behind which several phones may sit.
MOST_STREAMS = 64
MOST_STREAMS_OF_ONE = 24

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Drawn:
    """One drawing of one page: its parts, and the two events that bring a page to it."""

    number: int
    parts: Parts
    whole: bytes
    change: bytes


def _event(parts: Parts) -> bytes:
    return b"data: " + json.dumps(parts).encode() + b"\n\n"


class Live:
    """Hands out the page's parts as streams. Use ``start`` and ``stop`` on the event loop.

    ``restless``: pages that show more than the view does; while somebody watches one it is drawn anew at each look.
    """

    def __init__(self, face: Face, bench: Bench | None, draw: Draw, restless: frozenset[str] = frozenset()) -> None:
        self._face = face
        self._bench = bench
        self._draw = draw
        self._restless = restless
        self._lock = threading.Lock()
        self._drawn: dict[str, Drawn] = {}
        self._watching: dict[str, int] = {}
        self._bells: set[asyncio.Event] = set()
        self._ending = threading.Event()
        self._ended = False
        self._beats = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None

    @property
    def streams(self) -> int:
        """How many pages watch now."""
        return len(self._bells)

    def controls(self) -> tuple[BenchControl, ...]:
        """The bench's parts as they are now; none without a bench."""
        return self._bench.controls() if self._bench else ()

    def start(self) -> None:
        """Begin to watch the controller. On the event loop."""
        self._loop = asyncio.get_running_loop()
        self._thread = threading.Thread(target=self._watch, name="page drawing", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End every stream at once. On the event loop; may be called twice."""
        self._ending.set()
        self._ended = True
        self._ring()

    def end_from_any_thread(self) -> None:
        """``stop``, asked for from another thread."""
        loop = self._loop
        self._ending.set()
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self.stop)

    # ------------------------------------------------------------ the drawing thread

    def _watch(self) -> None:
        version = -1
        controls: tuple[BenchControl, ...] = ()
        beat_s = 0.0
        fails = False
        while not self._ending.is_set():
            changed = self._face.wait_for_change(version, _WAIT_S)
            try:
                now_controls = self.controls()
                news = changed or now_controls != controls
                if news:
                    version, controls = self._face.view().version, now_controls
                pages = [page for page in tuple(self._watching) if news or page in self._restless]
                for page in pages:
                    self._redraw(page)
            except Exception:
                # No sign of life is passed on until a drawing succeeds: what phones show grows old, and says so.
                if not fails:
                    _LOG.exception("the page could not be drawn")
                version, fails = -1, True
                self._ending.wait(_BEAT_S)
                continue
            fails = False
            if pages:
                self._call(self._ring)
            if time.monotonic() - beat_s >= _BEAT_S:
                beat_s = time.monotonic()
                self._call(self._pass_on_beat)
            self._ending.wait(_PAUSE_S)

    def _redraw(self, page: str) -> Drawn | None:
        with self._lock:
            # The view is taken inside: of two threads that draw the same page the later one has the newer view.
            parts = self._draw(page, self._face.view(), self.controls())
            if parts is None:
                return None
            before = self._drawn.get(page)
            new = {name: part for name, part in parts.items() if before is None or before.parts.get(name) != part}
            if before is not None and not new:
                return before
            number = before.number + 1 if before else 1
            drawn = Drawn(number, parts, _event(parts), _event(new))
            self._drawn[page] = drawn
            return drawn

    def _call(self, what: Callable[[], None]) -> None:
        loop = self._loop
        if loop is None or loop.is_closed():
            return
        try:
            loop.call_soon_threadsafe(what)
        except RuntimeError:  # the loop was closed in between: nobody is left to be told
            self._ending.set()

    # ------------------------------------------------------------ the event loop

    def _ring(self) -> None:
        for bell in self._bells:
            bell.set()

    def _pass_on_beat(self) -> None:
        self._beats += 1
        self._ring()

    def _beat(self) -> bytes:
        beat = self._face.beat()
        return b"event: beat\ndata: %.2f %.2f\n\n" % (beat.now_s, beat.step_s)

    async def stream(self, page: str) -> AsyncIterator[bytes]:
        """Events of one page: first the whole, then changes, each after the clock and the control thread's last
        sign of life, which also come by themselves every second.
        """
        bell = asyncio.Event()
        self._bells.add(bell)
        self._watching[page] = self._watching.get(page, 0) + 1
        sent = 0
        beats = -1
        try:
            await asyncio.to_thread(self._redraw, page)
            while not self._ended:
                bell.clear()
                drawn = self._drawn.get(page)
                if drawn is not None and drawn.number != sent:
                    event = drawn.change if drawn.number == sent + 1 and sent else drawn.whole
                    sent, beats = drawn.number, self._beats
                    yield self._beat() + event
                elif beats != self._beats:
                    beats = self._beats
                    yield self._beat()
                if not self._ended:
                    await bell.wait()
        finally:
            self._bells.discard(bell)
            self._watching[page] -= 1
            if not self._watching[page]:
                del self._watching[page]
                self._drawn.pop(page, None)
