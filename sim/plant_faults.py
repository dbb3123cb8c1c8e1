"""What can be broken in the machinery of a shop: one name a fault, the same in happenings, plant, catalogue and docs.

A fault is put in and taken away by its name and a subject; the plants of both fidelities make it so. What else can go
wrong (people, the board, disks, the page) has happenings of its own; ``sim.catalogue`` lists all of it.
"""

from enum import StrEnum


class Subject(StrEnum):
    """What a fault is about."""

    GATE = "gate"
    TOOL = "tool"
    MOTOR = "motor"
    CONVERTER = "converter"
    FEEDER = "feeder"


class PlantFault(StrEnum):
    """One broken thing. The comment says what is so while it lasts."""

    # gates
    STUCK_GATE = "stuck gate"  # the slide stands where it is
    SLOW_GATE = "slow gate"  # every move takes three times as long
    REVERSED_GATE = "reversed gate"  # told to open it shuts, told to shut it opens; its switches say what is so
    # position switches: of gates that have one
    SWITCH_DEAD = "dead position switch"  # neither contact is ever made: between
    SWITCH_SAYS_OPEN = "position switch stuck at open"  # the open contact is always made, the shut one as it is
    SWITCH_SAYS_SHUT = "position switch stuck at shut"  # the shut contact is always made, the open one never
    SWITCH_LOOSE = "loose position switch"  # while the gate stands at an end its word comes and goes
    # sensors of tools
    SENSOR_DEAD = "dead sensor"  # nothing that can be believed: stale
    SENSOR_STUCK_ON = "sensor stuck on"  # always running
    SENSOR_SILENT = "silent sensor"  # always stopped: a clamp round both wires
    SENSOR_NOISY = "noisy sensor"  # running and stopped by turns, a few seconds each, while the tool runs
    SENSORS_SWAPPED = "swapped sensors"  # the tool's sensor and the next tool's (in the shop's order) are exchanged
    CONVERTER_LOST = "lost converter"  # every sensor on it: stale; every motor sensor on it: lost
    # motors
    CONTACTOR_WELDED = "welded contactor"  # once closed it never opens
    CONTACTOR_SILENT = "silent contactor"  # told on, nothing closes
    MOTOR_BY_HAND = "collector started at its own switch"  # it runs whatever is told, where no selector is wired
    MOTOR_TRIPPED = "tripped overload"  # it has no power until somebody resets it
    MOTOR_SENSOR_DEAD = "dead motor sensor"  # lost
    MOTOR_SENSOR_STUCK_ON = "motor sensor stuck on"  # always running
    AIR_SWITCH_DEAD = "dead air switch"  # never air
    AIR_SWITCH_STUCK_ON = "air switch stuck on"  # always air
    BREAKER_TRIPPED = "tripped breaker"  # a feeder: its motors and tools have no power until mended
    # air and chips
    FULL_BIN = "full bin"  # a motor: chips pass the bin and load the filter
    BLOCKED_FILTER = "blocked filter"  # a motor: little air whatever is open
    BLOCKED_BRANCH = "blocked branch"  # a gate: no air through it though its slide is open
    OPEN_CLEANOUT = "open clean-out"  # a motor: its duct draws air beside the gates
