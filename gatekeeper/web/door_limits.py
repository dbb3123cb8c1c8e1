"""How often anybody may ask: a bucket for each owner of an address and one for all together. Stop is never limited."""

from collections import OrderedDict
from dataclasses import dataclass

from gatekeeper.web.door import Address, Refusal
from gatekeeper.web.door_pins import one_owner

_MOST_OWNERS = 512

TOO_OFTEN = Refusal(429, "too_often", "Too many requests from this address. Wait a second and try again.", 1)
BUSY = Refusal(429, "busy", "Too many requests from everywhere at once. Wait a second and try again.", 1)


@dataclass(frozen=True, slots=True)
class Rate:
    """So many at once, and so many a second in the long run. Ours."""

    at_once: float
    per_s: float


#: A phone reads four things when it opens a page; a finger on a scale asks about ten times a second.
READING, READING_ALL = Rate(240, 40), Rate(1000, 200)
ASKING, ASKING_ALL = Rate(60, 20), Rate(200, 60)
#: Beyond this a stop of a shop that already stands still is answered without asking the core.
STOPPING, STOPPING_ALL = Rate(20, 5), Rate(40, 20)


@dataclass(slots=True)
class _Bucket:
    left: float
    at_s: float


class Limit:
    """One kind of request, limited.

    Args:
        each: for one owner of an address.
        together: for all.
    """

    def __init__(self, each: Rate, together: Rate) -> None:
        self._each, self._together = each, together
        self._owners: OrderedDict[str, _Bucket] = OrderedDict()
        self._all = _Bucket(together.at_once, 0.0)

    def refuse(self, client: Address | None, now_s: float) -> Refusal | None:
        """Count one request; a refusal where it is one too many. ``now_s``: monotonic. On the event loop only."""
        owner = one_owner(client)
        mine = self._owners.setdefault(owner, _Bucket(self._each.at_once, now_s))
        self._owners.move_to_end(owner)
        while len(self._owners) > _MOST_OWNERS:
            self._owners.popitem(last=False)
        if not _has_one(mine, self._each, now_s):
            return TOO_OFTEN
        if not _has_one(self._all, self._together, now_s):
            return BUSY
        mine.left -= 1
        self._all.left -= 1
        return None


def _has_one(bucket: _Bucket, rate: Rate, now_s: float) -> bool:
    bucket.left = min(rate.at_once, bucket.left + max(0.0, now_s - bucket.at_s) * rate.per_s)
    bucket.at_s = now_s
    return bucket.left >= 1
