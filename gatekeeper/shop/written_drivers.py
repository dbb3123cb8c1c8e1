"""What moves gates, switches motors and lights signs, as it is written in a shop file."""

from typing import Annotated

from gatekeeper.shop.fields import (
    ContactPin,
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
from gatekeeper.shop.fields_drivers import BankAddress
from gatekeeper.shop.kinds import GateEnd
from gatekeeper.shop.part import Part, key


class SwitchPart(Part):
    """What switches a motor: a relay for the coil of its contactor, or two that press the buttons of its starter."""

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
    when_board_dies: WhenBoardDies = key(
        "What the relay does when the board stops: drops, drops after 5 s, or stays. What stays is refused "
        "unless the shop is attended."
    )


class ServoBankPart(Part):
    """A PCA9685 on I2C bus 1, with sixteen channels for servos."""

    enable: Pin = key("The pin of its output-enable line OE, with a resistor to 3.3 V: pulses only while a gate moves.")
    address: BankAddress = key("Its address, 0x40 to 0x77 without 0x70. Default 0x40.", 0x40)
    clock: Annotated[float, number(0.9, 1.1)] = key(
        "Its own clock over 25 MHz, from a measured pulse: 1.03 for one that runs 3 % fast. Default 1.", 1.0
    )


class ServoPart(Part):
    """A servo that moves a gate: on a pin, or on a channel of a bank."""

    pin: Pin | None = key("Its signal pin.", None)
    bank: Name | None = key("The bank that it hangs on.", None)
    channel: Annotated[int, whole(0, 15)] | None = key("Its channel of that bank.", None)
    open: Annotated[float, quantity("pulse", "400 us", "2600 us")] = key("Pulse when open. Default 2 ms.", 0.002)
    shut: Annotated[float, quantity("pulse", "400 us", "2600 us")] = key("Pulse when shut. Default 1 ms.", 0.001)


class RelaysPart(Part):
    """Two relays that move a gate."""

    open: OutputPin = key("Pin of the relay that opens.")
    shut: OutputPin = key("Pin of the relay that shuts.")
    dead_time: Annotated[float, quantity("time", "100 ms", "5 s")] = key("Both off between. Default 200 ms.", 0.2)
    current_stop: ContactPin | None = key("Pin of a contact that is made when the motor draws too much.", None)


class BridgePart(Part):
    """An H-bridge that moves a gate: a linear actuator or a gear motor."""

    open: Pin = key("Pin of its input that opens.")
    shut: Pin = key("Pin of its input that shuts.")
    enable: Pin | None = key("Pin of its enable input, where it has one.", None)
    dead_time: Annotated[float, quantity("time", "100 ms", "5 s")] = key("Both off between. Default 200 ms.", 0.2)
    current_stop: ContactPin | None = key("Pin of a contact that is made when the motor draws too much.", None)


class CoilPart(Part):
    """One coil that moves a gate: a solenoid, or the valve of an air cylinder. A spring brings it back."""

    pin: OutputPin = key("Pin of the relay or transistor that feeds the coil.")
    holds: Annotated[GateEnd, choice(GateEnd)] = key("Where the coil holds the gate; without it the spring decides.")


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
