"""One contract for every gate actuator: a driver gives only limits, a builder, and how to see its drive.

Run on mock pins and, unchanged, on the pin bank in another process.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from gatekeeper.devices.actuators import HandGate, SpringGate
from gatekeeper.devices.base import DeviceError, GateActuator, Miss, Position
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.bench_gate import FakeOutlet
from gatekeeper.devices.bench_i2c import FakeI2c
from gatekeeper.devices.bench_pca9685 import FakePca9685
from gatekeeper.devices.inputs import ContactInput, PositionSwitches
from gatekeeper.devices.mqtt_gate import GateWords, MqttGate
from gatekeeper.devices.pca9685 import ServoBank
from gatekeeper.devices.pins import Output, OutputLine, Pins
from gatekeeper.devices.reversing import BridgeGate, RelayPairGate
from gatekeeper.devices.servos import BankServoGate, ServoGate

TRAVEL_S = 3.0
OVERRUN_S = 0.5
DEAD_S = 0.2
OPEN_SWITCH, SHUT_SWITCH = 5, 6
Levels = list[float | None]


@dataclass(frozen=True)
class Kind:
    """What the contract needs to know of one driver.

    Args:
        build: makes the gate.
        lines: its output lines.
        to_open, to_shut, at_rest: the levels of its lines while it is driven that way, and when nothing is driven;
            ``at_rest`` None for a gate that holds its last levels.
        drive_s: from the start of a drive until it ends.
        dead_s: between two drives in opposite ways.
        see: where its levels are seen when not on the board's lines.
    """

    build: Callable[[Pins, PositionSwitches | None, Callable[[Miss], None] | None], GateActuator]
    lines: tuple[int, ...]
    to_open: tuple[float, ...]
    to_shut: tuple[float, ...]
    at_rest: tuple[float, ...] | None
    drive_s: float
    dead_s: float
    see: Callable[[Pins], Any] | None = None


def servo(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    return ServoGate(
        pins, "saw", 18, open_pulse_s=0.001, shut_pulse_s=0.0019, travel_s=TRAVEL_S, overrun_s=OVERRUN_S,
        switches=switches, on_miss=on_miss,
    )  # fmt: skip


def pair(pins: Pins, switches: Any, on_miss: Any, active_high: bool = True) -> GateActuator:
    return RelayPairGate(
        pins, "saw", 23, 24, travel_s=TRAVEL_S, dead_s=DEAD_S, overrun_s=OVERRUN_S, active_high=active_high,
        switches=switches, on_miss=on_miss,
    )  # fmt: skip


def pair_low(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    return pair(pins, switches, on_miss, active_high=False)


def spring_open(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    return SpringGate(pins, "saw", 22, held=Position.OPEN, travel_s=TRAVEL_S, switches=switches, on_miss=on_miss)


def spring_shut(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    return SpringGate(pins, "saw", 22, held=Position.SHUT, travel_s=TRAVEL_S, switches=switches, on_miss=on_miss)


def bridge(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    return BridgeGate(
        pins, "saw", 23, 24, enable_pin=25, travel_s=TRAVEL_S, dead_s=DEAD_S, overrun_s=OVERRUN_S, switches=switches,
        on_miss=on_miss,
    )  # fmt: skip


class EnableLine(Output):
    """An output-enable line that the chip without a board notices."""

    def __init__(self, output: Output, chip: FakePca9685) -> None:
        super().__init__(output.line, output.device)
        self._chip = chip

    def put(self, on: bool) -> None:
        super().put(on)
        self._chip.look()


class ChipView:
    """What a chip sends on its channels, as levels: the share of the time that it is high."""

    def __init__(self) -> None:
        self.sent: dict[int, Levels] = {}

    def changed(self, channel: int, width_s: float | None) -> None:
        self.sent.setdefault(channel, [None, 0.0]).append(round((width_s or 0.0) / 0.02, 9))

    def levels(self, channel: int) -> Levels:
        return self.sent.get(channel, [None, 0.0])


CHIPS: dict[int, ChipView] = {}


def bank_servo(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    view = CHIPS[id(pins)] = ChipView()
    enable = pins.output(OutputLine("bank, output enable", 25, active_high=False))
    chip = FakePca9685(enable.is_on, on_change=view.changed)
    bank = ServoBank("bank", FakeI2c({0x41: chip}), EnableLine(enable, chip), address=0x41, wait=lambda _s: None)
    return BankServoGate(
        bank, "saw", 3, open_pulse_s=0.001, shut_pulse_s=0.0019, travel_s=TRAVEL_S, overrun_s=OVERRUN_S,
        switches=switches, on_miss=on_miss,
    )  # fmt: skip


def share(counts: int) -> float:
    """The share of a 20 ms frame that a pulse of that many counts takes, at 25 MHz over 122."""
    return round(counts * 122 / 25e6 / 0.02, 9)


class WordView:
    """What a gate behind a broker was told last, as a level: 1 for open, 0 for shut or for nothing yet."""

    def __init__(self) -> None:
        self.told: Levels = [None, 0.0]

    def sent(self, topic: str, word: str) -> None:
        assert topic == "saw/set"
        if word != "halt":
            self.told.append(1.0 if word == "open" else 0.0)

    def left(self) -> None:
        self.told.append(0.0)

    def levels(self, line: int) -> Levels:
        return [level for place, level in enumerate(self.told) if place == 0 or self.told[place - 1] != level]


WORDS: dict[int, WordView] = {}


def behind_broker(pins: Pins, switches: Any, on_miss: Any) -> GateActuator:
    view = WORDS[id(pins)] = WordView()
    gate = MqttGate(
        FakeOutlet(view.sent), "saw", commands_to="saw/set", words=GateWords(halt="halt"), travel_s=TRAVEL_S,
        switches=switches, on_miss=on_miss, clock=lambda: 0.0,
    )  # fmt: skip
    gate._let_go = view.left  # type: ignore[method-assign]
    return gate


KINDS = {
    "behind a broker": Kind(behind_broker, (0,), (1.0,), (0.0,), None, TRAVEL_S, 0.0, lambda pins: WORDS[id(pins)]),
    "bridge with an enable line": Kind(
        bridge, (23, 24, 25), (1.0, 0.0, 1.0), (0.0, 1.0, 1.0), (0.0, 0.0, 0.0), TRAVEL_S + OVERRUN_S, DEAD_S
    ),
    "servo on a bank": Kind(
        bank_servo, (3,), (share(205),), (share(389),), (0.0,), TRAVEL_S + OVERRUN_S, 0.0, lambda pins: CHIPS[id(pins)]
    ),
    "servo": Kind(servo, (18,), (0.05,), (0.095,), (0.0,), TRAVEL_S + OVERRUN_S, 0.0),
    "relay pair": Kind(pair, (23, 24), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0), TRAVEL_S + OVERRUN_S, DEAD_S),
    "relay pair, active low": Kind(
        pair_low, (23, 24), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0), TRAVEL_S + OVERRUN_S, DEAD_S
    ),
    "spring, held open": Kind(spring_open, (22,), (1.0,), (0.0,), None, TRAVEL_S, 0.0),
    "spring, held shut": Kind(spring_shut, (22,), (0.0,), (1.0,), None, TRAVEL_S, 0.0),
}


@dataclass
class Rig:
    kind: Kind
    pins: Pins
    view: Any

    def gate(self, switches: PositionSwitches | None = None, on_miss: Any = None) -> GateActuator:
        return self.kind.build(self.pins, switches, on_miss)

    def now(self) -> tuple[float, ...]:
        return tuple(levels[-1] for levels in self.history() if levels[-1] is not None)

    def history(self) -> list[Levels]:
        seen = self.view if self.kind.see is None else self.kind.see(self.pins)
        return [seen.levels(line) for line in self.kind.lines]

    def first(self) -> tuple[float, ...]:
        """The levels a gate is claimed at: every kind starts with nothing powered."""
        return self.kind.at_rest if self.kind.at_rest is not None else (0.0,)

    def expected(self, *steps: tuple[float, ...]) -> list[Levels]:
        """For each line its whole history of levels, from undriven through the claim and the steps."""
        out: list[Levels] = []
        for place in range(len(self.kind.lines)):
            levels: Levels = [None]
            for step in (self.first(), *steps):
                if levels[-1] != step[place]:
                    levels.append(step[place])
            out.append(levels)
        return out

    def rest(self, held: tuple[float, ...]) -> tuple[float, ...]:
        return held if self.kind.at_rest is None else self.kind.at_rest

    def switches(self) -> PositionSwitches:
        return PositionSwitches(
            ContactInput(self.pins, "saw open", OPEN_SWITCH), ContactInput(self.pins, "saw shut", SHUT_SWITCH)
        )


@pytest.fixture(params=list(KINDS))
def rig(request: pytest.FixtureRequest, opened: tuple[Pins, Any]) -> Rig:
    return Rig(KINDS[request.param], *opened)


def test_it_is_a_gate_actuator(rig: Rig) -> None:
    assert isinstance(rig.gate(), GateActuator)


def test_nothing_moves_at_construction_and_the_claim_has_no_blip(rig: Rig) -> None:
    gate = rig.gate()
    assert rig.history() == rig.expected()
    assert gate.next_deadline() is None


@pytest.mark.parametrize("way", ["open", "shut"])
def test_a_move_drives_for_its_time_and_ends(rig: Rig, way: str) -> None:
    gate = rig.gate()
    there = rig.kind.to_open if way == "open" else rig.kind.to_shut
    getattr(gate, way)(100.0)
    assert rig.now() == there
    assert gate.next_deadline() == 100.0 + rig.kind.drive_s
    gate.tick(100.0 + rig.kind.drive_s - 0.001)
    assert rig.now() == there
    gate.tick(100.0 + rig.kind.drive_s)
    assert gate.next_deadline() is None
    assert rig.history() == rig.expected(there, rig.rest(there))


def test_the_same_command_again_changes_nothing(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.open(101.0)
    assert gate.next_deadline() == 100.0 + rig.kind.drive_s
    assert rig.history() == rig.expected(rig.kind.to_open)


def test_a_second_attempt_after_the_end_drives_again(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.tick(110.0)
    gate.open(120.0)
    assert gate.next_deadline() == 120.0 + rig.kind.drive_s
    assert rig.now() == rig.kind.to_open


def test_a_reversal_waits_its_dead_time_and_travels_anew(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.shut(101.0)
    steps = [rig.kind.to_open]
    if rig.kind.dead_s:
        assert rig.now() == rig.kind.at_rest
        assert gate.next_deadline() == 101.0 + rig.kind.dead_s
        gate.tick(101.0 + rig.kind.dead_s - 0.001)
        assert rig.now() == rig.kind.at_rest
        gate.tick(101.0 + rig.kind.dead_s)
        steps.append(rig.rest(rig.kind.to_open))
    assert rig.now() == rig.kind.to_shut
    assert gate.next_deadline() == 101.0 + rig.kind.dead_s + rig.kind.drive_s
    gate.tick(110.0)
    assert rig.history() == rig.expected(*steps, rig.kind.to_shut, rig.rest(rig.kind.to_shut))


def test_turning_round_twice_within_the_dead_time_ends_the_right_way(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.shut(101.0)
    gate.open(101.05)
    assert rig.now() == rig.kind.to_open
    assert gate.next_deadline() == 101.05 + rig.kind.drive_s


def test_the_dead_time_also_counts_after_a_finished_move(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.tick(110.0)
    gate.shut(110.05)
    if rig.kind.dead_s:
        assert gate.next_deadline() == 110.0 + rig.kind.dead_s
    else:
        assert rig.now() == rig.kind.to_shut


def test_a_halt_at_rest_does_not_lengthen_the_dead_time(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.tick(110.0)
    gate.halt(110.0 + DEAD_S - 0.01)
    gate.shut(110.0 + DEAD_S)
    assert rig.now() == rig.kind.to_shut


def test_a_late_tick_travels_its_full_time_from_when_the_drive_began(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.shut(101.0)
    gate.tick(107.0)
    began_s = 107.0 if rig.kind.dead_s else 101.0
    if began_s + rig.kind.drive_s > 107.0:
        assert gate.next_deadline() == began_s + rig.kind.drive_s
        gate.tick(began_s + rig.kind.drive_s)
    assert gate.next_deadline() is None
    assert rig.now() == rig.rest(rig.kind.to_shut)


def test_halt_stops_in_the_same_call_or_holds(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.halt(101.0)
    assert rig.history() == rig.expected(rig.kind.to_open, rig.rest(rig.kind.to_open))
    assert gate.can_halt is not gate.spring_return
    if gate.can_halt:
        assert gate.next_deadline() is None
        gate.open(102.0)
        assert gate.next_deadline() == 102.0 + rig.kind.drive_s


def test_halt_during_the_dead_time_forgets_the_move(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.shut(101.0)
    gate.halt(101.1)
    gate.tick(105.0)
    assert rig.now() == rig.rest(rig.kind.to_shut)
    assert gate.next_deadline() is None


def test_halt_at_rest_changes_nothing(rig: Rig) -> None:
    gate = rig.gate()
    gate.halt(100.0)
    assert rig.history() == rig.expected()


def test_after_close_nothing_is_powered_and_every_command_is_refused(rig: Rig) -> None:
    gate = rig.gate()
    gate.open(100.0)
    gate.close()
    gate.close()
    assert gate.next_deadline() is None
    assert rig.history() == rig.expected(rig.kind.to_open, rig.first())
    for command in (gate.open, gate.shut):
        with pytest.raises(DeviceError) as caught:
            command(101.0)
        assert str(caught.value) == "The actuator of gate saw is closed and cannot move any more."
    gate.halt(102.0)
    gate.tick(103.0)
    assert rig.history() == rig.expected(rig.kind.to_open, rig.first())


def test_a_miss_is_told_once_and_only_at_the_end(rig: Rig) -> None:
    told: list[Miss] = []
    gate = rig.gate(rig.switches(), told.append)
    end_s = 100.0 + rig.kind.drive_s
    gate.open(100.0)
    gate.tick(end_s - 0.001)
    assert told == []
    gate.tick(end_s)
    gate.tick(end_s + 1.0)
    assert told == [Miss(end_s, "saw", Position.OPEN, Position.BETWEEN)]
    rig.view.drive(SHUT_SWITCH, False)
    gate.open(200.0)
    gate.tick(200.0 + rig.kind.drive_s)
    assert told[1:] == [Miss(200.0 + rig.kind.drive_s, "saw", Position.OPEN, Position.SHUT)]


@pytest.mark.parametrize(
    ("way", "end", "other", "there"),
    [("open", OPEN_SWITCH, SHUT_SWITCH, Position.OPEN), ("shut", SHUT_SWITCH, OPEN_SWITCH, Position.SHUT)],
)
def test_an_arrival_is_no_miss_and_the_wrong_end_is(rig: Rig, way: str, end: int, other: int, there: Position) -> None:
    told: list[Miss] = []
    gate = rig.gate(rig.switches(), told.append)
    rig.view.drive(end, False)
    getattr(gate, way)(100.0)
    gate.tick(110.0)
    assert told == []
    assert gate.position() is there
    rig.view.drive(end, True)
    rig.view.drive(other, False)
    getattr(gate, way)(120.0)
    gate.tick(130.0)
    assert told == [Miss(130.0, "saw", there, Position.SHUT if there is Position.OPEN else Position.OPEN)]


def test_an_end_without_a_switch_is_never_missed(rig: Rig) -> None:
    told: list[Miss] = []
    gate = rig.gate(PositionSwitches(at_open=ContactInput(rig.pins, "saw open", OPEN_SWITCH)), told.append)
    gate.shut(100.0)
    gate.tick(110.0)
    assert told == []
    assert gate.position() is Position.BETWEEN


def test_without_switches_there_is_no_position(rig: Rig) -> None:
    assert rig.gate().position() is None


def test_the_fate_is_told_in_sentences(rig: Rig) -> None:
    fate = rig.gate().fate
    assert all(text.endswith((".", ").")) for text in (fate.at_power_up, fate.when_process_dies, fate.in_words))


@pytest.mark.parametrize("travel_s", [0.0, -1.0, 600.0, float("nan")])
def test_a_travel_out_of_its_range_is_refused(pins: Pins, travel_s: float) -> None:
    with pytest.raises(DeviceError) as caught:
        SpringGate(pins, "saw", 22, held=Position.OPEN, travel_s=travel_s)
    assert str(caught.value) == (f"The travel time of gate saw is {travel_s:g} s. It must lie between 0 s and 600 s.")


@pytest.mark.parametrize("dead_s", [0.0, 0.0999, float("nan")])
def test_a_short_dead_time_is_refused(pins: Pins, dead_s: float) -> None:
    with pytest.raises(DeviceError) as caught:
        RelayPairGate(pins, "saw", 23, 24, travel_s=TRAVEL_S, dead_s=dead_s)
    assert str(caught.value) == f"The dead time of gate saw is {dead_s:g} s. It must be at least 0.1 s."


@pytest.mark.parametrize(
    ("open_pulse_s", "shut_pulse_s", "text"),
    [
        (0.0004, 0.002, "The open pulse of gate saw is 0.4 ms. It must lie between 0.5 ms and 2.5 ms."),
        (0.001, 0.0026, "The shut pulse of gate saw is 2.6 ms. It must lie between 0.5 ms and 2.5 ms."),
        (0.001, 0.001, "The open and the shut pulse of gate saw are the same, so it would never move."),
    ],
)
def test_pulses_out_of_their_range_are_refused(pins: Pins, open_pulse_s: float, shut_pulse_s: float, text: str) -> None:
    with pytest.raises(DeviceError) as caught:
        ServoGate(pins, "saw", 18, open_pulse_s=open_pulse_s, shut_pulse_s=shut_pulse_s, travel_s=TRAVEL_S)
    assert str(caught.value) == text


def test_other_bad_limits_are_refused(pins: Pins) -> None:
    with pytest.raises(DeviceError) as caught:
        RelayPairGate(pins, "saw", 23, 24, travel_s=TRAVEL_S, overrun_s=-0.1)
    assert str(caught.value) == "The overrun of gate saw is -0.1 s. It must not be negative."
    with pytest.raises(DeviceError) as caught:
        SpringGate(pins, "saw", 22, held=Position.BETWEEN, travel_s=TRAVEL_S)
    assert str(caught.value) == "The coil of gate saw must hold it open or shut, not between."


def test_the_two_relays_of_a_pair_are_never_both_on(pins: Pins, bench: BenchPins) -> None:
    """Every order of four commands at awkward instants; both lines are watched at every single write."""
    gate = pair(pins, None, None)
    seen: list[tuple[float | None, float | None]] = []
    for line in (23, 24):
        bench.watch(line, lambda _t_s, _level: seen.append((bench.level(23), bench.level(24))))
    now_s = 100.0
    for number in range(5**4):
        for place in range(4):
            what = number // 5**place % 5
            if what == 4:
                gate.tick(now_s)
            else:
                (gate.open, gate.shut, gate.halt, lambda _now_s: None)[what](now_s)
            now_s += (0.05, 0.2, 1.0, 4.0)[(number + place) % 4]
    assert set(seen) == {(1.0, 0.0), (0.0, 1.0), (0.0, 0.0)}


def test_a_relay_that_is_on_for_whatever_reason_goes_off_before_the_other_goes_on(pins: Pins, bench: BenchPins) -> None:
    gate = pair(pins, None, None)
    assert isinstance(gate, RelayPairGate)
    gate._relays[Position.SHUT].on()
    seen: list[tuple[float | None, float | None]] = []
    for line in (23, 24):
        bench.watch(line, lambda _t_s, _level: seen.append((bench.level(23), bench.level(24))))
    gate.open(100.0)
    assert seen == [(0.0, 0.0), (1.0, 0.0)]


def test_every_servo_pulse_width_is_sent_as_it_is(pins: Pins, bench: BenchPins) -> None:
    widths_s = [0.0005 + step * 0.00001 for step in range(201)]
    line = pins.pulses("saw", 18)
    for width_s in widths_s:
        line.pulse(width_s)
    assert [round(level or 0.0, 9) for level in bench.levels(18)[2:]] == [round(w / 0.02, 9) for w in widths_s]


def test_a_hand_gate_refuses_to_be_commanded() -> None:
    gate = HandGate("saw")
    assert isinstance(gate, GateActuator)
    with pytest.raises(DeviceError) as caught:
        gate.open(100.0)
    assert str(caught.value) == "Gate saw is moved by hand. Open it yourself."
    with pytest.raises(DeviceError) as caught:
        gate.shut(100.0)
    assert str(caught.value) == "Gate saw is moved by hand. Shut it yourself."
    gate.halt(100.0)
    gate.tick(100.0)
    gate.close()
    assert (gate.next_deadline(), gate.position(), gate.can_halt) == (None, None, False)


def test_a_hand_gate_with_switches_says_where_it_stands(pins: Pins, bench: BenchPins) -> None:
    gate = HandGate("saw", PositionSwitches(at_open=ContactInput(pins, "saw open", OPEN_SWITCH)))
    assert gate.position() is Position.BETWEEN
    bench.drive(OPEN_SWITCH, False)
    assert gate.position() is Position.OPEN
