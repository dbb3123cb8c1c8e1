"""What senses a shop: contacts, converters with their clamps, meters behind a broker. Part of ``model``."""

from dataclasses import dataclass

from gatekeeper.shop.kinds import ContactUse, ConverterKind, EndsBy, MeterUnit, PasswordPlace


@dataclass(frozen=True, slots=True)
class Contact:
    """One dry contact between GPIO ``line`` (pulled up) and ground.

    Normally open: made (line low) means yes. ``normally_closed``: opened (line high) means yes, so a broken wire
    means yes.
    """

    line: int
    normally_closed: bool = False


@dataclass(frozen=True, slots=True)
class Converter:
    """One analog converter. ``bus`` and ``chip_select``: SPI; on I2C ``address`` is given and ``chip_select`` is 0.

    ``reference_v``: the whole span that it shows, of which a clamp's resting level is the middle; of an ADS1115, which
    shows its full scale each way, twice that. ``singles``: the inputs of an ADS1115 that are read one by one against
    ground for gauges, each with its full scale, volts; empty where a clamp is on it, which is read on a pair.
    """

    name: str
    kind: ConverterKind
    bus: int
    chip_select: int
    reference_v: float
    address: int | None = None
    singles: tuple[tuple[int, float], ...] = ()

    def volts_of(self, channel: int) -> tuple[float, int]:
        """Volts of one step at a channel that is read against ground, and the code of no volts."""
        if self.address is None:
            return self.reference_v / (1 << self.kind.bits), 0
        return dict(self.singles)[channel] / (1 << 15), 1 << 15


@dataclass(frozen=True, slots=True)
class Channel:
    """One converter channel with a current clamp: amperes in the wire = volts / burden_ohm x turns.

    ``range_a``: largest true RMS current that the converter can show with this clamp (half of the reference is the
    peak).
    """

    converter: str
    channel: int
    turns: float
    burden_ohm: float
    range_a: float


@dataclass(frozen=True, slots=True)
class Asking:
    """A contact that somebody works: what it is, how its run ends, and after what time by itself (None: never)."""

    use: ContactUse
    ends: EndsBy
    ends_after_s: float | None


@dataclass(frozen=True, slots=True)
class Broker:
    """An MQTT broker: ``host`` and ``port``, and where its password is looked for, if it has one."""

    name: str
    host: str
    port: int
    user: str | None
    password_from: tuple[PasswordPlace, str] | None


@dataclass(frozen=True, slots=True)
class Meter:
    """A power meter: it publishes to ``topic`` every ``every_s``; silent for ``silence_s``, it is lost.

    ``value``: JSON pointer to the number in a message; None when the message is the number.
    """

    name: str
    broker: str
    topic: str
    value: str | None
    every_s: float
    silence_s: float


@dataclass(frozen=True, slots=True)
class Metered:
    """A machine behind a meter: it runs above ``above``, in watts or amperes, the unit of the meter's numbers."""

    meter: str
    above: float
    unit: MeterUnit


@dataclass(frozen=True, slots=True)
class Sensor:
    """What tells that a machine runs: exactly one of ``contact``, ``channel`` (a clamp), ``metered`` and ``drive``.

    ``owner`` is the tool, outlet, circuit or motor that it watches. ``trip_a``: above this it runs (channel
    only; None: the detector's own default). ``asking``: the contact is no current switch but one that somebody works.
    """

    owner: str
    contact: Contact | None
    channel: Channel | None
    trip_a: float | None
    asking: Asking | None = None
    metered: Metered | None = None
    drive: str | None = None
