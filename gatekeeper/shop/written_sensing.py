"""Sensors, converters, brokers and meters as they are written in a shop file."""

from typing import Annotated

from gatekeeper.shop.fields import ContactPin, FreeText, Name, choice, number, quantity, whole
from gatekeeper.shop.fields_sensing import FullScale, I2cAddress, PasswordFrom, Pointer, RunsAbove, Topic
from gatekeeper.shop.kinds import ContactUse, ConverterKind, EndsBy
from gatekeeper.shop.part import Part, key


class SensorPart(Part):
    """What tells that a machine runs: a current switch, a contact that somebody works, a clamp, or a meter."""

    current_switch: ContactPin | None = key("The pin of a dry-contact current switch, such as GPIO23.", None)
    contact: ContactPin | None = key(
        "The pin of a button, foot switch, hose hook or air-line switch: for battery and air tools and hand work.", None
    )
    use: Annotated[ContactUse, choice(ContactUse)] | None = key(
        "What that contact is. A hose hook is normally closed unless its pin says normally open: lifting the hose "
        "opens it.",
        None,
    )
    ends: Annotated[EndsBy, choice(EndsBy)] | None = key(
        "How its run ends. Default: a button and a foot switch by press again, a hose hook and an air line by let go.",
        None,
    )
    ends_after: Annotated[float, quantity("time", "5 s", "8 h")] | None = key(
        "Its run ends by itself after this time. Default: 10 min for a button, 30 min for a foot switch; "
        "what ends by let go has none.",
        None,
    )
    converter: Name | None = key("The converter that the clamp is wired to.", None)
    channel: Annotated[int, whole(0, 7)] | None = key(
        "Its channel, 0 to 7; on an ADS1115 0 is the pair A0 and A1, 1 the pair A2 and A3.", None
    )
    turns: Annotated[float, number(1, 10000)] = key("Turns of the clamp. Default 2000.", 2000.0)
    burden: Annotated[float, quantity("resistance", "1 ohm", "2 kohm")] | None = key("The burden resistor.", None)
    range: Annotated[float, quantity("current", "1 A", "400 A")] | None = key(
        "The largest current to be measured; gives the burden when that is not given.", None
    )
    trip: Annotated[float, quantity("current", "50 mA", "200 A")] | None = key(
        "It runs above this current. Default: 8 % of running_current, and at least 0.2 A.", None
    )
    meter: Name | None = key("The meter that watches it, one of meters.", None)
    runs_above: RunsAbove | None = key(
        "It runs above this power or current of its meter: 150 W or 1.5 A. The meter's numbers are in the same unit.",
        None,
    )


class ConfirmPart(SensorPart):
    """What confirms that a motor runs: a sensor, or the drive that it hangs on."""

    drive: Name | None = key("The drive that switches it: its status says whether it runs.", None)
    within: Annotated[float, quantity("time", "200 ms", "30 s")] = key("After on, within this time. Default 3 s.", 3.0)


class CircuitPart(Part):
    """An electrical circuit whose sensor sees one or more tools."""

    sensor: SensorPart = key("The sensor on the circuit.")


class ConverterPart(Part):
    """An analog converter on an SPI bus, or an ADS1115 on an I2C bus."""

    kind: Annotated[ConverterKind, choice(ConverterKind)] = key("The chip.", ConverterKind.MCP3208)
    bus: Annotated[int, whole(0, 1)] | None = key("SPI bus 0 or 1, default 0; an ADS1115 is on I2C bus 1.", None)
    chip_select: Annotated[int, whole(0, 2)] | None = key("Chip select of that SPI bus.", None)
    reference: Annotated[float, quantity("voltage", "2 V", "5.5 V")] = key(
        "Full scale of a chip on SPI. Default 3.3 V.", 3.3
    )
    address: I2cAddress | None = key("Address of an ADS1115, 0x48 to 0x4B. Default 0x48.", None)
    full_scale: FullScale | None = key(
        "An ADS1115 shows this much each way: 1.024 V, 512 mV or 256 mV. Default 1.024 V.", None
    )


class BrokerPart(Part):
    """An MQTT broker on your own network."""

    host: FreeText = key("Its name or address, such as 192.168.1.5.")
    port: Annotated[int, whole(1, 65535)] = key("Default 1883.", 1883)
    user: FreeText | None = key("The user name, where the broker asks for one.", None)
    password_from: PasswordFrom | None = key(
        "Where the password is: environment and a variable's name, or file and a full path. Never in this file.", None
    )


class MeterPart(Part):
    """A power meter that publishes to a broker."""

    broker: Name = key("The broker that it publishes to.")
    topic: Topic = key("The topic that it publishes to, without + and #.")
    value: Pointer | None = key(
        "Path to the number in a JSON message, such as /power. Default: the message is the number.", None
    )
    every: Annotated[float, quantity("time", "50 ms", "5 min")] = key("How often it publishes, as set at the meter.")
    silence: Annotated[float, quantity("time", "1 s", "1 h")] | None = key(
        "Silent for this long, it is lost. Default: three times every, and at least 5 s.", None
    )
