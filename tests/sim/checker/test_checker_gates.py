"""The checker on gates and paths: C1 to C4, C6, C7, C10, C11, C26, and one clean day."""

import pytest

BOTH = pytest.mark.parametrize("broken", [False, True])


def test_a_clean_day_is_clean(book):
    book.sawing()
    book.at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(22.0).add("gate_belief", "planer_gate", {"what": "open", "proof": "travel"})
    book.at(30.0).add("tool", "saw", "stopped")
    book.at(33.0).add("tick")
    book.gate("saw_gate", "shut")
    book.at(40.0).add("tool", "planer", "stopped")
    book.at(48.0).add("tick")
    book.off()
    book.at(48.5).add("motor_seen", "fan", "still")
    book.at(60.0).add("stopped")
    book.off()
    assert book.faults(punctual=True) == []


@BOTH
def test_c1_shut_of_a_running_tools_gate(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(23.0).add("tool", "planer" if broken else "saw", "stopped")
    seq = book.at(27.0).gate("saw_gate", "shut")
    assert book.faults() == ([("C1", seq)] if broken else [])


def test_c1_says_whose_gate_it_was(book):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(27.0).gate("saw_gate", "shut")
    (violation,) = book.violations()
    assert str(violation) == "C1 at entry 13, 27.000 s: saw_gate was told to shut while saw is running."


@pytest.mark.parametrize("words", [["stale"], ["stale", "said"], ["stale", "stopped"]])
def test_c1_a_lost_tools_gate_is_not_shut_until_somebody_knows(book, words):
    book.ready().at(5.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.on()
    book.at(6.0).add("motor_seen", "fan", "running")
    book.at(20.0).add("tool", "planer", "stale")
    book.alarm("planer", "today")
    if "said" in words:
        book.at(21.0).ask("stopped", "planer")
    if "stopped" in words:
        book.at(21.0).add("tool", "planer", "stopped")
    seq = book.at(25.0).gate("planer_gate", "shut")
    assert book.faults() == ([("C1", seq)] if words == ["stale"] else [])


@BOTH
def test_c1_a_gate_moving_shut_is_reversed_when_its_tool_starts(book, broken):
    book.ready().at(5.0).gate("planer_gate", "open")
    book.at(8.0).gate("planer_gate", "shut")
    seq = book.at(9.0).add("tool", "planer", "running")
    if not broken:
        book.gate("planer_gate", "open")
    book.on()
    assert book.faults() == ([("C1", seq)] if broken else [])


@BOTH
def test_c2_no_start_before_the_path_is_proven(book, broken):
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(1.0).gate("saw_gate", "open")
    book.at(2.9).add("tool", "saw", "running")
    if not broken:
        book.at(3.0)
    seq = book.on()
    assert book.faults() == ([("C2", seq)] if broken else [])


@BOTH
def test_c2_a_list_that_starts_the_fan_may_not_shut_its_path(book, broken):
    book.ready().at(5.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    if not broken:
        book.at(8.0)
    shut = book.gate("saw_gate", "shut")
    seq = book.on()
    assert book.faults() == ([("C7", shut), ("C2", seq)] if broken else [])


def test_c2_and_c3_do_not_bind_where_the_path_is_the_persons(book):
    book.shop["proof"] = "person"
    for gate in book.shop["gates"].values():
        gate |= {"actuated": False, "supply": None}
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(2.0).add("tool", "saw", "running")
    book.on()
    assert book.faults() == []


def test_c2_a_standing_relief_is_a_path(book):
    book.fan["relief_m2"] = 0.005
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(2.0).add("tool", "saw", "running")
    book.gate("saw_gate", "open")
    book.on()
    assert book.faults() == []


@BOTH
def test_c3_make_before_break(book, broken):
    book.shop["gates"]["saw_gate"]["clear_s"] = 0
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(20.5).add("tool", "saw", "stopped")
    seq = book.at(21.9 if broken else 22.0).gate("saw_gate", "shut")
    assert book.faults() == ([("C3", seq)] if broken else [])


@BOTH
def test_c3_a_path_lost_from_outside_opens_a_gate_in_that_list(book, broken):
    for name in ("saw_gate", "planer_gate"):
        book.shop["gates"][name]["switch"] = True
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.add("switch", "saw_gate", "open")
    book.at(2.0).add("tool", "saw", "running")
    book.gate("saw_gate", "open")
    book.on()
    book.at(3.0).add("motor_seen", "fan", "running")
    seq = book.at(9.0).add("switch", "saw_gate", "shut")
    if not broken:
        book.gate("planer_gate", "open")
    assert book.faults() == ([("C3", seq)] if broken else [])


@BOTH
def test_c3_a_fan_without_a_path_is_stopped_within_a_travel_and_two_seconds(book, broken):
    book.shop["gates"]["saw_gate"] |= {"actuated": False, "switch": True, "supply": None}
    book.fan["gates"] = ["saw_gate"]
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.add("switch", "saw_gate", "open")
    book.at(2.0).add("tool", "saw", "running")
    book.on()
    book.at(3.0).add("motor_seen", "fan", "running")
    book.at(9.0).add("switch", "saw_gate", "between")
    book.at(13.2).add("tick")
    seq = book.at(13.3).add("tick")
    if not broken:
        book.off()
    assert book.faults() == ([("C3", seq)] if broken else [])


@BOTH
def test_c3a_no_air_after_a_shutting_opens_the_gate_again(book, broken):
    book.shop["proof"] = "air"
    book.sawing().at(12.0).add("air", "fan", True)
    book.at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(22.0).add("tool", "saw", "stopped")
    book.at(26.0).gate("saw_gate", "shut")
    book.at(28.0).add("air", "fan", False)
    book.at(30.0).add("tick")
    if not broken:
        book.gate("saw_gate", "open")
    seq = book.at(33.0).add("tick")
    assert book.faults() == ([("C3a", seq)] if broken else [])


@pytest.mark.parametrize(("word", "t_s", "rule"), [("open", 2.9, "C3a"), ("open", 3.0, None), ("shut", 3.0, "C3a")])
def test_c3a_a_belief_needs_its_proof(book, word, t_s, rule):
    book.wake().at(1.0).gate("saw_gate", "open")
    seq = book.at(t_s).add("gate_belief", "saw_gate", {"what": word, "proof": "travel"})
    assert book.faults() == ([(rule, seq)] if rule else [])


@BOTH
def test_c4_the_step_that_sees_a_start_opens_the_gate(book, broken):
    book.ready()
    seq = book.at(5.0).add("tool", "planer", "running")
    if not broken:
        book.gate("planer_gate", "open")
    book.on()
    assert book.faults() == ([("C4", seq)] if broken else [])


@BOTH
def test_c4_a_move_that_nobody_needs_gives_up_the_slot(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["extra_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.fan["gates"].append("extra_gate")
    book.ready().at(5.0).gate("extra_gate", "open")
    book.at(8.0).gate("extra_gate", "shut")
    seq = book.at(9.0).add("tool", "planer", "running")
    if not broken:
        book.gate("extra_gate", "halt")
        book.gate("planer_gate", "open")
    else:
        book.add("gate_belief", "planer_gate", "unproven", why="waits for a slot")
    book.on()
    assert book.faults() == ([("C4", seq)] if broken else [])


@BOTH
def test_c4_a_waiting_gate_goes_before_every_other_move(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["extra_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.fan["gates"].append("extra_gate")
    book.ready().at(8.0).gate("extra_gate", "open")
    book.at(9.0).add("tool", "planer", "running")
    book.add("gate_belief", "planer_gate", "unproven", why="waits for a slot")
    book.on()
    book.at(10.5).add("tick")
    seq = book.gate("extra_gate" if broken else "planer_gate", "shut" if broken else "open")
    assert book.faults() == ([("C4", seq)] if broken else [])


def test_c20_a_long_wait_for_a_slot_gives_its_reason(book):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["extra_gate"] = dict(book.shop["gates"]["saw_gate"], travel_s=5)
    book.fan["gates"].append("extra_gate")
    book.ready().at(8.0).gate("extra_gate", "open")
    book.at(9.0).add("tool", "planer", "running")
    book.on()
    book.at(10.0).add("tick")
    seq = book.at(10.5).add("tick")
    assert book.faults() == [("C20", seq)]


@BOTH
def test_c6_a_gate_stays_open_for_its_clear_time(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(30.0).add("tool", "saw", "stopped")
    seq = book.at(32.9 if broken else 33.0).gate("saw_gate", "shut")
    assert book.faults() == ([("C6", seq)] if broken else [])


@BOTH
def test_c6_and_then_shuts_or_says_why_not(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(30.0).add("tool", "saw", "stopped")
    book.at(33.0).add("tick")
    if not broken:
        book.add("gate_belief", "saw_gate", "open", why="The main needs this air.", rule="C17")
    seq = book.at(34.5).add("tick")
    assert book.faults() == ([("C6", seq)] if broken else [])


@pytest.mark.parametrize(("open_t", "rule"), [(19.0, None), (21.0, "C6")])
def test_c6_waits_for_a_switch_that_said_open_before_its_gate_was_told(book, open_t, rule):
    book.shop["gates"]["planer_gate"]["switch"] = True
    book.sawing()
    if open_t < 20.0:
        book.at(open_t).add("switch", "planer_gate", "open")
    book.at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    if open_t > 20.0:
        book.at(open_t).add("switch", "planer_gate", "open")
    book.at(22.0).add("tool", "saw", "stopped")
    book.at(25.1).add("tick")
    seq = book.at(26.2).add("tick")
    assert book.faults() == ([(rule, seq)] if rule else [])


@BOTH
def test_c7_moves_at_rest_leave_a_path(book, broken):
    book.ready()
    if not broken:
        book.at(4.0).gate("planer_gate", "open")
    seq = book.at(6.0).gate("saw_gate", "shut")
    assert book.faults() == ([("C7", seq)] if broken else [])


@BOTH
def test_c7_a_path_lost_at_rest_is_opened_elsewhere(book, broken):
    book.shop["gates"]["saw_gate"]["switch"] = True
    book.ready().entries.pop()
    book.at(3.0).add("switch", "saw_gate", "open")
    book.at(50.0).add("switch", "saw_gate", "between")
    if not broken:
        book.gate("planer_gate", "open")
    seq = book.at(51.5).add("tick")
    assert book.faults() == ([("C7", seq)] if broken else [])


@pytest.mark.parametrize(("saw", "rule"), [("running", None), ("stopped", "C7")])
def test_c7_a_running_tools_gate_in_the_queue_comes_before_a_path_at_rest(book, saw, rule):
    gates = book.shop["gates"]
    gates["vac_gate"] = gates["saw_gate"] | {"travel_s": 6}
    gates["planer_gate"]["supply"] = "air"
    book.shop["systems"]["vac"] = book.fan | {"gates": ["vac_gate"], "feeder": None}
    book.shop["supplies"] = {"psu": {"at_once": 1}, "air": {"at_once": 1}}
    book.wake().at(0.5).add("tool", "planer", "stopped")
    book.add("tool", "saw", {"what": saw, "fresh": False})
    book.at(1.0).gate("vac_gate", "open")
    book.add("queued", "saw_gate", "open", rule="C11", why="it waits until another gate has moved")
    book.alarm("saw")
    book.at(1.1).add("tick")
    seq = book.at(2.5).add("tick")
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("from_t", "until_t", "rule"), [(11.6, 14.1, None), (14.3, 15.4, "C7")])
def test_c7_a_gate_on_its_way_to_shut_holds_its_slot_until_its_time_is_over(book, from_t, until_t, rule):
    gates = book.shop["gates"]
    gates["saw_gate"] |= {"switch": True, "travel_s": 4}
    gates["planer_gate"]["switch"] = True
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.ready().entries.pop()
    book.at(3.0).add("switch", "saw_gate", "open")
    book.add("switch", "planer_gate", "open")
    book.at(10.0).gate("saw_gate", "shut")
    book.at(11.0).add("switch", "planer_gate", "between")
    book.at(11.5).add("switch", "saw_gate", "shut")  # its travel is over at 14.2 s
    book.at(from_t).add("tick")
    seq = book.at(until_t).add("tick")
    assert book.faults() == ([(rule, seq)] if rule else [])


@BOTH
def test_c7_never_parked_on_a_hand_gate_alone(book, broken):
    book.shop["gates"]["hand_gate"] = {"area_m2": 0.008, "actuated": False, "switch": True}
    book.fan["gates"].append("hand_gate")
    book.sawing().at(12.0).add("switch", "hand_gate", "open")
    book.at(20.0).add("tool", "saw", "stopped")
    book.at(28.0).add("tick")
    if broken:
        book.gate("saw_gate", "shut")
    seq = book.off()
    assert book.faults() == ([("C7", seq)] if broken else [])


@BOTH
def test_c10_a_miss_behind_a_running_tool_is_tried_again(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    book.at(22.0).add("miss", "planer_gate")
    book.at(23.0).add("tick")
    if not broken:
        book.gate("planer_gate", "open")
    seq = book.at(35.0).add("tick")
    assert book.faults() == ([("C10", seq)] if broken else [])


@BOTH
def test_c10_a_running_tool_behind_a_stuck_gate_is_the_highest_alarm(book, broken):
    book.sawing().at(20.0).add("tool", "planer", "running")
    book.gate("planer_gate", "open")
    seq = book.at(22.0).add("miss", "planer_gate")
    book.add("gate_belief", "planer_gate", "stuck")
    book.alarm("planer", "today" if broken else "now")
    assert book.faults() == ([("C10", seq)] if broken else [])


@BOTH
def test_c11_no_more_moves_than_the_supply_allows(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["third_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.ready().at(5.0).gate("planer_gate", "open")
    seq = book.at(6.9 if broken else 7.0).gate("third_gate", "open")
    assert book.faults() == ([("C11", seq)] if broken else [])


@BOTH
def test_c11_a_reversal_keeps_its_slot_for_its_dead_time_too(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["third_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.ready().at(5.0).gate("planer_gate", "open")
    book.at(6.0).gate("planer_gate", "shut")
    seq = book.at(8.1 if broken else 8.2).gate("third_gate", "open")
    assert book.faults() == ([("C11", seq)] if broken else [])


@pytest.mark.parametrize(("after_s", "rule"), [(2.9, "C26"), (3.0, None)])
def test_c26_a_released_gate_waits_three_seconds(book, after_s, rule):
    book.ready().at(5.0).ask("hold", "planer_gate")
    book.at(10.0).ask("release", "planer_gate", "button")
    seq = book.at(10.0 + after_s).gate("planer_gate", "open")
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize("by", ["hold", "stuck"])
def test_c26_a_held_or_stuck_gate_gets_no_motion_even_after_a_restart(book, by):
    book.ready().at(5.0)
    if by == "hold":
        book.ask("hold", "planer_gate")
    else:
        book.gate("planer_gate", "open")
        book.at(7.5).add("miss", "planer_gate")
        book.add("gate_belief", "planer_gate", "stuck")
    book.at(20.0).add("stopped")
    book.wake(5.0, boot="b2", run="r2")
    book.at(7.0).gate("saw_gate", "open")
    seq = book.at(20.0).gate("planer_gate", "open")
    assert book.faults() == [("C26", seq)]


@BOTH
def test_c26_a_gate_that_moves_when_it_is_held_is_halted(book, broken):
    book.ready().at(5.0).gate("planer_gate", "open")
    seq = book.at(6.0).ask("hold", "planer_gate")
    if not broken:
        book.gate("planer_gate", "halt")
    assert book.faults() == ([("C26", seq)] if broken else [])
