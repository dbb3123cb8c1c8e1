"""The checker on people and on the record itself: C13, C14, C16, C20, C24, C25, C27, the guard, and form."""

import pytest

from sim.checker import Checker, ten_before

BOTH = pytest.mark.parametrize("broken", [False, True])
ALARMS = pytest.mark.parametrize(
    ("kind", "name", "rule"), [("emergency", "red_button", "C13"), ("fire", "heat", "C24")]
)


@ALARMS
@BOTH
def test_c13_c24_every_motor_is_told_off_in_that_step(book, kind, name, rule, broken):
    seq = book.sawing().at(20.0).add(kind, name, "open")
    if not broken:
        book.off()
    assert book.faults() == ([(rule, seq)] if broken else [])


@ALARMS
@BOTH
def test_c13_c24_what_moves_is_halted_in_that_step(book, kind, name, rule, broken):
    book.ready().at(5.0).gate("planer_gate", "open")
    seq = book.at(6.0).add(kind, name, "open")
    book.off()
    if not broken:
        book.gate("planer_gate", "halt")
    assert book.faults() == ([(rule, seq)] if broken else [])


@ALARMS
def test_c13_c24_nothing_moves_or_starts_until_a_reset_even_after_a_restart(book, kind, name, rule):
    book.sawing().at(20.0).add(kind, name, "open")
    book.off()
    book.at(21.0).add("motor_seen", "fan", "still")
    book.at(22.0).add(kind, name, "made")
    moved = book.at(23.0).gate("planer_gate", "open")
    started = book.on()
    book.at(24.0).add("kill")
    book.fan["starts_stored"] = 0.0
    book.wake(30.0, run="r2")
    moved_again = book.at(32.0).gate("saw_gate", "open")
    assert book.faults() == [(rule, moved), (rule, started), (rule, moved_again)]


@pytest.mark.parametrize(
    ("kind", "name", "who", "made", "free"),
    [
        ("emergency", "red_button", "page", True, True),
        ("emergency", "red_button", "page", False, False),
        ("fire", "heat", "page", True, False),
        ("fire", "heat", "local", True, True),
    ],
)
def test_c13_c24_who_may_reset_and_when(book, kind, name, who, made, free):
    book.ready().at(20.0).add(kind, name, "open")
    book.off()
    if made:
        book.at(22.0).add(kind, name, "made")
    book.at(23.0).ask("reset", None, who)
    seq = book.at(24.0).gate("planer_gate", "open")
    assert book.faults() == ([] if free else [("C13" if kind == "emergency" else "C24", seq)])


def test_c13_a_gate_halted_while_it_moved_is_unproven(book):
    book.ready().at(5.0).gate("planer_gate", "open")
    book.at(6.0).add("emergency", "red_button", "open")
    book.off()
    book.gate("planer_gate", "halt")
    seq = book.at(9.0).add("gate_belief", "planer_gate", {"what": "open", "proof": "travel"})
    assert book.faults() == [("C3a", seq)]


@pytest.mark.parametrize("by", ["request", "door"])
@BOTH
def test_c14_out_of_service_is_a_forced_stop_and_halts_the_systems_gates(book, by, broken):
    book.sawing().at(19.0).gate("planer_gate", "open")
    book.at(20.0)
    seq = book.ask("out_of_service", "fan") if by == "request" else book.add("door", "bin_door", "open")
    if not broken:
        book.off()
        book.gate("planer_gate", "halt")
    assert book.faults() == ([("C14", seq), ("C14", seq)] if broken else [])


@pytest.mark.parametrize("by", ["request", "door"])
@pytest.mark.parametrize("lifted", [False, True])
def test_c14_nothing_moves_until_it_is_lifted_and_lifting_starts_nothing(book, by, lifted):
    book.sawing().at(20.0)
    if by == "request":
        book.ask("out_of_service", "fan")
    else:
        book.add("door", "bin_door", "open")
    book.off()
    book.at(20.5).add("motor_seen", "fan", "still")
    book.at(21.0).add("tick")
    if lifted and by == "request":
        book.ask("back_in_service", "fan")
    elif lifted:
        book.at(21.0).add("door", "bin_door", "made")
    moved = book.at(25.0).gate("planer_gate", "open")
    started = book.on()
    assert book.faults() == ([("C21", started)] if lifted else [("C14", moved), ("C14", started)])


@pytest.mark.parametrize(("what", "rule"), [("out_of_service", "C14"), ("stop", "C16")])
def test_c14_c16_out_of_service_and_stop_are_never_refused(book, what, rule):
    cause = book.ready().at(20.0).ask(what, "fan")
    book.add("refusal", "fan", "busy", cause=cause, why="The saw runs.")
    assert book.faults() == [(rule, cause)]


@pytest.mark.parametrize("subject", ["fan", None])
@BOTH
def test_c16_stop_is_obeyed_at_once(book, subject, broken):
    seq = book.sawing().at(20.0).ask("stop", subject)
    if not broken:
        book.off()
    assert book.faults() == ([("C16", seq)] if broken else [])


@pytest.mark.parametrize("kind", ["refusal", "halt", "retry", "dropped"])
@BOTH
def test_c20_nothing_happens_without_its_reason(book, kind, broken):
    why = None if broken else "Because the saw runs."
    book.sawing().at(20.0).gate("planer_gate", "open")
    if kind == "refusal":
        cause = book.at(21.0).ask("shut", "saw_gate")
        seq = book.add("refusal", "saw_gate", "tool_runs", cause=cause, why=why)
    elif kind == "halt":
        seq = book.at(21.0).gate("planer_gate", "halt", why)
    elif kind == "retry":
        book.at(22.0).add("miss", "planer_gate")
        seq = book.gate("planer_gate", "open", why)
    else:
        seq = book.at(21.0).add("dropped", "saw_gate", "shut", why=why, rule="C1")
    guard = [("guard", seq)] if kind == "dropped" else []
    assert book.faults() == guard + ([("C20", seq)] if broken else [])


@BOTH
def test_c20_a_gate_believed_open_without_a_switch_says_what_proves_it(book, broken):
    book.ready().at(5.0).gate("planer_gate", "open")
    seq = book.at(7.0).add("gate_belief", "planer_gate", "open" if broken else {"what": "open", "proof": "travel"})
    assert book.faults() == ([("C20", seq)] if broken else [])


@pytest.mark.parametrize("mode", ["off", "hand"])
def test_c25_a_motor_in_hand_or_off_is_not_ours(book, mode):
    book.sawing().at(20.0).add("hand", "fan", mode)
    if mode == "off":
        book.off()
    moved = book.at(25.0).gate("planer_gate", "open")
    kept = book.at(30.0).renew()
    assert book.faults() == ([("C25", moved), ("C25", kept)] if mode == "off" else [("C25", kept)])


@BOTH
def test_c25_off_is_a_stop(book, broken):
    seq = book.sawing().at(20.0).add("hand", "fan", "off")
    if not broken:
        book.off()
    assert book.faults() == ([("C25", seq)] if broken else [])


@BOTH
def test_c25_in_hand_the_fan_still_needs_its_path(book, broken):
    book.ready().at(5.0).add("hand", "fan", "hand")
    book.at(6.0).add("motor_seen", "fan", "running")
    if not broken:
        book.at(7.0).gate("planer_gate", "open")
    seq = book.at(10.0).gate("saw_gate", "shut")
    assert book.faults() == ([("C3", seq)] if broken else [])


@BOTH
def test_c27_no_motor_starts_while_the_shop_is_shut(book, broken):
    book.ready().at(5.0).add("shop_key", None, "shut")
    if not broken:
        book.at(9.0).add("shop_key", None, "open")
    book.at(10.0).add("tool", "saw", "running")
    if broken:
        book.add("sign", "saw", "shop shut")
    seq = book.on()
    assert book.faults() == ([("C27", seq)] if broken else [])


@BOTH
def test_c27_a_tool_that_starts_in_a_shut_shop_is_told_of(book, broken):
    book.ready().at(5.0).add("shop_key", None, "shut")
    seq = book.at(10.0).add("tool", "saw", "running")
    if not broken:
        book.alarm("saw", "today")
    assert book.faults() == ([("C27", seq)] if broken else [])


def test_c27_a_shut_shop_lets_a_running_motor_end_by_its_spin_down(book):
    book.sawing().at(15.0).add("shop_key", None, "shut")
    book.at(20.0).add("tool", "saw", "stopped")
    book.at(24.0).renew()
    book.at(28.0).off()
    assert book.faults(punctual=True) == []


# --- form -----------------------------------------------------------------------------------------------------------


def _form(book):
    return [str(violation) for violation in book.violations() if violation.rule == "form"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"seq": 4}, "form at entry 4, 5.000 s: `seq` must rise: 4 follows 7."),
        ({"t_s": 2.5}, "form at entry 8, 2.500 s: `t_s` went back within one boot: 2.5 follows 3.0."),
        ({"step": 1}, "form at entry 8, 5.000 s: `step` went back within one run: 1 follows 4."),
        ({"run": "r2"}, "form at entry 8, 5.000 s: The first entry of a run must be `shop`."),
        ({"cause": 8}, "form at entry 8, 5.000 s: `cause` must name an earlier entry, not 8."),
        (
            {"value": "on"},
            "form at entry 8, 5.000 s: `tool` cannot say 'on'; it says one of: running, stale, stopped.",
        ),
        (
            {"subject": "lathe"},
            "form at entry 8, 5.000 s: `tool` names 'lathe', which is not among the tools of the shop.",
        ),
        (
            {"kind": "request", "value": "stop"},
            "form at entry 8, 5.000 s: A request must say under `what` what is asked.",
        ),
        (
            {"kind": "setting", "value": {"name": "spin_down_s"}},
            "form at entry 8, 5.000 s: A setting must give its `name` and its `value`.",
        ),
        (
            {"kind": "message", "value": {"code": "jam", "heap": "soon"}},
            "form at entry 8, 5.000 s: A message must give its `code` and its `heap`: now, today or when_you_can.",
        ),
    ],
)
def test_form_of_one_entry(book, change, sentence):
    book.ready().at(5.0).add("tool", "planer", "stopped")
    book.entries[-1].update(change)
    assert _form(book) == [sentence]


def test_form_an_entry_has_every_field(book):
    book.ready().at(5.0).add("tick")
    del book.entries[-1]["why"]
    assert _form(book) == ["form at entry 8, 5.000 s: The entry has no field `why`."]


def test_form_inputs_stand_before_commands(book):
    book.ready().at(5.0).gate("planer_gate", "open")
    book.add("tool", "planer", "stopped")
    assert _form(book) == ["form at entry 9, 5.000 s: An input stands after a command of the same step."]


def test_form_a_hand_gate_cannot_be_commanded(book):
    book.shop["gates"]["planer_gate"]["actuated"] = False
    book.ready().at(5.0).gate("planer_gate", "open")
    assert _form(book) == ["form at entry 8, 5.000 s: planer_gate is moved by hand and cannot be commanded."]


def test_unknown_kinds_and_further_fields_are_let_be(book):
    book.sawing().at(12.0).add("weather", "roof", "rain", mood="grey")
    book.add("truth_motor", "fan", 0.98)
    assert book.faults() == []


# --- the checker as a stream ----------------------------------------------------------------------------------------


def test_the_stream_tells_a_step_when_the_next_one_begins(book):
    seq = book.sawing().at(20.0).off()
    book.at(21.0).add("tick")
    book.at(22.0).add("tick")
    checker = Checker()
    told_at = [(entry["seq"], v.rule, v.seq) for entry in book.entries for v in checker.feed(entry)]
    assert told_at == [(seq + 1, "C5", seq)]
    assert checker.finish() == []


def test_ten_before(book):
    book.sawing().at(12.0).add("tick")
    assert [entry["seq"] for entry in ten_before(book.entries, 12)] == [2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    assert [entry["seq"] for entry in ten_before(book.entries, 3)] == [1, 2]


@pytest.mark.parametrize("systems", [1, 2])
def test_a_floor_sweep_holds_a_motor_that_alone_can_be_its_own(book, systems):
    if systems == 2:
        book.shop["gates"]["vac_gate"] = dict(book.shop["gates"]["saw_gate"])
        book.shop["systems"]["vac"] = book.fan | {"gates": ["vac_gate"], "feeder": None}
    book.sawing().at(12.0).ask("sweep", who="local", for_s=60.0)
    book.at(20.0).add("tool", "saw", "stopped")
    seq = book.at(28.0).off()
    assert (("C5", seq) in book.faults()) is (systems == 1)
