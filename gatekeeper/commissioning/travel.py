"""A gate's travel as it was measured against the one in the shop file, and what is proposed where it was longer."""

import math

#: A thumb is so much later than the eye, seconds. Ours, generous.
THUMB_S = 0.7
#: What is added to a measured travel before it is proposed: friction differs by season. Ours.
ROOM_SHARE = 0.15
#: A gate that gave up was driven for less than it needs; so much more is proposed. Ours.
GAVE_UP_SHARE = 0.5
#: The longest travel that a shop file takes, seconds.
LONGEST_S = 60.0


def proposed_s(driven_s: float, *, arrived: bool) -> float:
    """The travel to write, seconds: the measured one with room to spare, on whole tenths."""
    room = ROOM_SHARE if arrived else GAVE_UP_SHARE
    return min(LONGEST_S, math.ceil(driven_s * (1 + room) * 10 - 1e-6) / 10)


def whole_s(driven_s: float, share: float) -> float:
    """How long the whole way takes, where ``share`` of it (above 0, at most 1) was gone in ``driven_s``."""
    return driven_s / share
