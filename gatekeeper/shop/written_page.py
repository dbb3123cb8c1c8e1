"""The page and the neighbours as they are written in a shop file."""

import re
from typing import Annotated

from gatekeeper.shop.faults import shortened
from gatekeeper.shop.fields import FreeText, Name, PagePin, Reads, YesNo, choice, refuse, whole
from gatekeeper.shop.kinds import Reading
from gatekeeper.shop.part import Part
from gatekeeper.shop.part import key as _key


def _full_path(value: object) -> str:
    if isinstance(value, str) and value.startswith("/") and value.isprintable() and len(value) <= 200:
        return value
    raise refuse("write the full path of a file, such as /etc/gatekeeper/page.crt")


FullPath = Annotated[
    str, Reads(_full_path, {"type": "string", "pattern": "^/", "examples": ["/etc/gatekeeper/page.crt"]})
]


def _device_id(value: object) -> str:
    text = value if isinstance(value, str) else ""
    if not re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?", text):
        raise refuse(f'"{shortened(text)}" is no device id; write 1 to 40 of a to z, 0 to 9 and - between them')
    return text


DeviceId = Annotated[
    str, Reads(_device_id, {"type": "string", "pattern": "^[a-z0-9-]{1,40}$", "examples": ["dust-collection"]})
]


class PagePart(Part):
    """The phone page."""

    listen: FreeText = _key("Address to listen on. Default 127.0.0.1: this machine only.", "127.0.0.1")
    port: Annotated[int, whole(1024, 65535)] = _key("Default 8080.", 8080)
    remote_start: YesNo = _key("A motor may be started from the page. Default no.", False)
    pin: PagePin | None = _key("4 to 8 digits for writing. Default: made at the first start.", None)
    air_pin: PagePin | None = _key(
        "4 to 8 digits that only let a phone ask for air and open gates; settings and release want pin.", None
    )
    reading: Annotated[Reading, choice(Reading)] = _key(
        "open: everybody on the network may look. closed: only after signing in. Stop is free in both. Default open.",
        Reading.OPEN,
    )
    certificate: FullPath | None = _key("Certificate of the page, a PEM file; then it speaks only https.", None)
    key: FullPath | None = _key("The certificate's private key, a PEM file without a password.", None)


class HomiePart(Part):
    """The shop's state for a home's or a building's own system, over MQTT by the open convention Homie 5."""

    broker: Name = _key("The broker to publish to, one of brokers.")
    device: DeviceId = _key("Its id there: a to z, 0 to 9 and -. Default dust-collection.", "dust-collection")
    commands: YesNo = _key(
        "Takes commands from the broker too, and only while a person in the shop lets them in: by a press on the "
        "settings page for a time, or by an input of kind: broker key that is on. Default no.",
        False,
    )


class NeighboursPart(Part):
    """Other systems that may look at this one. Each is off unless it is written here."""

    homie: HomiePart | None = _key("Publish the state to an MQTT broker.", None)
    metrics: YesNo = _key("The page has figures for Prometheus at /metrics. Default no.", False)
