"""One contract for every kind of sensor, from its wire to the core's record and the collector's pin.

Whatever says that a tool runs, a clamp behind any converter, a contact or a meter behind a real broker, must say it
when it happens and only then, must tell when it cannot be believed, and must start nothing by coming back. The shop
around each is the same; so are the checks.
"""

import math
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.control.messages import Entry
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import ConverterBank, MeterSeen
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.inputs import ContactInput
from gatekeeper.devices.pins import open_pins
from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.service.clock import HandClock
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.planning import plan_of
from gatekeeper.service.sampling import Sampler
from gatekeeper.service.wiring import wire_up
from gatekeeper.service.wiring_sensors import board_meters, fake_bank, scans_of
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, Shop

sys.path.insert(0, str(Path(__file__).parent))
from real_broker import Broker, Publisher, until

SHOP = """
shop: {{name: Contract, mains: 50 Hz, open_flue_nearby: no}}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 100 mm
    spin_down: 2 s
    settle: 1 s
    switched_by: {{pin: GPIO17, when_board_dies: drops}}
gates:
  other gate: {{diameter: 100 mm, servo: {{pin: GPIO13}}, travel: 500 ms}}
  gate: {{diameter: 100 mm, servo: {{pin: GPIO12}}, travel: 500 ms}}
{more}
tools:
  tool: {{gates: gate, longest_run: 1 min, sensor: {sensor}}}
  other tool: {{gates: other gate, sensor: {{current_switch: GPIO27}}}}
"""

COLLECTOR, LINE = 17, 23
ANSWER_S = 20.0
STEP_S = 0.25


class Rig:
    """A shop with one sensor of a kind, whose clock, wires and hands are the test's.

    ``tool_runs`` is what is so in the shop; ``is_lost`` whether the sensor is cut off; ``is_stuck`` whether it goes on
    saying that the tool runs.
    """

    #: How long after the tool's own switch the sensor may take, seconds.
    late_s = 1.0
    sensor, more = "", ""

    def __init__(self) -> None:
        self.clock = HandClock(100.0)
        self.tool_runs = self.is_lost = self.is_stuck = False
        shop = load_shop(SHOP.format(sensor=self.sensor, more=self.more), "contract.yaml")
        assert not isinstance(shop, Faults), shop.lines()
        self.shop: Shop = shop
        self.pins = open_pins("mock", self.clock.now)
        self.hands = BenchPins(self.pins)
        self.entries: list[Entry] = []
        self.wires = wire_up(
            shop, self.pins, lambda look: self.loop.post(look), open_bank=lambda *which: self.open_bank(*which)
        )
        self.currents = Currents(shop)
        self.loop = ControlLoop(
            Supervisor(replace(plan_of(shop), answer_s=ANSWER_S), boot="b", run="r"),
            self.wires,
            Contacts(shop),
            self.clock,
            meters=Meters(shop),
            write=self.entries.append,
        )
        self.samplers = [
            Sampler(name, bank, self.currents, self.loop.post, self.clock, scans=scans_of(self.shop.converters[name]))
            for name, bank in self.wires.banks.items()
        ]
        for sampler in self.samplers:
            sampler._ending.set()  # no real wait after a read that failed
        self.prepare()

    # ---------------------------------------------------------------- what each kind gives

    def prepare(self) -> None:
        """Before the controller wakes."""

    def says(self) -> bool:
        """What the sensor has to say."""
        return self.tool_runs or self.is_stuck

    def switch(self, on: bool) -> None:
        """The tool is switched on or off."""
        self.tool_runs = on

    def hint_of_nothing(self) -> None:
        """Something that is no tool: a spike, a bounce, a small number."""

    def tell(self) -> None:
        """Let the sensor speak for one step."""

    def wait_until(self, t_s: float) -> None:
        """Let the time go on."""
        self.clock.jump_to(t_s)

    def lose(self) -> None:
        """Cut the sensor off."""
        self.is_lost = True

    def mend(self) -> None:
        """Put it back."""
        self.is_lost = False

    def open_bank(self, converter: Converter, channels: int) -> ConverterBank:
        raise AssertionError("this kind has no converter")

    def is_released(self) -> bool:
        """Whether everything the sensor held is free again."""
        raise NotImplementedError

    def close(self) -> None:
        """Give everything back."""
        self.wires.close()

    # ---------------------------------------------------------------- the test's side

    def wake(self) -> None:
        self.tell()
        self.loop.wake()
        self.pass_s(4.0)

    def pass_s(self, seconds: float) -> None:
        end_s = self.clock.now() + seconds
        while self.clock.now() < end_s - 1e-9:
            begun_s = self.clock.now()
            for sampler in self.samplers:
                while self.clock.now() < begun_s + STEP_S:
                    before_s = self.clock.now()
                    sampler.step()
                    if self.clock.now() == before_s:
                        self.clock.advance(0.05)  # a bus that fails at once
            if self.clock.now() < begun_s + STEP_S:
                self.wait_until(min(end_s, begun_s + STEP_S))
            self.tell()
            self.loop.step()

    def told(self, since: int = 0) -> list[tuple[str, bool]]:
        """What the core heard of the tool: word, and whether the change itself was watched."""
        words = []
        for entry in self.entries[since:]:
            if entry.kind == "tool" and entry.subject == "tool":
                fresh = not isinstance(entry.value, dict)
                words.append((entry.value if fresh else entry.value["what"], fresh))
        return words

    def starts(self, since: int = 0) -> int:
        """How often the collector was switched on."""
        return sum(entry.kind == "motor_command" and word(entry) == "on" for entry in self.entries[since:])

    def gate_words(self, since: int) -> list[str]:
        return [
            word(entry) for entry in self.entries[since:] if entry.kind == "gate_command" and entry.subject == "gate"
        ]

    @property
    def mark(self) -> int:
        return len(self.entries)


def word(entry: Entry) -> str:
    return str(entry.value["what"] if isinstance(entry.value, dict) else entry.value)


# ---------------------------------------------------------------- clamps


class ClampRig(Rig):
    """A clamp on a converter; ``kind`` and ``keys`` say which."""

    kind, keys, channel = "", "", 1
    spike_s = -1.0

    @property
    def sensor(self) -> str:  # type: ignore[override]
        return f"{{converter: board, channel: {self.channel}, range: 30 A}}"

    @property
    def more(self) -> str:  # type: ignore[override]
        return f"converters:\n  board: {{kind: {self.kind}, {self.keys}}}"

    def open_bank(self, converter: Converter, channels: int) -> ConverterBank:
        sensor = self.shop.tools["tool"].sensor
        assert sensor is not None
        assert sensor.channel is not None
        front = FrontEnd.from_turns(
            sensor.channel.turns,
            sensor.channel.burden_ohm,
            vref_v=converter.reference_v,
            bits=converter.kind.bits,
        )
        noise = cycle([0.7 * ((7 * n) % 11 - 5) / 5 for n in range(997)])
        is_pairs = converter.kind.is_on_i2c

        def amperes(t_s: float) -> float:
            if self.says():
                return 4.0 * math.sqrt(2) * math.sin(2 * math.pi * 50 * t_s)
            return 12.0 if 0 <= t_s - self.spike_s < 0.004 else 0.0

        def source(scans: int) -> Sequence[Sequence[int]]:
            now_s = self.clock.now()
            times = [now_s] if is_pairs else [now_s - (scans - n) / 1000.0 for n in range(scans)]
            codes = codes_from_amperes([amperes(t_s) for t_s in times], front, [next(noise) for _ in times])
            return [codes] * channels

        bank, self.chip = fake_bank(
            converter, channels, source=source, pace=self.clock.advance, scan_hz=1000.0, clock=self.clock.now
        )
        close = bank.close
        self.is_closed = False

        def closing() -> None:
            self.is_closed = True
            close()

        bank.close = closing  # type: ignore[method-assign]
        return bank

    def hint_of_nothing(self) -> None:
        self.spike_s = self.clock.now() + 0.1

    def lose(self) -> None:
        self.chip.mute()

    def mend(self) -> None:
        self.chip.mute(False)

    def is_released(self) -> bool:
        return self.is_closed


class Mcp3208Rig(ClampRig):
    kind, keys = "MCP3208", "chip_select: 0"


class Mcp3008Rig(ClampRig):
    kind, keys = "MCP3008", "chip_select: 0"


class Ads1115Rig(ClampRig):
    kind, keys = "ADS1115", "address: 0x4A"


# ---------------------------------------------------------------- contacts


class ContactRig(Rig):
    """A contact on a line, made while the tool runs."""

    late_s = 3.0
    is_normally_closed = False
    is_high = True

    def tell(self) -> None:
        if not self.is_lost:
            self.hands.drive(LINE, not (self.says() is not self.is_normally_closed))

    def wait_until(self, t_s: float) -> None:
        """A loose wire opens and makes far more often than any hand or tool."""
        while self.is_lost and self.clock.now() + 0.015 < t_s:
            self.hands.drive(LINE, not self.is_high)
            self.is_high = not self.is_high
            self.clock.advance(0.015)
            self.loop.step()
        super().wait_until(t_s)

    def hint_of_nothing(self) -> None:
        """A bounce that is shorter than anything that counts, between two looks."""
        at_rest = self.is_normally_closed
        self.hands.drive(LINE, at_rest)
        self.loop.step()
        self.clock.advance(0.005)
        self.hands.drive(LINE, not at_rest)
        self.loop.step()

    def mend(self) -> None:
        self.is_lost = False
        self.tell()

    def is_released(self) -> bool:
        return ContactInput(open_pins("mock", self.clock.now), "again", LINE).name == "again"


class CurrentSwitchRig(ContactRig):
    sensor = "{current_switch: GPIO23}"


class HoseHookRig(ContactRig):
    sensor = "{contact: GPIO23, use: hose hook}"
    is_normally_closed = True


class AirLineRig(ContactRig):
    sensor = "{contact: GPIO23, use: air line}"


class PressRig(ContactRig):
    """A contact that a press begins and the next ends; what is so is a press when it changes."""

    pressed_until_s = -1.0

    def switch(self, on: bool) -> None:
        if on is not self.tool_runs:
            self.pressed_until_s = self.clock.now() + 0.3
        self.tool_runs = on
        self.tell()
        self.loop.step()

    def says(self) -> bool:
        return self.is_stuck or self.clock.now() < self.pressed_until_s


class ButtonRig(PressRig):
    sensor = "{contact: GPIO23, use: button, ends_after: 1 min}"


class FootSwitchRig(PressRig):
    sensor = "{contact: GPIO23, use: foot switch}"


# ---------------------------------------------------------------- a meter behind a real broker


class MeterRig(Rig):
    """A meter that publishes every second to a real broker; each message is waited for, and the clock is ours."""

    late_s = 2.0
    sensor = "{meter: plug, runs_above: 150 W}"
    broker: Broker

    @property
    def more(self) -> str:  # type: ignore[override]
        return (
            f"brokers:\n  home: {{host: 127.0.0.1, port: {self.broker.port}}}\n"
            "meters:\n  plug: {broker: home, topic: shop/tool, value: /power, every: 1 s}"
        )

    def prepare(self) -> None:
        self.got = 0
        (self.link,) = board_meters(self.shop, self._report, self.clock.now)
        self.link.start()
        until(lambda: self.link.trouble is None, "the link at the broker")
        self.meter = Publisher(self.broker)
        self.said_s = -math.inf
        self.watts: float | None = None
        until(self._is_heard, "the first message")

    def _is_heard(self) -> bool:
        """The subscription is there some time after the connection."""
        before = self.got
        self.meter.say("shop/tool", '{"power": 0}')
        return self.got > before

    def _report(self, seen: MeterSeen) -> None:
        self.got += 1
        self.loop.post(seen)

    def tell(self) -> None:
        if self.is_lost or self.clock.now() - self.said_s < 1.0:
            return
        self.said_s, before = self.clock.now(), self.got
        watts = self.watts if self.watts is not None else (900.0 if self.says() else 2.0)
        self.watts = None
        self.meter.say("shop/tool", f'{{"power": {watts}}}')
        until(lambda: self.got > before, "a message")

    def hint_of_nothing(self) -> None:
        self.watts = 140.0

    def is_released(self) -> bool:
        return not self.link._thread.is_alive()  # type: ignore[attr-defined]

    def close(self) -> None:
        self.meter.close()
        self.link.close()
        self.link._thread.join(30.0)  # type: ignore[attr-defined]
        super().close()


RIGS: list[type[Rig]] = [
    Mcp3208Rig,
    Mcp3008Rig,
    Ads1115Rig,
    CurrentSwitchRig,
    HoseHookRig,
    AirLineRig,
    ButtonRig,
    FootSwitchRig,
    MeterRig,
]


@pytest.fixture(params=RIGS, ids=lambda rig: rig.__name__.removesuffix("Rig"))
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Any]]:
    made: list[Rig] = []
    broker = Broker(tmp_path) if request.param is MeterRig else None
    if broker is not None:
        MeterRig.broker = broker

    def build() -> Rig:
        made.append(request.param())
        return made[-1]

    yield build
    for rig in made:
        rig.close()
        rig.pins.factory.reset()
    if broker is not None:
        broker.kill()


@pytest.fixture
def rig(make: Callable[[], Rig]) -> Rig:
    built = make()
    built.wake()
    assert built.told()[-1] == ("stopped", False)
    return built


def test_a_start_is_seen_once_and_the_collector_follows_the_gate(rig: Rig) -> None:
    mark = rig.mark
    rig.switch(True)
    rig.pass_s(rig.late_s)
    assert rig.told(mark) == [("running", True)]
    rig.pass_s(5.0)
    assert rig.told(mark) == [("running", True)]
    assert (rig.gate_words(mark)[0], rig.starts(mark)) == ("open", 1)
    assert rig.hands.level(COLLECTOR) == 1.0


def test_a_stop_is_seen_once_and_the_collector_ends(rig: Rig) -> None:
    rig.switch(True)
    rig.pass_s(rig.late_s + 5.0)
    mark = rig.mark
    rig.switch(False)
    rig.pass_s(rig.late_s)
    assert rig.told(mark) == [("stopped", True)]
    rig.pass_s(20.0)
    assert rig.told(mark) == [("stopped", True)]
    assert rig.hands.level(COLLECTOR) == 0.0


def test_what_runs_at_the_first_look_starts_nothing(make: Callable[[], Rig]) -> None:
    rig = make()
    rig.switch(True)
    rig.wake()
    rig.pass_s(6.0)
    assert rig.starts() == 0
    assert all(not fresh for _, fresh in rig.told())
    assert ("stale", True) not in rig.told()
    # What is held or flows is found running; of a press that nobody saw, nothing is known.
    assert rig.told()[-1][0] == ("stopped" if isinstance(rig, PressRig) else "running")


def test_a_lost_sensor_is_told_with_a_sentence_and_its_gate_stays_open(rig: Rig) -> None:
    rig.switch(True)
    rig.pass_s(rig.late_s + 3.0)
    mark = rig.mark
    rig.lose()
    rig.pass_s(7.0 if isinstance(rig, MeterRig) else 1.0)
    stale = [entry for entry in rig.entries[mark:] if entry.kind == "tool" and word(entry) == "stale"]
    assert len(stale) == 1
    assert stale[0].why is not None
    assert stale[0].why.endswith(".")
    assert len(stale[0].why) > 30
    messages = [entry for entry in rig.entries[mark:] if entry.kind == "message" and entry.subject == "tool"]
    assert any(word(entry) == "raised" for entry in messages)
    assert "shut" not in rig.gate_words(mark)
    assert rig.hands.level(COLLECTOR) == 1.0


def test_what_returns_is_found_and_starts_nothing(rig: Rig) -> None:
    rig.lose()
    rig.pass_s(8.0)
    assert rig.told()[-1][0] == "stale"
    mark = rig.mark
    rig.switch(True)
    rig.mend()
    rig.pass_s(8.0)
    assert rig.told(mark)
    assert all(not fresh for _, fresh in rig.told(mark))
    assert rig.starts() == 0
    if not isinstance(rig, PressRig):
        assert rig.told(mark)[-1][0] == "running"


def test_after_a_return_a_start_is_a_start_again(rig: Rig) -> None:
    rig.lose()
    rig.pass_s(8.0)
    rig.mend()
    rig.pass_s(8.0)
    assert rig.told()[-1] == ("stopped", False)
    rig.switch(True)
    rig.pass_s(rig.late_s + 3.0)
    assert (rig.told()[-1], rig.starts()) == (("running", True), 1)


def test_a_sensor_stuck_on_is_caught(rig: Rig) -> None:
    """By a question after the longest run and a stop when nobody answers, or by its own time."""
    rig.switch(True)
    rig.is_stuck = True
    rig.pass_s(10.0)
    assert rig.hands.level(COLLECTOR) == 1.0
    rig.tool_runs = False
    mark = rig.mark
    rig.pass_s(60.0 + ANSWER_S + 20.0)
    asked = any(e.kind == "message" and e.subject == "tool" for e in rig.entries[mark:])
    assert asked or rig.told(mark) == [("stopped", False)]
    assert rig.hands.level(COLLECTOR) == 0.0
    assert rig.starts(mark) == 0


def test_nothing_runs_without_evidence(rig: Rig) -> None:
    mark = rig.mark
    for _ in range(8):
        rig.hint_of_nothing()
        rig.pass_s(1.5)
    assert rig.told(mark) == []
    assert rig.starts() == 0


def test_closing_gives_everything_back(make: Callable[[], Rig]) -> None:
    rig = make()
    rig.wake()
    rig.close()
    assert rig.is_released()
