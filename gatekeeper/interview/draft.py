"""What an interview has gathered: a collector, lengths of duct, machines. Nothing here is checked yet."""

from dataclasses import dataclass, field, replace

from gatekeeper.interview.reading import Size, drop_of, gate_of
from gatekeeper.shop.model import Units
from gatekeeper.shop.written import Material

COLLECTOR = "collector"
CLAMP_BOARD = "clamp board"
USUAL_MATERIAL = Material.SMOOTH_STEEL.value


@dataclass(frozen=True, slots=True)
class DraftDuct:
    """One duct.

    ``lengths`` as they were told, each on its own. ``assumed``: words for what nobody knew. ``kept``: further keys of
    the file with their values.
    """

    name: str
    towards: str
    diameter: Size
    lengths: tuple[Size, ...] = ()
    fittings: tuple[str, ...] = ()
    flex: Size | None = None
    assumed: tuple[str, ...] = ()
    kept: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What tells that a machine runs: a current switch, or with ``converter`` a clamp on a channel of it."""

    converter: str | None = None
    channel: int = 0
    range_a: str = ""


@dataclass(frozen=True, slots=True)
class DraftMachine:
    """One machine with its gate.

    ``duct``: None straight on the collector. ``seen``: None while nothing is wired. ``gate``: one that was there
    already. ``feeder`` and ``supply``: where there are several to choose from.
    """

    name: str
    duct: str | None
    diameter: Size
    port: Size | None
    needs: Size | None
    servo: bool
    seen: Seen | None
    gate: str = ""
    feeder: str = ""
    supply: str = ""

    @property
    def gate_name(self) -> str:
        """Its gate: its own, or the one that it was given."""
        return self.gate or gate_of(self.name)


@dataclass(slots=True)
class ShopDraft:
    """A shop as far as it was told."""

    name: str = ""
    units: Units = Units.METRIC
    mains: str = "50 Hz"
    air_goes: str = "inside"
    open_flue: str = "yes"
    power: Size | None = None
    phases: str = "single"
    inlet: Size | None = None
    confirmed: bool = False
    relief: Size | None = None
    material: str = ""
    ducts: list[DraftDuct] = field(default_factory=list)
    machines: list[DraftMachine] = field(default_factory=list)
    opened: DraftDuct | None = None

    @property
    def is_inch(self) -> bool:
        return self.units is Units.INCH

    @property
    def taken(self) -> set[str]:
        """Every name that is given."""
        names = {COLLECTOR, CLAMP_BOARD, f"{CLAMP_BOARD} 2", *(duct.name for duct in self.ducts)}
        for machine in self.machines:
            names |= {machine.name, machine.gate_name}
        return names

    def open_duct(
        self, towards: str, diameter: Size, fittings: tuple[str, ...] = (), assumed: tuple[str, ...] = ()
    ) -> None:
        """Begin a duct; it has no name before it is known where it leads."""
        kept = (("material", self.material),) if self.material not in ("", USUAL_MATERIAL) else ()
        self.opened = DraftDuct("", towards, diameter, (), fittings, None, assumed, kept)

    def stretch(self, length: Size, *, assumed: bool) -> None:
        """One more length on the duct that was begun."""
        assert self.opened is not None
        words = (f"{length.text} of its length",) if assumed else ()
        self.opened = replace(
            self.opened, lengths=(*self.opened.lengths, length), assumed=(*self.opened.assumed, *words)
        )

    def fit(self, fitting: str) -> None:
        """One more fitting on the duct that was begun."""
        assert self.opened is not None
        self.opened = replace(self.opened, fittings=(*self.opened.fittings, fitting))

    def close_as_main(self) -> str:
        """End the duct that was begun, as a length of main; its name."""
        assert self.opened is not None
        number = 1
        while f"main {number}" in self.taken:
            number += 1
        self._close(f"main {number}")
        return f"main {number}"

    def close_as_drop(self, machine: str, flex: Size | None, *, flex_assumed: bool) -> str:
        """End the duct that was begun at a machine; its name."""
        assert self.opened is not None
        assumed = (*self.opened.assumed, *(("the hose",) if flex_assumed else ()))
        self.opened = replace(self.opened, flex=flex, assumed=assumed)
        self._close(drop_of(machine))
        return drop_of(machine)

    def _close(self, name: str) -> None:
        assert self.opened is not None
        self.ducts.append(replace(self.opened, name=name))
        self.opened = None

    def leading_somewhere(self) -> list[DraftDuct]:
        """The ducts that have a machine behind them; what leads nowhere yet is no part of a shop."""
        wanted: set[str | None] = {machine.duct for machine in self.machines}
        by_name = {duct.name: duct for duct in self.ducts}
        for name in list(wanted):
            while name in by_name:
                wanted.add(name)
                name = by_name[name].towards
        return [duct for duct in self.ducts if duct.name in wanted]

    def free_channel(self) -> tuple[str, int] | None:
        """The next channel of a converter that no clamp is on, or None when both boards are full."""
        used = {(one.seen.converter, one.seen.channel) for one in self.machines if one.seen is not None}
        for board in (CLAMP_BOARD, f"{CLAMP_BOARD} 2"):
            for channel in range(8):
                if (board, channel) not in used:
                    return board, channel
        return None
