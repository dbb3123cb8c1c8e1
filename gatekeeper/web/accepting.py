"""Who gets a connection at all, before a single byte of it is read or any encryption begins.

The web server sees a connection only once its request (or its TLS handshake) is there; by then a stranger may hold
every file that the process may open. So the listening socket itself counts: at most so many from one address, at most
so many in all, and when all places are taken, the address that has the most gives up its oldest.
"""

import contextlib
import ipaddress
import socket
import threading
from collections import OrderedDict
from typing import Any

#: A browser opens six at most (HARDWARE 6.2); several phones may sit behind one address.
MOST_OF_ONE = 32
#: Below half of the 1024 files that a service may usually open.
MOST_IN_ALL = 256


class _Connection(socket.socket):
    """An accepted connection that gives its place back when it is closed."""

    __slots__ = ("_place",)

    def take(self, place: "_Place") -> None:
        self._place: _Place | None = place

    def close(self) -> None:
        place = getattr(self, "_place", None)
        self._place = None
        super().close()
        if place is not None:
            place.give_back()


class _Place:
    """One place among all, of one owner."""

    __slots__ = ("among", "connection", "owner")

    def __init__(self, among: "Places", owner: str, connection: socket.socket) -> None:
        self.among, self.owner, self.connection = among, owner, connection

    def give_back(self) -> None:
        self.among.give_back(self)


class Places:
    """How many connections there are, and whose. Any thread."""

    def __init__(self, most_of_one: int = MOST_OF_ONE, most_in_all: int = MOST_IN_ALL) -> None:
        self._most_of_one, self._most_in_all = most_of_one, most_in_all
        self._lock = threading.Lock()
        self._owners: OrderedDict[str, list[_Place]] = OrderedDict()

    @property
    def taken(self) -> int:
        """Connections that are open now."""
        with self._lock:
            return sum(map(len, self._owners.values()))

    def take(self, owner: str, connection: socket.socket) -> "_Place | None":
        """A place for a new connection, or None where its owner has enough."""
        place = _Place(self, owner, connection)
        with self._lock:
            mine = self._owners.setdefault(owner, [])
            if len(mine) >= self._most_of_one:
                return None
            mine.append(place)
            if sum(map(len, self._owners.values())) <= self._most_in_all:
                return place
            heaviest = max(self._owners.values(), key=len)
            oldest = heaviest.pop(0)
            if not heaviest:
                del self._owners[oldest.owner]
        # Only shut: whoever owns it sees the end and closes it.
        with contextlib.suppress(OSError):
            oldest.connection.shutdown(socket.SHUT_RDWR)
        return place if oldest is not place else None

    def shut_all(self) -> None:
        """Shut every connection that is open still."""
        with self._lock:
            left = [place.connection for places in self._owners.values() for place in places]
        for connection in left:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def give_back(self, place: "_Place") -> None:
        """A connection was closed."""
        with self._lock:
            mine = self._owners.get(place.owner, [])
            if place in mine:
                mine.remove(place)
            if not mine:
                self._owners.pop(place.owner, None)


class Listening(socket.socket):
    """A listening socket with a limited number of places."""

    __slots__ = ("places",)

    def __init__(self, family: int, places: Places) -> None:
        super().__init__(family, socket.SOCK_STREAM)
        self.places = places

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection for which there is a place; others are closed at once."""
        while True:
            descriptor, address = self._accept()  # type: ignore[attr-defined]
            made = _Connection(self.family, self.type, self.proto, fileno=descriptor)
            place = self.places.take(_owner(address), made)
            if place is not None:
                made.take(place)
                return made, address
            made.close()


def _owner(address: Any) -> str:
    """An IPv4 address, also inside IPv6, or an IPv6 address."""
    text = str(address[0]).partition("%")[0]
    found = ipaddress.ip_address(text)
    mapped = getattr(found, "ipv4_mapped", None)
    return str(mapped if mapped is not None else found)
