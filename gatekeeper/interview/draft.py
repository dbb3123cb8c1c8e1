"""What an interview has gathered: motors, lengths of duct, machines. Nothing here is checked yet."""

from dataclasses import dataclass, field, replace

from gatekeeper.interview.gates import GateScene, Moved, Mover
from gatekeeper.interview.machine import NO_THINGS, DropThings
from gatekeeper.interview.motors import DraftMotor, MotorScene
from gatekeeper.interview.reading import Size, at_motor, drop_of, free_name, gate_of, parts_of
from gatekeeper.interview.room import Pins, Room
from gatekeeper.interview.sensors import Seen
from gatekeeper.shop.kinds import Units
from gatekeeper.shop.written import Material

COLLECTOR = "collector"
CLAMP_BOARD = "clamp board"
CLAMP_BOARDS = (CLAMP_BOARD, f"{CLAMP_BOARD} 2")
SERVO_BANK = "servo bank"
SERVO_BANKS = (SERVO_BANK, f"{SERVO_BANK} 2")
BROKER = "broker"
OWN_NAMES = (*CLAMP_BOARDS, *SERVO_BANKS, BROKER, "red button", "fire detector", "reset key")
"""Names that a new shop may give to things of its own."""

ON_A_BANK = 16
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
class DraftMachine:
    """One machine with its gate, or with ``is_again`` one more gate of a machine that was told before.

    ``duct``: None straight on its collector. ``seen``: None while nothing is wired. ``gate``: one that was there
    already, or with a name of its own. ``feeder`` and ``supply``: where there are several to choose from. ``motor``:
    whose ducts it hangs on.
    """

    name: str
    duct: str | None
    diameter: Size
    port: Size | None
    needs: Size | None
    moved: Moved
    seen: Seen | None
    gate: str = ""
    feeder: str = ""
    supply: str = ""
    motor: str = COLLECTOR
    things: DropThings = NO_THINGS
    is_again: bool = False

    @property
    def gate_name(self) -> str:
        """Its gate: its own, or the one that it was given."""
        return self.gate or gate_of(self.name)

    @property
    def servo(self) -> bool:
        """Whether its gate moves by itself."""
        return not self.moved.by.is_by_hand


@dataclass(slots=True)
class ShopDraft:
    """A shop as far as it was told.

    ``with_needs`` and ``with_drops``: what is asked at each machine beside the rest. ``phones``: the page may be
    opened from the network.
    """

    name: str = ""
    units: Units = Units.METRIC
    mains: str = "50 Hz"
    air_goes: str = "inside"
    open_flue: str = ""
    with_needs: bool = False
    with_drops: bool = False
    phones: bool = False
    motors: list[DraftMotor] = field(default_factory=list)
    material: str = ""
    ducts: list[DraftDuct] = field(default_factory=list)
    machines: list[DraftMachine] = field(default_factory=list)
    opened: DraftDuct | None = None

    @property
    def is_inch(self) -> bool:
        return self.units is Units.INCH

    @property
    def here(self) -> DraftMotor:
        """The motor whose ducts are walked."""
        return self.motors[-1]

    @property
    def taken(self) -> set[str]:
        """Every name that is given, or that something may be called by the program."""
        names = {*OWN_NAMES, *(duct.name for duct in self.ducts)}
        for motor in self.motors:
            names |= {motor.name, *at_motor(motor.name)}
        for machine in self.machines:
            names |= {machine.name, machine.gate_name, *parts_of(machine.name)}
        return names

    @property
    def used(self) -> set[str]:
        """The names that stand in the file so far."""
        machines = {name for machine in self.machines for name in (machine.name, machine.gate_name)}
        return machines | {duct.name for duct in self.ducts} | {motor.name for motor in self.motors}

    def on(self, motor: DraftMotor) -> list[DraftMachine]:
        """The machines on a motor's ducts."""
        return [machine for machine in self.machines if machine.motor == motor.name]

    def with_machine(self, machine: DraftMachine) -> "ShopDraft":
        """The same shop with one machine more."""
        return replace(self, machines=[*self.machines, machine])

    def elsewhere(self) -> tuple[str, ...]:
        """The machines that hang on another motor only."""
        here = {machine.name for machine in self.on(self.here)}
        return tuple(dict.fromkeys(machine.name for machine in self.machines if machine.name not in here))

    # ---------------------------------------------------------------- pins

    @property
    def room(self) -> Room:
        """The pins that are left. One stays for the first sensor, without which nothing would start a collector."""
        room = Room()
        for motor in self.motors:
            room = room.less(motor.pins)
        for machine in self.machines:
            room = room.less(machine.things.pins)
            if machine.seen is not None and machine.seen.converter is None:
                room = room.less(Pins(contacts=1))
            if machine.moved.by is not Mover.SERVO:
                room = room.less(machine.moved.pins)
        boards = self.boards()
        room = room.less(Pins(contacts=3 + len(boards) if boards else 0))
        servos = [machine for machine in self.machines if machine.moved.by is Mover.SERVO]
        banks = self.banks()
        room = room.less(Pins(contacts=2 + len(banks)) if banks else Pins(outputs=len(servos)))
        return room if any(machine.seen is not None for machine in self.machines) else room.less(Pins(contacts=1))

    def boards(self) -> tuple[str, ...]:
        """The boards of clamps that something hangs on."""
        seen = [motor.seen for motor in self.motors] + [machine.seen for machine in self.machines]
        used = {one.converter for one in seen if one is not None}
        return tuple(board for board in CLAMP_BOARDS if board in used)

    def banks(self) -> dict[str, list[str]]:
        """The banks of servos, each with the gates on its channels: from the second servo on they hang on banks."""
        gates = [machine.gate_name for machine in self.machines if machine.moved.by is Mover.SERVO]
        if len(gates) < 2:
            return {}
        cut = range(0, len(gates), ON_A_BANK)
        return {bank: gates[place : place + ON_A_BANK] for bank, place in zip(SERVO_BANKS, cut, strict=False)}

    def gate_scene(self) -> GateScene:
        """What is known before another gate is asked for."""
        room = self.room
        on_banks = sum(machine.moved.by is Mover.SERVO for machine in self.machines)
        # A servo that turns the first one into a bank takes two lines of I2C and one that enables it.
        has_servo = room.has(Pins(1, 2)) or (bool(self.banks()) and on_banks % ON_A_BANK > 0)
        moved = tuple(machine.moved for machine in self.machines)
        return GateScene(room, has_servo and on_banks < len(SERVO_BANKS) * ON_A_BANK, moved)

    def motor_scene(self) -> MotorScene:
        """What is known before another motor is asked for."""
        wired = tuple(one for motor in self.motors for one in motor.wired if one.is_of_the_shop)
        return MotorScene(self.room, self.free_channel(), self.is_inch, self.is_attended, of_shop=wired)

    @property
    def is_attended(self) -> bool:
        """Whether somebody was said to be always there."""
        return any(motor.needs_attendance for motor in self.motors)

    def free_channel(self) -> tuple[str, int] | None:
        """The next channel of a converter that no clamp is on, or None when both boards are full."""
        seen = [motor.seen for motor in self.motors] + [machine.seen for machine in self.machines]
        used = {(one.converter, one.channel) for one in seen if one is not None}
        for board in CLAMP_BOARDS:
            lines = 0 if board in self.boards() else 1 if self.boards() else 4
            if not self.room_for_lines(lines):
                return None
            for channel in range(8):
                if (board, channel) not in used:
                    return board, channel
        return None

    def room_for_lines(self, lines: int) -> bool:
        """Whether a board of clamps that takes so many lines can be had."""
        return lines == 0 or self.room.has(Pins(contacts=lines))

    # ---------------------------------------------------------------- ducts

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
        name = free_name(drop_of(machine), self.used)
        self._close(name)
        return name

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

    def laid(self) -> tuple[list[DraftDuct], list[DraftMachine]]:
        """The ducts and machines of a shop file: with several systems, every gate sits on a duct that says of which."""
        ducts, machines = self.leading_somewhere(), list(self.machines)
        if sum(motor.has_ducts for motor in self.standing()) < 2:
            return ducts, machines
        hose = Size("3 ft", 0.9144) if self.is_inch else Size("1 m", 1.0)
        for place, machine in enumerate(machines):
            if machine.duct is None:
                name = free_name(drop_of(machine.name), {*self.used, *(duct.name for duct in ducts)})
                ducts.append(DraftDuct(name, machine.motor, machine.diameter, (), (), hose, ("the hose",)))
                machines[place] = replace(machine, duct=name)
        return ducts, machines

    def standing(self) -> list[DraftMotor]:
        """The motors that are part of the shop: with ducts, only those that a machine hangs on."""
        return [motor for motor in self.motors if not motor.has_ducts or self.on(motor)]
