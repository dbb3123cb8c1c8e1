"""What a wiring plan is made of: devices, their cables and cores, their parts, and the drawing of each as data."""

from dataclasses import dataclass, field
from enum import Enum


class Symbol(Enum):
    """What stands in a drawing between two points."""

    RESISTOR = "resistor"
    FUSE = "fuse"
    CAPACITOR = "capacitor"
    DIODE = "diode"
    VARISTOR = "varistor"
    JOINT = "joint"
    MADE = "normally open contact"
    BROKEN = "normally closed contact"
    MOTOR = "motor"
    COIL = "coil"
    LAMP = "lamp"
    SERVO = "servo"
    CLAMP = "clamp"


class Edge(Enum):
    """Where a line in the box begins or ends, from left to right."""

    LEFT = "left"
    INTO = "into the middle"
    OUT = "out of the middle"
    WALL = "wall"


@dataclass(frozen=True, slots=True)
class Block:
    """A box with named terminals: ``rows`` is row to name, on the side that faces the wires."""

    title: str
    rows: dict[int, str]
    out: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Run:
    """A wire in the box on one row, from an edge or slot to another."""

    row: int
    begin: Edge | int = Edge.LEFT
    end: Edge | int = Edge.WALL


@dataclass(frozen=True, slots=True)
class In:
    """Something in a wire: on ``row`` at ``slot`` (0 to 4, left to right)."""

    row: int
    slot: int
    symbol: Symbol
    label: str


@dataclass(frozen=True, slots=True)
class Across:
    """Something between two rows at ``slot``, joined to both. ``at_device``: in the device instead of in the box."""

    top: int
    bottom: int
    slot: int
    symbol: Symbol
    label: str
    at_device: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawing as data.

    ``blocks`` stand at the left, ``middle`` between them and the wall of the box, ``device`` beyond the cable; where
    there is no cable (``walled`` is False) the device is in the same box and its rows are wired straight across.
    """

    blocks: tuple[Block, ...]
    middle: Block | None
    device: Block
    runs: tuple[Run, ...]
    parts: tuple[In | Across, ...] = ()
    walled: bool = True


@dataclass(frozen=True, slots=True)
class Core:
    """One core: its number, terminal at the box, row in the drawing, and what is at both ends."""

    number: str
    terminal: str
    row: int
    at_box: str
    at_device: str


@dataclass(frozen=True, slots=True)
class Cable:
    """One cable from the box. ``needed_mm2``: copper of the thickest core; ``run_m``: along the ducts, if known."""

    number: str
    to: str
    cores: tuple[Core, ...]
    needed_mm2: float
    kind: str
    run_m: float | None


@dataclass(frozen=True, slots=True)
class Piece:
    """Something to buy: what it is by function, its rating, and how many."""

    what: str
    rating: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class States:
    """What an output does at power-up, after a crash, and when the board has no power."""

    at_power_up: str
    program_dies: str
    power_lost: str


@dataclass(frozen=True, slots=True)
class Device:
    """One thing to wire: ``kind`` in words, the thing of the shop that it belongs to, and all that is told of it."""

    kind: str
    subject: str
    title: str
    sheet: Sheet
    cable: Cable | None
    pieces: tuple[Piece, ...]
    notes: tuple[str, ...]
    states: States | None
    test: str
    by_electrician: bool = False


@dataclass(frozen=True, slots=True)
class Load:
    """What one supply must give: current in words with its sum, and how it was counted."""

    name: str
    volts: str
    current_a: float
    counted: str


@dataclass(frozen=True, slots=True)
class Step:
    """One page of work: what is to be wired there, and what to do in which order."""

    title: str
    devices: tuple[Device, ...]
    doing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything to wire in one shop, in the order of work."""

    shop_name: str
    file_name: str
    steps: tuple[Step, ...]
    pieces: tuple[Piece, ...]
    loads: tuple[Load, ...]
    unseen: tuple[str, ...]

    @property
    def devices(self) -> tuple[Device, ...]:
        return tuple(device for step in self.steps for device in step.devices)

    @property
    def cables(self) -> tuple[Cable, ...]:
        return tuple(device.cable for device in self.devices if device.cable is not None)
