"""The page and the neighbours of a checked shop."""

from dataclasses import dataclass

from gatekeeper.shop.kinds import Reading


@dataclass(frozen=True, slots=True)
class Page:
    """The phone page.

    Args:
        listen, port: where it listens.
        remote_start: a motor may be started from the network.
        pin: for settings and release; None: made at the first start.
        air_pin: only for asking for air; None: there is none.
        reading: who may look.
        certificate, key: full paths of PEM files, both or neither; with them it speaks only https.
    """

    listen: str
    port: int
    remote_start: bool
    pin: str | None
    air_pin: str | None = None
    reading: Reading = Reading.OPEN
    certificate: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True)
class Homie:
    """The state on a broker by the convention Homie 5. ``commands``: they are taken while somebody lets them in."""

    broker: str
    device: str
    commands: bool


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Other systems that may look at this one; each is off unless the shop's file names it."""

    homie: Homie | None = None
    metrics: bool = False
