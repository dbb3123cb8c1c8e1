"""One contract for every motor switch, on mock pins and on the bank; and the guardian that ends leases."""

import threading
from collections.abc import Callable
from typing import Any

import pytest

from gatekeeper.devices.base import BoardDeath, DeviceError, MotorSwitch
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.switching import LeaseGuard, RelaySwitch

PIN = 17
LONGEST_LEASE_S = 10.0
Build = Callable[[Pins, Any], MotorSwitch]


def relay(pins: Pins, on_lapse: Any = None) -> RelaySwitch:
    return RelaySwitch(pins, "Main", PIN, longest_lease_s=LONGEST_LEASE_S, on_lapse=on_lapse)


def relay_low(pins: Pins, on_lapse: Any = None) -> RelaySwitch:
    return RelaySwitch(pins, "Main", PIN, active_high=False, longest_lease_s=LONGEST_LEASE_S, on_lapse=on_lapse)


KINDS: dict[str, tuple[Build, float, float]] = {  # builder, level for off, level for on
    "relay": (relay, 0.0, 1.0),
    "relay, active low": (relay_low, 1.0, 0.0),
}


@pytest.fixture(params=list(KINDS))
def kind(request: pytest.FixtureRequest) -> tuple[Build, float, float]:
    return KINDS[request.param]


def test_power_is_never_on_at_construction(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, _on = kind
    switch = build(opened[0], None)
    assert isinstance(switch, MotorSwitch)
    assert opened[1].levels(PIN) == [None, off]
    assert (switch.is_on(), switch.next_deadline()) == (False, None)


def test_on_lasts_until_its_lease_ends(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, on = kind
    lapses: list[tuple[float, str]] = []
    switch = build(opened[0], lambda now_s, name: lapses.append((now_s, name)))
    switch.on(100.0, 102.0)
    assert (switch.is_on(), switch.next_deadline()) == (True, 102.0)
    assert switch.tick(101.999) is False
    assert opened[1].levels(PIN) == [None, off, on]
    assert switch.tick(102.0) is True
    assert switch.tick(103.0) is False
    assert opened[1].levels(PIN) == [None, off, on, off]
    assert lapses == [(102.0, "Main")]
    assert (switch.is_on(), switch.next_deadline()) == (False, None)


def test_a_renewed_lease_lasts_longer(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, on = kind
    switch = build(opened[0], None)
    switch.on(100.0, 102.0)
    assert switch.renew(101.0, 105.0) is True
    assert switch.tick(104.9) is False
    assert switch.tick(105.0) is True
    assert opened[1].levels(PIN) == [None, off, on, off]


@pytest.mark.parametrize("now_s", [102.0, 102.001, 5000.0])
def test_a_lease_that_ran_out_is_not_renewed(
    opened: tuple[Pins, Any], kind: tuple[Build, float, float], now_s: float
) -> None:
    build, off, on = kind
    switch = build(opened[0], None)
    switch.on(100.0, 102.0)
    assert switch.renew(now_s, now_s + 1.0) is False
    assert switch.tick(now_s) is True
    assert opened[1].levels(PIN) == [None, off, on, off]


def test_renew_never_switches_on(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, on = kind
    switch = build(opened[0], None)
    assert switch.renew(100.0, 101.0) is False
    switch.on(100.0, 102.0)
    switch.off()
    assert switch.renew(100.5, 103.0) is False
    assert opened[1].levels(PIN) == [None, off, on, off]


def test_off_is_no_lapse(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    lapses: list[tuple[float, str]] = []
    switch = kind[0](opened[0], lambda now_s, name: lapses.append((now_s, name)))
    switch.on(100.0, 102.0)
    switch.off()
    switch.off()
    assert switch.tick(200.0) is False
    assert lapses == []


def test_it_can_be_switched_on_again_after_a_lapse(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, on = kind
    switch = build(opened[0], None)
    switch.on(100.0, 102.0)
    switch.tick(103.0)
    switch.on(104.0, 105.0)
    assert opened[1].levels(PIN) == [None, off, on, off, on]


@pytest.mark.parametrize("lease_s", [0.0, -1.0, 10.0001, float("inf"), float("nan")])
def test_a_lease_that_could_be_a_latch_is_refused(
    opened: tuple[Pins, Any], kind: tuple[Build, float, float], lease_s: float
) -> None:
    build, off, _on = kind
    switch = build(opened[0], None)
    shown = f"{100.0 + lease_s - 100.0:g}"
    for command in (switch.on, switch.renew):
        with pytest.raises(DeviceError) as caught:
            command(100.0, 100.0 + lease_s)
        assert str(caught.value) == (
            f"The lease of Main is {shown} s. It must be above 0 s and at most 10 s: "
            "a motor's 'on' is renewed, never left on."
        )
    assert opened[1].levels(PIN) == [None, off]


def test_close_is_off_for_good(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    build, off, on = kind
    switch = build(opened[0], None)
    switch.on(100.0, 102.0)
    switch.close()
    switch.close()
    switch.off()
    with pytest.raises(DeviceError) as caught:
        switch.on(101.0, 102.0)
    assert str(caught.value) == "The switch of Main is closed and cannot be switched on any more."
    assert opened[1].levels(PIN) == [None, off, on, off]


def test_it_says_what_it_does_when_the_board_dies(opened: tuple[Pins, Any], kind: tuple[Build, float, float]) -> None:
    fate = kind[0](opened[0], None).fate
    assert fate.when_board_dies is BoardDeath.DROPS
    assert fate.in_words == "When the board loses power the relay drops and the contactor opens at once."


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
