"""One contract for every motor switch, on mock pins and on the bank; and the guardian that ends leases."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from gatekeeper.devices.base import BoardDeath, DeviceError, MotorSwitch
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.bench_drive import FakeDrive
from gatekeeper.devices.modbus_drive import DriveMap, ModbusDrive
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.pulse_switching import StarterSwitch, SteadyPulseSwitch
from gatekeeper.devices.switching import LeaseGuard, RelaySwitch

PIN, STOP_PIN = 17, 27
LONGEST_LEASE_S = 10.0
Words = list[str]


def relay(pins: Pins, on_lapse: Any = None) -> RelaySwitch:
    return RelaySwitch(pins, "Main", PIN, longest_lease_s=LONGEST_LEASE_S, on_lapse=on_lapse)


def relay_low(pins: Pins, on_lapse: Any = None) -> RelaySwitch:
    return RelaySwitch(pins, "Main", PIN, active_high=False, longest_lease_s=LONGEST_LEASE_S, on_lapse=on_lapse)


def steady(pins: Pins, on_lapse: Any = None) -> SteadyPulseSwitch:
    return SteadyPulseSwitch(
        pins, "Main", PIN, drops_after_s=0.5, longest_lease_s=LONGEST_LEASE_S, on_lapse=on_lapse
    )  # fmt: skip


def starter(pins: Pins, on_lapse: Any = None) -> StarterSwitch:
    return StarterSwitch(
        pins, "Main", PIN, STOP_PIN, clock=lambda: 0.0, wait=lambda _s: None, longest_lease_s=LONGEST_LEASE_S,
        on_lapse=on_lapse,
    )  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """What the contract needs to know of one driver.

    Args:
        build: makes the switch.
        power: whether the contactor is fed, by the last two levels of the lines and by what it was before.
        death: what it does when the board dies, and in words.
        on_line: the levels of its line for off and on, where one level says it all.
    """

    build: Callable[[Pins, Any], MotorSwitch]
    power: Callable[["Rig"], bool]
    death: tuple[BoardDeath, str]
    on_line: tuple[float, float] | None = None


class Rig:
    """One switch and the contactor behind it; every call looks at the contactor."""

    def __init__(self, kind: Kind, pins: Pins, view: Any) -> None:
        self.kind, self.view = kind, view
        self.lapses: list[tuple[float, str]] = []
        self.switch = kind.build(pins, lambda now_s, name: self.lapses.append((now_s, name)))
        self.words: Words = ["off"]
        self.look()

    def look(self) -> None:
        word = "on" if self.kind.power(self) else "off"
        if word != self.words[-1]:
            self.words.append(word)

    def on(self, now_s: float, until_s: float) -> None:
        self.switch.on(now_s, until_s)
        self.look()

    def renew(self, now_s: float, until_s: float) -> bool:
        done = self.switch.renew(now_s, until_s)
        self.look()
        return done

    def off(self) -> None:
        self.switch.off()
        self.look()

    def tick(self, now_s: float) -> bool:
        lapsed = self.switch.tick(now_s)
        self.look()
        return lapsed

    def close(self) -> None:
        self.switch.close()
        self.look()

    def go_to(self, now_s: float) -> None:
        """Tick at every instant that it asks for, up to one."""
        while (due := self.switch.next_deadline()) is not None and due < now_s:
            assert self.tick(due) is False

    def level(self, pin: int) -> float | None:
        found: float | None = self.view.levels(pin)[-1]
        return found

    def check(self, *words: str) -> None:
        """What the contactor did; and, where one level says it all, that the line had no level more."""
        assert self.words == list(words)
        if self.kind.on_line is not None:
            off, on = self.kind.on_line
            assert self.view.levels(PIN) == [None, *(on if word == "on" else off for word in words)]


def by_level(rig: Rig) -> bool:
    assert rig.kind.on_line is not None
    return rig.level(PIN) == rig.kind.on_line[1]


def by_pulses(rig: Rig) -> bool:
    """Fed while the line has an instant at which it turns; that it then does, the guardian's test below shows."""
    assert isinstance(rig.switch, SteadyPulseSwitch)
    if rig.switch._turns_s is None:
        assert rig.level(PIN) == 0.0
        return False
    return True


def by_buttons(rig: Rig) -> bool:
    """Starts by one button, stops by the other, and holds itself."""
    if rig.level(STOP_PIN) == 1.0:
        return False
    return rig.level(PIN) == 1.0 or rig.words[-1] == "on"


DRIVES: dict[int, FakeDrive] = {}
REGISTERS = DriveMap(command=1, start_word=18, stop_word=1, status=2, running_mask=1, running_word=1)


def drive(pins: Pins, on_lapse: Any = None) -> ModbusDrive:
    fake = FakeDrive(REGISTERS, stops_after_s=5.0, clock=lambda: 0.0)
    made = ModbusDrive(
        "Main", fake, REGISTERS, stops_after_s=5.0, clock=lambda: 0.0, longest_lease_s=LONGEST_LEASE_S,
        on_lapse=on_lapse,
    )  # fmt: skip
    DRIVES[id(made)] = fake
    return made


def by_drive(rig: Rig) -> bool:
    """Its thread is not started: each look is one exchange."""
    assert isinstance(rig.switch, ModbusDrive)
    rig.switch.exchange()
    return DRIVES[id(rig.switch)].runs


AT_ONCE = "When the board loses power the relay drops and the contactor opens at once."
KINDS = {
    "relay": Kind(relay, by_level, (BoardDeath.DROPS, AT_ONCE), (0.0, 1.0)),
    "relay, active low": Kind(relay_low, by_level, (BoardDeath.DROPS, AT_ONCE), (1.0, 0.0)),
    "relay that needs steady pulses": Kind(
        steady,
        by_pulses,
        (
            BoardDeath.DROPS_LATER,
            "When the board loses power or hangs, the pulses end and the relay drops after its own time.",
        ),
    ),
    "drive over Modbus": Kind(
        drive,
        by_drive,
        (
            BoardDeath.DROPS_LATER,
            "When the board loses power or hangs, the drive hears nothing more and stops after the time set in it.",
        ),
    ),
    "push-button starter": Kind(
        starter,
        by_buttons,
        (
            BoardDeath.STAYS,
            "When the board loses power the starter holds itself: the motor runs on until somebody stops it.",
        ),
    ),
}


@pytest.fixture(params=list(KINDS))
def rig(request: pytest.FixtureRequest, opened: tuple[Pins, Any]) -> Rig:
    return Rig(KINDS[request.param], *opened)


def test_power_is_never_on_at_construction(rig: Rig) -> None:
    assert isinstance(rig.switch, MotorSwitch)
    rig.check("off")
    assert (rig.switch.is_on(), rig.switch.next_deadline()) == (False, None)


def test_on_lasts_until_its_lease_ends(rig: Rig) -> None:
    rig.on(100.0, 102.0)
    rig.go_to(102.0)
    assert (rig.switch.is_on(), rig.switch.next_deadline()) == (True, 102.0)
    assert rig.tick(101.999) is False
    rig.check("off", "on")
    assert rig.tick(102.0) is True
    assert rig.tick(103.0) is False
    rig.check("off", "on", "off")
    assert rig.lapses == [(102.0, "Main")]
    assert (rig.switch.is_on(), rig.switch.next_deadline()) == (False, None)


def test_a_renewed_lease_lasts_longer(rig: Rig) -> None:
    rig.on(100.0, 102.0)
    assert rig.renew(101.0, 105.0) is True
    rig.go_to(104.9)
    assert rig.tick(104.9) is False
    rig.check("off", "on")
    assert rig.tick(105.0) is True
    rig.check("off", "on", "off")


@pytest.mark.parametrize("now_s", [102.0, 102.001, 5000.0])
def test_a_lease_that_ran_out_is_not_renewed(rig: Rig, now_s: float) -> None:
    rig.on(100.0, 102.0)
    assert rig.renew(now_s, now_s + 1.0) is False
    assert rig.tick(now_s) is True
    rig.check("off", "on", "off")


def test_renew_never_switches_on(rig: Rig) -> None:
    assert rig.renew(100.0, 101.0) is False
    rig.check("off")
    rig.on(100.0, 102.0)
    rig.off()
    assert rig.renew(100.5, 103.0) is False
    rig.check("off", "on", "off")


def test_off_is_no_lapse(rig: Rig) -> None:
    rig.on(100.0, 102.0)
    rig.off()
    rig.off()
    assert rig.tick(200.0) is False
    assert rig.lapses == []
    rig.check("off", "on", "off")


def test_it_can_be_switched_on_again_after_a_lapse(rig: Rig) -> None:
    rig.on(100.0, 102.0)
    rig.tick(103.0)
    rig.on(104.0, 105.0)
    rig.check("off", "on", "off", "on")


@pytest.mark.parametrize("lease_s", [0.0, -1.0, 10.0001, float("inf"), float("nan")])
def test_a_lease_that_could_be_a_latch_is_refused(rig: Rig, lease_s: float) -> None:
    shown = f"{100.0 + lease_s - 100.0:g}"
    for command in (rig.switch.on, rig.switch.renew):
        with pytest.raises(DeviceError) as caught:
            command(100.0, 100.0 + lease_s)
        assert str(caught.value) == (
            f"The lease of Main is {shown} s. It must be above 0 s and at most 10 s: "
            "a motor's 'on' is renewed, never left on."
        )
    rig.look()
    rig.check("off")


def test_close_is_off_for_good(rig: Rig) -> None:
    rig.on(100.0, 102.0)
    rig.switch.off()
    rig.look()
    rig.close()
    rig.close()
    rig.off()
    with pytest.raises(DeviceError) as caught:
        rig.switch.on(101.0, 102.0)
    assert str(caught.value) == "The switch of Main is closed and cannot be switched on any more."
    rig.check("off", "on", "off")


def test_close_alone_is_off_too(opened: tuple[Pins, Any]) -> None:
    for name in ("relay", "relay, active low", "relay that needs steady pulses", "drive over Modbus"):
        rig = Rig(KINDS[name], *opened)
        rig.on(100.0, 102.0)
        rig.close()
        assert rig.words == ["off", "on", "off"]


def test_it_says_what_it_does_when_the_board_dies(rig: Rig) -> None:
    fate = rig.switch.fate
    assert (fate.when_board_dies, fate.in_words) == rig.kind.death
    assert all(text.endswith((".", ").")) for text in (fate.at_power_up, fate.when_process_dies))


# --- a relay that needs steady pulses ---------------------------------------------------------------------------------


def test_the_guardian_makes_the_pulses_and_the_end_of_its_thread_ends_them(pins: Pins, bench: BenchPins) -> None:
    switch = steady(pins)
    turns: list[float | None] = []
    bench.watch(PIN, lambda _t_s, level: turns.append(level))
    now_s = [100.0]
    guard = LeaseGuard([switch], lambda: now_s[0])
    switch.on(100.0, 102.0)
    while now_s[0] < 101.0:
        now_s[0] += guard.step()
    assert 35 <= len(turns) <= 41  # 20 pulses a second for a second, each with two turns
    assert turns[:4] == [1.0, 0.0, 1.0, 0.0]
    seen = len(turns)
    # Nobody ticks: the line stands still at whatever level it has, and nothing else moves it.
    switch.renew(101.0, 103.0)
    assert len(turns) == seen


@pytest.mark.parametrize(
    ("drops_after_s", "pulses_hz", "said"),
    [
        (
            0.2,
            20.0,
            "The relay of Main drops 0.2 s after the last pulse. It must hold at least 0.3 s, or a busy board lets it "
            "drop.",
        ),
        (
            0.5,
            4.0,
            "4 pulses a second are too few for the relay of Main: three must fit into its 0.5 s.",
        ),
    ],
)
def test_pulses_that_cannot_hold_a_relay_are_refused(
    pins: Pins, drops_after_s: float, pulses_hz: float, said: str
) -> None:
    with pytest.raises(DeviceError) as caught:
        SteadyPulseSwitch(pins, "Main", PIN, drops_after_s=drops_after_s, pulses_hz=pulses_hz)
    assert str(caught.value) == said


# --- a push-button starter --------------------------------------------------------------------------------------------


def test_each_button_is_pressed_for_its_time_and_never_both(pins: Pins, bench: BenchPins) -> None:
    now_s = [100.0]
    switch = StarterSwitch(pins, "Main", PIN, STOP_PIN, press_s=0.4, clock=lambda: now_s[0])
    both: list[tuple[float | None, float | None]] = []
    for pin in (PIN, STOP_PIN):
        bench.watch(pin, lambda _t_s, _level: both.append((bench.level(PIN), bench.level(STOP_PIN))))
    switch.on(100.0, 105.0)
    assert switch.next_deadline() == pytest.approx(100.4)
    switch.tick(100.4)
    assert (bench.level(PIN), bench.level(STOP_PIN)) == (0.0, 0.0)
    switch.on(101.0, 105.0)
    now_s[0] = 101.1
    switch.off()
    assert (bench.level(PIN), bench.level(STOP_PIN)) == (0.0, 1.0)
    assert switch.next_deadline() == pytest.approx(101.5)
    switch.tick(101.5)
    assert (bench.level(PIN), bench.level(STOP_PIN)) == (0.0, 0.0)
    assert (1.0, 1.0) not in both


def test_off_presses_stop_even_when_it_never_started_it(pins: Pins, bench: BenchPins) -> None:
    switch = starter(pins)
    switch.off()
    assert bench.levels(STOP_PIN) == [None, 0.0, 1.0]


def test_close_lets_the_press_of_stop_last_its_time(pins: Pins, bench: BenchPins) -> None:
    waited: list[tuple[float, float | None]] = []
    switch = StarterSwitch(
        pins, "Main", PIN, STOP_PIN, press_s=0.4, clock=lambda: 100.0,
        wait=lambda wait_s: waited.append((round(wait_s, 6), bench.level(STOP_PIN))),
    )  # fmt: skip
    switch.on(100.0, 105.0)
    switch.close()
    assert waited == [(0.4, 1.0)]
    assert (bench.level(PIN), bench.level(STOP_PIN)) == (0.0, 0.0)


@pytest.mark.parametrize("press_s", [0.05, 3.0, float("nan")])
def test_a_press_out_of_its_range_is_refused(pins: Pins, press_s: float) -> None:
    with pytest.raises(DeviceError) as caught:
        StarterSwitch(pins, "Main", PIN, STOP_PIN, press_s=press_s)
    assert str(caught.value) == f"The buttons of Main are pressed for {press_s:g} s. It must be 0.1 s to 2 s."


# --- writes that fail -------------------------------------------------------------------------------------------------


def test_a_write_that_fails_is_tried_again_at_the_next_tick(pins: Pins, bench: BenchPins, mocker: Any) -> None:
    switch = relay(pins)
    switch.on(100.0, 102.0)
    broken = mocker.patch.object(type(pins.factory.pin(PIN)), "_set_state", side_effect=OSError("bus"))
    with pytest.raises(DeviceError) as caught:
        switch.tick(102.0)
    assert str(caught.value) == "GPIO 17 of Main could not be switched off: bus."
    mocker.stop(broken)
    assert switch.tick(103.0) is True
    assert bench.levels(PIN) == [None, 0.0, 1.0, 0.0]


def test_an_on_that_fails_half_way_is_put_off_when_its_lease_ends(pins: Pins, bench: BenchPins, mocker: Any) -> None:
    switch = relay(pins)
    relay_on = switch._relay.on

    def on_then_fail() -> None:
        relay_on()
        raise DeviceError("bus")

    mocker.patch.object(switch._relay, "on", on_then_fail)
    with pytest.raises(DeviceError):
        switch.on(100.0, 102.0)
    assert (bench.level(PIN), switch.is_on()) == (1.0, True)
    assert switch.tick(102.0) is True
    assert bench.level(PIN) == 0.0


# --- the guardian -----------------------------------------------------------------------------------------------------


class BrokenSwitch:
    """A switch whose tick always fails."""

    name = "Broken"

    def tick(self, now_s: float) -> bool:
        raise RuntimeError(f"no line at {now_s:g}")

    def off(self) -> None:
        raise RuntimeError("no line")


def test_the_guardian_waits_at_most_until_the_next_lease_ends(pins: Pins, clock: Any) -> None:
    switch = relay(pins)
    guard = LeaseGuard([switch], clock, period_s=0.5)
    assert guard.step() == 0.5
    switch.on(100.0, 100.2)
    assert guard.step() == pytest.approx(0.2)
    clock.jump(0.2)
    assert guard.step() == 0.5
    assert switch.is_on() is False


def test_a_clock_that_leaps_ahead_drops_every_lease(pins: Pins, bench: BenchPins, clock: Any) -> None:
    first, second = relay(pins), RelaySwitch(pins, "Vacuum", 27)
    guard = LeaseGuard([first, second], clock)
    first.on(100.0, 102.0)
    second.on(100.0, 109.0)
    clock.jump(86400.0)
    guard.step()
    assert (bench.level(PIN), bench.level(27)) == (0.0, 0.0)
    assert guard.looked_s == 86500.0


def test_one_broken_switch_does_not_keep_the_others_on(pins: Pins, bench: BenchPins, clock: Any) -> None:
    faults: list[tuple[str, str]] = []
    switch = relay(pins)
    broken: Any = BrokenSwitch()
    guard = LeaseGuard([broken, switch], clock, on_fault=lambda name, fault: faults.append((name, str(fault))))
    switch.on(100.0, 101.0)
    clock.jump(2.0)
    guard.step()
    assert bench.level(PIN) == 0.0
    assert faults == [("Broken", "no line at 102")]
    switch.on(102.0, 103.0)
    guard.stop()
    assert bench.level(PIN) == 0.0
    assert faults[1:] == [("Broken", "no line")]


def test_the_real_guardian_drops_the_relay_when_nobody_renews(pins: Pins, bench: BenchPins, clock: Any) -> None:
    dropped = threading.Event()
    threads: list[str] = []
    switch = relay(pins)

    def note(_t_s: float, level: float | None) -> None:
        threads.append(threading.current_thread().name)
        dropped.set()

    guard = LeaseGuard([switch], clock, period_s=0.005)
    guard.start()
    try:
        switch.on(100.0, 102.0)
        bench.watch(PIN, note)
        assert not dropped.is_set()
        clock.jump(2.0)  # the control thread is dead: only time goes on
        assert dropped.wait(30.0)
        assert guard.is_alive()
    finally:
        guard.stop()
    assert bench.levels(PIN) == [None, 0.0, 1.0, 0.0]
    assert threads == ["lease-guard"]
    assert guard.is_alive() is False


def test_a_guardian_that_stops_takes_the_motors_with_it(pins: Pins, bench: BenchPins, clock: Any) -> None:
    switch = relay(pins)
    guard = LeaseGuard([switch], clock)
    switch.on(100.0, 109.0)
    guard.start()
    guard.stop()
    assert bench.levels(PIN) == [None, 0.0, 1.0, 0.0]
