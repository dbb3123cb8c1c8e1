"""Words of the page, each a value of its own."""

from enum import Enum


class Units(Enum):
    """How the shop's people read lengths and velocities."""

    INCH = "inch"
    METRIC = "metric"


class Heap(Enum):
    """Which of the three heaps a message lies on: how soon it hurts somebody or something."""

    NOW = "now"
    TODAY = "today"
    WHEN_YOU_CAN = "when you can"


class GateWord(Enum):
    """Where a gate stands, in the words of the page."""

    OPEN = "open"
    SHUT = "shut"
    OPENING = "opening"
    SHUTTING = "shutting"
    NOT_KNOWN = "not known"
    STUCK = "stuck"
    HELD = "held"


class SensorWord(Enum):
    """What a tool's sensor says, or that it can no longer be believed."""

    RUNNING = "running"
    STOPPED = "stopped"
    LOST = "lost"


class HandWord(Enum):
    """A motor's Hand-Off-Auto switch."""

    HAND = "hand"
    OFF = "off"
    AUTO = "auto"


class Press(Enum):
    """How a button is pressed. ``HOLD``: for one second, with its caution in sight; always so for a motor start."""

    TAP = "tap"
    HOLD = "hold"


class StopWord(Enum):
    """How far a stop that somebody asked for has come."""

    SENT = "sent"
    STOPPING = "stopping"  # confirmed: the motor's own feedback says that it was switched off
    STOPPED = "stopped"  # confirmed, and the coast time is over
    NOT_CONFIRMED = "not confirmed"  # 2 s went by without a confirmation, or nothing is wired that could confirm
