"""The walk: the right clamp is found, the trip has its margins, and where no trip is honest the reason is said."""

import math
from collections.abc import Callable

import pytest

from gatekeeper.sensing.calibration import Calibration, Place, Proposal, Step, rounded
from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.seen import Block
from gatekeeper.shop.clamps import NOISE_STEPS
from sim.currents import Load, LoadKind, Stint
from sim.wires import Chain, Change, Machine, Mains, wire_codes

RATE_HZ = 1000.0
BLOCK_S = 0.06


def front(range_a: float = 30.0, bits: int = 12) -> FrontEnd:
    return FrontEnd(volts_per_a=1.65 / (range_a * math.sqrt(2)), bits=bits)


class Walk:
    """Several wires and one person who does what the prompt says, after a moment."""

    def __init__(self, machine: Callable[[Stint | None], list[Machine]], *, true: Place = ("adc", 1), **more) -> None:
        self.fronts = more.get("fronts") or {("adc", k): front() for k in range(3)}
        self.machine, self.true = machine, true
        self.others: dict[Place, list[Machine]] = more.get("others", {})
        self.mains = more.get("mains", Mains())
        self.obeys_off = more.get("obeys_off", True)
        self.obeys_on = more.get("obeys_on", True)
        self.cuts = more.get("cuts", 0.0)
        self.walk = Calibration("table saw", self.fronts, ("adc", 1), 50.0)
        self.t_s = 10.0
        self.on_s = self.off_s = math.inf
        self.cut: Change | None = None
        self.steps: list[Step] = [self.walk.step]

    def run(self, most_s: float = 300.0) -> Calibration:
        """Each wire is sampled for the whole walk anew at every change, so that its phase runs on."""
        end_s = self.t_s + most_s
        while self.walk.step not in (Step.DONE, Step.REFUSED) and self.t_s < end_s:
            self._obey()
            for place, wired in self.fronts.items():
                wires = list(self.others.get(place, []))
                if place == self.true:
                    stint = None if math.isinf(self.on_s) else Stint(self.on_s, self.off_s)
                    wires += self.machine(stint)
                    if self.cut is not None:
                        wires = [Machine(w.load, w.stint, (*w.changes, self.cut)) for w in wires]
                chain = Chain(RATE_HZ, wired, corner_hz=0.0)
                seed = round(self.t_s * 1000) + place[1]
                codes = wire_codes(wires, BLOCK_S, chain, self.mains, start_s=self.t_s, seed=seed)
                self.walk.feed(place, Block(self.t_s, RATE_HZ, codes))
            self.t_s += BLOCK_S
            if self.walk.step is not self.steps[-1]:
                self.steps.append(self.walk.step)
        return self.walk

    def _obey(self) -> None:
        match self.walk.step:
            case Step.ON if math.isinf(self.on_s) and self.obeys_on:
                self.on_s = self.t_s + 0.7
            case Step.CUT if self.cuts and self.cut is None:
                self.cut = Change(self.t_s + 0.5, self.cuts)
            case Step.CUT if not self.cuts:
                self.walk.go_on()
            case Step.CUT if self.cut is not None and self.t_s > self.cut.at_s + 2.0:
                self.walk.go_on()
            case Step.OFF if math.isinf(self.off_s) and self.obeys_off:
                self.off_s = self.t_s + 0.7


def plain(kind: LoadKind, running_a: float, standby_a: float = 0.0):
    return lambda stint: [Machine(Load(kind, running_a, standby_a=standby_a), stint)]


def proposed(walk: Calibration) -> Proposal:
    assert walk.step is Step.DONE, walk.prompt
    assert walk.proposal is not None
    return walk.proposal


@pytest.mark.parametrize("kind", [LoadKind.INDUCTION, LoadKind.UNIVERSAL, LoadKind.SOFT_START, LoadKind.HALF_WAVE])
def test_a_plain_machine_is_found_measured_and_given_a_trip(kind: LoadKind) -> None:
    person = Walk(plain(kind, 4.0))
    found = proposed(person.run())

    assert person.steps == [Step.REST, Step.ON, Step.FREE, Step.CUT, Step.OFF, Step.DONE]
    assert (found.place, found.is_swapped) == (("adc", 1), False)
    shown_a = 4.0 * math.sqrt(1 - 4 / math.pi**2) if kind is LoadKind.HALF_WAVE else 4.0
    assert found.idle_a == pytest.approx(shown_a, rel=0.03)
    assert found.running_a == pytest.approx(found.idle_a, rel=0.03)
    assert found.standby_a == 0.0
    lowest_a, highest_a = 4 * NOISE_STEPS * front().a_per_code, 0.6 * shown_a
    assert found.trip_a == pytest.approx(math.sqrt(lowest_a * highest_a), rel=0.06)


def test_the_sentences_say_what_was_measured_and_what_margin_there_is() -> None:
    walk = Walk(plain(LoadKind.HEATER, 4.0), cuts=2.0).run()

    assert proposed(walk).sentences == (
        "Off it draws nothing; the converter's noise is 0.016 A.",
        "Running free it draws 4.00 A, at most 8.00 A was seen.",
        "Trip: 0.39 A. That is 24.9 times what is there when it is off, and running free is 10.3 times the trip.",
    )
    assert walk.prompt == "Done."


def test_every_step_says_what_to_do() -> None:
    walk = Calibration("table saw", {("adc", 1): front()}, ("adc", 1), 50.0)
    said = []
    for step in Step:
        walk.step = step
        said.append(walk.prompt)
    assert said == [
        "Leave table saw off, and switch nothing else on.",
        "Switch table saw on now.",
        "Table saw is seen. Let it run free for a few seconds.",
        "Cut with it for a few seconds, or go on without.",
        "Switch table saw off.",
        "Done.",
        "",
    ]


@pytest.mark.parametrize("true", [("adc", 0), ("adc", 2), ("second", 1)])
def test_a_swapped_wire_is_found_wherever_it_is(true: Place) -> None:
    fronts = {("adc", k): front() for k in range(3)} | {("second", 1): front(bits=10)}
    found = proposed(Walk(plain(LoadKind.INDUCTION, 4.0), true=true, fronts=fronts).run())

    assert (found.place, found.is_swapped) == (true, True)


def test_standby_before_and_after_the_run_is_under_half_of_the_trip() -> None:
    """A drive that draws 0.1 A before its first run and 0.5 A after it, with its capacitors warm."""

    def drive(stint: Stint | None) -> list[Machine]:
        warm = Machine(Load(LoadKind.ELECTRONICS, 0.5), Stint(stint.on_s)) if stint else None
        return [Machine(Load(LoadKind.ELECTRONICS, 0.1), Stint(0.0)), Machine(Load(LoadKind.HEATER, 4.0), stint)] + (
            [warm] if warm else []
        )

    found = proposed(Walk(drive).run())
    assert found.standby_a == pytest.approx(0.6, rel=0.25)
    assert found.trip_a >= 2 * found.rest_a
    assert found.trip_a <= 0.6 * found.idle_a


def test_a_lamp_that_stood_on_the_wire_is_no_machine_and_is_under_the_trip() -> None:
    lamp = {("adc", 1): [Machine(Load(LoadKind.HEATER, 0.45), Stint(0.0))]}
    found = proposed(Walk(plain(LoadKind.UNIVERSAL, 3.0), others=lamp).run())

    assert found.rest_a == pytest.approx(0.45, rel=0.03)
    assert 0.9 <= found.trip_a <= 1.8


def test_another_machine_that_runs_all_the_time_does_not_matter() -> None:
    noisy = {("adc", 2): [Machine(Load(LoadKind.INDUCTION, 9.0), Stint(0.0))]}
    assert proposed(Walk(plain(LoadKind.UNIVERSAL, 3.0), others=noisy).run()).place == ("adc", 1)


def test_a_spike_elsewhere_before_the_start_is_nobodys() -> None:
    """A charger that is plugged in between the prompt and the switch: 30 A for half a cycle on another wire."""
    spike = {("adc", 2): [Machine(Load(LoadKind.HEATER, 30.0), Stint(13.5, 13.501))]}
    person = Walk(plain(LoadKind.UNIVERSAL, 3.0), others=spike)
    found = proposed(person.run())

    assert person.on_s > 13.6
    assert found.place == ("adc", 1)


def test_a_generator_is_no_hindrance() -> None:
    found = proposed(Walk(plain(LoadKind.UNIVERSAL, 3.0), mains=Mains(46.5, hunts_hz=0.5)).run())
    assert found.idle_a == pytest.approx(3.0, rel=0.03)


# ---------------------------------------------------------------- refusals


def refused(person: Walk) -> str:
    walk = person.run()
    assert walk.step is Step.REFUSED
    assert walk.proposal is None
    assert walk.prompt == walk.refusal
    return walk.prompt


def test_a_machine_too_small_for_its_clamp_is_told_how_often_to_loop_the_wire() -> None:
    fronts = {("adc", k): front(100.0, bits=10) for k in range(3)}
    assert refused(Walk(plain(LoadKind.HEATER, 1.2), fronts=fronts)) == (
        "Running free it draws 1.14 A, and this clamp cannot tell 0.84 A from nothing: "
        "lead the wire through it 2 times, or use a larger burden."
    )


def test_a_machine_that_draws_nearly_as_much_when_it_is_off() -> None:
    said = refused(
        Walk(plain(LoadKind.HEATER, 0.9), others={("adc", 1): [Machine(Load(LoadKind.HEATER, 0.4), Stint(0.0))]})
    )
    assert said == (
        "It draws 0.40 A while it is off and 1.23 A running free: too near to tell. "
        "Put the clamp behind what draws when it is off, or use another kind of sensor."
    )


def test_nobody_saw_it_start() -> None:
    assert refused(Walk(plain(LoadKind.HEATER, 4.0), obeys_on=False)) == (
        "No clamp saw table saw start within 90 s. Look at its clamp: one conductor only, plug in its socket."
    )


def test_two_clamps_on_one_wire_are_doubtful() -> None:
    def both(stint: Stint | None) -> list[Machine]:
        return [Machine(Load(LoadKind.INDUCTION, 4.0), stint)]

    person = Walk(both)
    real_obey = person._obey

    def obey() -> None:
        real_obey()
        if not math.isinf(person.on_s):
            person.others = {("adc", 2): both(Stint(person.on_s, person.off_s))}

    person._obey = obey  # type: ignore[method-assign]
    assert refused(person) in {
        f"More than one clamp saw it: channel {a} of adc and channel {b} of adc. "
        "Let nothing else start, and look whose wires they hold."
        for a, b in ((1, 2), (2, 1))
    }


def test_it_stopped_before_it_was_measured() -> None:
    person = Walk(lambda stint: [Machine(Load(LoadKind.HEATER, 4.0), stint and Stint(stint.on_s, stint.on_s + 1.5))])
    assert refused(person) == "Table saw stopped before it was measured. Begin again, and let it run."


def test_it_does_not_stop() -> None:
    assert refused(Walk(plain(LoadKind.HEATER, 4.0), obeys_off=False)) == (
        "Its current did not fall within 90 s. If table saw is off, something else draws on that wire: "
        "put the clamp on the machine's own."
    )


def test_a_clamp_too_small_for_the_machine() -> None:
    fronts = {("adc", k): front(3.0) for k in range(3)}
    assert refused(Walk(plain(LoadKind.HEATER, 3.6), fronts=fronts)) == (
        "The clamp cannot be believed. The current is beyond the sensor's range: "
        "fit a smaller burden resistor or a larger clamp."
    )


def test_a_dead_board_is_said_at_once_and_a_dead_clamp_when_it_is_missed() -> None:
    walk = Calibration("table saw", {("adc", 0): front(), ("adc", 1): front()}, ("adc", 1), 50.0)
    dead, quiet = [0] * 1000, wire_codes([], 1.0, Chain(RATE_HZ, front()))
    for k in range(5):
        walk.feed(("adc", 0), Block(float(k), RATE_HZ, dead))
        walk.feed(("adc", 1), Block(float(k), RATE_HZ, dead))
    assert walk.prompt == (
        "The clamp cannot be believed. The reading does not move at all: look at the sensor's plug and the converter."
    )
    walk = Calibration("table saw", {("adc", 0): front(), ("adc", 1): front()}, ("adc", 1), 50.0)
    for k in range(100):
        walk.feed(("adc", 0), Block(float(k), RATE_HZ, quiet))
        walk.feed(("adc", 1), Block(float(k), RATE_HZ, dead))
    assert walk.prompt == (
        "No clamp saw table saw start within 90 s. "
        "The reading does not move at all: look at the sensor's plug and the converter."
    )


def test_a_trip_is_rounded_but_never_out_of_its_limits() -> None:
    assert rounded(0.3946, 0.1, 1.0) == 0.39
    assert rounded(0.3946, 0.391, 0.399) == 0.395
    assert rounded(0.39461, 0.3946, 0.39462) == 0.39461
