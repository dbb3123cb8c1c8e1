"""A recorded current through converter codes, sensing, core and drivers: what would the controller have done?

Only samples, rate and mains frequency are known. The recording is put in front of a converter as codes, read by the
very driver of the shop, and everything above it is the shop's own: sensing, core, drivers on mock pins. Time is moved
by hand, one block of samples after the other.

What came before the recording is taken to be as in its first two mains cycles, for as long as the controller needs to
wake; a machine that runs from the first sample is thus found running, and no collector starts for it. After the
recording the wire is dead until everything has come to rest.
"""

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from math import ceil, sqrt
from random import Random

from gatekeeper.control.messages import Entry
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import ConverterBank
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.recording import Recording
from gatekeeper.sensing.codes import FrontEnd, burden_ohm, codes_from_amperes
from gatekeeper.service.clock import HandClock
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.planning import plan_of
from gatekeeper.service.wave_picture import Look, Mark, Picture, wave_picture
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.service.wiring_sensors import FakeChip, fake_bank
from gatekeeper.service.wording import line, word_of
from gatekeeper.shop.model import Channel, Converter, ConverterKind, Shop

#: One block of samples lasts this long; the loop steps between two blocks.
BLOCK_S = 0.005
#: The smallest clamp that replay fits, RMS amperes; a larger one is fitted where the recording needs it.
SMALLEST_RANGE_A = 30.0
#: Noise of a quiet 12-bit converter in steps, so that a silent wire does not look like a dead one (HARDWARE, 2.4).
NOISE_LSB = 0.7
#: Waking and settling before the recording begins.
LEAD_S = 4.0
#: How long after the recording to look: at least for a stop to be seen, at most for a stretched stop.
TAIL_LEAST_S = 2.0
TAIL_MOST_S = 4000.0


class Replay:
    """One recording on its way through one shop; iterate over ``entries``.

    Args:
        shop: its first tool with a converter channel hears the recording's first channel, and so on; others are silent.
        recording: the currents.
        trip_a: above this the tool runs; None for what the shop's file says, else the detector's own default.
        watch: told after every block what the sensor of the first tool knows, with seconds from the first sample.

    Raises:
        ValueError: the shop has no tool with a converter channel.
    """

    def __init__(
        self,
        shop: Shop,
        recording: Recording,
        trip_a: float | None = None,
        watch: Callable[[Look], None] | None = None,
    ) -> None:
        tools = [tool for tool in shop.tools.values() if tool.sensor is not None and tool.sensor.channel is not None]
        if not tools:
            raise ValueError("The shop has no tool with a clamp on a converter; a recording needs one.")
        self.tools = [tool.name for tool in tools]
        self.shop = _with_clamps(shop, self.tools, recording, trip_a)
        self._recording = recording
        self.clock = HandClock()
        pins = open_pins("mock", self.clock.now)
        self._bench = BenchPins(pins)
        self._feeds: dict[str, FakeChip] = {}
        # The same noise in every run, so that a replay can be repeated.
        self._chance = Random(7)
        self._entries: list[Entry] = []
        self._view: CoreView | None = None
        self._currents = Currents(self.shop, recording.mains_hz)
        self._watch = watch
        self.wires: Wires = wire_up(
            self.shop,
            pins,
            lambda look: self.loop.post(look),
            on_miss=lambda miss: self.loop.on_miss(miss),
            open_bank=self._open_bank,
        )
        self.loop = ControlLoop(
            Supervisor(plan_of(self.shop), boot="replay", run="replay"),
            self.wires,
            Contacts(self.shop),
            self.clock,
            write=self._entries.append,
            show=self._see,
        )
        self._circuits_made()

    @property
    def began_s(self) -> float:
        """The instant of the recording's first sample on the replay's clock."""
        return LEAD_S

    def levels(self, pin: int) -> list[tuple[float, float | None]]:
        """All that was driven on a line: (time, level)."""
        return [(float(t_s), level) for t_s, level in self._bench.history(pin)]

    def entries(self) -> Iterator[Entry]:
        """Run to the end; every entry of the record as it is written."""
        self.loop.wake()
        yield from self._taken()
        for _ in self._blocks():
            self.loop.step()
            yield from self._taken()
        self.loop.finish()
        yield from self._taken()

    def close(self) -> None:
        """Let go of the mock pins."""
        self.wires.close()

    # ---------------------------------------------------------------- the wires

    def _open_bank(self, converter: Converter, channels: int) -> ConverterBank:
        pace, rate_hz = self.clock.advance, self._recording.rate_hz
        bank, feed = fake_bank(converter, channels, pace=pace, scan_hz=rate_hz, clock=self.clock.now)
        self._feeds[converter.name] = feed
        return bank

    def _circuits_made(self) -> None:
        """Nobody presses anything during a replay: every normally closed circuit is whole."""
        for source in self.shop.inputs.values():
            for contact in (source.contact, source.auto_contact):
                if contact is not None and (contact.normally_closed or contact is source.auto_contact):
                    self._bench.drive(contact.line, high=False)

    def _blocks(self) -> Iterator[None]:
        """Feed and read block after block: the lead, the recording, the dead wire."""
        rate_hz = self._recording.rate_hz
        size = max(1, round(BLOCK_S * rate_hz))
        two_cycles = max(1, round(2 * rate_hz / self._recording.mains_hz))
        lead = round(LEAD_S * rate_hz)
        currents = []
        for samples in self._recording.samples_a[: len(self.tools)]:
            # The lead ends with a whole two cycles, so that it runs into the recording without a jump in phase.
            start = list(samples[:two_cycles])
            before = start * ceil(lead / len(start))
            currents.append([*before[len(before) - lead :], *samples])
        length = len(currents[0])
        for begin in range(0, length, size):
            self._feed([samples[begin : begin + size] for samples in currents], min(size, length - begin))
            yield
        dead_s = self.clock.now()
        while (passed_s := self.clock.now() - dead_s) < TAIL_MOST_S:
            if passed_s >= TAIL_LEAST_S and self._at_rest():
                return
            self._feed([[0.0] * size for _ in currents], size)
            yield

    def _feed(self, currents: Sequence[Sequence[float]], size: int) -> None:
        """Put one block in front of every converter, have the driver read it, and post what it proves."""
        heard = {self._channel(name): samples for name, samples in zip(self.tools, currents, strict=False)}
        for converter, bank in self.wires.banks.items():
            windows = []
            for number in range(bank.channels):
                channel, samples = next(
                    ((c, s) for c, s in heard.items() if c.converter == converter and c.channel == number),
                    (None, [0.0] * size),
                )
                front = self._currents.front_end(channel) if channel else self._resting_front(converter)
                windows.append(
                    codes_from_amperes(samples, front, [self._chance.gauss(0.0, NOISE_LSB) for _ in samples])
                )
            self._feeds[converter].feed(windows)
            for event in self._currents.hear(converter, bank.read(size)):
                self.loop.post(event)
        if self._watch is not None:
            sensor = self._currents.sensor_of(self.tools[0])
            state = sensor.state.value if sensor.state is not None else None
            self._watch(Look(self.clock.now() - self.began_s, sensor.net_a, sensor.trip_a, state))

    def _resting_front(self, converter: str) -> FrontEnd:
        part = self.shop.converters[converter]
        return FrontEnd(1.0, vref_v=part.reference_v, bits=part.kind.bits)

    def _channel(self, tool: str) -> Channel:
        sensor = self.shop.tools[tool].sensor
        if sensor is None or sensor.channel is None:
            raise LookupError(tool)
        return sensor.channel

    def _see(self, view: CoreView) -> None:
        self._view = view

    def _at_rest(self) -> bool:
        """True once every motor has come to rest and no gate moves."""
        view = self._view
        return view is not None and not (
            any(motor.on or motor.fan_runs or motor.state == "waiting" for motor in view.motors)
            or any(gate.belief in ("opening", "shutting") for gate in view.gates)
        )

    def _taken(self) -> Iterator[Entry]:
        taken, self._entries[:] = list(self._entries), []
        yield from taken


def paced(entries: Iterable[Entry], run: Replay, speed: float) -> Iterator[Entry]:
    """The same entries, each when its time has come: ``speed`` seconds of the recording pass in a real one."""
    begun_s = time.monotonic()
    for entry in entries:
        wait_s = entry.t_s / speed - (time.monotonic() - begun_s)
        if wait_s > 0:
            time.sleep(wait_s)
        yield entry


def pictured(run: Replay, entries: Iterable[Entry], marks: list[Mark]) -> Iterator[Entry]:
    """The same entries; what was decided about tools, gates and motors is put into ``marks`` on the way."""
    for entry in entries:
        if entry.kind in ("tool", "gate_command", "motor_command"):
            said = line(entry)
            if said is not None:
                marks.append(Mark(entry.t_s - run.began_s, said))
        yield entry


def picture(name: str, recording: Recording, looks: Sequence[Look], marks: Sequence[Mark]) -> Picture:
    """The recording's first channel, the sensor's looks at it and what was decided."""
    title = f"{name}: {recording.rate_hz:g} samples a second, {recording.mains_hz:g} Hz mains"
    return wave_picture(title, recording.samples_a[0], recording.rate_hz, looks, marks)


def timeline(run: Replay, entries: Iterable[Entry]) -> Iterator[str]:
    """The entries as lines for people, with seconds counted from the recording's first sample, and a summary."""
    starts = ons = 0
    yield f"{'second':>9}  what happens"
    for entry in entries:
        said = line(entry)
        if entry.kind == "tool" and entry.value == "running":
            starts += 1
        if entry.kind == "motor_command" and word_of(entry) == "on":
            ons += 1
        if said is not None:
            yield f"{entry.t_s - run.began_s:9.3f}  {said}"
    yield ""
    seen = f"{starts} {'start' if starts == 1 else 'starts'} of the tool seen"
    yield f"{seen}; the collector was switched on {times(ons)}."


def times(number: int) -> str:
    """A number of times, in words."""
    return {0: "never", 1: "once", 2: "twice"}.get(number, f"{number} times")


def _with_clamps(shop: Shop, tools: list[str], recording: Recording, trip_a: float | None) -> Shop:
    """The shop with clamps that carry the recording, as an installer would pick them from the largest current.

    A converter that cannot give the recording's own samples (an ADS1115) is replaced by one that can.
    """
    changed = dict(shop.tools)
    for name, samples in zip(tools, recording.samples_a, strict=False):
        tool = shop.tools[name]
        sensor = tool.sensor
        if sensor is None or sensor.channel is None:
            continue
        peak_a = max((abs(value) for value in samples), default=0.0)
        range_a = max(SMALLEST_RANGE_A, 1.1 * peak_a / sqrt(2))
        reference_v = shop.converters[sensor.channel.converter].reference_v
        channel = replace(
            sensor.channel,
            burden_ohm=burden_ohm(range_a, sensor.channel.turns, reference_v),
            range_a=range_a,
        )
        trip = sensor.trip_a if trip_a is None else trip_a
        changed[name] = replace(tool, sensor=replace(sensor, channel=channel, trip_a=trip))
    converters = {
        name: replace(part, kind=ConverterKind.MCP3208, address=None, singles=()) if part.kind.is_on_i2c else part
        for name, part in shop.converters.items()
    }
    # No gauge has a recording; its converter is not read.
    return replace(shop, tools=changed, converters=converters, gauges={})
