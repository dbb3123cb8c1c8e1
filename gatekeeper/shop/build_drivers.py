"""What moves gates, switches motors and lights signs: from the written parts to the model, every default filled in."""

from dataclasses import dataclass

from gatekeeper.shop.fields import contact_of
from gatekeeper.shop.fields_drivers import FROM_THE_AIR
from gatekeeper.shop.kinds import BoardDeath, Parity
from gatekeeper.shop.model import Contact
from gatekeeper.shop.model_drivers import (
    BankServo,
    Bridge,
    BrokerGate,
    Coil,
    Drive,
    MotorSwitch,
    RelayPair,
    Servo,
    ServoBank,
    Sign,
)
from gatekeeper.shop.written import GatePart
from gatekeeper.shop.written_drivers import DrivePart, ServoBankPart, SignPart, SwitchPart

#: Usual travel times; our own figures, each can be overridden in the file.
QUICK_TRAVEL_S = 2.0
MOTOR_TRAVEL_S = 6.0
PRESS_S = 0.5
LOWER_AFTER_S = 30.0


@dataclass(frozen=True, slots=True)
class Mover:
    """What moves a gate; at most one of them is given."""

    servo: Servo | None = None
    bank_servo: BankServo | None = None
    relays: RelayPair | None = None
    bridge: Bridge | None = None
    coil: Coil | None = None
    behind_broker: BrokerGate | None = None
    dead_s: float = 0.0
    usual_travel_s: float = MOTOR_TRAVEL_S

    @property
    def is_any(self) -> bool:
        """Whether anything moves it."""
        wired = (self.servo, self.bank_servo, self.relays, self.bridge, self.coil, self.behind_broker)
        return any(one is not None for one in wired)


def mover_of(part: GatePart) -> Mover:
    """What moves a gate; ``part`` must be free of faults."""
    if part.servo is not None and part.servo.bank is not None and part.servo.channel is not None:
        ends = part.servo
        bank_servo = BankServo(part.servo.bank, part.servo.channel, ends.open, ends.shut, ends.stall_current)
        return Mover(bank_servo=bank_servo, usual_travel_s=QUICK_TRAVEL_S)
    if part.servo is not None:
        assert part.servo.pin is not None
        servo = Servo(part.servo.pin, part.servo.open, part.servo.shut, part.servo.stall_current)
        return Mover(servo=servo, usual_travel_s=QUICK_TRAVEL_S)
    if part.coil is not None:
        return Mover(coil=Coil(part.coil.pin, part.coil.holds, part.coil.current), usual_travel_s=QUICK_TRAVEL_S)
    if part.relays is not None:
        two = part.relays
        pair = RelayPair(two.open, two.shut, two.dead_time, _contact(two.current_stop), two.stall_current)
        return Mover(relays=pair, dead_s=two.dead_time)
    if part.bridge is not None:
        one = part.bridge
        bridge = Bridge(one.open, one.shut, one.enable, one.dead_time, _contact(one.current_stop), one.stall_current)
        return Mover(bridge=bridge, dead_s=one.dead_time)
    if part.behind_broker is not None:
        far = part.behind_broker
        gate = BrokerGate(
            far.broker,
            far.commands_to,
            far.states_from,
            far.open,
            far.shut,
            far.halt,
            far.is_open if far.is_open is not None else far.open,
            far.is_shut if far.is_shut is not None else far.shut,
            far.silence,
        )
        return Mover(behind_broker=gate)
    return Mover()


def _contact(written: tuple[int, bool | None] | None) -> Contact | None:
    return contact_of(written) if written is not None else None


def servo_bank_of(name: str, part: ServoBankPart) -> ServoBank:
    """A servo bank."""
    return ServoBank(name, part.address, part.enable, part.clock)


def sign_of(name: str, part: SignPart) -> Sign:
    """A sign."""
    return Sign(name, part.pin, part.at, part.coming, part.no_air)


def switch_of(part: SwitchPart, *, is_attended: bool) -> MotorSwitch:
    """What switches a motor; ``part`` must be free of faults."""
    death, after_s = part.when_board_dies
    attended = death is BoardDeath.STAYS or is_attended
    output = part.start if part.start is not None else part.pin
    press_s = part.press if part.press is not None else PRESS_S
    return MotorSwitch(output, death, after_s, attended, part.steady_pulse, part.stop, press_s, part.drive)


def drive_of(name: str, part: DrivePart, mains_hz: int) -> Drive:
    """A drive on mains of 50 or 60 Hz."""
    follows_air = part.speed == FROM_THE_AIR
    return Drive(
        name,
        part.host,
        part.port or 502,
        part.serial,
        part.baud or 19200,
        part.parity or Parity.EVEN,
        part.device,
        part.command,
        part.start,
        part.stop,
        part.status,
        part.running,
        part.running_mask,
        part.speed_register,
        part.steps_per_hz,
        part.speed if isinstance(part.speed, float) else None,
        part.least_speed,
        part.trip,
        part.current,
        part.steps_per_a,
        full_speed_hz=(part.full_speed or float(mains_hz)) if follows_air else None,
        speed_seen=part.speed_seen,
        lower_after_s=part.lower_after or LOWER_AFTER_S,
    )
