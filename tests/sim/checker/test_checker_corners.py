"""The checker on less common shops and orders: switches, two systems, doubtful causes, what is out of service."""

import pytest

BOTH = pytest.mark.parametrize("broken", [False, True])


def _switched(book, *gates):
    for name in gates:
        book.shop["gates"][name]["switch"] = True
    book.wake().at(0.5)
    for tool in book.shop["tools"]:
        book.add("tool", tool, "stopped")
    return book


@pytest.mark.parametrize(("word", "rule"), [("open", None), ("between", "C2"), ("shut", "C2")])
def test_a_switch_says_whether_the_path_is_proven(book, word, rule):
    _switched(book, "saw_gate").at(1.0).gate("saw_gate", "open")
    book.at(3.0).add("switch", "saw_gate", word)
    book.at(5.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("word", "rule"), [("shut", None), ("between", "C3a")])
def test_a_gate_is_believed_shut_by_its_switch(book, word, rule):
    _switched(book, "planer_gate").at(1.0).gate("saw_gate", "open")
    book.at(1.5).add("switch", "planer_gate", word)
    seq = book.at(3.0).add("gate_belief", "planer_gate", "shut")
    assert book.faults() == ([(rule, seq)] if rule else [])


@pytest.mark.parametrize(("t_s", "rule"), [(6.9, "C3a"), (7.0, None)])
def test_a_gate_without_a_switch_is_believed_shut_after_its_travel(book, t_s, rule):
    book.ready().at(5.0).gate("planer_gate", "shut")
    seq = book.at(t_s).add("gate_belief", "planer_gate", "shut")
    assert book.faults() == ([(rule, seq)] if rule else [])


@BOTH
def test_a_missed_gate_is_no_path(book, broken):
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(1.0).gate("saw_gate", "open")
    book.at(3.0).add("miss" if broken else "tick", "saw_gate" if broken else None)
    if broken:
        book.gate("saw_gate", "open")
    book.at(4.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == ([("C2", seq)] if broken else [])


@BOTH
def test_an_arrival_frees_the_slot_before_the_travel_is_over(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    _switched(book, "saw_gate").at(1.0).gate("saw_gate", "open")
    if not broken:
        book.at(1.5).add("switch", "saw_gate", "open")
    seq = book.at(2.0).gate("planer_gate", "open")
    assert book.faults() == ([("C11", seq)] if broken else [])


@BOTH
def test_a_waiting_gate_is_opened_when_the_slot_is_free(book, broken):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["extra_gate"] = dict(book.shop["gates"]["saw_gate"], can_halt=False)
    book.fan["gates"].append("extra_gate")
    book.ready().at(8.0).gate("extra_gate", "open")
    book.at(9.0).add("tool", "planer", "running")
    book.add("gate_belief", "planer_gate", "unproven", why="waits for a slot")
    book.on()
    book.at(10.5).add("motor_seen", "fan", "running")
    if not broken:
        book.gate("planer_gate", "open")
    seq = book.at(12.0).add("tick")
    assert book.faults() == ([("C4", seq)] if broken else [])


@BOTH
def test_a_gate_waits_for_the_release_of_the_emergency(book, broken):
    book.ready().at(5.0).add("emergency", "red_button", "open")
    book.off()
    book.at(6.0).add("tool", "planer", "running")
    book.at(7.0).add("emergency", "red_button", "made")
    book.at(8.0).ask("reset")
    if not broken:
        book.gate("planer_gate", "open")
    seq = book.at(9.5).add("tick")
    assert book.faults() == ([("C4", seq)] if broken else [])


def test_of_two_waiting_gates_the_earlier_start_goes_first(book):
    book.shop["supplies"]["psu"]["at_once"] = 1
    book.shop["gates"]["extra_gate"] = dict(book.shop["gates"]["saw_gate"], can_halt=False)
    book.shop["gates"]["lathe_gate"] = dict(book.shop["gates"]["saw_gate"])
    book.shop["tools"]["lathe"] = dict(book.shop["tools"]["saw"], gates=["lathe_gate"])
    book.fan["gates"] += ["extra_gate", "lathe_gate"]
    book.ready().at(8.0).gate("extra_gate", "open")
    book.at(8.5).add("tool", "planer", "running")
    book.add("gate_belief", "planer_gate", "unproven", why="waits for a slot")
    book.on()
    book.at(9.0).add("tool", "lathe", "running")
    book.add("gate_belief", "lathe_gate", "unproven", why="waits for a slot")
    book.at(10.0).add("motor_seen", "fan", "running")
    seq = book.gate("lathe_gate", "open")
    assert book.faults() == [("C4", seq)]
    book.entries[-1]["subject"] = "planer_gate"
    assert book.faults() == []


@pytest.mark.parametrize("subject", [None, "planer_gate"])
@pytest.mark.parametrize("lifted", [False, True])
def test_c14_the_whole_shop_or_one_gate(book, subject, lifted):
    book.ready().at(5.0).gate("planer_gate", "open")
    book.at(6.0).ask("out_of_service", subject)
    book.gate("planer_gate", "halt")
    if lifted:
        book.at(7.0).ask("back_in_service", subject)
    seq = book.at(8.0).gate("planer_gate", "open")
    assert book.faults() == ([] if lifted else [("C14", seq)])


def test_c14_a_tool_out_of_service_asks_for_nothing(book):
    book.ready().at(5.0).ask("out_of_service", "planer")
    book.at(6.0).add("tool", "planer", "running")
    book.at(9.0).add("tick")
    assert book.faults() == []
    book.at(10.0).ask("back_in_service", "planer")
    seq = book.at(20.0).add("tick")
    assert book.faults() == [("C4", seq)]


def test_c21_a_start_seen_in_hand_may_be_a_cause_and_need_not(book):
    book.ready().at(5.0).add("hand", "fan", "hand")
    book.at(6.0).add("tool", "saw", "running")
    book.at(8.0).add("hand", "fan", "auto")
    book.at(12.0).add("tick")
    book.at(20.0).on()
    assert book.faults() == []


@pytest.mark.parametrize("what", ["air_here", "sweep", "flush"])
def test_c21_a_person_may_ask_for_air_in_other_words(book, what):
    book.ready().at(5.0).ask(what, "saw_gate" if what == "air_here" else None)
    book.on()
    book.at(6.0).add("motor_seen", "fan", "running")
    book.at(100.0).add("tick")
    book.at(200.0).off()
    assert book.faults() == []


def test_c21_a_stop_at_a_tool_takes_the_start_back_from_nobody_for_sure(book):
    book.ready().at(5.0).add("tool", "saw", "running")
    book.ask("stop", "saw")
    book.at(20.0).add("tick")
    book.at(21.0).on()
    assert book.faults() == []


@pytest.mark.parametrize("stopped_by", ["spin_down", "a person"])
def test_c18_a_shaker_follows_a_run_that_ended_by_itself(book, stopped_by):
    book.shop["systems"]["shaker"] = {"kind": "shaker", "settle_s": 1}
    book.ready().at(10.0).add("tool", "saw", "running")
    book.on()
    book.at(11.0).add("motor_seen", "fan", "running")
    if stopped_by == "spin_down":
        book.at(20.0).add("tool", "saw", "stopped")
        book.at(28.0).off()
    else:
        book.at(20.0).ask("stop")
        book.off()
    book.at(28.5).add("motor_seen", "fan", "still")
    seq = book.at(40.0).on("shaker")
    assert book.faults() == ([] if stopped_by == "spin_down" else [("C21", seq)])


def test_c7_a_voluntary_stop_that_shuts_the_last_path(book):
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    book.at(28.0)
    shut = book.gate("saw_gate", "shut")
    seq = book.off()
    assert book.faults() == [("C3", shut), ("C7", seq)]


def test_c7_a_standing_relief_parks_the_motor(book):
    book.fan["relief_m2"] = 0.006
    book.sawing().at(20.0).add("tool", "saw", "stopped")
    book.at(28.0).gate("saw_gate", "shut")
    book.off()
    assert book.faults() == []


def test_c3a_proof_may_be_given_per_system(book):
    book.shop["proof"] = {"fan": "person"}
    for gate in book.shop["gates"].values():
        gate |= {"actuated": False, "supply": None}
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(2.0).add("tool", "saw", "running")
    book.on()
    book.at(3.0).add("gate_belief", "saw_gate", "open")
    assert book.faults() == []


def test_c3a_the_person_is_no_proof_where_a_gate_is_driven(book):
    book.shop["proof"] = "person"
    book.wake().at(0.5).add("tool", "saw", "stopped")
    book.at(2.0).add("tool", "saw", "running")
    book.gate("saw_gate", "open")
    seq = book.on()
    assert book.faults() == [("C2", seq)]


@BOTH
def test_c12_a_cleared_message_is_no_alarm(book, broken):
    book.sawing().at(15.0)
    book.alarm("saw", "today")
    if broken:
        book.at(16.0).add("message", "saw", {"code": "alarm", "heap": "today", "raised": True, "cleared": True})
    seq = book.at(20.0).add("tool", "saw", "stale")
    assert book.faults() == ([("C12", seq)] if broken else [])


@pytest.mark.parametrize(
    ("change", "sentence"), [({"t_s": "5"}, "`seq` must be a whole number"), ({"kind": "shop"}, "`shop`")]
)
def test_an_unreadable_entry_is_told_and_left_out(book, change, sentence):
    book.sawing().at(20.0).add("tick")
    book.entries[-1].update(change)
    (violation,) = book.violations()
    assert violation.rule == "form"
    assert violation.sentence.startswith(sentence)


def test_c8_a_lost_record_leaves_one_start_once_a_person_has_cleared_it(book):
    book.fan["starts_stored"] = 0.0
    book.fan["starts_per_hour"] = 1
    book.ready().at(5.0).ask("clear", "fan", "local")
    book.at(6.0).add("tool", "saw", "running")
    book.on()
    book.at(7.0).add("motor_seen", "fan", "running")
    book.at(20.0).ask("stop")
    book.off()
    book.at(21.0).add("motor_seen", "fan", "still")
    book.at(30.0).add("tool", "saw", "stopped")
    book.at(31.0).ask("clear", "fan", "local")
    book.at(32.0).add("tool", "saw", "running")
    seq = book.on()
    assert book.faults() == [("C8", seq)]
