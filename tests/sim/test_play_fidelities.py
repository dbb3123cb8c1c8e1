"""One story at both fidelities: the same commands in the same order, at the same instants but for steps and sensing."""

import pytest
from play_shop import TEXT, cut, stage

from gatekeeper.control.messages import Entry, Requested
from sim.checker import check_record
from sim.happening import Controller, Happening, What
from sim.play import Fidelity, Game, Played, new_game, play
from sim.sample_game import SampleGame

#: A step of 20 ms, a detector's block, and a mains cycle.
CLOSE_S = 0.15

STORY = [
    *cut("saw", 5.0, 20.0),
    *cut("planer", 12.0, 30.0),
    Happening(31.0, What.FAULT, "planer gate", "stuck gate"),
    Happening(33.0, What.REQUEST, None, Requested("run", "fan", "local", 10.0)),
    Happening(36.0, What.INPUT, "red button", True),
    Happening(37.0, What.INPUT, "red button", False),
    Happening(38.0, What.REQUEST, None, Requested("reset", None, "local")),
    Happening(39.0, What.MEND, "planer gate", "stuck gate"),
]


def told(fidelity: Fidelity) -> tuple[Played, list[Entry]]:
    record: list[Entry] = []
    played = play(stage(TEXT), STORY, until_s=50.0, fidelity=fidelity, watch=record.append, strict=True, truth=True)
    return played, record


@pytest.fixture(scope="module")
def both() -> tuple[tuple[Played, list[Entry]], tuple[Played, list[Entry]]]:
    return told(Fidelity.SIGNALS), told(Fidelity.SAMPLES)


def commands(record: list[Entry]) -> list[tuple[str, object, float]]:
    found = []
    for entry in record:
        if entry.kind in ("gate_command", "motor_command"):
            word = entry.value["what"] if isinstance(entry.value, dict) else entry.value
            if word != "renew":
                found.append((f"{entry.kind} {entry.subject}", word, entry.t_s))
    return found


def test_the_commands_are_the_same_at_nearly_the_same_instants(
    both: tuple[tuple[Played, list[Entry]], tuple[Played, list[Entry]]],
) -> None:
    signals, samples = (commands(record) for _, record in both)

    assert [one[:2] for one in signals] == [one[:2] for one in samples]
    assert [one[2] for one in signals] == [pytest.approx(one[2], abs=CLOSE_S) for one in samples]
    assert len(signals) > 8


def test_the_figures_are_nearly_the_same(
    both: tuple[tuple[Played, list[Entry]], tuple[Played, list[Entry]]],
) -> None:
    signals, samples = (played.figures for played, _ in both)

    for name in ("cuts", "motor_starts", "gate_moves", "cuts_without_air", "faults_put", "messages"):
        assert getattr(signals, name) == getattr(samples, name), name
    for name in ("cut_s", "late_air_s", "noise_s"):
        assert getattr(signals, name) == pytest.approx(getattr(samples, name), abs=2 * CLOSE_S), name
    for name in ("chips_made_kg", "chips_caught_kg", "chips_in_bin_kg"):
        assert getattr(signals, name) == pytest.approx(getattr(samples, name), rel=0.02), name


def test_no_rule_is_broken_at_either(both: tuple[tuple[Played, list[Entry]], tuple[Played, list[Entry]]]) -> None:
    for _, record in both:
        assert check_record([entry.as_json() for entry in record]) == []
        assert {entry.kind for entry in record} >= {"truth_gate", "truth_motor", "truth_tool", "truth_air"}


def test_a_game_of_either_kind_is_held_the_same_way() -> None:
    for fidelity, kind in ((Fidelity.SIGNALS, Game), (Fidelity.SAMPLES, SampleGame)):
        game = new_game(stage(TEXT), fidelity)
        assert isinstance(game, kind)
        game.happen(Happening(5.0, What.REQUEST, None, Requested("run", "fan", "local", 5.0)))
        game.run(6.0)
        assert (game.now_s, [answer.accepted for answer in game.answers]) == (pytest.approx(6.0), [True])
        assert game.figures().hours_s == pytest.approx(6.0)


def test_kill_power_and_plug_at_samples_fidelity() -> None:
    record: list[Entry] = []
    game = SampleGame(stage(TEXT), watch=record.append, strict=True)
    for happening in (
        *cut("saw", 4.0, 30.0),
        Happening(10.0, What.CONTROLLER, None, Controller.KILL),
        Happening(12.0, What.CONTROLLER, None, Controller.START),
        Happening(14.0, What.MAINS, None, False),
        Happening(16.0, What.MAINS, None, True),
        Happening(18.0, What.CONTROLLER, None, Controller.STOP),
        Happening(19.0, What.CONTROLLER, None, Controller.START),
    ):
        game.happen(happening)
    game.run(11.9)
    assert game.plant.motors()["fan"].has_power  # a killed process leaves its lines as they were
    game.run(13.5)
    assert not game.plant.motors()["fan"].has_power
    game.run(22.0)

    assert [(e.run, e.boot) for e in record if e.kind == "wake"] == [
        ("run 1", "boot 1"),
        ("run 2", "boot 1"),
        ("run 3", "boot 2"),
        ("run 4", "boot 2"),
    ]
    assert [e.run for e in record if e.kind in ("kill", "stopped")] == ["run 1", "run 2", "run 3"]
    assert check_record([e.as_json() for e in record]) == []
    assert game.played().figures.tools["saw"].cuts == 2
