"""Messages to one phone: lines of plain text by HTTP POST to the owner's own address. Off unless the file names it.

It looks at finished views of the page in a thread of its own and never holds anything up: what cannot be sent waits in
a short queue, tried again at growing intervals, and is dropped when it is old. Only sentences about machines are sent:
nobody's name, no reason that a person has typed, no address.
"""

import contextlib
import logging
import os
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit, urlunsplit

from gatekeeper.service.face import Heap, MessageView, ShopView
from gatekeeper.service.troubles import every_row
from gatekeeper.shop.model import PasswordPlace
from gatekeeper.shop.model import Push as PushSettings

#: How long the push service may take to answer.
ANSWER_S = 10.0
#: And all of one try, however busily it goes on sending.
WHOLE_S = 20.0
#: The first wait after a failure; doubled after each further one, up to the longest.
FIRST_WAIT_S, LONGEST_WAIT_S = 5.0, 900.0
#: A message that comes and goes is sent again this much later at the soonest.
AGAIN_S = 3600.0
#: What could not be sent for this long is news no more.
OLD_S = 12 * 3600.0
#: Messages that may wait; beyond that the oldest goes.
MOST_WAITING = 20
#: This often it looks for news that nobody announced, and for what is due again.
LOOK_S = 1.0
#: Failures in a row before the page says that the phone is not reached.
TOLD_AFTER = 3

_LOG = logging.getLogger(__name__)

Seconds = Callable[[], float]
Post = Callable[[str], None]


class Views(Protocol):
    """Where views come from: the running service's face."""

    def view(self) -> ShopView: ...

    def wait_for_change(self, version: int, timeout_s: float) -> bool: ...


class NotSentError(Exception):
    """The push service did not take a message; a sentence that says why."""


class NoSecretError(Exception):
    """The address or the token is not where the shop file says; a sentence that says what to do."""


def poster(url: str, token: str | None) -> Post:
    """What sends one text to an address. It raises NotSentError where the text was not taken.

    A push goes where the owner says and nowhere else: no redirect is followed, as the token must not go by a
    stranger's word, and no proxy of the environment is asked. Only the status of an answer is read.

    Raises:
        ValueError: this is no address of the web.
    """
    where = urlsplit(url)
    host, port = where.hostname, where.port
    if where.scheme not in ("http", "https") or not host:
        raise ValueError("no address of the web")
    path = urlunsplit(("", "", where.path or "/", where.query, ""))
    kind = HTTPSConnection if where.scheme == "https" else HTTPConnection
    headers = {"Content-Type": "text/plain; charset=utf-8", "User-Agent": "gatekeeper"}
    if token is not None:
        headers["Authorization"] = f"Bearer {token}"

    def post(text: str) -> None:
        link = kind(host, port, timeout=ANSWER_S)
        # The time-out counts from byte to byte: one that sends a byte now and then would hold this thread for ever.
        late = threading.Event()
        cutter = threading.Timer(WHOLE_S, _cut, (link, late))
        cutter.daemon = True
        cutter.start()
        try:
            link.request("POST", path, text.encode(), headers)
            status = link.getresponse().status
        except (OSError, HTTPException, ValueError) as fault:
            if late.is_set() or isinstance(fault, TimeoutError):
                limit_s = WHOLE_S if late.is_set() else ANSWER_S
                raise NotSentError(f"it does not answer within {limit_s:.0f} s") from None
            # Neither the address nor what the library says of it: it may hold a secret.
            raise NotSentError("it cannot be reached") from None
        finally:
            cutter.cancel()
            link.close()
        if 300 <= status < 400:
            raise NotSentError("it sends us elsewhere, and we do not follow")
        if not 200 <= status < 300:
            raise NotSentError(f"it answers with {status}")

    return post


def _cut(link: HTTPConnection, late: threading.Event) -> None:
    late.set()
    with contextlib.suppress(OSError, AttributeError):
        link.sock.shutdown(socket.SHUT_RDWR)


def secret(where: tuple[PasswordPlace, str]) -> str:
    """A secret from the environment or the first line of a file.

    Raises:
        NoSecretError: it is not there.
    """
    place, name = where
    if place is PasswordPlace.ENVIRONMENT:
        found = os.environ.get(name, "").strip()
        if not found:
            raise NoSecretError(f"The environment has no {name}.")
        return found
    try:
        lines = Path(name).read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else "it is no text"
        raise NoSecretError(f"The file {name} cannot be read: {why}.") from None
    if not lines or not lines[0].strip():
        raise NoSecretError(f"The file {name} is empty.")
    return lines[0].strip()


@dataclass(frozen=True, slots=True)
class _Waiting:
    key: str
    text: str
    since_s: float


class Push:
    """Sends the messages of some heaps, each once.

    Args:
        heaps: which messages.
        post: sends one text.
        report: takes ("push", sentence or None): what stands against the push itself.
        clock: monotonic seconds.
    """

    def __init__(
        self,
        heaps: Iterable[Heap],
        post: Post,
        report: Callable[[str, str | None], None],
        clock: Seconds = time.monotonic,
    ) -> None:
        self._heaps = frozenset(heaps)
        self._post = post
        self._report = report
        self._clock = clock
        self._waiting: deque[_Waiting] = deque()
        self._told: dict[str, tuple[int, float]] = {}
        self._failures = 0
        self._next_s = 0.0
        self._ending = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def waiting(self) -> tuple[str, ...]:
        """The texts that wait to be sent."""
        return tuple(one.text for one in self._waiting)

    @property
    def next_s(self) -> float:
        """Nothing is sent before this instant."""
        return self._next_s

    # ---------------------------------------------------------------- one look, one try

    def look(self, view: ShopView) -> None:
        """Take up what is new in a view. What is over before it was sent is not sent any more."""
        now_s = self._clock()
        standing = {one.key: one for one in view.messages if not one.cleared}
        self._waiting = deque(one for one in self._waiting if one.key in standing and now_s - one.since_s < OLD_S)
        for key, message in standing.items():
            if message.heap in self._heaps and not message.seen and self._is_news(message, now_s):
                self._told[key] = (message.count, now_s)
                if len(self._waiting) == MOST_WAITING:
                    self._waiting.popleft()
                self._waiting.append(_Waiting(key, line(view.name, message), now_s))
        known = {one.key for one in view.messages}
        self._told = {key: told for key, told in self._told.items() if key in known or now_s - told[1] < AGAIN_S}

    def _is_news(self, message: MessageView, now_s: float) -> bool:
        if message.key.startswith("push:"):
            return False  # of a phone that is not reached the phone cannot be told
        told = self._told.get(message.key)
        return told is None or (message.count > told[0] and now_s - told[1] >= AGAIN_S)

    def send(self) -> None:
        """Send what waits, the oldest first, until one is not taken; then wait, longer each time."""
        while self._waiting and self._clock() >= self._next_s and not self._ending.is_set():
            try:
                self._post(self._waiting[0].text)
            except NotSentError as why:
                self._failures += 1
                wait_s = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(self._failures - 1, 20))
                self._next_s = self._clock() + wait_s
                if self._failures == TOLD_AFTER:
                    self._report("push", f"Messages do not reach the phone: {why}.")
                return
            self._waiting.popleft()
            if self._failures >= TOLD_AFTER:
                self._report("push", None)
            self._failures = 0

    # ---------------------------------------------------------------- its thread

    def start(self, views: Views) -> None:
        """Look and send in a thread of its own from now on."""
        self._thread = threading.Thread(target=self._run, args=(views,), name="push", daemon=True)
        self._thread.start()

    def stop(self, within_s: float = 0.3) -> None:
        """Send no more. A try that hangs is left behind: its thread ends with the process."""
        self._ending.set()
        if self._thread is not None:
            self._thread.join(within_s)

    def _run(self, views: Views) -> None:
        version = -1
        while not self._ending.is_set():
            views.wait_for_change(version, LOOK_S)
            try:
                view = views.view()
                version = view.version
                self.look(view)
                self.send()
            except Exception:  # the shop goes on without its phone
                _LOG.exception("the push failed")
                self._ending.wait(LOOK_S)


def line(shop: str, message: MessageView) -> str:
    """A message as one line for a phone: the fault table's words for the service's own parts, as theirs may name
    files and hosts."""
    code, _, subject = message.key.partition(":")
    row = every_row().get(code)
    said = message.sentence
    if row is not None and message.key.startswith(_OWN):
        said = row.happened.format(subject=subject)
    often = f" ({message.count} times)" if message.count > 1 else ""
    return f"{shop}: {said}{often} {message.remedy}"


#: Codes whose sentence on the page comes from a part of the service and may name a file, a host or an address.
_OWN = tuple(
    f"{code}:"
    for code in (
        "broker",
        "device",
        "switch",
        "not_kept",
        "kept_damaged",
        "history_damaged",
        "history_not_written",
        "air",
        "control",
        "page",
    )
)


def push_of(settings: PushSettings, report: Callable[[str, str | None], None]) -> Push | None:
    """The push that a shop file asks for; None where its address or token is not to be had, which is then reported."""
    try:
        url = settings.url if settings.url is not None else secret(settings.url_from or (PasswordPlace.FILE, ""))
        token = secret(settings.token_from) if settings.token_from is not None else None
    except NoSecretError as missing:
        report("push", f"Messages do not reach the phone: {missing}")
        return None
    try:
        post = poster(url, token)
    except ValueError:
        report("push", "Messages do not reach the phone: its address is none of the web; write https:// and a host.")
        return None
    heaps = {"now": Heap.NOW, "today": Heap.TODAY, "when you can": Heap.WHEN_YOU_CAN}
    return Push([heaps[heap.value] for heap in settings.heaps], post, report)
