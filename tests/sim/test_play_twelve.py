"""Plays of the example shops: what the small shop of the other tests has not."""

import math
from functools import lru_cache

import pytest
from plant_rig import example_shop
from play_shop import TEXT, Heard, cut, stage

from gatekeeper.control.messages import Entry
from sim.books import most_in_an_hour
from sim.happening import Controller, Happening, What
from sim.play import Game
from sim.room_air import RoomAir
from sim.stage import Stage, stage_of


@lru_cache
def twelve() -> Stage:
    return stage_of(example_shop("shared-twelve"))


def heard(*happenings: Happening, until_s: float = 120.0) -> tuple[Game, list[Entry]]:
    record: list[Entry] = []
    game = Game(twelve(), watch=record.append, strict=True)
    for happening in happenings:
        game.happen(happening)
    game.run(until_s)
    return game, record


def of_tool(record: list[Entry], tool: str, since_s: float) -> list[tuple[float, object]]:
    return [
        (e.t_s, e.value["what"] if isinstance(e.value, dict) else e.value)
        for e in record
        if (e.kind, e.subject) == ("tool", tool) and e.t_s >= since_s
    ]


def test_two_tools_on_one_circuit_run_together_until_their_current_tells_them_apart() -> None:
    game, record = heard(*cut("disc sander", 20.0, 60.0), *cut("belt sander", 30.0, 50.0))

    assert of_tool(record, "disc sander", 1.0) == [(20.04, "running"), (pytest.approx(60.52), "stopped")]
    belt = of_tool(record, "belt sander", 1.0)
    # With the start of the other; not any more once the run-up of 0.8 s and half a steady second are over; and so on.
    assert [word for _, word in belt] == ["running", "stopped", "running", "stopped"]
    assert [t_s for t_s, _ in belt] == pytest.approx([20.04, 21.34, 30.04, 50.5], abs=0.05)
    assert game.plant.runs == dict.fromkeys(game.shop.tools, False)


def test_two_tools_at_one_hood_part_its_air_by_their_needs() -> None:
    sensor = "{converter: board, channel: 2, range: 30 A}"
    text = TEXT.replace("inputs:", f"  small saw: {{gates: saw gate, needs: 400 m3/h, sensor: {sensor}}}\ninputs:")
    alone, together = Heard(cut("saw", 20.0, 80.0), text), Heard([*cut("saw", 20.0, 80.0)], text)
    for happening in cut("small saw", 20.0, 80.0):
        together.game.happen(happening)
    alone.game.run(100.0)
    together.game.run(100.0)

    whole = alone.game.figures().tools["saw"].mean_share
    parts = together.game.figures().tools
    assert whole is not None
    assert parts["saw"].mean_share == pytest.approx(whole * 800 / (800 + 400))
    assert parts["small saw"].mean_share == pytest.approx(whole * 800 / 400 * 400 / (800 + 400))


def test_a_shaker_shakes_the_filter_into_the_bin() -> None:
    game, _ = heard(*cut("thicknesser", 20.0, 320.0), until_s=330.0)
    loaded = game.plant.air.systems["collector"].dust_kg
    assert loaded > 0.01
    game.run(600.0)

    assert game.books.tracks.motors["shaker"]
    assert game.plant.air.systems["collector"].dust_kg == pytest.approx(0.2 * loaded, rel=0.02)


def test_an_air_switch_wants_flow_and_not_a_fan_alone() -> None:
    blocked = Happening(1.0, What.FAULT, "collector", "blocked filter")
    well, record = heard(*cut("table saw", 20.0, 60.0), until_s=60.0)
    ill, ill_record = heard(blocked, *cut("table saw", 20.0, 60.0), until_s=60.0)

    assert [e.value for e in record if e.kind == "air"] == [False, True]
    assert [e.value for e in ill_record if e.kind == "air"] == [False]
    assert well.plant.air.proves("collector")
    assert not ill.plant.air.proves("collector")
    # Three fifths of a spin-up of 5 s, and the debouncing.
    on_s = next(e.t_s for e in record if e.kind == "motor_command" and e.subject == "collector" and e.t_s > 20.0)
    assert next(e.t_s for e in record if e.kind == "air" and e.value) == pytest.approx(on_s + 3.0 + 0.02, abs=0.002)


def test_the_air_cleaner_clears_the_room() -> None:
    shop = example_shop("long-narrow")
    cleaner = next(motor for motor in shop.motors.values() if motor.room_m3 is not None)
    assert cleaner.flow_m3s is not None
    assert cleaner.room_m3 is not None
    game = Game(stage_of(shop))
    tool = next(iter(shop.tools))
    for happening in cut(tool, 20.0, 60.0):
        game.happen(happening)
    game.run(100.0)
    assert game.plant.drives[cleaner.name].has_power
    game.plant.air.settle(game.now_s)
    before = game.plant.air.room.dust_mg
    assert before > 0.0
    game.run(400.0)
    game.plant.air.settle(game.now_s)

    changes = 300.0 / 3600.0 * (0.5 + cleaner.flow_m3s / cleaner.room_m3 * 3600.0)
    assert game.plant.air.room.dust_mg == pytest.approx(before * math.exp(-changes), rel=1e-6)
    assert game.played().figures.room_dust_worst_mg_m3 == pytest.approx(before / cleaner.room_m3, rel=0.5)


def test_a_room_whose_cleaner_stands_clears_slowly() -> None:
    room = RoomAir(example_shop("long-narrow"))
    room.pass_time(10.0, 0.001, set())
    begun = room.dust_mg
    room.pass_time(3600.0, 0.0, set())

    assert begun == pytest.approx(1.0, rel=0.01)
    assert room.dust_mg == pytest.approx(begun * math.exp(-0.5))
    assert RoomAir(example_shop("shared-twelve")).worst_mg_m3 is None


def test_a_stop_shorter_than_the_hold_is_not_told() -> None:
    one = Heard([*cut("saw", 10.0, 20.0), *cut("saw", 20.3, 30.0)])
    one.game.run(40.0)

    assert one.words("tool", "saw") == ["stopped", "running", "stopped"]
    assert one.when("tool", "saw", "stopped", 10.0) == pytest.approx(30.52)
    assert one.game.figures().cuts == 2


def test_a_servo_goes_limp_in_mid_move_when_its_process_is_killed() -> None:
    one = Heard([*cut("planer", 10.0, 60.0), Happening(11.0, What.CONTROLLER, None, Controller.KILL)])
    one.game.run(30.0)

    position = one.game.plant.slides["planer gate"].position
    assert 0.4 < position < 0.7
    assert one.game.books.tracks.gates["planer gate"][-1].word == "moving"
    assert stage().shop.gates["planer gate"].servo is not None


def test_the_most_in_an_hour() -> None:
    assert most_in_an_hour([]) == 0
    assert most_in_an_hour([0.0, 3599.0, 3600.0, 7000.0]) == 3
    assert most_in_an_hour([0.0, 3600.0]) == 1
