"""A slide and a motor behind its contactor, worked out at any instant."""

from dataclasses import replace

import pytest
from plant_rig import example_shop

from gatekeeper.shop.model import BoardDeath, Coil, GateEnd, MotorSwitch, Output, Servo
from sim.faults import GateFault, MotorFault
from sim.loads import load_of_motor
from sim.parts import Drive, Slide, coil_target, servo_target

GARAGE = example_shop("garage-one-collector")
SHED = example_shop("long-narrow")


def slide() -> Slide:
    return Slide(GARAGE.gates["saw gate"], 10.0)  # 1.5 s of travel in the file, 1.35 s in the slide


def drive(death: BoardDeath = BoardDeath.DROPS, after_s: float = 0.0) -> Drive:
    switch = MotorSwitch(Output(17), death, after_s, True)
    motor = replace(GARAGE.motors["collector"], switch=switch, release_s=1.0 + after_s)
    return Drive(motor, load_of_motor(motor), 10.0)


@pytest.mark.parametrize(
    ("level", "target"),
    [(None, None), (0.0, None), (1.0, None), (0.1, 1.0), (0.05, 0.0), (0.075, 0.5), (0.12, 1.0), (0.03, 0.0)],
)
def test_pulses_are_a_place_and_no_pulses_are_none(level: float | None, target: float | None) -> None:
    found = servo_target(Servo(12, open_pulse_s=0.002, shut_pulse_s=0.001), level)

    assert found == (None if target is None else pytest.approx(target))


def test_a_servo_the_other_way_round_opens_with_the_shorter_pulse() -> None:
    assert servo_target(Servo(12, open_pulse_s=0.001, shut_pulse_s=0.002), 0.05) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("holds", "active_low", "level", "target"),
    [
        (GateEnd.OPEN, False, 1.0, 1.0),
        (GateEnd.OPEN, False, 0.0, 0.0),
        (GateEnd.OPEN, False, None, 0.0),
        (GateEnd.SHUT, False, 1.0, 0.0),
        (GateEnd.SHUT, False, 0.0, 1.0),
        (GateEnd.SHUT, True, 0.0, 0.0),
        (GateEnd.SHUT, True, 1.0, 1.0),
        (GateEnd.SHUT, True, None, 1.0),
    ],
)
def test_a_coil_pulls_while_it_is_on_and_its_spring_otherwise(
    holds: GateEnd, active_low: bool, level: float | None, target: float
) -> None:
    assert coil_target(Coil(Output(16, active_low), holds), level) == target


@pytest.mark.parametrize(("holds", "stands"), [(GateEnd.OPEN, 0.0), (GateEnd.SHUT, 1.0)])
def test_a_gate_with_a_spring_begins_at_its_springs_end(holds: GateEnd, stands: float) -> None:
    gate = Slide(replace(SHED.gates["planer gate"], coil=Coil(Output(16), holds)), 0.0)
    gate.settle(60.0)

    assert (gate.position, gate.is_driven) == (stands, False)


def test_a_slide_moves_in_a_straight_line_and_stays_at_its_end() -> None:
    gate = slide()
    gate.drive(10.0, 1.0)
    gate.settle(10.675)
    assert gate.position == pytest.approx(0.5)
    assert gate.is_driven
    gate.settle(20.0)
    assert gate.position == 1.0
    assert gate.is_open
    assert not gate.is_driven


def test_a_slide_that_nothing_drives_stays_where_it_is() -> None:
    gate = slide()
    gate.drive(10.0, 1.0)
    gate.drive(10.27, None)
    gate.settle(20.0)
    assert gate.position == pytest.approx(0.2)
    assert not gate.is_open
    assert not gate.is_shut


def test_a_reversal_counts_from_where_it_stood() -> None:
    gate = slide()
    gate.drive(10.0, 1.0)
    gate.drive(10.54, 0.0)
    gate.settle(10.81)
    assert gate.position == pytest.approx(0.2)


def test_a_jam_holds_it_and_a_slow_one_takes_three_times_as_long() -> None:
    gate = slide()
    gate.drive(10.0, 1.0)
    gate.settle(10.27)
    gate.fault = GateFault.JAMMED
    gate.settle(12.0)
    assert gate.position == pytest.approx(0.2)
    gate.fault = GateFault.SLOW
    gate.settle(12.81)
    assert gate.position == pytest.approx(0.4)


def test_a_hand_gate_moves_in_the_time_of_a_hand() -> None:
    gate = Slide(SHED.gates["lathe gate"], 0.0)
    gate.drive(0.0, 1.0)
    gate.settle(0.4)
    assert gate.position == pytest.approx(0.5)


def test_a_fan_spins_up_and_coasts_as_the_file_says() -> None:
    fan = drive()  # 3 s up, 14 s down, 1 s of release of which the contactor takes a fifth
    fan.switch(10.0, True)
    fan.settle(11.5)
    assert fan.speed == pytest.approx(0.5)
    fan.settle(20.0)
    assert fan.speed == 1.0
    fan.switch(20.0, False)
    assert fan.has_power
    fan.settle(20.3)
    assert not fan.has_power
    fan.settle(27.2)
    assert fan.speed == pytest.approx(0.5)
    assert fan.stint is not None
    assert (fan.stint.on_s, fan.stint.off_s) == (10.0, pytest.approx(20.2))


def test_power_that_is_back_within_the_release_is_one_run() -> None:
    fan = drive()
    fan.switch(10.0, True)
    fan.switch(15.0, False)
    fan.switch(15.1, True)
    fan.settle(30.0)
    assert fan.has_power
    assert fan.stint is not None
    assert fan.stint.on_s == 10.0


def test_a_welded_contactor_stays_closed_until_it_is_mended() -> None:
    fan = drive()
    fan.switch(10.0, True)
    fan.fault = MotorFault.WELDED
    fan.switch(15.0, False)
    fan.settle(60.0)
    assert fan.has_power
    fan.fault = None
    fan.judge(60.0)
    fan.settle(61.0)
    assert not fan.has_power


def test_a_motor_that_does_not_start_draws_nothing_and_turns_nothing() -> None:
    fan = drive()
    fan.fault = MotorFault.DOES_NOT_START
    fan.switch(10.0, True)
    fan.settle(20.0)
    assert (fan.is_closed, fan.has_power, fan.speed, fan.stint) == (True, False, 0.0, None)


def test_the_selector_switches_by_wire() -> None:
    fan = drive()
    fan.select(10.0, "hand")
    assert fan.has_power
    fan.switch(12.0, False)
    fan.settle(14.0)
    assert fan.has_power
    fan.switch(14.0, True)
    fan.select(14.0, "off")
    fan.settle(15.0)
    assert not fan.has_power
    fan.select(15.0, "auto")
    assert fan.has_power


@pytest.mark.parametrize(
    ("death", "after_s", "runs_at"),
    [
        (BoardDeath.DROPS, 0.0, {20.1: True, 20.3: False, 99.0: False}),
        (BoardDeath.DROPS_LATER, 5.0, {20.3: True, 25.1: True, 25.3: False, 99.0: False}),
        (BoardDeath.STAYS, 0.0, {20.3: True, 25.3: True, 99.0: True}),
    ],
)
def test_a_dead_board_leaves_the_motor_as_its_wiring_does(
    death: BoardDeath, after_s: float, runs_at: dict[float, bool]
) -> None:
    fan = drive(death, after_s)
    fan.switch(10.0, True)
    fan.board_dies(20.0)
    found = {}
    for t_s in runs_at:
        fan.settle(t_s)
        found[t_s] = fan.has_power
    assert found == runs_at


def test_a_timer_holds_the_relay_at_every_stop_from_the_first_word_on() -> None:
    fan = drive(BoardDeath.DROPS_LATER, 5.0)
    fan.switch(10.0, True)
    fan.switch(20.0, False)
    fan.switch(22.0, False)
    fan.settle(25.1)
    assert fan.has_power
    fan.settle(25.3)
    assert not fan.has_power

    fan.switch(30.0, True)
    fan.switch(40.0, False)
    fan.switch(43.0, True)
    fan.settle(60.0)
    assert fan.has_power


def test_a_board_that_is_back_switches_the_relay_that_stayed() -> None:
    fan = drive(BoardDeath.STAYS)
    fan.switch(10.0, True)
    fan.board_dies(20.0)
    fan.switch(30.0, False)
    fan.settle(31.0)
    assert not fan.has_power
