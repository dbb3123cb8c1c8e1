"""The checker on causes that are doubtful, used up or waiting, and on what proves a start, a stop or a path."""

import pytest

BOTH = pytest.mark.parametrize("broken", [False, True])


def test_a_tool_lost_while_its_motor_waits_may_still_be_its_cause(book):
    book.ready().at(5.0).add("tool", "saw", "running")
    book.at(5.2).add("tool", "saw", "stale")
    book.alarm("saw", "today")
    book.at(20.0).on()
    assert book.faults() == []


@pytest.mark.parametrize(("on_t", "rule"), [(3.9, None), (4.1, "C5")])
def test_the_second_counts_from_the_proof_of_the_path(book, on_t, rule):
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.add("tool", "planer", "stopped")
    book.at(1.0).add("tool", "saw", "running")
    book.gate("saw_gate", "open")
    book.at(1.5).gate("planer_gate", "open")
    seq = book.at(on_t).on()
    assert book.faults(punctual=True) == ([(rule, seq)] if rule else [])


def test_unlocking_starts_nothing(book):
    book.ready().at(5.0).add("tool", "saw", "running")
    book.at(5.2).add("shop_key", None, "shut")
    book.at(20.0).add("shop_key", None, "open")
    seq = book.on()
    assert book.faults() == [("C21", seq)]


@pytest.mark.parametrize(("t_s", "rule"), [(100.0, "C8"), (385.0, None)])
def test_what_is_left_of_a_rest_outlives_the_boot(book, t_s, rule):
    book.fan["starts_stored"], book.fan["rest_s"], book.fan["starts_per_hour"] = 1.5, 400, 30
    book.sawing().at(20.0).ask("stop", "fan")
    book.off()
    book.at(21.0).add("motor_seen", "fan", "still")
    book.at(35.0).add("stopped")
    book.off()
    book.fan["starts_stored"] = 0.7
    book.wake(0.0, boot="b2", run="r2").at(0.5).add("tool", "saw", "stopped")
    book.at(1.0).gate("saw_gate", "open")
    book.at(t_s).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("t_s", "rule"), [(19.9, "C3"), (20.1, "C7")])
def test_a_fan_seen_to_stop_counts_as_running_for_its_coast(book, t_s, rule):
    book.ready().at(5.0).add("hand", "fan", "hand")
    book.at(6.0).add("motor_seen", "fan", "running")
    book.at(10.0).add("motor_seen", "fan", "still")
    seq = book.at(t_s).gate("saw_gate", "shut")
    assert book.faults() == [(rule, seq)]


@BOTH
def test_moving_air_confirms_a_start_too(book, broken):
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on()
    book.at(12.0).add("air", "fan", not broken)
    seq = book.at(14.0).add("tick")
    assert book.faults() == ([("C9", seq)] if broken else [])


def test_clearing_the_alarm_of_a_stuck_gate_is_no_release(book):
    book.ready().at(5.0).gate("planer_gate", "open")
    book.at(7.5).add("miss", "planer_gate")
    book.add("gate_belief", "planer_gate", "stuck")
    book.at(10.0).ask("clear", "planer_gate", "local")
    seq = book.at(13.0).gate("planer_gate", "open")
    assert book.faults() == [("C26", seq)]


@BOTH
def test_clearing_takes_a_failed_start_its_retry_but_no_waiting_cause(book, broken):
    book.ready().at(10.0).add("tool", "saw", "running")
    if broken:
        book.on()
        book.at(13.0).off()
    book.at(13.2).ask("clear", "fan", "local")
    seq = book.on()
    assert book.faults() == ([("C21", seq)] if broken else [])


def test_a_tool_taken_out_of_service_after_its_start_leaves_a_doubtful_cause(book):
    book.ready().at(5.0).add("tool", "saw", "running")
    book.at(5.5).ask("out_of_service", "saw")
    book.at(9.0).add("tick")
    assert book.faults() == []


@BOTH
def test_a_reset_by_name_resets_that_circuit_only(book, broken):
    book.ready().at(20.0).add("emergency", "red_button", "open")
    book.off()
    book.at(22.0).add("emergency", "red_button", "made")
    book.at(23.0).ask("reset", "heat" if broken else "red_button", "local")
    seq = book.at(24.0).gate("planer_gate", "open")
    assert book.faults() == ([("C13", seq)] if broken else [])


@BOTH
def test_a_gate_opened_by_hand_may_stay_open_after_its_clear_time(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    if not broken:
        book.at(25.0).ask("open", "saw_gate")
    book.at(30.0).add("tool", "saw", "stopped")
    book.at(33.0).add("tick")
    seq = book.at(34.5).add("tick")
    assert book.faults() == ([("C6", seq)] if broken else [])


@pytest.mark.parametrize(("longest_run_s", "rule"), [(100, None), (7200, "C5")])
def test_a_cut_past_its_longest_plausible_run_is_no_sure_cause_after_its_end(book, longest_run_s, rule):
    for gate in book.shop["gates"].values():
        gate["actuated"], gate["switch"], gate["supply"] = False, True, None
    book.shop["proof"] = "switches"
    book.shop["tools"]["saw"]["longest_run_s"] = longest_run_s
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.add("tool", "planer", "stopped")
    book.add("switch", "saw_gate", "shut")
    book.at(10.0).add("tool", "saw", "running")
    book.alarm("saw")
    book.alarm("fan")
    book.at(110.5).alarm("saw", "today")
    book.at(150.0).add("switch", "saw_gate", "open")
    book.at(150.5).add("tool", "saw", "stopped")
    seq = book.at(152.0).add("tick")
    assert book.faults() == ([(rule, seq)] if rule else [])
