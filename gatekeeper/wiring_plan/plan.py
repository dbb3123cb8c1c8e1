"""The whole plan of a shop, in the order of work: the box, each motor, each machine, then what belongs to the shop."""

from collections.abc import Iterable, Iterator

from gatekeeper.service.pin_table import PinRow, pin_table
from gatekeeper.shop.faults import listed
from gatekeeper.shop.lines import HEADER_PINS, TO_BE_CHOSEN, UNCHOSEN
from gatekeeper.shop.model import Gate, Input, InputKind, Motor, Sensor, Shop, Tool
from gatekeeper.wiring_plan.gauges import pressure_gauge
from gatekeeper.wiring_plan.inputs import (
    clamp,
    contact,
    converter_board,
    current_switch,
    told_by_input,
    two_contacts,
)
from gatekeeper.wiring_plan.model import Device, Piece, Plan, States, Step
from gatekeeper.wiring_plan.outputs import coil_gate, lamp, motor_switch, relay_gate, servo_gate, sign_lamps
from gatekeeper.wiring_plan.outputs_drivers import (
    bank_board,
    bank_servo_gate,
    bridge_gate,
    drive_line,
    permit_contact,
    starter,
)
from gatekeeper.wiring_plan.strip import Strip
from gatekeeper.wiring_plan.supplies import loads_of

BOX = (
    Piece("board with the 40-pin header, 64-bit system, its own supply", "3.3 V lines"),
    Piece("memory card for the board", "16 GB or more, made for continuous use"),
    Piece("box for the board, closed against dust, metal or flame-retardant", "IP54 or better (IEC 60529)"),
)
WORKED = {
    "button": "push button",
    "foot switch": "foot switch",
    "hose hook": "switch in the hook of a hose",
    "air line": "pressure or flow switch in an air line",
}


def wiring_plan(shop: Shop, file_name: str) -> Plan:
    """Everything to wire in a shop, from its file alone."""
    steps = tuple(_Planner(shop).steps())
    devices = [device for step in steps for device in step.devices]
    pieces = _added(
        [*BOX, Piece("glands for the box", "by the cables", sum(one.cable is not None for one in devices))]
        + [Piece("terminals on a rail (X1)", "2.5 mm²", sum(len(one.cable.cores) for one in devices if one.cable))]
        + [piece for device in devices for piece in device.pieces]
        + [
            Piece(f"power supply for {load.name}", f"{load.volts}, {load.current_a:g} A or more")
            for load in loads_of(shop)
        ]
    )
    return Plan(shop.name, file_name, steps, pieces, loads_of(shop), tuple(_unseen(shop)))


def _added(pieces: Iterable[Piece]) -> tuple[Piece, ...]:
    """Equal pieces in one line, in the order in which they first come."""
    counts: dict[tuple[str, str], int] = {}
    shared = ("capacitor 1000 µF",)
    for piece in pieces:
        key = piece.what, piece.rating
        counts[key] = 1 if piece.what in shared else counts.get(key, 0) + piece.count
    return tuple(Piece(what, rating, count) for (what, rating), count in counts.items())


def _unseen(shop: Shop) -> Iterator[str]:
    """What has no wire to this box, and is still the shop's."""
    by_hand = [gate.name for gate in shop.gates.values() if not gate.is_actuated and not gate.has_open_switch]
    if by_hand:
        yield f"Moved by hand, nothing to wire: {listed(by_hand, 'and', 24)}."
    away = [gate.name for gate in shop.gates.values() if gate.behind_broker is not None]
    if away:
        yield f"Moved over the network, each by a controller and a supply of its own: {listed(away, 'and', 24)}."
    for motor in shop.motors.values():
        drive = shop.drives.get(motor.switch.drive or "")
        if drive is not None and drive.host is not None:
            yield f"{motor.name}: its drive is on the network ({drive.host}), by a network cable and no terminal of X1."
    metered = [tool.name for tool in shop.tools.values() if tool.sensor is not None and tool.sensor.metered is not None]
    metered += [one.name for one in shop.circuits.values() if one.sensor.metered is not None]
    gauges = [gauge.name for gauge in shop.gauges.values() if gauge.meter is not None]
    if gauges:
        yield f"Measured over the network, nothing to wire: {listed(gauges, 'and', 24)}."
    if metered:
        yield f"Seen by a power meter over the network, nothing to wire: {listed(metered, 'and', 24)}."


class _Planner:
    """The steps, each thing of the shop wired once."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.strip = Strip()
        self.rows = pin_table(shop)
        self.done: set[str] = set()

    def steps(self) -> Iterator[Step]:
        yield self.box()
        for motor in self.shop.motors.values():
            yield self.motor(motor)
        for tool in self.shop.tools.values():
            step = self.tool(tool)
            if step.devices:
                yield step
        rest = self.rest()
        if rest.devices:
            yield rest

    def box(self) -> Step:
        converters = list(self.shop.converters.values())
        doing = [
            "Screw board, supplies, relays and the strip X1 into the box. Mains comes into a part of its own, with a "
            "wall between, or into another box: the electrician's.",
            "Put the 10 k resistors at the board's end of every output before anything else hangs on it.",
            "Join the grounds of board and supplies at one point.",
            "Outside the dust, not on the collector; dust on warm electronics burns. Leave air around the supplies.",
        ]
        banks = list(self.shop.servo_banks.values())
        chips = [*self.shop.converters, *self.shop.servo_banks]
        if chips:
            doing.append(f"Wire {listed(chips, 'and', 8)} beside the board.")
        devices = [converter_board(one) for one in converters] + [bank_board(self.shop, one) for one in banks]
        return Step("The box", tuple(devices), tuple(doing))

    def motor(self, motor: Motor) -> Step:
        devices = self.switch(motor)
        if motor.confirmed_by is not None:
            around = f"a motor wire of {motor.name}"
            test = f"Start {motor.name} in Hand: the page says that it runs. Stop it: the page says that it stands."
            devices += self.sensor(motor.name, around, motor.confirmed_by, test)
        if motor.air_proof is not None:
            kind = "pressure or flow switch"
            piece = Piece(f"{kind} for duct air", "dry contact, 3.3 V")
            test = (
                "Made with one gate open, dropped with all shut and the fan running. Seconds only, disconnect in hand."
            )
            devices.append(
                contact(f"{kind} of {motor.name}", motor.name, motor.air_proof, self.strip, piece=piece, test=test)
            )
        for gauge in self.shop.gauges.values():
            if gauge.motor == motor.name and gauge.wire is not None:
                converter = self.shop.converters[gauge.wire.converter]
                devices.append(pressure_gauge(gauge, gauge.wire, converter, self.strip))
        for source in self.shop.inputs.values():
            if source.systems == (motor.name,) and source.kind in (
                InputKind.HAND_OFF_AUTO,
                InputKind.BIN_FULL,
                InputKind.FILTER_PRESSURE,
                InputKind.DOOR,
            ):
                devices += self.input(source)
        doing = (
            "Electrician first: starter, overload and the coil circuit of the electrician's sheet, tried in Hand "
            "without "
            "this box.",
            f"Lock the disconnect of {motor.name} for everything below.",
            "Then the cables of this page, each core marked at both ends before it is pulled.",
            f"Sign at the motor: {motor.name} starts by itself.",
        )
        return Step(motor.name, tuple(devices), doing)

    def switch(self, motor: Motor) -> list[Device]:
        if motor.switch.drive is not None:
            drive = self.shop.drives[motor.switch.drive]
            return [drive_line(motor, drive, self.strip)] if drive.serial is not None else []
        assert motor.switch.output is not None
        states = self.states(motor.switch.output.line, motor.name)
        switch = motor_switch if motor.switch.stop_output is None else starter
        return [switch(motor, self.strip, states)]

    def tool(self, tool: Tool) -> Step:
        devices: list[Device] = []
        if tool.sensor is not None:
            around = f"one wire of {tool.name}"
            devices += self.sensor(tool.name, around, tool.sensor, f"Start {tool.name}: the page says that it runs.")
        elif tool.circuit is not None and self.first(f"circuit {tool.circuit}"):
            circuit = self.shop.circuits[tool.circuit]
            test = f"Start each of {listed(circuit.tools, 'and', 24)} alone: the page names the right one."
            devices += self.sensor(circuit.name, f"one wire of {circuit.name}", circuit.sensor, test)
        for name in tool.gates:
            devices += self.gate(self.shop.gates[name])
        at = (tool.name, *tool.gates)
        devices += self.signs(at)
        for permit in self.shop.permits.values():
            if permit.at == tool.name:
                devices.append(permit_contact(permit, self.strip, self.states(permit.output.line, permit.name)))
        for source in self.shop.inputs.values():
            if source.at in at:
                devices += self.input(source)
        doing = [
            f"Stop {tool.name} at its disconnect while anything goes around its wire: the electrician's.",
            "Pull the cables, mark both ends of each core, screw them to X1 by the numbers.",
            *self.trying(tool),
        ]
        if tool.sensor is not None and tool.sensor.channel is not None:
            doing.append(f'Calibrate it: gatekeeper calibrate SHOP.yaml "{tool.name}".')
        return Step(tool.name, tuple(devices), tuple(doing))

    def trying(self, tool: Tool) -> list[str]:
        """How a machine is tried before its collector may run: gates that move by themselves, gates moved by hand."""
        driven = [name for name in tool.gates if self.shop.gates[name].is_actuated]
        by_hand = [name for name in tool.gates if name not in driven]
        doing = []
        if driven:
            doing.append(
                f"Find both ends of {listed(driven, 'and', 8)} by hand, then from the page, fingers out of the slot."
            )
        if by_hand:
            doing.append(f"Slide {listed(by_hand, 'and', 8)} to both ends by hand: shut, it must seal.")
        moves = "its gate moves, nothing else does" if driven else "nothing moves"
        doing.append(f"Start {tool.name} with the collector in Off: the page shows it, {moves}.")
        return doing

    def rest(self) -> Step:
        devices: list[Device] = []
        for gate in self.shop.gates.values():
            devices += self.gate(gate)
        for circuit in self.shop.circuits.values():
            if self.first(f"circuit {circuit.name}"):
                devices += self.sensor(
                    circuit.name, f"one wire of {circuit.name}", circuit.sensor, "The page shows it."
                )
        for source in self.shop.inputs.values():
            devices += self.input(source)
        everywhere = (*self.shop.gates, *self.shop.tools)
        devices += self.signs(everywhere)
        shop_lamp = self.shop.messages.lamp
        if shop_lamp is not None:
            lit = f"Lit while a message of the heap {shop_lamp.heap.value} or a worse one stands."
            states = self.states(shop_lamp.output.line, "lamp")
            devices.append(lamp("of the shop's messages", "", shop_lamp.output, self.strip, states, lit))
        doing = (
            "Red buttons, detectors and doors are closed while all is well: the page must show them so before the "
            "first "
            "start.",
            "Try each one with every disconnect locked.",
        )
        return Step("Buttons, keys and detectors of the shop", tuple(devices), doing)

    def gate(self, gate: Gate) -> list[Device]:
        if not self.first(f"gate {gate.name}"):
            return []
        devices: list[Device] = []
        if gate.servo is not None:
            devices.append(servo_gate(self.shop, gate, self.strip, self.states(gate.servo.line, gate.name)))
        if gate.relays is not None:
            line = gate.relays.open_output.line
            devices.append(relay_gate(self.shop, gate, self.strip, self.states(line, gate.name)))
        if gate.coil is not None:
            devices.append(coil_gate(self.shop, gate, self.strip, self.states(gate.coil.output.line, gate.name)))
        if gate.bank_servo is not None:
            devices.append(bank_servo_gate(self.shop, gate, self.strip))
        if gate.bridge is not None:
            states = self.states(gate.bridge.open_line, gate.name)
            devices.append(bridge_gate(self.shop, gate, self.strip, states))
        if gate.current_stop is not None:
            piece = Piece(
                "current relay or comparator in a gate motor's supply", "contact for 3.3 V, made above its current"
            )
            name = f"current stop of {gate.name}"
            test = "Hold the gate back by a block of wood: the drive ends."
            devices.append(contact(name, gate.name, gate.current_stop, self.strip, piece=piece, test=test))
        piece = Piece("position switch, sealed against dust", "dry contact, 3.3 V")
        test = f"Push {gate.name} by hand: the page says open only at its open end."
        open_end, shut_end = gate.open_contact, gate.shut_contact
        if open_end is not None and shut_end is not None:
            two = (("open", open_end), ("shut", shut_end))
            both = Piece(piece.what, piece.rating, 2)
            name = f"position switches at {gate.name}"
            devices.append(two_contacts(name, gate.name, two, self.strip, piece=both, test=test))
        elif open_end is not None or shut_end is not None:
            end, wired = ("open", open_end) if open_end is not None else ("shut", shut_end)
            assert wired is not None
            name = f"position switch at {gate.name}, {end} end"
            devices.append(contact(name, gate.name, wired, self.strip, piece=piece, test=test))
        return devices

    def input(self, source: Input) -> list[Device]:
        if not self.first(f"input {source.name}"):
            return []
        if source.hand_contact is not None and source.auto_contact is not None:
            two = (("Hand", source.hand_contact), ("Auto", source.auto_contact))
            piece = Piece("Hand-Off-Auto switch", "its own contacts in the coil circuit, two auxiliary ones for 3.3 V")
            test = "Turn it: the page follows through Hand, Off and Auto."
            return [two_contacts(source.name, source.name, two, self.strip, piece=piece, test=test)]
        told = told_by_input(source, self.strip)
        return [told] if told is not None else []

    def sensor(self, owner: str, around: str, sensor: Sensor, test: str) -> list[Device]:
        if sensor.channel is not None:
            converter = self.shop.converters[sensor.channel.converter]
            return [clamp(owner, around, sensor.channel, converter, self.strip, test)]
        if sensor.contact is None:
            return []
        if sensor.asking is None:
            return [current_switch(owner, around, sensor.contact, self.strip, test)]
        use = sensor.asking.use.value
        piece = Piece(WORKED[use], "dry contact, 3.3 V")
        return [contact(f"{use} of {owner}", owner, sensor.contact, self.strip, piece=piece, test=test)]

    def signs(self, at: tuple[str, ...]) -> list[Device]:
        mine = [one for one in self.shop.signs.values() if one.at in at and self.first(f"sign {one.name}")]
        return [device for sign in mine for device in sign_lamps(sign, self.strip, self.states)]

    def first(self, what: str) -> bool:
        """Whether this is the first time that it is asked for."""
        is_first = what not in self.done
        self.done.add(what)
        return is_first

    def states(self, line: int, subject: str) -> States:
        row = next(row for row in self.rows if _is_of(row, line, subject))
        return States(row.at_power_up, row.program_dies, row.power_lost)


def _is_of(row: PinRow, line: int, subject: str) -> bool:
    if line == UNCHOSEN:
        return row.line == TO_BE_CHOSEN and subject in row.wire
    return row.line == f"GPIO{line}, header pin {HEADER_PINS[line]}"
