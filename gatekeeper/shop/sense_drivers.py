"""Whether what moves gates, switches motors and lights signs makes sense together."""

from collections.abc import Iterator

from gatekeeper.shop.faults import Fault
from gatekeeper.shop.fields_drivers import FROM_THE_AIR
from gatekeeper.shop.kinds import BoardDeath, MotorKind
from gatekeeper.shop.places import Loc, Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.written import GatePart, Mains, MotorPart, ShopFile
from gatekeeper.shop.written_drivers import BrokerGatePart, DrivePart, ServoPart, SwitchPart

LEAST_DROP_S = 0.3
"""A relay on steady pulses must hold this long without one; the driver refuses less."""

LEAST_SILENCE_S = 1.0
"""The shortest time of loss of communication that the driver can serve."""

_IDENTITY = (0, 1)


def driver_faults(tree: Tree, parts: ShopFile) -> Iterator[Fault]:
    """Every rule about drivers that these parts break."""
    here = _Here(tree)
    for name, motor in parts.motors.items():
        yield from here.switch(name, motor)
        yield from here.confirmed(name, motor)
    for name, drive in parts.drives.items():
        yield from here.drive(name, drive, parts)
    for name, gate in parts.gates.items():
        yield from here.gate(name, gate)
    for name, sign in parts.signs.items():
        for key in ("pin", "coming", "no_air"):
            output = getattr(sign, key)
            if output is not None and output.line in _IDENTITY:
                yield here.fault("GPIO0 and GPIO1 belong to the board's own identification", "signs", name, key)
    for name, permit in parts.permits.items():
        if permit.pin.active_low:
            said = "a contact that permits a start may not be made by a line that is low by itself; take active low out"
            yield here.fault(said, "permits", name, "pin")


class _Here:
    """The places, for the length of one check."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree

    def fault(self, said: str, *loc: str, key: bool = False) -> Fault:
        place: Loc = loc
        return Fault(self.tree.mark_of(place, key=key), path_of(place), said)

    def switch(self, name: str, motor: MotorPart) -> Iterator[Fault]:
        switch, loc = motor.switched_by, ("motors", name, "switched_by")
        has_buttons = switch.start is not None or switch.stop is not None
        ways = [switch.pin is not None, has_buttons, switch.drive is not None]
        if not any(ways):
            said = "nothing switches this motor; give the pin of its relay, start and stop of its starter, or its drive"
            yield self.fault(said, *loc, key=True)
        elif sum(ways) > 1:
            said = "more than one thing switches this motor; keep pin, or start and stop, or drive"
            yield self.fault(said, *loc, key=True)
        elif switch.drive is not None:
            yield from self._drive(motor, switch, loc)
        elif has_buttons:
            yield from self._buttons(motor, switch, loc)
        else:
            yield from self._relay(switch, loc)

    def _drive(self, motor: MotorPart, switch: SwitchPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        for key in ("press", "steady_pulse"):
            if key in switch.model_fields_set:
                yield self.fault("a drive has no such key; take it out", *loc, key, key=True)
        death, after_s = switch.when_board_dies
        if death is not BoardDeath.DROPS_LATER or after_s < LEAST_SILENCE_S:
            said = (
                "a drive stops by itself only when loss of communication is set in it; set it there, and write drops "
                "after that time, 1 s to 60 s"
            )
            yield self.fault(said, *loc, "when_board_dies")

    def confirmed(self, name: str, motor: MotorPart) -> Iterator[Fault]:
        """A drive that confirms is the one that switches, and is not beside a sensor."""
        part, loc = motor.confirmed_by, ("motors", name, "confirmed_by")
        if part is None or part.drive is None:
            return
        if part.drive != motor.switched_by.drive:
            yield self.fault("another thing switches this motor; name its own drive, or a sensor", *loc, "drive")
        if part.model_fields_set - {"drive", "within"}:
            yield self.fault("a drive and a sensor are both given; keep one", *loc, key=True)

    def drive(self, name: str, part: DrivePart, parts: ShopFile) -> Iterator[Fault]:
        loc = ("drives", name)
        if (part.host is None) == (part.serial is None):
            yield self.fault("give host, for a drive on the network, or serial, for one on a line", *loc, key=True)
        for key, owner in (("port", "host"), ("baud", "serial"), ("parity", "serial")):
            if getattr(part, key) is not None and getattr(part, owner) is None:
                yield self.fault(f"this key is for a drive with {owner}", *loc, key, key=True)
        if part.start == part.stop:
            yield self.fault("start and stop are the same word, so it could never be stopped", *loc, "stop")
        if part.running & ~part.running_mask:
            yield self.fault("running has bits that running_mask leaves out, so it would never run", *loc, "running")
        if (part.speed is None) != (part.speed_register is None):
            key = "speed" if part.speed is not None else "speed_register"
            yield self.fault("speed and speed_register belong together; add what is missing", *loc, key, key=True)
        yield from self._speed(part, parts.shop.mains, loc)
        for motor_name, motor in parts.motors.items():
            with_ducts = motor.kind in (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM)
            if part.speed == FROM_THE_AIR and motor.switched_by.drive == name and not with_ducts:
                said = f"no ducts are computed for {motor_name}; give its speed in Hz"
                yield self.fault(said, *loc, "speed")

    def _speed(self, part: DrivePart, mains: Mains, loc: tuple[str, ...]) -> Iterator[Fault]:
        follows_air = part.speed == FROM_THE_AIR
        for key in ("full_speed", "lower_after"):
            if getattr(part, key) is not None and not follows_air:
                yield self.fault(f"this key is for a drive with speed: {FROM_THE_AIR}", *loc, key, key=True)
        if part.speed is None:
            if part.speed_seen is not None:
                yield self.fault(
                    "this key is for a drive that is told its speed; add speed", *loc, "speed_seen", key=True
                )
            return
        if part.least_speed is None:
            said = "say the speed it never runs below, so that chips do not lie in the duct; add least_speed"
            yield self.fault(said, *loc, "speed")
        most = part.speed
        if not isinstance(most, float):
            most = part.full_speed or (60.0 if mains is Mains.HZ_60 else 50.0)
        if part.least_speed is not None and (most <= part.least_speed if follows_air else most < part.least_speed):
            if follows_air:
                said = f"least_speed leaves nothing to slow down: the full speed is {most:g} Hz"
                yield self.fault(said, *loc, "least_speed")
            else:
                yield self.fault("speed lies below least_speed; make it faster", *loc, "speed")
        if most * part.steps_per_hz > 0xFFFF:
            yield self.fault("this speed does not fit into its register; look steps_per_hz up", *loc, "steps_per_hz")

    def _relay(self, switch: SwitchPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        if switch.press is not None:
            yield self.fault("this key is for a starter with start and stop", *loc, "press", key=True)
        if not switch.steady_pulse:
            return
        death, after_s = switch.when_board_dies
        if death is not BoardDeath.DROPS_LATER or after_s < LEAST_DROP_S:
            said = (
                "a relay that needs steady pulses drops after its own time, at least 300 ms; write such as drops after "
                "500 ms"
            )
            yield self.fault(said, *loc, "when_board_dies")
        if switch.pin is not None and switch.pin.active_low:
            said = "pulses have no level that is on; take active low out"
            yield self.fault(said, *loc, "pin")

    def _buttons(self, motor: MotorPart, switch: SwitchPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        if switch.start is None or switch.stop is None:
            said = "a starter has two buttons, and the controller must be able to press both; add start and stop"
            yield self.fault(said, *loc, key=True)
        elif switch.start.active_low is not switch.stop.active_low:
            yield self.fault("the two relays of a starter are alike; write active low at both or at none", *loc, "stop")
        if switch.steady_pulse:
            said = "a starter holds itself, whatever is pulsed; take this key out"
            yield self.fault(said, *loc, "steady_pulse", key=True)
        if switch.when_board_dies[0] is not BoardDeath.STAYS:
            said = "a starter with push buttons holds itself when the board dies; write stays, or take a relay"
            yield self.fault(said, *loc, "when_board_dies")
        if motor.confirmed_by is None:
            said = (
                "a press of a button may do nothing, and a starter may stop by itself: a starter with push buttons is "
                "refused without confirmed_by, which tells whether the motor runs"
            )
            yield self.fault(said, *loc, key=True)

    def gate(self, name: str, gate: GatePart) -> Iterator[Fault]:
        loc = ("gates", name)
        if gate.servo is not None:
            yield from self._servo(gate.servo, (*loc, "servo"))
        if gate.behind_broker is not None:
            yield from self._behind_broker(gate, gate.behind_broker, (*loc, "behind_broker"))
        for key in ("relays", "bridge"):
            pair = getattr(gate, key)
            if pair is not None and pair.current_stop is not None and pair.current_stop[1]:
                said = "this contact is made when the motor draws too much; take normally closed out"
                yield self.fault(said, *loc, key, "current_stop")

    def _behind_broker(self, gate: GatePart, far: BrokerGatePart, loc: tuple[str, ...]) -> Iterator[Fault]:
        if far.open == far.shut:
            yield self.fault("open and shut are the same word, so this gate would never move", *loc, "shut")
        if (far.is_open or far.open) == (far.is_shut or far.shut) and far.open != far.shut:
            said = "it says the same when it is open and when it is shut, so nobody knows where it stands"
            yield self.fault(said, *loc, "is_shut" if far.is_shut is not None else "is_open")
        for key in ("open_contact", "shut_contact"):
            if getattr(gate, key) is not None:
                said = "this gate says itself where it stands; take this key out"
                yield self.fault(said, *loc[:2], key, key=True)

    def _servo(self, servo: ServoPart, loc: tuple[str, ...]) -> Iterator[Fault]:
        if servo.pin is None and servo.bank is None:
            said = "nothing drives this servo; give its pin, or the bank and channel that it hangs on"
            yield self.fault(said, *loc, key=True)
        elif servo.pin is not None and (servo.bank is not None or servo.channel is not None):
            said = "this servo has a pin and a bank; keep the one that it hangs on"
            yield self.fault(said, *loc, "bank" if servo.bank is not None else "channel", key=True)
        elif servo.bank is not None and servo.channel is None:
            yield self.fault("say which channel of this bank; add channel: 0 to 15", *loc, "bank")
