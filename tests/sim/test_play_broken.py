"""What is broken in a play: each fault of the machinery, as it is put in and taken away."""

import pytest
from play_shop import Heard, cut

from sim.happening import Happening, What
from sim.plant_faults import PlantFault


def broken(at_s: float, fault: PlantFault, subject: str) -> Happening:
    return Happening(at_s, What.FAULT, subject, fault.value)


def mended(at_s: float, fault: PlantFault, subject: str) -> Happening:
    return Happening(at_s, What.MEND, subject, fault.value)


def run(*happenings: Happening, until_s: float = 60.0) -> Heard:
    heard = Heard(happenings)
    heard.game.run(until_s)
    return heard


def test_a_stuck_gate_stands_until_it_is_mended() -> None:
    heard = run(broken(1.0, PlantFault.STUCK_GATE, "planer gate"), *cut("planer", 10.0, 100.0), until_s=40.0)
    assert heard.game.plant.slides["planer gate"].position == 0.0
    heard.game.happen(mended(41.0, PlantFault.STUCK_GATE, "planer gate"))
    heard.game.run(42.0)

    assert heard.game.books.tracks.faults[0].word == "stuck gate: planer gate"
    assert heard.game.played().figures.faults_put == 1


def test_a_slow_gate_takes_three_times_as_long_and_misses_with_its_switch() -> None:
    heard = run(broken(5.0, PlantFault.SLOW_GATE, "saw gate"), *cut("planer", 10.0, 100.0), until_s=30.0)

    # The parked path shuts, since the planer runs; told for 2 s, it needs nearly 6.
    shut_s = heard.when("gate_command", "saw gate", "shut")
    assert heard.when("switch", "saw gate", "between", shut_s) < shut_s + 0.2
    assert heard.entries("miss", "saw gate")[0].t_s == pytest.approx(shut_s + 2.0)
    assert heard.entries("miss", "saw gate")[0].why == "sent shut, seen between"


def test_a_reversed_gate_goes_the_other_way() -> None:
    heard = run(broken(1.0, PlantFault.REVERSED_GATE, "saw gate"), until_s=10.0)

    assert heard.words("gate_command", "saw gate")[0] == "open"
    assert heard.game.plant.slides["saw gate"].position == 0.0
    assert heard.entries("miss", "saw gate")


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (PlantFault.SWITCH_DEAD, ["open", "between"]),
        (PlantFault.SWITCH_SAYS_SHUT, ["open", "shut"]),
        (PlantFault.SWITCH_LOOSE, ["open", "between", "open"]),
    ],
)
def test_position_switches_lie(fault: PlantFault, words: list[str]) -> None:
    heard = run(broken(20.0, fault, "saw gate"), until_s=24.0)

    told = [e.value for e in heard.entries("switch", "saw gate") if e.t_s > 3.0]
    assert told[: len(words)] == words


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (PlantFault.SENSOR_DEAD, ["stale"]),
        (PlantFault.SENSOR_STUCK_ON, ["running"]),
        (PlantFault.SENSOR_SILENT, []),
    ],
)
def test_a_sensor_lies_while_its_tool_stands_and_speaks_true_when_mended(fault: PlantFault, words: list[str]) -> None:
    heard = run(broken(5.0, fault, "saw"), mended(20.0, fault, "saw"), until_s=30.0)

    told = [heard.word(e) for e in heard.entries("tool", "saw") if 1.0 < e.t_s < 20.0]
    assert told == words
    assert heard.words("tool", "saw")[-1] == "stopped"


def test_a_silent_sensor_does_not_see_its_tool() -> None:
    heard = run(broken(5.0, PlantFault.SENSOR_SILENT, "saw"), *cut("saw", 10.0, 20.0))

    assert heard.words("tool", "saw") == ["stopped"]
    assert heard.game.books.tracks.motors["fan"] == []


def test_a_noisy_sensor_comes_and_goes_while_its_tool_runs() -> None:
    heard = run(broken(5.0, PlantFault.SENSOR_NOISY, "saw"), *cut("saw", 10.0, 40.0))

    assert heard.words("tool", "saw").count("running") >= 3


def test_swapped_sensors_see_each_other() -> None:
    heard = run(broken(5.0, PlantFault.SENSORS_SWAPPED, "saw"), *cut("saw", 10.0, 40.0), until_s=20.0)
    assert heard.words("tool", "planer")[-1] == "running"
    assert heard.words("tool", "saw") == ["stopped"]
    heard.game.happen(mended(20.0, PlantFault.SENSORS_SWAPPED, "saw"))
    heard.game.run(30.0)

    assert heard.words("tool", "saw")[-1] == "running"
    assert heard.words("tool", "planer")[-1] == "stopped"


def test_a_lost_converter_loses_every_sensor_on_it() -> None:
    heard = run(broken(5.0, PlantFault.CONVERTER_LOST, "board"), until_s=10.0)

    assert heard.words("tool", "saw")[-1] == "stale"
    assert heard.words("tool", "planer")[-1] == "stale"
    assert heard.words("motor_sensor", "fan") == ["lost"]


def test_contactors_weld_stay_silent_and_are_closed_by_hand() -> None:
    welded = run(broken(20.0, PlantFault.CONTACTOR_WELDED, "fan"), *cut("saw", 10.0, 30.0), until_s=80.0)
    assert welded.game.plant.drives["fan"].has_power
    silent = run(broken(5.0, PlantFault.CONTACTOR_SILENT, "fan"), *cut("saw", 10.0, 30.0))
    assert silent.words("motor_seen", "fan") == ["still"]
    by_hand = run(broken(5.0, PlantFault.MOTOR_BY_HAND, "fan"), until_s=10.0)
    assert by_hand.words("motor_seen", "fan") == ["still", "running"]


def test_a_tripped_motor_has_no_power_until_it_is_put_in_again() -> None:
    heard = run(broken(20.0, PlantFault.MOTOR_TRIPPED, "fan"), *cut("saw", 10.0, 90.0), until_s=22.0)

    assert not heard.game.plant.drives["fan"].has_power
    assert heard.words("motor_seen", "fan")[-1] == "still"


def test_motor_sensors_lie() -> None:
    dead = run(broken(5.0, PlantFault.MOTOR_SENSOR_DEAD, "fan"), until_s=10.0)
    assert dead.words("motor_sensor", "fan") == ["lost"]
    stuck = run(broken(5.0, PlantFault.MOTOR_SENSOR_STUCK_ON, "fan"), until_s=10.0)
    assert stuck.words("motor_seen", "fan") == ["still", "running"]


@pytest.mark.parametrize(
    ("fault", "subject", "sentence"),
    [
        ("melted", "fan", 'There is no fault called "melted". There are: stuck gate, slow gate'),
        ("stuck gate", "door", "This shop has no gate called door. It has: saw gate, planer gate."),
        ("dead position switch", "planer gate", "This shop has no gate with a position switch called planer gate."),
        ("dead air switch", "fan", "This shop has no motor with an air switch called fan. It has: none."),
        ("lost converter", "west", "This shop has no converter called west. It has: board."),
        ("full bin", "saw", "This shop has no collector or tool vacuum called saw. It has: fan."),
    ],
)
def test_what_cannot_break_is_refused_with_a_sentence(fault: str, subject: str, sentence: str) -> None:
    heard = Heard([Happening(1.0, What.FAULT, subject, fault)])

    with pytest.raises(ValueError) as refused:
        heard.game.run(2.0)
    assert str(refused.value).startswith(sentence)
