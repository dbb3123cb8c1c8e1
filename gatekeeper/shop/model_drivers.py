"""What moves gates, switches motors and lights signs. Part of ``model``."""

from dataclasses import dataclass

from gatekeeper.shop.kinds import BoardDeath, GateEnd, Parity
from gatekeeper.shop.model_sensing import Contact


@dataclass(frozen=True, slots=True)
class Output:
    """One digital output: GPIO ``line`` 0 to 27. ``active_low``: the relay is on when the line is low."""

    line: int
    active_low: bool = False


@dataclass(frozen=True, slots=True)
class MotorSwitch:
    """What switches a motor, and what it does when the board dies.

    ``drive``: the drive that it hangs on; there is no ``output`` then. ``output``: the relay of its contactor's coil,
    which with ``steady_pulse`` holds only while the line keeps changing; or, where ``stop_output`` is given, the relay
    that presses start for ``press_s``, and the other presses stop.
    ``death_after_s``: how long it stays on after the board died (0 when it drops at once, infinite when it stays).
    ``attended``: the shop's file states that somebody is always there; only then may an output stay.
    """

    output: Output | None
    board_death: BoardDeath
    death_after_s: float
    attended: bool
    steady_pulse: bool = False
    stop_output: Output | None = None
    press_s: float = 0.5
    drive: str | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """A variable-frequency drive over Modbus; registers as in its manual, all of them holding registers.

    ``host`` and ``port``, or ``serial`` with ``baud`` and ``parity``. It runs while ``status & running_mask ==
    running``. ``speed_hz``: the speed it runs at, where ``speed_register`` is given; never below ``least_speed_hz``.
    ``full_speed_hz``: of a drive whose speed follows the air, the speed that its fan curve holds for and that it never
    exceeds; None of any other. It slows down only once less has been enough for ``lower_after_s``. ``speed_seen``: the
    register of the speed that it runs at.
    """

    name: str
    host: str | None
    port: int
    serial: str | None
    baud: int
    parity: Parity
    device: int
    command: int
    start: int
    stop: int
    status: int
    running: int
    running_mask: int
    speed_register: int | None
    steps_per_hz: float
    speed_hz: float | None
    least_speed_hz: float | None
    trip: int | None
    current: int | None
    steps_per_a: float
    full_speed_hz: float | None = None
    speed_seen: int | None = None
    lower_after_s: float = 30.0

    @property
    def follows_air(self) -> bool:
        """Whether its speed comes from the air that the machines need."""
        return self.full_speed_hz is not None


@dataclass(frozen=True, slots=True)
class ServoBank:
    """A PCA9685 on I2C bus 1: ``enable_line`` is its output-enable, which lets pulses out while low."""

    name: str
    address: int
    enable_line: int
    clock_share: float


@dataclass(frozen=True, slots=True)
class Servo:
    """A gate moved by a servo on a pin; pulse widths in seconds, 0.0004 to 0.0026.

    ``stall_a``: what it draws when it is stalled, where the file says so, here and in the others.
    """

    line: int
    open_pulse_s: float
    shut_pulse_s: float
    stall_a: float | None = None


@dataclass(frozen=True, slots=True)
class BankServo:
    """A gate moved by a servo on channel 0 to 15 of a bank; pulse widths in seconds, 0.0004 to 0.0026."""

    bank: str
    channel: int
    open_pulse_s: float
    shut_pulse_s: float
    stall_a: float | None = None


@dataclass(frozen=True, slots=True)
class RelayPair:
    """A gate moved by two relays; ``dead_s``: both off between two directions, at least 0.1.

    ``current_stop``: the contact that is made when its motor draws too much.
    """

    open_output: Output
    shut_output: Output
    dead_s: float
    current_stop: Contact | None = None
    stall_a: float | None = None


@dataclass(frozen=True, slots=True)
class Bridge:
    """A gate moved by an H-bridge: a line for each way, and one that enables it where it has one; all active high."""

    open_line: int
    shut_line: int
    enable_line: int | None
    dead_s: float
    current_stop: Contact | None
    stall_a: float | None = None


@dataclass(frozen=True, slots=True)
class BrokerGate:
    """A gate behind a broker: the topic that it obeys, the one on which it says where it stands, and the words.

    ``halt`` None: it cannot be halted. ``silence_s`` None: it speaks only when it moves.
    """

    broker: str
    commands_to: str
    states_from: str
    open: str
    shut: str
    halt: str | None
    is_open: str
    is_shut: str
    silence_s: float | None


@dataclass(frozen=True, slots=True)
class Coil:
    """A gate that one coil (a solenoid or an air valve) holds at the end ``holds``; a spring brings it to the other."""

    output: Output
    holds: GateEnd
    current_a: float | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign at a gate or tool (``at``): the ready lamp, and lamps for coming and for no air where it has them."""

    name: str
    output: Output
    at: str
    coming: Output | None = None
    no_air: Output | None = None


@dataclass(frozen=True, slots=True)
class Permit:
    """A contact that is made while air is ready at the tool ``at``."""

    name: str
    output: Output
    at: str
