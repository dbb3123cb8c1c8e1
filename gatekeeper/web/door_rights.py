"""Three rights and no accounts: look and stop; ask for air; settings and release. A right is of a phone, not a name."""

from enum import IntEnum

from gatekeeper.service.face import RequestWhat


class Right(IntEnum):
    """What somebody may do; each right holds those before it. Stop is in none of them: it is everybody's."""

    NOTHING = 0
    LOOK = 1
    AIR = 2
    SETTINGS = 3

    @property
    def words(self) -> str:
        """As the page says it of a phone: "may ..."."""
        return _WORDS[self]


_WORDS = {
    Right.NOTHING: "stop",
    Right.LOOK: "look and stop",
    Right.AIR: "ask for air",
    Right.SETTINGS: "change settings and release",
}

#: What asks for air, or says what is so. The rest takes back something that stands for a reason: a hold, a latch, a
#: stop, a message.
_AIR: frozenset[RequestWhat] = frozenset(
    {"open", "shut", "hold", "air_here", "run", "sweep", "flush", "stopped", "still_running", "seen"}
)
#: Towards rest, so it wants no more than air does (C14: always accepted).
_REST: frozenset[RequestWhat] = frozenset({"out_of_service", "sparks"})


def right_for(what: str) -> Right:
    """The right that a request needs; the highest for a word that nobody thought of."""
    if what == "stop":
        return Right.NOTHING
    return Right.AIR if what in _AIR or what in _REST else Right.SETTINGS
