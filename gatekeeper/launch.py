"""What the commands put together: a service, its page, its signals, and the end.

The page is started last and imported late, so that the shop is under control before the web is even loaded.
"""

import os
import signal
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from gatekeeper.door_parts import door_settings, phones_in
from gatekeeper.service.face import Face
from gatekeeper.shop.model import Shop

if TYPE_CHECKING:
    from gatekeeper.service.face import Bench
    from gatekeeper.service.face_broker import BrokerDoor
    from gatekeeper.service.face_care import Upkeep
    from gatekeeper.service.face_commissioning import Commissioning
    from gatekeeper.service.face_interview import Interviews
    from gatekeeper.service.face_people import People
    from gatekeeper.taking_over import TakeOver
    from gatekeeper.web.serving import Serving

#: Signals that end the controller; each switches the motors off first.
ENDING = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
#: Where hardware/install.sh puts the shop file.
INSTALLED_SHOP = Path("/etc/gatekeeper/shop.yaml")


def state_folder(shop_name: str, given: Path | None) -> Path:
    """Where a shop's state is kept: as given, else the service manager's folder, else the user's own state folder."""
    if given is not None:
        return given
    managed = os.environ.get("STATE_DIRECTORY")
    if managed:
        return Path(managed.split(":")[0])
    base = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
    return base / "gatekeeper" / Path(shop_name).stem


def installed_or_own(shop_name: str, given: Path | None) -> Path:
    """The same for a command beside the service: of the installed shop, the service's own folder."""
    from gatekeeper.doctor import INSTALLED_STATE

    if given is None and Path(shop_name).resolve() == INSTALLED_SHOP and INSTALLED_STATE.is_dir():
        return INSTALLED_STATE
    return state_folder(shop_name, given)


def own_address() -> str | None:
    """The address under which other devices on the network reach this one, or None without a network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # No packet is sent: this only asks which way one would go (a documentation address of RFC 5737).
            probe.connect(("192.0.2.1", 9))
            found = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if found.startswith("127.") else found


@dataclass(slots=True)
class Page:
    """The page of a running service, and what to tell people about it."""

    serving: "Serving"
    pin: str
    addresses: tuple[str, ...]

    @property
    def is_running(self) -> bool:
        """Whether its thread lives."""
        return self.serving.is_running

    def answers(self) -> bool:
        """Whether its thread has answered since this was asked last."""
        return self.serving.answers()

    def stop(self) -> None:
        """End every stream and the server."""
        self.serving.stop()


def open_page(
    shop: Shop,
    folder: Path,
    face: Face,
    *,
    listen: str,
    port: int,
    lan: bool,
    bench: "Bench | None" = None,
    upkeep: "Upkeep | None" = None,
    people: "People | None" = None,
    commissioning: "Commissioning | None" = None,
    broker: "BrokerDoor | None" = None,
    interviews: "Interviews | None" = None,
) -> Page:
    """Start the page of a service.

    Args:
        shop: for its page.
        folder: where a PIN that was made, and signed-in phones, are kept.
        face: the running service's face.
        listen, port: where to listen; port 0 lets the system choose.
        lan: listen on every address of this machine, for phones.
        bench: a virtual shop's bench.
        upkeep: care of the service.
        people: what people walk through around it.
        commissioning: its parts tried one by one.
        broker: gives a broker's commands leave, where there is one that may send any.
        interviews: its machines added, moved and retired.

    Raises:
        OSError: the address cannot be listened on.
    """
    from gatekeeper.web.app import create_app
    from gatekeeper.web.serving import Serving

    settings = door_settings(shop, folder)
    app = create_app(
        face,
        settings,
        bench,
        phones_in(folder),
        upkeep=upkeep,
        people=people,
        commissioning=commissioning,
        broker=broker,
        interviews=interviews,
    )
    certificate = (shop.page.certificate, shop.page.key) if shop.page.certificate and shop.page.key else None
    serving = Serving(app, "0.0.0.0" if lan else listen, port, certificate)
    serving.start()
    scheme = "https" if certificate else "http"
    is_open = lan or listen not in ("127.0.0.1", "localhost", "::1")
    return Page(serving, settings.pin or "", addresses_of(scheme, serving.port, is_open=is_open))


def addresses_of(scheme: str, port: int, *, is_open: bool) -> tuple[str, ...]:
    """The addresses of a page; ``is_open``: to other devices on the network, too."""
    addresses = [f"{scheme}://127.0.0.1:{port}/"]
    if is_open:
        own = own_address()
        addresses += [f"{scheme}://{own}:{port}/"] if own else []
        addresses.append(f"{scheme}://{socket.gethostname().lower()}.local:{port}/")
    return tuple(addresses)


def print_code(addresses: tuple[str, ...]) -> None:
    """Print a code that a phone scans to open the page; nothing without a network."""
    own = own_address()
    scanned = next((address for address in addresses if own is not None and own in address), None)
    if scanned is not None:
        import segno

        segno.make(scanned, error="m").terminal(compact=True)


class Ends(Protocol):
    """What is stopped last: a page."""

    def stop(self) -> None: ...


class Runs(Protocol):
    """What ``run_until_told`` needs: a service, or a demo around one."""

    @property
    def is_alive(self) -> bool: ...

    def motors_off(self) -> None: ...

    def stop(self) -> None: ...


def run_until_told(
    running: Runs, page: Ends | None, on_end: Callable[[], None] = lambda: None, anew: "TakeOver | None" = None
) -> int:
    """Wait for a signal or for the control thread's end, then stop everything, motors first.

    Args:
        running: what runs.
        page: its page, if it has one.
        on_end: called when the end has begun and the motors are off; must not block.
        anew: the wish to start anew, which ends it as a signal does.

    Returns:
        The exit status: 0 after a signal or such a wish, 1 where the control thread ended by itself.
    """
    told = threading.Event()

    def end(_number: int, _frame: object) -> None:
        running.motors_off()
        told.set()

    for number in ENDING:
        signal.signal(number, end)
    is_anew = False
    while not told.is_set() and running.is_alive and not is_anew:
        told.wait(0.25)
        is_anew = anew is not None and anew.is_due()
    if is_anew:
        running.motors_off()
    status = 0 if told.is_set() or is_anew else 1
    on_end()
    running.stop()
    if page is not None:
        page.stop()
    return status
