"""A served page in a real Chromium, under a name that is no secure context, as on a phone in the shop."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from typing import Protocol

from fake_face import PIN, FakeBench, FakeFace
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Error, Page, Playwright

from gatekeeper.service.face import ShopView
from gatekeeper.service.face_commissioning import Commissioning
from gatekeeper.service.face_people import People
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.live import Live
from gatekeeper.web.serving import Serving

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP shop.local 127.0.0.1",
)
PHONE = (360, 740)
DESK = (1280, 800)


class Serve(Protocol):
    """The fixture ``serve``: a view becomes a served page."""

    def __call__(self, view: ShopView, bench: FakeBench | None = None, *, needs_pin: bool = False) -> "Served": ...


def launch(playwright: Playwright) -> Browser:
    return playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))


@dataclass
class Served:
    """One controller's page, and what the browser complained about."""

    browser: Browser
    face: FakeFace
    bench: FakeBench | None
    serving: Serving
    live: Live
    opened: ExitStack
    complaints: list[str] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://shop.local:{self.serving.port}"

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def open(
        self,
        path: str = "/",
        *,
        size: tuple[int, int] = PHONE,
        scheme: str = "light",
        scripts: bool = True,
        still: bool = False,
        first_visit: bool = False,
        before: str | None = None,
    ) -> Page:
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if scheme == "dark" else "light",
            java_script_enabled=scripts,
            reduced_motion="reduce" if still else "no-preference",
            has_touch=size == PHONE,
        )
        self.opened.callback(_closed, context)
        context.set_default_timeout(30_000)
        if not first_visit:
            context.add_cookies([{"name": "gatekeeper_cautions_read", "value": "1", "url": self.address}])
        page = context.new_page()
        if before is not None:
            page.add_init_script(before)
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.goto(self.address + path)
        if scripts:
            wait(page, "() => document.documentElement.classList.contains('js')")
        return page


def _closed(context: BrowserContext) -> None:
    """Close a context that nothing goes on in: a page that is just being left for another, with a stream open and an
    answer on its way, is brought to rest first. That wait has an end; the browser's own close has none.
    """
    for page in context.pages:
        with suppress(Error):
            page.goto("about:blank", timeout=10_000)
    context.close()


def wait(page: Page, truth: str, argument: object = None) -> None:
    """Wait for an event in the page; the deadline only guards against hanging."""
    page.wait_for_function(truth, arg=argument, timeout=30_000)


def wait_for(page: Page, fact: Callable[[], bool]) -> None:
    """Wait for a fact outside of the page, looking again with every frame that the page draws."""
    for _ in range(1800):
        if fact():
            return
        page.evaluate("() => new Promise((done) => { requestAnimationFrame(done); setTimeout(done, 5000); })")
    raise AssertionError("it never became so")


@contextmanager
def served(
    browser: Browser,
    face: FakeFace,
    bench: FakeBench | None = None,
    *,
    needs_pin: bool = False,
    commissioning: Commissioning | None = None,
    people: People | None = None,
) -> Iterator[Served]:
    settings = DoorSettings(PIN, frozenset({"shop.local"}), loopback_needs_pin=needs_pin)
    app = create_app(face, settings, bench, commissioning=commissioning, people=people)
    serving = Serving(app)
    serving.start()
    try:
        with ExitStack() as opened:
            yield Served(browser, face, bench, serving, app.state.live, opened)
    finally:
        serving.stop()
