"""What moves gates, switches motors and lights signs, as it is written in a shop file."""

from typing import Annotated

from gatekeeper.shop.fields import (
    ContactPin,
    FreeText,
    Name,
    OutputPin,
    Pin,
    WhenBoardDies,
    YesNo,
    choice,
    number,
    quantity,
    whole,
)
from gatekeeper.shop.fields_drivers import BankAddress, DriveSpeed, SerialPath, Word
from gatekeeper.shop.fields_sensing import Topic
from gatekeeper.shop.kinds import GateEnd, Parity
from gatekeeper.shop.part import Part, key


class SwitchPart(Part):
    """What switches a motor: a relay for the coil of its contactor, two that press the buttons of its starter, or a
    drive.
    """

    pin: OutputPin | None = key(
        'The pin of the relay, such as GPIO17; add "active low" for a relay that is on when the pin is low.', None
    )
    steady_pulse: YesNo = key(
        "The relay stays on only while its pin keeps changing, so that a stuck level lets it drop. Default no.", False
    )
    start: OutputPin | None = key("A starter with push buttons: pin of the relay that presses start.", None)
    stop: OutputPin | None = key("Pin of the relay that presses stop.", None)
    press: Annotated[float, quantity("time", "100 ms", "2 s")] | None = key(
        "How long a button is pressed. Default 500 ms.", None
    )
    drive: Name | None = key("The drive that it hangs on, one of drives.", None)
    when_board_dies: WhenBoardDies = key(
        "What the relay does when the board stops: drops, drops after 5 s, or stays. What stays is refused "
        "unless the shop is attended. Of a drive: drops after the time of loss of communication that is set in it."
    )


class DrivePart(Part):
    """A variable-frequency drive over Modbus. Registers and words stand in its manual; all are holding registers."""

    host: FreeText | None = key("Its name or address on the network, or that of the gateway before it.", None)
    port: Annotated[int, whole(1, 65535)] | None = key("Its port there. Default 502.", None)
    serial: SerialPath | None = key("The serial line that it hangs on, such as /dev/ttyUSB0.", None)
    baud: Annotated[int, whole(1200, 115200)] | None = key("Bits a second on that line. Default 19200.", None)
    parity: Annotated[Parity, choice(Parity)] | None = key("even, odd or none. Default even.", None)
    device: Annotated[int, whole(1, 247)] = key("Its Modbus address. Default 1.", 1)
    command: Word = key("Register of its command word.")
    start: Word = key("The command word that starts it.")
    stop: Word = key("The command word that stops it.")
    status: Word = key("Register of its status word.")
    running: Word = key("What that word is while it runs, of the bits in running_mask.")
    running_mask: Word = key("The bits of the status word that count. Default 0xFFFF.", 0xFFFF)
    speed_register: Word | None = key("Register of its speed reference. Default: the speed is set at the drive.", None)
    steps_per_hz: Annotated[float, number(0.01, 1000)] = key("Steps of that register for 1 Hz. Default 100.", 100.0)
    speed: DriveSpeed | None = key(
        "The speed it runs at, in Hz; or from the air: as fast as the machines that run need, by the air computed.",
        None,
    )
    least_speed: Annotated[float, number(1, 120)] | None = key(
        "The speed it never runs below, in Hz; by the motor's and the drive's papers.", None
    )
    full_speed: Annotated[float, number(1, 120)] | None = key(
        "With from the air: the speed of its fan curve, in Hz, which it never exceeds. Default: the mains'.", None
    )
    speed_seen: Word | None = key(
        "Register of the speed that it runs at, in the same steps. Default: its speed reference is read back.", None
    )
    lower_after: Annotated[float, quantity("time", "20 s", "30 min")] | None = key(
        "With from the air: how long less must do before it slows down. Default 30 s.", None
    )
    trip: Word | None = key("Register of its trip code, 0 for none.", None)
    current: Word | None = key("Register of its output current.", None)
    steps_per_a: Annotated[float, number(0.01, 1000)] = key("Steps of that register for 1 A. Default 10.", 10.0)


class ServoBankPart(Part):
    """A PCA9685 on I2C bus 1, with sixteen channels for servos."""

    enable: Pin = key("The pin of its output-enable line OE, with a resistor to 3.3 V: pulses only while a gate moves.")
    address: BankAddress = key("Its address, 0x40 to 0x77 without 0x70. Default 0x40.", 0x40)
    clock: Annotated[float, number(0.9, 1.1)] = key(
        "Its own clock over 25 MHz, from a measured pulse: 1.03 for one that runs 3 % fast. Default 1.", 1.0
    )


StallCurrent = Annotated[float, quantity("current", "20 mA", "30 A")]
"""For supply, fuse and cable; nothing is measured by it."""


class ServoPart(Part):
    """A servo that moves a gate: on a pin, or on a channel of a bank."""

    pin: Pin | None = key("Its signal pin.", None)
    bank: Name | None = key("The bank that it hangs on.", None)
    channel: Annotated[int, whole(0, 15)] | None = key("Its channel of that bank.", None)
    open: Annotated[float, quantity("pulse", "400 us", "2600 us")] = key("Pulse when open. Default 2 ms.", 0.002)
    shut: Annotated[float, quantity("pulse", "400 us", "2600 us")] = key("Pulse when shut. Default 1 ms.", 0.001)
    stall_current: StallCurrent | None = key(
        "What it draws when it is stalled, from its data sheet. Default, an estimate: 3 A.", None
    )


class RelaysPart(Part):
    """Two relays that move a gate."""

    open: OutputPin = key("Pin of the relay that opens.")
    shut: OutputPin = key("Pin of the relay that shuts.")
    dead_time: Annotated[float, quantity("time", "100 ms", "5 s")] = key("Both off between. Default 200 ms.", 0.2)
    current_stop: ContactPin | None = key("Pin of a contact that is made when the motor draws too much.", None)
    stall_current: StallCurrent | None = key(
        "What the motor draws when it is stalled, from its plate. Default, an estimate: 5 A.", None
    )


class BridgePart(Part):
    """An H-bridge that moves a gate: a linear actuator or a gear motor."""

    open: Pin = key("Pin of its input that opens.")
    shut: Pin = key("Pin of its input that shuts.")
    enable: Pin | None = key("Pin of its enable input, where it has one.", None)
    dead_time: Annotated[float, quantity("time", "100 ms", "5 s")] = key("Both off between. Default 200 ms.", 0.2)
    current_stop: ContactPin | None = key("Pin of a contact that is made when the motor draws too much.", None)
    stall_current: StallCurrent | None = key(
        "What the motor draws when it is stalled, from its plate. Default, an estimate: 5 A.", None
    )


class BrokerGatePart(Part):
    """A gate behind an MQTT broker, with a controller of its own."""

    broker: Name = key("The broker.")
    commands_to: Topic = key("The topic that it obeys.")
    states_from: Topic = key("The topic on which it says where it stands; it must do so after each command.")
    open: FreeText = key("The word that opens it. Default open.", "open")
    shut: FreeText = key("The word that shuts it. Default shut.", "shut")
    halt: FreeText | None = key("The word that halts it. Default: it cannot be halted.", None)
    is_open: FreeText | None = key("What it says when it is open. Default: the word that opens it.", None)
    is_shut: FreeText | None = key("What it says when it is shut. Default: the word that shuts it.", None)
    silence: Annotated[float, quantity("time", "1 s", "1 h")] | None = key(
        "Silent for this long, its place is unknown. Default: never, for a gate that speaks only when it moves.", None
    )


class CoilPart(Part):
    """One coil that moves a gate: a solenoid, or the valve of an air cylinder. A spring brings it back."""

    pin: OutputPin = key("Pin of the relay or transistor that feeds the coil.")
    holds: Annotated[GateEnd, choice(GateEnd)] = key("Where the coil holds the gate; without it the spring decides.")
    current: StallCurrent | None = key("What it draws, from its plate. Default, an estimate: 1 A.", None)


class SignPart(Part):
    """A sign of one, two or three lamps; what a lamp is missing for, the ready lamp says by blinking."""

    pin: OutputPin = key("Pin of its ready lamp, or of its only one.")
    coming: OutputPin | None = key("Pin of a lamp for coming. Default: the ready lamp blinks.", None)
    no_air: OutputPin | None = key("Pin of a lamp for no air. Default: the ready lamp blinks fast.", None)
    at: Name = key("The gate or tool where it hangs.")


class PermitPart(Part):
    """A contact that is made while air is ready at a machine. It may permit a start; it never starts or cuts one."""

    pin: OutputPin = key("Its pin.")
    at: Name = key("The tool that it permits.")
