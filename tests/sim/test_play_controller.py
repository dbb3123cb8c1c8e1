"""The controller in a play: killed, stopped, without power, standing still; kept values, clocks and hours."""

import pytest
from play_shop import TEXT, Heard, cut

from gatekeeper.control.messages import Requested, SettingChanged
from sim.checker import check_record
from sim.happening import Controller, Happening, What


def controls(at_s: float, what: Controller) -> Happening:
    return Happening(at_s, What.CONTROLLER, None, what)


def test_a_killed_process_leaves_the_fan_on_until_the_next_one_claims_the_lines() -> None:
    heard = Heard([*cut("saw", 10.0, 60.0), controls(20.0, Controller.KILL), controls(30.0, Controller.START)])
    heard.game.run(29.9)
    assert heard.game.core is None
    assert heard.game.plant.drives["fan"].has_power
    heard.game.run(31.5)

    assert not heard.game.plant.drives["fan"].has_power
    kill = heard.entries("kill")[0]
    assert (kill.t_s, kill.boot, kill.run) == (20.0, "boot 1", "run 1")
    woke = heard.entries("wake")[-1]
    assert (woke.t_s, woke.boot, woke.run) == (30.0, "boot 1", "run 2")
    assert heard.game.books.tracks.controller[0].word == "down"


def test_a_tool_that_runs_through_a_kill_is_found_running() -> None:
    heard = Heard([*cut("saw", 10.0, 90.0), controls(20.0, Controller.KILL), controls(30.0, Controller.START)])
    heard.game.run(60.0)

    found = [e for e in heard.entries("tool", "saw") if e.t_s > 30.0]
    assert found[0].value == {"what": "running", "fresh": False}
    assert "found_running" in [e.value["code"] for e in heard.entries("message")]
    assert not heard.game.plant.drives["fan"].has_power


def test_without_power_relays_drop_and_a_new_boot_has_a_clock_of_its_own() -> None:
    heard = Heard(
        [*cut("saw", 10.0, 15.0), controls(20.0, Controller.PLUG_OUT), controls(50.0, Controller.PLUG_IN)], truth=True
    )
    heard.game.run(21.5)
    assert not heard.game.plant.drives["fan"].has_power
    heard.game.run(60.0)

    woke = heard.entries("wake")[-1]
    assert (woke.t_s, woke.boot, woke.run) == (20.0, "boot 2", "run 2")
    assert heard.game.core is not None
    assert heard.game.core.kept.same_boot is False


def test_the_whole_shop_without_power_stops_the_tools_too() -> None:
    heard = Heard(
        [*cut("saw", 10.0, 90.0), Happening(20.0, What.MAINS, None, False), Happening(40.0, What.MAINS, None, True)]
    )
    heard.game.run(30.0)
    assert not heard.game.plant.runs["saw"]
    assert heard.game.plant.is_on["saw"]
    heard.game.run(60.0)

    assert heard.game.plant.runs["saw"]  # it was left on
    assert not heard.game.plant.drives["fan"].has_power
    assert heard.game.played().figures.cuts == 2


def test_what_was_kept_outlives_the_process_and_what_was_not_does_not() -> None:
    changed = SettingChanged("fan", "spin_down_s", 33.0)
    out = Requested("out_of_service", "fan", "local", text="bearing")
    heard = Heard(
        [
            Happening(5.0, What.SETTING, None, changed),
            Happening(7.0, What.REQUEST, None, out),
            controls(7.9, Controller.KILL),
            controls(10.0, Controller.START),
        ],
        disk_s=1.0,
    )
    heard.game.run(12.0)

    assert [answer.code for answer in heard.game.answers] == ["done"]  # the other was never answered (C14)
    last = heard.game.played().last
    assert last is not None
    assert last.motors[0].spin_down_s == 33.0
    # The kill came before the disk had it.
    assert last.motors[0].out_of_service is None


def test_a_damaged_file_of_kept_values_is_told_to_the_core() -> None:
    heard = Heard([controls(5.0, Controller.KILL), controls(10.0, Controller.START)])
    heard.game.run(7.0)
    heard.game.is_file_damaged = True
    heard.game.run(12.0)

    assert "records_damaged" in [e.value["code"] for e in heard.entries("message")]
    assert not heard.game.is_file_damaged


def test_a_loop_that_stands_still_loses_its_leases() -> None:
    heard = Heard([*cut("saw", 10.0, 60.0), Happening(20.0, What.STANDS_STILL, None, 12.0)])
    heard.game.run(31.0)
    assert not heard.game.plant.drives["fan"].has_power
    heard.game.run(40.0)

    renewed_s = max(e.t_s for e in heard.entries("motor_command", "fan") if heard.word(e) == "renew" and e.t_s <= 20.0)
    running = heard.game.books.tracks.motors["fan"][0]
    # A lease of 5 s, the guardian's tenth, and a fifth of the release time until the contactor opens.
    assert running.to_s == pytest.approx(renewed_s + 5.0 + 0.1 + 0.2)
    assert [e for e in heard.record if e.t_s == 32.0]
    assert not [e for e in heard.record if 20.0 < e.t_s < 32.0]


def test_the_record_of_restarts_and_power_cuts_breaks_no_rule() -> None:
    heard = Heard(
        [
            *cut("saw", 10.0, 60.0),
            controls(20.0, Controller.KILL),
            controls(25.0, Controller.START),
            *cut("planer", 70.0, 95.0),
            controls(90.0, Controller.STOP),
            controls(92.0, Controller.START),
            *cut("saw", 110.0, 120.0),
            Happening(130.0, What.MAINS, None, False),
            Happening(140.0, What.MAINS, None, True),
            *cut("saw", 150.0, 170.0),
        ],
        TEXT.replace("12 per hour", "120 per hour").replace("rest: 60 s", "rest: 5 s"),
        truth=True,
    )
    heard.game.run(300.0)

    assert check_record([e.as_json() for e in heard.record]) == []
    assert len(heard.entries("wake")) == 4
    assert heard.words("motor_command", "fan").count("on") == 4


def test_hours_and_quiet_hours_follow_the_wall_clock() -> None:
    text = TEXT + "hours:\n  open: 8:00 to 8:01\n  quiet: 20:00 to 7:59\n"
    heard = Heard(text=text, wall_start_s=7 * 3600.0 + 58 * 60.0)
    heard.game.run(300.0)

    assert [(e.t_s, e.value) for e in heard.entries("shop_key")] == [(0.0, "shut"), (120.0, "open"), (180.0, "shut")]
    assert [(e.t_s, e.value) for e in heard.entries("quiet")] == [(0.0, True), (60.0, False)]


def test_a_step_of_the_wall_clock_moves_the_hours_only() -> None:
    text = TEXT + "hours:\n  open: 8:00 to 18:00\n"
    heard = Heard([Happening(50.0, What.CLOCK_STEP, None, -3600.0)], text=text)
    heard.game.run(100.0)

    assert [(e.t_s, e.value) for e in heard.entries("shop_key")] == [(0.0, "open"), (50.0, "shut")]


@pytest.mark.parametrize(
    ("happenings", "sentence"),
    [
        ([controls(1.0, Controller.START)], "The controller runs already. It can be stopped or killed, not started."),
        (
            [controls(1.0, Controller.PLUG_OUT), controls(2.0, Controller.START)],
            "The board has no power. Plug it in.",
        ),
    ],
)
def test_a_start_that_cannot_be_is_refused(happenings: list[Happening], sentence: str) -> None:
    heard = Heard(happenings)

    with pytest.raises(ValueError, match=sentence.replace(".", r"\.")):
        heard.game.run(3.0)
