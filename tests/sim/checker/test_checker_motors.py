"""The checker on motors: C5, C8, C8a, C9, C12, C15, C18, C21 to C23, C28."""

import pytest

BOTH = pytest.mark.parametrize("broken", [False, True])


@pytest.mark.parametrize(("after_s", "rule"), [(7.9, "C5"), (8.0, None), (9.5, "C5")])
def test_c5_the_stop_comes_after_the_spin_down_delay_and_not_long_after(book, after_s, rule):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    seq = book.at(20.0 + after_s).off()
    assert book.faults(punctual=True) == ([(rule, seq)] if rule else [])


def test_c5_a_stop_that_never_comes_is_seen_at_the_next_step(book):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    book.at(28.9).add("tick")
    seq = book.at(29.5).add("tick")
    book.at(33.0).add("tick")
    assert book.faults() == [("C5", seq)]


@BOTH
def test_c5_each_tools_own_delay_replaces_the_collectors(book, broken):
    book.shop["tools"]["saw"]["spin_down_s"] = 60
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    seq = book.at(28.0 if broken else 80.0).off()
    assert book.faults(punctual=True) == ([("C5", seq)] if broken else [])


@pytest.mark.parametrize(
    ("value", "off_t", "rule"), [(5, 25.0, None), (5, 24.0, "C5"), (30, 28.0, "C5"), (30, 50.0, None)]
)
def test_c5_a_changed_delay_counts_at_once(book, value, off_t, rule):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    book.at(23.0).add("setting", "fan", {"name": "spin_down_s", "value": value})
    seq = book.at(off_t).off()
    assert book.faults(punctual=True) == ([(rule, seq)] if rule else [])


def test_c5_a_refused_setting_changes_nothing(book):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    cause = book.at(23.0).add("setting", "fan", {"name": "spin_down_s", "value": -5})
    book.add("refusal", "fan", "out_of_range", cause=cause, why="A delay cannot be negative.")
    book.at(28.0).off()
    assert book.faults(punctual=True) == []


def test_c5_no_voluntary_stop_while_a_tool_runs(book):
    seq = book.sawing().at(20.0).off()
    assert book.faults() == [("C5", seq)]


@BOTH
def test_c5_a_clear_time_outlasts_the_delay(book, broken):
    book.shop["gates"]["saw_gate"]["clear_s"] = 20
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    seq = book.at(28.0 if broken else 40.0).off()
    assert book.faults(punctual=True) == ([("C5", seq)] if broken else [])


@BOTH
def test_c5_a_run_by_hand_ends_by_itself_and_not_before(book, broken):
    book.ready().at(5.0).ask("run", "fan", for_s=30)
    book.on()
    book.at(6.0).add("motor_seen", "fan", "running")
    seq = book.at(30.0 if broken else 35.0).off()
    assert book.faults(punctual=True) == ([("C5", seq)] if broken else [])


@BOTH
def test_c5_a_cause_switches_the_motor_on_within_a_second(book, broken):
    book.ready().at(5.0).add("tool", "saw", "running")
    book.at(6.0).add("tick")
    seq = book.at(7.0).add("tick") if broken else book.on()
    assert book.faults(punctual=True) == ([("C5", seq)] if broken else [])


def test_c5_late_starts_are_blamed_only_with_a_punctual_clock(book):
    book.ready().at(5.0).add("tool", "saw", "running")
    seq = book.at(9.0).on()
    assert book.faults() == []
    assert book.faults(punctual=True) == [("C5", seq)]


@BOTH
def test_c8_a_voluntary_stop_leaves_a_start_in_hand(book, broken):
    book.fan["starts_stored"] = 1.5
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    seq = book.at(28.0 if broken else 180.5).off()
    assert book.faults(punctual=True) == ([("C8", seq)] if broken else [])


@BOTH
def test_c8_no_start_from_an_empty_store(book, broken):
    book.fan["starts_stored"] = 1.5
    book.sawing().at(20.0).ask("stop", "fan")
    book.off()
    book.at(20.5).add("motor_seen", "fan", "still")
    book.at(21.0).add("tool", "saw", "stopped")
    book.at(30.0 if broken else 190.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([("C8", seq)] if broken else [])


@BOTH
def test_c8_a_forced_stop_that_emptied_the_store_makes_the_motor_rest(book, broken):
    book.fan["starts_stored"], book.fan["rest_s"] = 1.5, 400
    book.sawing().at(20.0).ask("stop", "fan")
    book.off()
    book.at(20.5).add("motor_seen", "fan", "still")
    book.at(21.0).add("tool", "saw", "stopped")
    book.at(300.0 if broken else 420.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([("C8", seq)] if broken else [])


@BOTH
def test_c8_what_the_page_says_is_in_store_is(book, broken):
    book.sawing().at(12.0)
    seq = book.add("state", "fan", {"what": "running", "starts_stored": 1.5 if broken else 1.0055})
    assert book.faults() == ([("C8", seq)] if broken else [])


@pytest.mark.parametrize(("stored", "rule"), [(0.001, None), (1.0, None), (1.9, "C8a")])
def test_c8a_a_killed_process_may_not_wake_with_starts_it_used_up(book, stored, rule):
    book.sawing().at(20.0).add("kill")
    book.fan["starts_stored"] = stored
    seq = len(book.entries) + 1
    book.wake(5.0, boot="b2", run="r2")
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("clean", "t_s", "rule"), [(True, 5.0, None), (False, 5.0, "C8"), (False, 400.0, None)])
def test_c8a_a_motor_that_was_on_is_charged_once_more_on_waking(book, clean, t_s, rule):
    book.sawing().at(12.0).add("stopped" if clean else "kill")
    if clean:
        book.off()
    book.fan["starts_stored"] = 1.0
    book.wake(0.0, boot="b2", run="r2").at(0.5).add("tool", "saw", "stopped")
    book.at(1.0).gate("saw_gate", "open")
    book.at(t_s).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([(rule, seq)] if rule else [])


@BOTH
def test_c9_no_confirmation_in_time_switches_off(book, broken):
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on()
    seq = book.at(13.5).add("tick")
    if not broken:
        book.off()
    assert book.faults() == ([("C9", seq)] if broken else [])


@BOTH
def test_c9_one_retry_and_then_a_latch(book, broken):
    book.fan["starts_per_hour"] = None
    book.ready().at(10.0).add("tool", "saw", "running")
    for t_s in (10.0, 20.0):
        book.on()
        book.at(t_s + 3).off()
        book.at(t_s + 10)
    seq = book.on() if broken else book.add("tick")
    assert book.faults() == ([("C9", seq)] if broken else [])


@pytest.mark.parametrize("fresh", [False, True])
def test_c9_clearing_starts_nothing_without_a_fresh_cause(book, fresh):
    book.fan["starts_per_hour"] = None
    book.ready().at(10.0).add("tool", "saw", "running")
    for t_s in (10.0, 20.0):
        book.on()
        book.at(t_s + 3).off()
        book.at(t_s + 10)
    book.ask("clear", "fan", "local")
    if fresh:
        book.at(31.0).add("tool", "saw", "stopped")
        book.at(32.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([] if fresh else [("C21", seq)])


@BOTH
def test_c9_running_when_told_off_is_an_alarm(book, broken):
    book.sawing().at(20.0).ask("stop", "fan")
    book.off()
    seq = book.at(31.5).add("tick")
    if not broken:
        book.alarm("fan")
    assert book.faults() == ([("C9", seq)] if broken else [])


@BOTH
def test_c12_a_lost_sensor_is_an_alarm_at_once(book, broken):
    book.sawing()
    seq = book.at(20.0).add("tool", "saw", "stale")
    if not broken:
        book.alarm("saw", "today")
    assert book.faults() == ([("C12", seq)] if broken else [])


@BOTH
def test_c12_a_lost_tool_holds_its_collector_for_its_hold(book, broken):
    book.shop["tools"]["saw"]["hold_s"] = 600
    book.sawing().at(20.0).add("tool", "saw", "stale")
    book.alarm("saw", "today")
    seq = book.at(619.0 if broken else 620.0).off()
    assert book.faults() == ([("C5", seq)] if broken else [])


@BOTH
def test_c12_a_tool_that_never_stops_raises_a_question_and_may_be_stopped(book, broken):
    book.shop["tools"]["saw"]["longest_run_s"] = 100
    book.sawing().at(110.0).add("tick")
    if not broken:
        book.alarm("saw", "today")
    seq = book.at(112.0).add("tick")
    book.at(140.0).off()
    assert book.faults() == ([("C12", seq)] if broken else [])


@BOTH
def test_c15_waking_tells_every_motor_off(book, broken):
    book.at(0.0).add("shop", None, book.shop)
    seq = book.add("wake")
    if not broken:
        book.off()
    assert book.faults() == ([("C15", seq)] if broken else [])


@pytest.mark.parametrize(("t_s", "rule"), [(0.9, "C15"), (1.0, None)])
def test_c15_nothing_moves_before_the_sensors_have_settled(book, t_s, rule):
    seq = book.wake().at(t_s).gate("saw_gate", "open")
    assert book.faults() == ([(rule, seq)] if rule else [])


def test_c15_nothing_starts_before_the_sensors_have_settled(book):
    book.fan["relief_m2"] = 0.01
    book.wake().at(0.1).add("tool", "saw", "stopped")
    book.at(0.5).add("tool", "saw", "running")
    seq = book.at(0.9).on()
    assert book.faults() == [("C15", seq)]


def test_c15_gates_are_unproven_after_waking(book):
    book.ready().at(20.0).add("stopped")
    book.wake(21.0, run="r2").at(21.5).add("tool", "saw", "stopped")
    book.at(22.5).add("tool", "saw", "running")
    book.gate("saw_gate", "open")
    seq = book.on()
    assert book.faults() == [("C2", seq)]


def test_c18_a_second_motor_obeys_its_own_path_and_cause(book):
    book.shop["systems"]["vac"] = dict(book.fan, gates=["planer_gate"], feeder=None, kind="vacuum")
    book.shop["tools"]["planer"]["systems"] = ["vac"]
    book.fan["gates"] = ["saw_gate"]
    book.ready().at(10.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    wrong = book.on("fan")
    early = book.on("vac")
    assert book.faults() == [("C21", wrong), ("C2", early)]


@pytest.mark.parametrize("cut", [False, True])
def test_c18_the_air_cleaner_waits_for_a_cut_and_needs_no_path(book, cut):
    book.shop["systems"]["cleaner"] = {"kind": "air_cleaner", "starts_per_hour": 10, "starts_stored": 2, "settle_s": 1}
    book.ready().at(10.0).add("tool" if cut else "tick", "saw" if cut else None, "running" if cut else None)
    if cut:
        book.on("fan")
    seq = book.on("cleaner")
    assert book.faults() == ([] if cut else [("C21", seq)])


@pytest.mark.parametrize("how", ["found", "recovered", "reset", "stopped", "stop"])
def test_c21_nothing_starts_because_something_came_back(book, how):
    book.ready()
    if how == "found":
        book.wake(20.0, run="r2").at(22.0).gate("saw_gate", "open")
        book.at(25.0).add("tool", "saw", "running")
    elif how == "recovered":
        book.at(10.0).add("tool", "saw", "stale")
        book.alarm("saw", "today")
        book.at(25.0).add("tool", "saw", "running")
    elif how == "reset":
        book.at(10.0).add("emergency", "red_button", "open")
        book.off()
        book.at(12.0).add("tool", "saw", "running")
        book.at(20.0).add("emergency", "red_button", "made")
        book.at(25.0).ask("reset", None, "local")
    elif how == "stopped":
        book.at(10.0).add("tool", "saw", "running")
        book.on()
        book.at(12.0).add("motor_seen", "fan", "running")
        book.at(15.0).add("tool", "saw", "stopped")
        book.at(23.0).off()
        book.at(25.0)
    else:
        book.at(10.0).add("tool", "saw", "running")
        book.ask("stop", "fan")
        book.at(25.0)
    seq = book.on()
    assert book.faults() == [("C21", seq)]


def test_c21_a_cut_that_ended_before_the_motor_came_on_remains_a_cause(book):
    book.ready().at(10.0).add("tool", "saw", "running")
    book.at(10.4).add("tool", "saw", "stopped")
    book.at(10.9).on()
    assert book.faults(punctual=True) == []


def test_c21_a_person_may_start_what_was_found_running(book):
    book.ready().at(10.0).add("tool", "saw", "stale")
    book.alarm("saw", "today")
    book.at(25.0).add("tool", "saw", "running")
    book.at(26.0).ask("run", "fan", for_s=60)
    book.on()
    assert book.faults() == []


@pytest.mark.parametrize(("wake_t", "boot", "rule"), [(60.0, "b1", None), (80.0, "b1", "C21"), (0.0, "b2", "C21")])
def test_c21_a_process_restarted_soon_may_go_on_where_it_was(book, wake_t, boot, rule):
    book.sawing().at(15.0).add("kill")
    book.fan["starts_stored"] = 1.0
    book.fan["starts_per_hour"] = None
    book.wake(wake_t, boot=boot, run="r2").at(wake_t + 1).gate("saw_gate", "open")
    book.at(wake_t + 3).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("after_s", "rule"), [(1.9, "C22"), (2.0, None)])
def test_c22_a_start_waits_for_the_gap_on_its_feeder(book, after_s, rule):
    book.shop["tools"]["saw"]["feeder"] = "big"
    book.ready().at(10.0).add("tool", "saw", "running")
    seq = book.at(10.0 + after_s).on()
    assert book.faults() == ([(rule, seq)] if rule else [])


def test_c22_two_motors_of_one_feeder_never_start_in_one_list(book):
    book.shop["systems"]["vac"] = dict(book.fan, kind="vacuum")
    book.shop["tools"]["saw"]["systems"] = ["fan", "vac"]
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on("fan")
    seq = book.on("vac")
    assert book.faults() == [("C22", seq)]


@pytest.mark.parametrize(("renew_t", "rule"), [(15.0, None), (15.1, "C23")])
def test_c23_a_lease_that_ran_out_is_not_renewed(book, renew_t, rule):
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on(for_s=5)
    book.at(11.0).add("motor_seen", "fan", "running")
    seq = book.at(renew_t).renew()
    assert book.faults() == ([(rule, seq)] if rule else [])


def test_c23_a_lease_that_ran_out_was_a_forced_stop(book):
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on(for_s=5)
    book.at(11.0).add("motor_seen", "fan", "running")
    seq = book.at(17.0).on()
    assert book.faults() == [("C21", seq)]


@pytest.mark.parametrize("value", ["on", {"what": "on", "until_s": 9.0}, {"what": "on", "until_s": 2000.0}])
def test_c23_a_start_carries_a_lease_that_ends(book, value):
    book.ready().at(10.0).add("tool", "saw", "running")
    seq = book.add("motor_command", "fan", value)
    assert book.faults() == [("C23", seq)]


def test_c28_a_tool_is_never_commanded(book):
    book.ready().at(10.0)
    seq = book.off("saw")
    assert book.faults() == [("C28", seq)]
