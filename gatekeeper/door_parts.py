"""What the page's door is made of: the PIN, the signed-in phones and the machine's own networks, beside the state."""

import ipaddress
import secrets
import socket
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gatekeeper.records.small_file import SmallFile
from gatekeeper.shop.model import Reading, Shop

if TYPE_CHECKING:
    from gatekeeper.web.door import DoorSettings

PIN_DIGITS = 6
PIN_FILE = "pin"
#: Hashes of tokens only. A backup leaves it out: what was signed out since would be signed in again.
PHONES_FILE = "phones.json"
#: Who has to wait after wrong PINs. A backup leaves it out too.
TRIES_FILE = "wrong-pins.json"
_ROUTES = Path("/proc/net/route")


def pin_of(shop: Shop, folder: Path) -> str:
    """The page's PIN: from the shop's file, else the one made at the first start and kept beside the state."""
    return shop.page.pin if shop.page.pin is not None else made_pin(folder)


def made_pin(folder: Path) -> str:
    """The PIN that is kept beside the state; made where there is none yet. Raises OSError where it cannot be kept."""
    file = SmallFile(folder / PIN_FILE)
    kept = (file.read() or "").strip()
    if kept.isascii() and kept.isdecimal() and 4 <= len(kept) <= 12:
        return kept
    made = "".join(secrets.choice("0123456789") for _ in range(PIN_DIGITS))
    file.write(made + "\n")
    return made


def phones_in(folder: Path) -> SmallFile:
    """Where signed-in phones are kept."""
    return SmallFile(folder / PHONES_FILE)


def door_settings(shop: Shop, folder: Path) -> "DoorSettings":
    """The door of a shop's page.

    Raises:
        OSError: a PIN had to be made and could not be kept.
    """
    from gatekeeper.web.door import DoorSettings

    page, host = shop.page, socket.gethostname().lower()
    pin_file = SmallFile(folder / PIN_FILE)
    return DoorSettings(
        pin=pin_of(shop, folder),
        names=frozenset({host, f"{host}.local"}),
        air_pin=page.air_pin,
        reading_open=page.reading is Reading.OPEN,
        encrypted=page.certificate is not None,
        subnets=own_subnets,
        keep_pin=None if page.pin is not None else lambda pin: pin_file.write(pin + "\n"),
        metrics=shop.neighbours.metrics,
        tries=SmallFile(folder / TRIES_FILE),
    )


def door_before_shop(folder: Path) -> "DoorSettings":
    """The door of the page that asks for a new shop; the shop's own page takes over its PIN and its phones.

    Raises:
        OSError: a PIN had to be made and could not be kept.
    """
    from gatekeeper.web.door import DoorSettings

    host = socket.gethostname().lower()
    return DoorSettings(
        pin=made_pin(folder),
        names=frozenset({host, f"{host}.local"}),
        subnets=own_subnets,
        tries=SmallFile(folder / TRIES_FILE),
    )


def own_subnets(routes: Path = _ROUTES) -> Sequence[ipaddress.IPv4Network]:
    """The IPv4 networks that this machine itself sits in, as the kernel routes them; none where it does not say.

    IPv6 needs none: there the address that was reached says it.
    """
    try:
        lines = routes.read_text(encoding="ascii").splitlines()[1:]
    except (OSError, ValueError):
        return ()
    found: list[ipaddress.IPv4Network] = []
    for line in lines:
        fields = line.split()
        try:
            where, gateway, mask = (int.from_bytes(bytes.fromhex(fields[at])[::-1]) for at in (1, 2, 7))
            if gateway == 0 and mask != 0:
                found.append(ipaddress.IPv4Network((where, mask.bit_count()), strict=False))
        except (ValueError, IndexError):
            continue
    return found
