"""Scenario files: what is read from them, those that ship, and the JSON Schema."""

import json
from pathlib import Path

import jsonschema
import pytest

from gatekeeper.control.messages import Requested, SettingChanged
from gatekeeper.shop import examples
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.expect import Being, Figure, FigureExpected, MessageExpected, StartsApartExpected, StateExpected, Timing
from sim.happening import Controller, Happening, What
from sim.plant_faults import PlantFault
from sim.scenario import Scenario, load_scenario, scenario_schema
from sim.scenario_files import folder, names, shop_of
from sim.scenario_play import play_scenario
from sim.stage import Stage, stage_of

HEAD = "scenario: {name: A try}\n"


def shop_called(name: str) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert not isinstance(shop, Faults)
    return shop


def read(text: str, shop: str = "garage-one-collector", days: int | None = None) -> Scenario:
    scenario = load_scenario(text, "try.yaml", shop_called(shop), days=days)
    assert not isinstance(scenario, Faults), "\n".join(scenario.lines())
    return scenario


def happens(*items: str, shop: str = "garage-one-collector", head: str = HEAD) -> list[Happening]:
    return list(read(head + "happens:\n" + "".join(f"  - {item}\n" for item in items), shop).happenings)


@pytest.fixture(scope="module")
def stages() -> dict[str, Stage]:
    return {}


@pytest.mark.parametrize("name", names())
def test_every_scenario_that_ships_comes_as_it_expects(name: str, stages: dict[str, Stage]) -> None:
    text = (folder() / f"{name}.yaml").read_text(encoding="utf-8")
    shop_name = shop_of(text, name)
    assert shop_name in examples.names()
    stage = stages.setdefault(shop_name, stage_of(shop_called(shop_name)))
    scenario = load_scenario(text, f"{name}.yaml", stage.shop)
    assert not isinstance(scenario, Faults), "\n".join(scenario.lines())
    assert len(scenario.expected) >= 3
    outcome = play_scenario(stage, scenario, seed=0)
    assert [(one.rule, one.line, one.said, one.instead) for one in outcome.offences] == []


def test_there_are_scenarios_for_every_example_shop_that_is_one() -> None:
    written_for = {shop_of((folder() / f"{name}.yaml").read_text(encoding="utf-8"), name) for name in names()}
    assert written_for == set(examples.names()) - {"recording-bench"}
    assert len(names()) >= 8


def test_starting_and_stopping_with_a_length_and_again() -> None:
    found = happens(
        "{at: 1 min 30 s, starts: [planer, table saw]}",
        "{at: 5 s, starts: bandsaw, lasting: 2 s, every: 10 s, times: 2}",
    )
    assert found == [
        Happening(5.0, What.TOOL_ON, "bandsaw"),
        Happening(7.0, What.TOOL_OFF, "bandsaw"),
        Happening(15.0, What.TOOL_ON, "bandsaw"),
        Happening(17.0, What.TOOL_OFF, "bandsaw"),
        Happening(90.0, What.TOOL_ON, "planer"),
        Happening(90.0, What.TOOL_ON, "table saw"),
    ]


def test_times_of_day_count_from_the_beginning() -> None:
    head = "scenario: {name: A try, begins: 7:50}\n"
    found = happens("{at: 8:00:10, starts: planer}", "{at: day 2 7:50, stops: planer}", head=head)
    assert [one.at_s for one in found] == [610.0, 86400.0]


def test_breaking_mending_and_the_board() -> None:
    found = happens(
        "{at: 1 s, breaks: saw gate, how: stuck gate}",
        "{at: 2 s, breaks: saw gate, how: slow gate, lasting: 1 s}",
        "{at: 9 s, mends: saw gate}",
        "{at: 10 s, controller: power cut, lasting: 5 s}",
        "{at: 20 s, controller: killed, lasting: 1 s}",
        "{at: 30 s, controller: stands still, lasting: 3 s}",
    )
    assert found == [
        Happening(1.0, What.FAULT, "saw gate", PlantFault.STUCK_GATE),
        Happening(2.0, What.FAULT, "saw gate", PlantFault.SLOW_GATE),
        Happening(3.0, What.MEND, "saw gate", PlantFault.SLOW_GATE),
        Happening(9.0, What.MEND, "saw gate", PlantFault.STUCK_GATE),
        Happening(9.0, What.MEND, "saw gate", PlantFault.SLOW_GATE),
        Happening(10.0, What.MAINS, None, False),
        Happening(15.0, What.MAINS, None, True),
        Happening(20.0, What.CONTROLLER, None, Controller.KILL),
        Happening(21.0, What.CONTROLLER, None, Controller.START),
        Happening(30.0, What.STANDS_STILL, None, 3.0),
    ]


def test_people_and_inputs() -> None:
    found = happens(
        "{at: 1 s, asks: run, about: collector, through: page, lasting: 2 min}",
        "{at: 2 s, asks: stop}",
        "{at: 3 s, asks: stopped, about: planer, through: button}",
        "{at: 4 s, sets: collector, spin_down: 20 s}",
        "{at: 5 s, input: stop mushroom, to: pressed, lasting: 2 s}",
        "{at: 6 s, input: saw air button, to: pressed}",
        "{at: 8 s, pulls: saw gate, to: shut}",
    )
    assert found == [
        Happening(1.0, What.REQUEST, None, Requested("run", "collector", "page", 120.0)),
        Happening(2.0, What.REQUEST, None, Requested("stop", None, "local", None)),
        Happening(3.0, What.REQUEST, None, Requested("stopped", "planer", "button", None)),
        Happening(4.0, What.SETTING, None, SettingChanged("collector", "spin_down_s", 20.0)),
        Happening(5.0, What.INPUT, "stop mushroom", True),
        Happening(6.0, What.PRESS, "saw air button"),
        Happening(7.0, What.INPUT, "stop mushroom", False),
        Happening(8.0, What.MOVE_BY_HAND, "saw gate", 0.0),
    ]
    assert happens("{at: 1 s, input: teacher key, to: shut, lasting: 9 s}", shop="school-room") == [
        Happening(1.0, What.SHOP_KEY, None, False),
        Happening(10.0, What.SHOP_KEY, None, True),
    ]


def test_what_is_expected_is_read_with_its_sentence_and_line() -> None:
    scenario = read(
        HEAD
        + """happens: [{at: 5 s, starts: planer}]
expects:
  - {gate: planer gate, must_be: open, by: 8 s}
  - {motor: collector, must_be: running, since: 10 s, until: 30 s}
  - {gate: saw gate, never: open}
  - {tool: planer, must_be: collected, at: 9 s}
  - {message: gate stuck, about: planer gate, by: 9 s}
  - {no_message: alarm}
  - {figure: chips left, at_most: 200 g}
  - {figure: motor starts, of: collector, at_least: 1, at_most: 2}
  - {motor_starts_apart: 2 s}
"""
    )
    inf = float("inf")
    assert scenario.expected == (
        StateExpected(4, "planer gate is open by 8 s", "gate", "planer gate", Being.OPEN, Timing.BY, 0.0, 8.0),
        StateExpected(
            5,
            "collector is running from 10 s to 30 s",
            "motor",
            "collector",
            Being.RUNNING,
            Timing.ALL_THE_TIME,
            10.0,
            30.0,
        ),
        StateExpected(6, "saw gate is never open", "gate", "saw gate", Being.OPEN, Timing.NEVER, 0.0, inf),
        StateExpected(7, "planer is collected at 9 s", "tool", "planer", Being.COLLECTED, Timing.AT, 9.0, 9.0),
        MessageExpected(
            8, 'a message "gate stuck" about planer gate is raised by 9 s', "gate_stuck", "planer gate", False, 0.0, 9.0
        ),
        MessageExpected(9, "no alarm is raised", "alarm", None, True, 0.0, inf),
        FigureExpected(10, "chips left: at most 200 g", Figure.CHIPS_LEFT, None, 0.2, None),
        FigureExpected(
            11, "motor starts of collector: at least 1 and at most 2", Figure.MOTOR_STARTS, "collector", 2.0, 1.0
        ),
        StartsApartExpected(12, "no two motors start within 2 s", 2.0),
    )
    assert scenario.until_s == 30.0 + 60.0


def test_a_scenario_lasts_as_it_says() -> None:
    assert read("scenario: {name: A try, lasts: 1 h 5 min}\nhappens: [{at: 5 s, starts: planer}]\n").until_s == 3900.0


def test_a_pattern_is_played_for_its_days_or_those_asked_for() -> None:
    text = HEAD + "pattern: {days: 5, open: 9:00 to 12:00}\n"
    scenario = read(text)
    assert (scenario.days, scenario.begins_s, scenario.until_s) == (
        5,
        8 * 3600 + 3000,
        4 * 86400 + 600 + 3 * 3600 + 3600,
    )
    assert read(text, days=1).until_s == 600 + 3 * 3600 + 3600
    drawn = list(scenario.all_that_happens(shop_called("garage-one-collector"), 3))
    assert drawn
    assert drawn == sorted(drawn, key=lambda one: one.at_s)


def test_what_happens_is_put_among_what_is_drawn() -> None:
    text = HEAD + "happens: [{at: 10:30, breaks: saw gate, how: stuck gate}]\n"
    scenario = read(text, days=1)
    drawn = list(scenario.all_that_happens(shop_called("garage-one-collector"), 0))
    (place,) = [number for number, one in enumerate(drawn) if one.what is What.FAULT]
    assert drawn[place - 1].at_s <= drawn[place].at_s <= drawn[place + 1].at_s
    assert drawn[place].at_s == 10.5 * 3600 - scenario.begins_s


def test_the_schema_lets_every_scenario_that_ships_pass_and_refuses_a_wrong_word(tmp_path: Path) -> None:
    import yaml

    schema = scenario_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for name in names():
        plain = yaml.load((folder() / f"{name}.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
        assert [error.message for error in validator.iter_errors(plain)] == []
    wrong = {"scenario": {"name": "A try"}, "happens": [{"at": "1 s", "starts": "planer", "hows": "stuck gate"}]}
    assert [error.message for error in validator.iter_errors(wrong)] == [
        "Additional properties are not allowed ('hows' was unexpected)"
    ]
    assert json.loads(json.dumps(schema)) == schema
