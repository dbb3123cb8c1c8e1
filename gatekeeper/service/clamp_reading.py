"""One machine's clamp, looked at alone: which one it is, its samples as amperes, and a file that replay reads.

Only the converter is read. No line is claimed and nothing is switched, so the controller may go on meanwhile.
"""

import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from gatekeeper.devices.base import Block as BankBlock
from gatekeeper.devices.base import ConverterBank
from gatekeeper.sensing.codes import FrontEnd, amperes_from_codes
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block, State
from gatekeeper.service.hearing import front_end_of
from gatekeeper.shop.faults import did_you_mean, listed
from gatekeeper.shop.model import Channel, Sensor, Shop

#: One read: three mains cycles and more, so that several converters can be read in turn.
READ_S = 0.06
FIRST_SCANS = 32
LEAST_SECONDS, MOST_SECONDS = 1.0, 600.0
#: A longest hole between two reads, in which no wave could hide.
HOLE_S = 0.005


class NoClamp(Exception):
    """A machine without a clamp of its own; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Clamped:
    """A machine's clamp.

    Args:
        name: the machine.
        sensor: its sensor, or that of its circuit.
        channel: where the clamp is.
        front: clamp, burden and converter.
        rated_a: what the machine draws running free, amperes, where the file says so.
        place: where its sensor stands in the shop's file.
    """

    name: str
    sensor: Sensor
    channel: Channel
    front: FrontEnd
    rated_a: float | None
    place: tuple[str, ...]


def clamp_of_machine(shop: Shop, name: str) -> Clamped:
    """Find the clamp of a tool, an outlet or a motor.

    Raises:
        NoClamp: there is no such machine, or no clamp watches it.
    """
    known = [*shop.tools, *shop.motors]
    if name not in known:
        hint = did_you_mean(name, known) or "."
        raise NoClamp(f"This shop has no machine called {name}; it has {listed(known, 'and')}{hint}")
    rated_a = None
    if name in shop.tools:
        tool = shop.tools[name]
        rated_a = tool.running_a
        if tool.circuit is not None:
            sensor: Sensor | None = shop.circuits[tool.circuit].sensor
            place: tuple[str, ...] = ("circuits", tool.circuit, "sensor")
        else:
            sensor, place = tool.sensor, ("outlets" if tool.is_outlet else "tools", name, "sensor")
    else:
        sensor, place = shop.motors[name].confirmed_by, ("motors", name, "confirmed_by")
    if sensor is None or sensor.channel is None:
        raise NoClamp(f"{name} has no clamp on a converter: {_watched_by(sensor)}.")
    return Clamped(name, sensor, sensor.channel, front_end_of(shop, sensor.channel), rated_a, place)


def _watched_by(sensor: Sensor | None) -> str:
    """What watches a machine that no clamp does."""
    if sensor is None:
        return "nothing watches it"
    if sensor.metered is not None:
        return f"its meter {sensor.metered.meter} watches it, whose trip you set as runs_above"
    if sensor.asking is not None:
        return f"its {sensor.asking.use.value} says yes or no"
    return "a current switch watches it, which only says yes or no"


def clamps_of(shop: Shop) -> dict[tuple[str, int], Clamped]:
    """Every clamp of a shop by converter and channel; one of a circuit under the circuit's name."""
    found = {}
    for name in (*shop.tools, *shop.motors):
        try:
            clamp = clamp_of_machine(shop, name)
        except NoClamp:
            continue
        owner = clamp.place[1]
        found[clamp.channel.converter, clamp.channel.channel] = replace(clamp, name=owner)
    return found


@dataclass(frozen=True, slots=True)
class Taken:
    """What was recorded.

    Args:
        samples_a: amperes, evenly spaced at `rate_hz`.
        rate_hz: measured from the first sample to the last, holes and all.
        mains_hz: nominal mains frequency.
        holes: how often the converter was not read for more than 5 ms.
        state: what a sensor with the machine's settings says at the end, None for too few samples to say.
        said: why, where that sensor cannot be believed.
    """

    samples_a: list[float]
    rate_hz: float
    mains_hz: float
    holes: int
    state: State | None
    said: str | None

    @property
    def rms_a(self) -> float:
        """RMS about the mean of the whole, amperes."""
        mean = sum(self.samples_a) / len(self.samples_a)
        return float((sum((a - mean) ** 2 for a in self.samples_a) / len(self.samples_a)) ** 0.5)


def blocks(bank: ConverterBank) -> Iterator[BankBlock]:
    """Read a converter for ever, a few mains cycles at a time.

    Raises:
        DeviceError: the converter cannot be read.
    """
    scans = FIRST_SCANS
    while True:
        block = bank.read(scans)
        yield block
        scans = max(FIRST_SCANS, round(block.rate_hz * READ_S))


def take(
    bank: ConverterBank,
    clamp: Clamped,
    seconds: float,
    mains_hz: float,
    watch: Callable[[float], None] = lambda passed_s: None,
) -> Taken:
    """Record a clamp for so many seconds, 1 to 600; ``watch`` is told after every read how many have passed.

    Raises:
        DeviceError: the converter cannot be read.
        ValueError: it gives too few samples a mains cycle.
    """
    sensor = CurrentSensor(mains_hz, DetectorSettings.for_tool(clamp.rated_a, clamp.sensor.trip_a), clamp.front)
    samples: list[float] = []
    holes, said = 0, None
    first_s = end_s = None
    for block in blocks(bank):
        codes = block.codes[clamp.channel.channel]
        for seen in sensor.feed(Block(block.start_s, block.rate_hz, codes)):
            said = seen.reason.sentence if seen.state is State.STALE else None
        samples += amperes_from_codes(codes, clamp.front)
        first_s = block.start_s if first_s is None else first_s
        holes += end_s is not None and block.start_s - end_s > HOLE_S
        end_s = block.start_s + len(codes) / block.rate_hz
        watch(end_s - first_s)
        if end_s - first_s >= seconds:
            break
    assert first_s is not None
    assert end_s is not None
    return Taken(samples, len(samples) / (end_s - first_s), mains_hz, holes, sensor.state, said)


def as_csv(taken: Taken) -> bytes:
    """Two columns, seconds and amperes."""
    rows = (f"{k / taken.rate_hz:.6f},{value:.5f}" for k, value in enumerate(taken.samples_a))
    return ("seconds,amperes\n" + "\n".join(rows) + "\n").encode()


def as_npz(taken: Taken, name: str) -> bytes:
    """`current_A`, and what is known of it as JSON, which replay does not look at."""
    import numpy as np

    out = io.BytesIO()
    facts = {"machine": name, "fs_hz": taken.rate_hz, "mains_hz": taken.mains_hz}
    np.savez(out, current_A=np.array(taken.samples_a, dtype=np.float32), metadata_json=np.array(json.dumps(facts)))
    return out.getvalue()


def summary(taken: Taken, name: str, path: str) -> list[str]:
    """What was recorded, as lines for people, ending with the command that plays it."""
    n, rate_hz = len(taken.samples_a), taken.rate_hz
    peak_a = max(abs(value) for value in taken.samples_a)
    lines = [
        f"{name}: {n / rate_hz:.1f} s, {n} samples at {rate_hz:.1f} a second, "
        f"RMS {taken.rms_a:.3f} A, peak {peak_a:.2f} A."
    ]
    if taken.said is not None:
        lines.append(f"The sensor is not to be believed. {taken.said}")
    elif taken.state is not None:
        lines.append("At the end it runs." if taken.state is State.RUNNING else "At the end it does not run.")
    if taken.holes:
        lines.append(f"The converter was not read without a break: {taken.holes} holes of more than 5 ms.")
    lines.append(f"next: gatekeeper replay {path} --rate {rate_hz:.1f} --mains {taken.mains_hz:g} --plot {path}.svg")
    return lines
