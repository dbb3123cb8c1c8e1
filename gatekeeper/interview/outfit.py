"""What a shop that is there has for one more gate: pins, a channel of a servo bank, a broker."""

from dataclasses import dataclass, replace

from gatekeeper.interview.draft import BROKER, ON_A_BANK, SERVO_BANK
from gatekeeper.interview.gates import BOTH_ENDS, NO_ENDS, OPEN_END, GateScene, Moved, Mover
from gatekeeper.interview.reading import Size, free_name
from gatekeeper.interview.room import Pins, Room, text_room
from gatekeeper.interview.text_edits import PartEdit, quoted
from gatekeeper.interview.writing import bank_lines
from gatekeeper.shop.model import Gate, Shop

NO_PINS_TAKEN = Pins()
LAST_BANK = 8
"""As many banks as this proposes: the addresses from 0x40 on."""


@dataclass(frozen=True, slots=True)
class Outfit:
    """A shop, the text of its file, and every name in it; ``spoken_for``: pins that this interview took already."""

    shop: Shop
    text: str
    names: set[str]
    spoken_for: Pins = NO_PINS_TAKEN

    @property
    def room(self) -> Room:
        """The pins that are left."""
        on_i2c = any(converter.kind.is_on_i2c for converter in self.shop.converters.values())
        return text_room(self.text, has_i2c=bool(self.shop.servo_banks) or on_i2c).less(self.spoken_for)

    def free(self, word: str) -> str:
        """The word as a name, with a number behind it where it is taken."""
        return free_name(word, self.names)

    # ---------------------------------------------------------------- gates

    def gate_scene(self) -> GateScene:
        """What is known before another gate is asked for."""
        room = self.room
        has_servo = self._channel() is not None or room.has(self._servo_pins())
        before = tuple(moved_of(gate) for gate in self.shop.gates.values())
        far = [gate.behind_broker for gate in self.shop.gates.values() if gate.behind_broker is not None]
        topics = tuple(topic for one in far for topic in (one.commands_to, one.states_from))
        return GateScene(room, has_servo, before, bool(self.shop.brokers), topics)

    def takes(self, moved: Moved) -> Pins:
        """The pins that another gate takes here."""
        if moved.by is not Mover.SERVO:
            return moved.pins
        return Pins() if self._channel() is not None else self._servo_pins()

    def servo_for(self, moved: Moved) -> tuple[str, list[PartEdit]]:
        """What another servo hangs on, and the bank that is put in for it, if any; empty: a pin of its own."""
        if moved.by is not Mover.SERVO:
            return "", []
        found = self._channel()
        if found is not None:
            return f"bank: {quoted(found[0])}, channel: {found[1]}", []
        if not self._wants_bank():
            return "", []
        bank = self.free(SERVO_BANK)
        return f"bank: {bank}, channel: 0", [PartEdit("servo_banks", None, tuple(bank_lines(bank, self._address())))]

    def broker_for(self, moved: Moved) -> list[PartEdit]:
        """The broker that is put in for a gate behind it, if the shop has none."""
        if not moved.host:
            return []
        return [PartEdit("brokers", None, (f"{self.free(BROKER)}: {{host: {quoted(moved.host)}}}",))]

    def on_broker(self, moved: Moved) -> Moved:
        """A gate behind a broker with the name that this one has here."""
        return moved if moved.broker else replace(moved, broker=self.free(BROKER))

    def _channel(self) -> tuple[str, int] | None:
        """The first channel of a bank that nothing is on."""
        servos = [gate.bank_servo for gate in self.shop.gates.values() if gate.bank_servo is not None]
        used = {(servo.bank, servo.channel) for servo in servos}
        every = ((bank, channel) for bank in self.shop.servo_banks for channel in range(ON_A_BANK))
        return next((one for one in every if one not in used), None)

    def _wants_bank(self) -> bool:
        """Whether another servo gets a new bank: there is a servo already, and a chip on I2C can be had."""
        is_second = any(gate.servo is not None or gate.bank_servo is not None for gate in self.shop.gates.values())
        return is_second and self.room.i2c and self._address() < LAST_BANK and self.room.has(Pins(1, 2))

    def _servo_pins(self) -> Pins:
        has_i2c = bool(self.shop.servo_banks)
        return Pins(1, 0 if has_i2c else 2) if self._wants_bank() else Pins(outputs=1)

    def _address(self) -> int:
        """How far behind 0x40 the first address is that no bank has."""
        used = {bank.address for bank in self.shop.servo_banks.values()}
        return next((place for place in range(LAST_BANK) if 0x40 + place not in used), LAST_BANK)


def moved_of(gate: Gate) -> Moved:
    """A gate of a shop as the questions would have it."""
    ends = BOTH_ENDS if gate.has_open_switch and gate.has_shut_switch else OPEN_END if gate.has_open_switch else NO_ENDS
    pair, servo = gate.relays or gate.bridge, gate.servo or gate.bank_servo
    if servo is not None:
        return Moved(Mover.SERVO, stall=_ampere(servo.stall_a))
    if pair is not None:
        by = Mover.RELAYS if gate.relays is not None else Mover.BRIDGE
        return Moved(by, ends, Size(f"{gate.travel_s:g} s", gate.travel_s), stall=_ampere(pair.stall_a))
    if gate.coil is not None:
        return Moved(Mover.COIL, spring=gate.coil.holds.other.value, stall=_ampere(gate.coil.current_a))
    if gate.behind_broker is not None:
        return Moved(Mover.BROKER)
    return Moved(Mover.SEEN if gate.has_open_switch else Mover.HAND)


def _ampere(current_a: float | None) -> Size | None:
    return Size(f"{current_a:g} A", current_a) if current_a is not None else None
