"""The moving parts of a virtual shop: a gate's slide, and a motor behind its contactor.

Each part is worked out in straight lines from its last change, so it is exact at any instant and costs nothing in
between. Times are seconds on the shop's clock and never go back. Nothing here knows a pin.
"""

import math
from dataclasses import dataclass, replace

from gatekeeper.devices.pins import SERVO_FRAME_HZ
from gatekeeper.shop.model import BoardDeath, Coil, Gate, GateEnd, Motor, Servo
from sim.currents import Load, Stint, speed_at
from sim.faults import SLOW_TIMES, GateFault, MotorFault

#: A gate arrives a little before the travel time of the shop's file, as an installer leaves it. Our own assumption.
TRAVEL_SHARE = 0.9
#: Positions closer together than this are the same: rounding.
_ROUNDING = 1e-6
#: How long a person takes to push a hand gate from end to end. Our own assumption.
HAND_TRAVEL_S = 0.8
#: A position switch is made within this share of the travel from its end. Our own assumption.
SWITCH_AT = 0.02
#: A contactor lets go within this share of the release time of the shop's file. Our own assumption.
RELEASE_SHARE = 0.2
#: Pulses outside of these are none: a line that is low or high throughout.
LEAST_DUTY, MOST_DUTY = 0.01, 0.2


@dataclass(frozen=True, slots=True)
class GateNow:
    """One gate: its slide from 0 (shut) to 1 (open), and whether something pulls at it."""

    position: float
    is_driven: bool


@dataclass(frozen=True, slots=True)
class MotorNow:
    """One motor: whether current flows, its speed from 0 to 1, and whether an air switch on its duct would be made.

    ``top``: the speed that its drive is told, 1 for a motor of one speed.
    """

    has_power: bool
    speed: float
    air_moves: bool
    top: float = 1.0


def servo_target(servo: Servo, level: float | None) -> float | None:
    """Where the pulses on a line send a servo, 0 (shut) to 1 (open), or None while there are none."""
    if level is None or not LEAST_DUTY <= level <= MOST_DUTY:
        return None
    share = (level / SERVO_FRAME_HZ - servo.shut_pulse_s) / (servo.open_pulse_s - servo.shut_pulse_s)
    return min(1.0, max(0.0, share))


def coil_target(coil: Coil, level: float | None) -> float:
    """Where coil and spring send a gate, 0 (shut) to 1 (open); a line that nobody drives leaves the coil off."""
    is_on = level is not None and (level > 0.5) is not coil.output.active_low
    return float((coil.holds is GateEnd.OPEN) is is_on)


class Slide:
    """A gate's slide: where it stands and where it is driven.

    Args:
        gate: the gate; it begins shut, or at its spring's end.
        now_s: the instant it is made.
    """

    def __init__(self, gate: Gate, now_s: float) -> None:
        self.gate = gate
        self.position = 0.0
        self.fault: GateFault | None = None
        self.has_power = True
        self._target: float | None = None
        if gate.coil is not None:
            self._target = self.position = coil_target(gate.coil, None)
        self._at_s = now_s
        self._travel_s = gate.travel_s * TRAVEL_SHARE if gate.is_actuated else HAND_TRAVEL_S

    @property
    def is_driven(self) -> bool:
        """Something pulls at it and it is not there yet."""
        return self._goes_to is not None and self._goes_to != self.position

    @property
    def is_moving(self) -> bool:
        """It is on its way: driven, and nothing keeps it from going."""
        return self.is_driven and self._can_move

    @property
    def is_open(self) -> bool:
        """It stands where a position switch at its open end is made."""
        return self.position >= 1.0 - SWITCH_AT - _ROUNDING

    @property
    def is_shut(self) -> bool:
        """It stands where a position switch at its shut end is made."""
        return self.position <= SWITCH_AT + _ROUNDING

    @property
    def open_area_m2(self) -> float:
        """The area that air passes now."""
        return self.position * self.gate.area_m2

    def drive(self, now_s: float, target: float | None) -> None:
        """Drive it from now on to a place, or let it stand (None)."""
        self.settle(now_s)
        self._target = target

    def push(self, now_s: float, to: float) -> None:
        """Somebody moves it by hand to a place from 0 to 1, whatever drives it."""
        self.settle(now_s)
        self._travel_s = HAND_TRAVEL_S
        self._target = 1.0 - to if self.fault is GateFault.REVERSED else to

    def settle(self, now_s: float) -> None:
        """Work out where it stands now."""
        passed_s, self._at_s = max(0.0, now_s - self._at_s), max(now_s, self._at_s)
        to = self._goes_to
        if to is None or to == self.position or not self._can_move:
            return
        way, passed = to - self.position, passed_s / self._whole_travel_s
        self.position = to if passed >= abs(way) - _ROUNDING else self.position + math.copysign(passed, way)

    def next_change_s(self) -> float:
        """When it next leaves an end, or comes to one where a switch is made; infinite while it stands."""
        to = self._goes_to
        if to is None or to == self.position or not self._can_move:
            return math.inf
        # An end has been left only a little beyond the place where its switch is made.
        if to > self.position:
            marks = (SWITCH_AT + 2 * _ROUNDING, 1.0 - SWITCH_AT)
            ahead = [mark for mark in marks if self.position + _ROUNDING < mark <= to]
        else:
            marks = (1.0 - SWITCH_AT - 2 * _ROUNDING, SWITCH_AT)
            ahead = [mark for mark in marks if to <= mark < self.position - _ROUNDING]
        # Beyond the last mark nothing changes any more but a stop half way.
        mark = ahead[0] if ahead else to
        if not ahead and (to >= 1.0 - SWITCH_AT or to <= SWITCH_AT):
            return math.inf
        return self._at_s + abs(mark - self.position) * self._whole_travel_s

    def set_travel_share(self, share: float) -> None:
        """Let its moves take this share of the travel time of the shop's file, above 0: friction differs by move."""
        self._travel_s = self.gate.travel_s * share if self.gate.is_actuated else HAND_TRAVEL_S

    @property
    def _goes_to(self) -> float | None:
        if self._target is None:
            return None
        return 1.0 - self._target if self.fault is GateFault.REVERSED else self._target

    @property
    def _can_move(self) -> bool:
        return self.has_power and self.fault is not GateFault.JAMMED

    @property
    def _whole_travel_s(self) -> float:
        return self._travel_s * (SLOW_TIMES if self.fault is GateFault.SLOW else 1.0)


def word_of(slide: Slide) -> str:
    """Where a gate stands, for tracks: open, shut, moving, or between."""
    if slide.is_open:
        return "open"
    if slide.is_shut:
        return "shut"
    return "moving" if slide.is_moving else "between"


class Drive:
    """A motor behind its contactor: the relay that the board switches, a Hand-Off-Auto switch, and the rotor.

    Args:
        motor: the motor.
        load: what it draws.
        now_s: the instant it is made; everything is off and still.
    """

    def __init__(self, motor: Motor, load: Load, now_s: float) -> None:
        self.motor = motor
        self.load = load
        self.relay = False
        self.selector = "auto"
        self.fault: MotorFault | None = None
        self.is_supplied = True
        self.is_closed = False
        self.speed = 0.0
        #: The share of full speed at which it turns while it has power; below 1 only on a variable-frequency drive.
        self.top = 1.0
        self.stint: Stint | None = None
        later = motor.switch.board_death is BoardDeath.DROPS_LATER and motor.switch.drive is None
        self._release_s = max(0.0, motor.release_s - (motor.switch.death_after_s if later else 0.0))
        self._at_s = now_s
        self._opens_s = math.inf
        self._drops_s = math.inf

    @property
    def has_power(self) -> bool:
        """Current flows: the contactor is closed, its feeder has power and nothing keeps the motor from running."""
        return self.is_closed and self.is_supplied and self.fault is not MotorFault.DOES_NOT_START

    def switch(self, now_s: float, on: bool) -> None:
        """The board drives the relay."""
        self.settle(now_s)
        if on:
            self.relay, self._drops_s = True, math.inf
        elif self.motor.switch.drive is not None:
            self.relay, self._drops_s = False, math.inf  # at the word; only without one after its own time
        else:
            self._let_go(now_s)
        self.judge(now_s)

    def set_top(self, now_s: float, share: float) -> None:
        """A variable-frequency drive is told another speed, as a share of full speed; its ramps are alike both ways."""
        self.settle(now_s)
        self.top = share

    def pulse(self, now_s: float) -> None:
        """The line of a relay that needs steady pulses turns: it holds for its own time from now."""
        self.settle(now_s)
        self.relay, self._drops_s = True, now_s + self.motor.switch.death_after_s
        self.judge(now_s)

    def select(self, now_s: float, where: str) -> None:
        """Somebody turns the Hand-Off-Auto switch to ``hand``, ``off`` or ``auto``."""
        self.settle(now_s)
        self.selector = where
        self.judge(now_s)

    def board_dies(self, now_s: float) -> None:
        """The board has lost its power: the relay does what its wiring does."""
        self.settle(now_s)
        if self.motor.switch.board_death is not BoardDeath.STAYS:
            self._let_go(now_s)
        self.judge(now_s)

    def _let_go(self, now_s: float) -> None:
        """The board lets go of the relay: it drops at once, or at its timer's end, whyever the board did."""
        if self.motor.switch.board_death is not BoardDeath.DROPS_LATER:
            self.relay, self._drops_s = False, math.inf
        elif self.relay:
            self._drops_s = min(self._drops_s, now_s + self.motor.switch.death_after_s)

    def judge(self, now_s: float) -> None:
        """Let the contactor follow its coil. Called after everything that may change it."""
        wants = self.selector == "hand" or (self.selector == "auto" and self.relay) or self.fault is MotorFault.BY_HAND
        if wants:
            self._opens_s = math.inf
            self.is_closed = True
        elif self.is_closed and self.fault is not MotorFault.WELDED:
            self._opens_s = min(self._opens_s, now_s + RELEASE_SHARE * self._release_s)
        else:
            self._opens_s = math.inf
        self.settle(now_s)
        self._note_power(now_s)

    def supply(self, now_s: float, on: bool) -> None:
        """Its feeder has power, or has lost it."""
        self.settle(now_s)
        self.is_supplied = on
        self.judge(now_s)

    def next_change_s(self) -> float:
        """When its relay or contactor next opens by itself, or it reaches full speed or standstill."""
        turns_s = math.inf
        if self.has_power:
            if self.speed != self.top:
                turns_s = self._at_s + abs(self.top - self.speed) * self.motor.spin_up_s
        elif self.speed > 0.0:
            turns_s = self._at_s + self.speed * self.motor.coast_s
        return min(self._drops_s, self._opens_s, turns_s)

    def settle(self, now_s: float) -> None:
        """Work out what has happened until now."""
        while (due_s := min(self._drops_s, self._opens_s)) <= now_s:
            self._turn(due_s)
            if self._drops_s <= due_s:
                self._drops_s, self.relay = math.inf, False
                self.judge(due_s)
            else:
                self._opens_s, self.is_closed = math.inf, False
                self._note_power(due_s)
        self._turn(now_s)

    def _turn(self, now_s: float) -> None:
        passed_s, self._at_s = max(0.0, now_s - self._at_s), max(now_s, self._at_s)
        if self.has_power:
            if self.speed <= self.top:
                self.speed = _up_to(self.top, self.speed, passed_s, self.motor.spin_up_s)
            else:
                self.speed = 1.0 - _up_to(1.0 - self.top, 1.0 - self.speed, passed_s, self.motor.spin_up_s)
                self.speed = self.top if self.speed - self.top < _ROUNDING else self.speed
        else:
            self.speed = 1.0 - _up_to(1.0, 1.0 - self.speed, passed_s, self.motor.coast_s)

    def _note_power(self, now_s: float) -> None:
        flows = self.stint is not None and math.isinf(self.stint.off_s)
        if self.has_power and not flows:
            self.stint = Stint(now_s, speed=speed_at(self.load, self.stint, now_s))
        elif flows and not self.has_power and self.stint is not None:
            self.stint = replace(self.stint, off_s=now_s)


def _up_to(top: float, now: float, passed_s: float, whole_s: float) -> float:
    """A straight rise from 0 to ``top`` in ``whole_s``, at once where that is 0; rounding never keeps it just below."""
    if whole_s <= 0.0:
        return top
    reached = now + passed_s / whole_s
    return top if reached >= top - _ROUNDING else reached
