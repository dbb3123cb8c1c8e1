"""The words that a shop file chooses from: each value is the word as it is written."""

from enum import Enum


class Units(Enum):
    """How the shop's people read lengths, flows and pressures on screens."""

    INCH = "inch"
    METRIC = "metric"


class MotorKind(Enum):
    """Every kind of motor that the controller starts."""

    COLLECTOR = "collector"
    TOOL_VACUUM = "tool vacuum"
    AIR_CLEANER = "air cleaner"
    FILTER_SHAKER = "filter shaker"


class BoardDeath(Enum):
    """What an output does when the board dies (C23)."""

    DROPS = "drops"
    DROPS_LATER = "drops later"
    STAYS = "stays"


class Makes(Enum):
    """What a tool throws into the duct."""

    WOOD = "wood"
    METAL = "metal"
    SPARKS = "sparks"
    FLAME = "flame"
    SOLVENT = "solvent"
    ASH = "ash"


class Proof(Enum):
    """What proves an open gate on one system (C3a). Says nothing (TIME) on a motor without gates."""

    SWITCHES = "switches"
    RELIEF = "relief"
    AIR = "air"
    TIME = "time"
    PERSON = "person"


class AirGoes(Enum):
    """Where the collectors' air goes after the filter."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    BOTH = "both"


class AirProofKind(Enum):
    """What kind of switch says that air moves."""

    PRESSURE = "pressure switch"
    FLOW = "flow switch"


class ConverterKind(Enum):
    """Analog converters that the controller can read, by bits."""

    MCP3208 = "MCP3208"
    MCP3008 = "MCP3008"
    ADS1115 = "ADS1115"

    @property
    def bits(self) -> int:
        return {"MCP3208": 12, "MCP3008": 10, "ADS1115": 16}[self.value]

    @property
    def is_on_i2c(self) -> bool:
        """On an I2C bus, read in pairs of inputs; the others are on SPI."""
        return self is ConverterKind.ADS1115


class ContactUse(Enum):
    """What a contact is that somebody works: the sensor of battery tools, air tools and hand work."""

    BUTTON = "button"
    FOOT_SWITCH = "foot switch"
    HOSE_HOOK = "hose hook"
    AIR_LINE = "air line"


class EndsBy(Enum):
    """How a run that a contact began is ended, beside its time-out."""

    PRESS_AGAIN = "press again"
    LET_GO = "let go"


class MeterUnit(Enum):
    """What a meter's numbers are."""

    WATT = "W"
    AMPERE = "A"


class PasswordPlace(Enum):
    """Where a password is looked for; never in the shop's own file."""

    ENVIRONMENT = "environment"
    FILE = "file"


class InputKind(Enum):
    """What an input means to the rules."""

    RED_BUTTON = "red button"
    FIRE = "fire"
    DOOR = "door"
    HAND_OFF_AUTO = "hand-off-auto"
    SHOP_KEY = "shop key"
    AIR_HERE = "air here"
    STOP = "stop"
    RESET = "reset"
    RELEASE = "release"
    SPARKS = "sparks"
    BROKER_KEY = "broker key"
    BIN_FULL = "bin full"
    FILTER_PRESSURE = "filter pressure"


class FullBin(Enum):
    """What a full bin does."""

    WARNS = "warns"
    REFUSES = "refuses the next start"


class Reading(Enum):
    """Who may look at the page."""

    OPEN = "open"
    CLOSED = "closed"


class MessageHeap(Enum):
    """How soon a message's matter hurts somebody or something; a lamp and a phone are told from one of these on."""

    NOW = "now"
    TODAY = "today"
    WHEN_YOU_CAN = "when you can"


class Parity(Enum):
    """The parity of a serial line."""

    EVEN = "even"
    ODD = "odd"
    NONE = "none"


class GateEnd(Enum):
    """The two ends of a gate's travel."""

    OPEN = "open"
    SHUT = "shut"

    @property
    def other(self) -> "GateEnd":
        return GateEnd.SHUT if self is GateEnd.OPEN else GateEnd.OPEN


class StartsFrom(Enum):
    """Where a motor's starts per hour come from (C8)."""

    TABLE = "published table"
    ESTIMATE = "estimate from the published table"
    GIVEN = "given in the shop file"
