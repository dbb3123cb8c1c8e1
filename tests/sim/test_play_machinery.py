"""Gates, motors and tools as a play moves them, and what the core is told of it."""

import pytest
from play_shop import Heard, cut, stage

from sim.happening import Happening, What
from sim.parts import Slide
from sim.signal_plant import LEAST_SHARE, MOST_SHARE


def test_a_cut_opens_its_gate_starts_the_fan_and_lets_it_go_after_its_delay() -> None:
    heard = Heard([*cut("saw", 30.0, 60.0)])
    heard.game.run(120.0)

    seen_s = heard.when("tool", "saw", "running", 30.0)
    assert seen_s == pytest.approx(30.04)  # two mains cycles
    on_s = heard.when("motor_command", "fan", "on")
    assert on_s == pytest.approx(32.04)  # two seconds after the saw's own inrush (C22); its gate was open by then
    assert heard.when("switch", "saw gate", "open") < on_s
    off_s = heard.when("motor_command", "fan", "off", 30.0)
    # The stop is seen after the detector's hold of 0.5 s and a cycle; then the delay of 20 s.
    assert off_s == pytest.approx(60.52 + 20.0)
    assert heard.when("motor_seen", "fan", "running") == pytest.approx(on_s + 0.04)


def test_a_gate_takes_its_friction_share_of_the_travel_and_its_switch_says_so() -> None:
    travels = set()
    for seed in range(5):
        heard = Heard(cut("planer", 10.0, 20.0), seed=seed, truth=True)
        heard.game.run(30.0)
        told_s = heard.when("gate_command", "planer gate", "open")
        left = [e for e in heard.entries("truth_gate", "planer gate") if e.t_s > told_s]
        assert left[0].value == 0.02
        assert left[1].value == 0.98
        travels.add(round((left[1].t_s - told_s) / 0.98 / 2.0, 3))

    assert len(travels) > 1
    assert all(LEAST_SHARE - 0.001 <= share <= MOST_SHARE + 0.001 for share in travels)


def test_the_truth_stands_beside_the_record_in_one_order() -> None:
    heard = Heard(cut("saw", 10.0, 30.0), truth=True)
    heard.game.run(100.0)

    assert [e.seq for e in heard.record] == list(range(1, len(heard.record) + 1))
    assert heard.words("truth_tool", "saw") == [pytest.approx(5.5, abs=3.0), 0.0]
    speeds = heard.words("truth_motor", "fan")
    assert speeds[0] == 0.0
    assert max(speeds) == 1.0  # type: ignore[type-var]
    assert speeds[-1] == 0.0
    flows = heard.words("truth_air", "main")
    assert max(flows) > 0.2  # type: ignore[type-var, operator]
    assert flows[-1] == 0.0


def test_without_truth_the_record_is_the_cores_alone() -> None:
    heard = Heard(cut("saw", 10.0, 30.0))
    heard.game.run(100.0)

    assert not [e for e in heard.record if e.kind.startswith("truth_")]


def test_the_same_seed_gives_the_same_record_and_another_one_another() -> None:
    def record(seed: int) -> list[object]:
        heard = Heard([*cut("saw", 10.0, 30.0), *cut("planer", 35.0, 50.0)], seed=seed)
        heard.game.run(120.0)
        return [e.as_json() for e in heard.record]

    assert record(3) == record(3)
    assert record(3) != record(4)


def test_a_person_pushes_a_gate_and_its_switch_says_so() -> None:
    heard = Heard([Happening(20.0, What.MOVE_BY_HAND, "saw gate", 0.5)])
    heard.game.run(19.0)
    assert heard.game.plant.slides["saw gate"].is_open  # the parked path
    heard.game.run(30.0)

    assert heard.when("switch", "saw gate", "between", 20.0) < 20.2
    # The path at rest was lost, so a gate is opened again (C7).
    assert heard.when("gate_command", "saw gate", "open", 20.0) > 20.0
    assert heard.game.plant.slides["saw gate"].is_open


def test_buttons_inputs_and_selectors_reach_the_core() -> None:
    heard = Heard(
        [
            Happening(10.0, What.PRESS, "here"),
            Happening(40.0, What.INPUT, "red button", True),
            Happening(50.0, What.INPUT, "red button", False),
        ]
    )
    heard.game.run(60.0)

    assert [e.value["who"] for e in heard.entries("request")] == ["button"]
    assert heard.when("motor_command", "fan", "on") > 10.0
    assert heard.words("emergency", "red button") == ["made", "open", "made"]
    assert heard.when("motor_command", "fan", "off", 40.0) == pytest.approx(40.005, abs=0.002)


@pytest.mark.parametrize(
    ("happening", "sentence"),
    [
        (Happening(1.0, What.TOOL_ON, "lathe"), "This shop has no tool called lathe. It has: saw, planer."),
        (Happening(1.0, What.PRESS, "red button"), "This shop has no button called red button. It has: here."),
        (
            Happening(1.0, What.INPUT, "here", True),
            "This shop has no red button, fire detector or door called here. It has: red button.",
        ),
        (Happening(1.0, What.REQUEST, None, "run"), "This happening wants a Requested, not 'run'."),
        (
            Happening(1.0, What.HAND_SWITCH, "selector", "hand"),
            "This shop has no Hand-Off-Auto switch called selector. It has: none.",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_with_a_sentence(happening: Happening, sentence: str) -> None:
    heard = Heard([happening])

    with pytest.raises(ValueError, match=sentence.replace(".", r"\.")):
        heard.game.run(2.0)


def test_a_slide_that_is_all_but_there_is_there() -> None:
    """The sum of two stretches of a move may miss its end by rounding; no play may wait for the rest for ever."""
    for pieces in range(1, 40):
        slide = Slide(stage().shop.gates["saw gate"], 0.0)
        slide.drive(1e6, 1.0)
        for piece in range(1, pieces + 1):
            slide.settle(1e6 + piece * 1.8 / pieces)
        assert slide.position == 1.0
        assert slide.next_change_s() == float("inf")
