"""Readings of the checker that a campaign of faults showed to be wrong: each case with the blame that stays."""

import pytest

BOTH = pytest.mark.parametrize("broken", [True, False])


@BOTH
def test_c9_a_lost_run_sensor_owes_no_confirmation(book, broken):
    """C9 and C12: it says nothing; the motor is then as one that nothing confirms."""
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on()
    book.at(11.0).add("tick" if broken else "motor_sensor", None if broken else "fan", None if broken else "lost")
    book.at(13.0).add("tick")
    seq = book.at(14.5).add("tick")
    assert book.faults() == ([("C9", seq)] if broken else [])


def test_c9_a_lost_run_sensor_is_no_motor_that_runs_when_told_off(book):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    book.at(28.0).off()
    book.at(28.5).add("motor_sensor", "fan", "lost")
    book.at(60.0).add("tick")
    assert book.faults() == []


def test_c9_a_motor_started_without_its_sensor_is_judged_again_once_it_is_back(book):
    book.ready().at(9.0).add("motor_sensor", "fan", "lost")
    book.at(10.0).add("tool", "saw", "running")
    book.on()
    book.at(30.0).add("tick")
    book.at(40.0).add("motor_seen", "fan", "still")
    seq = book.at(50.0).off()  # not seen to run: a failed start, not a stop in mid-cut
    assert ("C5", seq) not in book.faults()


@pytest.mark.parametrize(("rule", "faults"), [("C3", 0), ("C5", 1)])
def test_c3_a_stop_for_want_of_air_is_a_forced_one_though_air_was_never_proved(book, rule, faults):
    book.fan["proof"] = "air"
    book.sawing()
    book.at(30.0)
    seq = book.add("motor_command", "fan", "off", rule=rule)
    assert book.faults() == [("C5", seq)] * faults


@BOTH
def test_c3_the_open_switch_of_a_stuck_gate_need_not_be_believed(book, broken):
    """It says so since before the move that stuck: no path, and the stop for want of one is a forced one."""
    book.shop["gates"]["planer_gate"]["switch"] = True
    book.sawing().at(15.0).add("switch", "planer_gate", "open")
    if not broken:
        book.add("gate_belief", "planer_gate", "stuck")
    book.at(20.0).add("miss", "saw_gate")
    book.add("path_lost", "fan", rule="C3", why="it opens again")
    book.gate("saw_gate", "open")
    book.at(21.0).add("miss", "saw_gate")
    book.gate("saw_gate", "open")
    book.at(23.0).add("miss", "saw_gate")
    book.alarm("saw")
    seq = book.add("motor_command", "fan", "off", rule="C3", why="no path for one worst travel and 2 s")
    assert [fault for fault in book.faults() if fault[0] == "C5"] == ([("C5", seq)] if broken else [])


@BOTH
def test_c5_a_stop_that_the_record_calls_voluntary_is_one_though_no_air_moves(book, broken):
    """A filter shaker's cause is the run that its collector ended by itself; after a forced stop there is none."""
    book.shop["systems"]["shaker"] = {"kind": "shaker", "follows": "fan", "coast_s": 1, "lease_s": 1000}
    book.fan["proof"] = "person"
    book.sawing().at(12.0).add("air", "fan", False)
    book.at(20.0).add("tool", "saw", "stopped")
    book.at(28.0).add("motor_command", "fan", "off", rule="C16" if broken else "C5")
    book.at(28.5).add("motor_seen", "fan", "still")
    seq = book.at(40.0).on("shaker", 20.0)
    assert book.faults() == ([("C21", seq)] if broken else [])


@BOTH
def test_c20_a_wait_that_was_told_is_not_told_again_for_the_second_tool_behind_the_gate(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["third_gate"] = book.shop["gates"]["saw_gate"] | {"can_halt": False, "travel_s": 20}
    book.shop["tools"]["jointer"] = dict(book.shop["tools"]["planer"])
    book.fan["gates"].append("third_gate")
    book.sawing().at(14.0).gate("third_gate", "open")
    book.at(20.0).add("tool", "planer", "running")
    if not broken:
        book.add("queued", "planer_gate", "open", why="another gate moves")
    book.at(21.5).add("tool", "jointer", "running")
    book.at(23.0).add("tick")
    told = [fault for fault in book.faults() if fault[0] == "C20"]
    assert len(told) == (1 if broken else 0)


def test_c3a_the_gate_shut_last_is_the_one_that_opens_again(book):
    """The gates that were shut before it need not."""
    book.shop["proof"] = "air"
    book.shop["gates"]["third_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.fan["gates"].append("third_gate")
    book.sawing().at(12.0).add("air", "fan", True)
    for t_s, name in ((13.0, "planer_gate"), (14.0, "third_gate")):
        book.at(t_s).gate(name, "open")
    book.at(18.0).gate("planer_gate", "shut")
    book.at(22.0).gate("third_gate", "shut")
    book.at(24.5).add("air", "fan", False)
    book.add("gate_command", "third_gate", "open", rule="C3", why="air was not proved without it")
    book.at(40.0).add("tick")
    assert book.faults() == []


def test_terms_a_second_opening_of_a_gate_whose_switch_says_nothing_is_a_move(book):
    """Without its word the gate was never where the first order sent it."""
    for name in ("saw_gate", "planer_gate"):
        book.shop["gates"][name]["switch"] = True
    book.wake().at(0.5)
    for tool in book.shop["tools"]:
        book.add("tool", tool, "stopped")
    for t_s in (1.0, 14.0, 27.0):  # tried again and again at rest, always on its way
        book.at(t_s).gate("saw_gate", "open")
        book.at(t_s + 12.0).add("tick")
    assert book.faults() == []


@BOTH
def test_c3_a_lost_path_opens_again_in_its_own_slot_before_a_waiting_first_attempt(book, broken):
    """C3 comes before C11 and C4, but only in the slot that the gate still has."""
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["saw_gate"]["switch"] = True
    book.wake().at(0.5)
    for tool in book.shop["tools"]:
        book.add("tool", tool, "stopped")
    book.at(1.0).gate("saw_gate", "open")
    book.at(3.0).add("switch", "saw_gate", "open")
    book.at(10.0).add("tool", "saw", "running")
    book.on()
    book.at(10.5).add("motor_seen", "fan", "running")
    book.at(19.0).add("tool", "saw", "stopped")
    book.at(20.0).add("switch", "saw_gate", "between")
    book.gate("saw_gate", "open")
    book.at(21.0).add("switch", "saw_gate", "open")  # its actuator may press until 22.2 s
    book.at(21.1).add("tool", "planer", "running")
    book.add("queued", "planer_gate", "open", why="another gate moves")
    book.at(22.5 if broken else 22.0).add("switch", "saw_gate", "between")
    seq = book.gate("saw_gate", "open")
    assert book.faults() == ([("C4", seq)] if broken else [])


@BOTH
def test_c6_a_gate_opened_again_for_the_air_has_its_reason_in_the_history(book, broken):
    book.shop["proof"] = "air"
    book.sawing().at(12.0).add("air", "fan", True)
    book.at(20.0).add("tool", "planer", "running")
    book.add("gate_command", "planer_gate", "open", rule="C3", why="opened again: air was not proved without it")
    book.at(30.0).add("tool", "planer", "stopped")
    book.at(33.5).add("tick")
    if not broken:
        book.add("kept_open", "planer_gate", {"yields": "C6"}, rule="C3", why="air was not proved without it")
    seq = book.at(35.0).add("tick")
    assert book.faults() == ([("C6", seq)] if broken else [])


def test_c23_an_off_at_the_very_end_of_a_lease_is_a_forced_stop_and_no_failed_start(book):
    """The motor is seen still in the same instant: it does not count against the one retry of C9."""
    book.sawing().at(15.0).renew(for_s=10.0)
    book.at(25.0).add("motor_seen", "fan", "still")
    book.add("motor_command", "fan", "off", rule="C23")
    book.at(26.0).add("tool", "saw", "stopped")
    book.at(27.0).add("tool", "saw", "running")
    book.on()
    book.at(30.0).add("motor_command", "fan", "off", rule="C9")  # not seen to run: the first time
    book.at(32.5).on()
    assert [fault for fault in book.faults() if fault[0] == "C9"] == []


@BOTH
def test_c5_a_start_is_not_owed_in_the_instant_in_which_the_run_that_asked_for_it_ends(book, broken):
    """Nobody looked in between: what was possible before is not known, and what is over is no cause."""
    book.ready().at(10.0).ask("run", "fan", for_s=40.0)
    seq = book.at(49.0 if broken else 50.0).add("tick")
    assert book.faults() == ([("C5", seq)] if broken else [])
