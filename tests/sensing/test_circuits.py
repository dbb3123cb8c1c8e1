"""One sensor, several tools: told apart where the bands allow, all of them running where they do not."""

import pytest

from gatekeeper.sensing.circuits import CircuitSensor, ToolBand, confusions, current_range_a
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.seen import Block

SAW = ToolBand("saw", 6.0, 9.0)
SANDER = ToolBand("sander", 1.5, 2.5)
PLANER = ToolBand("planer", 7.0, 12.0)


class Wire:
    def __init__(self, lab, *bands):
        self.bench = lab.Bench()
        self.circuit = CircuitSensor(CurrentSensor(50), bands)
        self.t_s = 0.0
        self.seen = []
        self.rest(1.0)

    def play(self, seconds, current, noise_a=0.005):
        samples = self.bench.currents(seconds, current, noise_a)
        self.seen += self.circuit.feed(Block(self.t_s, 1600, samples))
        self.t_s += seconds
        return self.story()

    def rest(self, seconds):
        return self.play(seconds, lambda t_s: 0.0)

    def story(self):
        out = [(item.tool, item.seen.state.value, item.seen.reason.value) for item in self.seen]
        self.seen.clear()
        return out


def both(state, reason):
    return [("saw", state, reason), ("sander", state, reason)]


def test_at_a_start_all_gates_open_and_the_settled_current_says_which(lab):
    wire = Wire(lab, SAW, SANDER)
    assert wire.play(0.1, lab.induction_start(2.0)) == both("running", "started")
    assert wire.play(2.0, lab.sine(2.0)) == [("saw", "stopped", "told_apart")]
    assert wire.circuit.running == {"sander"}
    assert wire.rest(1.0) == [("sander", "stopped", "ended")]


def test_a_second_tool_on_top_of_the_first(lab):
    wire = Wire(lab, SAW, SANDER)
    wire.play(2.0, lab.sine(2.0))
    assert wire.play(0.1, lab.sine(30.0)) == [("saw", "running", "started")]
    assert wire.play(2.0, lab.sine(9.5)) == []
    assert wire.circuit.running == {"saw", "sander"}
    assert wire.play(2.0, lab.sine(2.0)) == [("saw", "stopped", "told_apart")]
    assert wire.rest(1.0) == [("sander", "stopped", "ended")]


def test_bands_that_overlap_open_both(lab):
    wire = Wire(lab, SAW, PLANER)
    assert [word for _, word, _ in wire.play(3.0, lab.sine(8.0))] == ["running", "running"]
    assert wire.circuit.running == {"saw", "planer"}
    assert wire.play(2.0, lab.sine(6.4)) == [("planer", "stopped", "told_apart")]


def test_a_current_that_fits_nothing_opens_all(lab):
    wire = Wire(lab, SAW, SANDER)
    assert wire.play(2.0, lab.sine(4.0)) == both("running", "started")
    assert wire.play(2.0, lab.sine(2.0)) == [("saw", "stopped", "told_apart")]


def test_a_lost_sensor_is_lost_for_every_tool_of_the_circuit(lab):
    wire = Wire(lab, SAW, SANDER)
    wire.play(2.0, lab.sine(2.0))
    deadline_s = wire.circuit.next_deadline()
    assert deadline_s == pytest.approx(3.5)
    lost = wire.circuit.tick(3.6)
    assert [(item.tool, item.seen.state.value) for item in lost] == [("saw", "stale"), ("sander", "stale")]
    assert wire.circuit.next_deadline() is None
    wire.t_s = 5.0
    assert wire.play(0.3, lab.sine(2.0)) == both("running", "returned")


def test_ranges_of_sets_and_what_they_confuse():
    assert current_range_a([SAW]) == (6.0, 9.0)
    low_a, high_a = current_range_a([SAW, SANDER])
    # Two currents 60 degrees apart in phase: root of 36 + 2.25 + 9.
    assert low_a == pytest.approx(47.25**0.5)
    assert high_a == pytest.approx(11.5)
    assert confusions([SAW, SANDER]) == [(("saw",), ("saw", "sander"))]
    assert confusions([SANDER, ToolBand("kiln", 20.0, 22.0)]) == [(("kiln",), ("sander", "kiln"))]
    assert confusions([SAW]) == []


@pytest.mark.parametrize(("low_a", "high_a"), [(0.0, 1.0), (2.0, 1.0), (1.0, float("inf")), (float("nan"), 1.0)])
def test_wrong_bands_are_refused(low_a, high_a):
    with pytest.raises(ValueError) as caught:
        ToolBand("saw", low_a, high_a)
    assert str(caught.value) == (
        f"The running current of saw goes from {low_a} A to {high_a} A; "
        "it must start above 0 A and must not end below its start."
    )


def test_wrong_circuits_are_refused():
    with pytest.raises(ValueError, match=r"^The circuit carries 0 tools; 1 to 6 are allowed on one sensor\.$"):
        CircuitSensor(CurrentSensor(50), [])
    with pytest.raises(ValueError, match=r"^The circuit names the same tool twice; each tool is named once\.$"):
        CircuitSensor(CurrentSensor(50), [SAW, SAW])


def test_a_current_that_falls_to_where_nothing_fits_opens_all(lab):
    wire = Wire(lab, SAW, SANDER)
    wire.play(2.0, lab.sine(6.4))
    assert wire.circuit.running == {"saw"}
    assert wire.play(2.0, lab.sine(4.0)) == [("sander", "running", "told_apart")]
