"""The guard on what stands against everything: fire (C24), red button (C13), out of service (C14), the switch (C25)."""

import pytest

from gatekeeper.control.guard import Dropped, Guard
from gatekeeper.control.messages import (
    Answer,
    HandSeen,
    InputSeen,
    Keep,
    Kept,
    MoveGate,
    Requested,
    ShowSign,
    SwitchMotor,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan

SENTENCES = {
    "C24": "Fire alarm: nothing starts and no gate moves until it is reset in the shop itself.",
    "C13": "Red button: nothing starts and no gate moves until a person resets it.",
    "C14": "{} is out of service or a door of it is open: it does not run, no gate of it moves.",
}


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def make(*inputs, kept=None, made=True, wake_s=0.0):
    """Two systems, each with a gate and a tool; every input made unless told otherwise."""
    plan = Plan(
        {n: MotorPlan(n, path_minimum_m2=0.0, starts_capacity=99.0, settle_s=0.0) for n in ("fan", "vac")},
        {"a": GatePlan("a", "fan", 0.02), "z": GatePlan("z", "vac", 0.02)},
        {"saw": ToolPlan("saw", ("a",)), "lathe": ToolPlan("lathe", ("z",))},
        inputs={source.name: source for source in inputs},
    )
    guard = Guard(plan, kept or Kept())
    guard.observe(Woke(), wake_s)
    for source in inputs if made else ():
        guard.observe(InputSeen(source.name, "made"), wake_s)
    return guard


def seen(name, state):
    return InputSeen(word(name), word(state))


def verdict(guard, now_s, *commands):
    judgement = guard.judge(commands, now_s)
    rules = {id(dropped.command): dropped.rule for dropped in judgement.dropped}
    return [rules.get(id(command), "ok") for command in commands]


def stands(guard, motor, gate, now_s=10.0):
    """What happens to (open, shut, on, renew) of one system where a run was on and somebody asked for one."""
    state = guard.save()
    for tool in ("saw", "lathe"):
        guard.observe(ToolSeen(tool, "stopped"), now_s)
    guard.motors[motor].lease_s = guard.motors[motor].run_s = 1e9
    result = []
    for command in (
        MoveGate(gate, word("open")),
        MoveGate(gate, word("shut")),
        SwitchMotor(motor, word("on"), 1e9),
        SwitchMotor(motor, word("renew"), 1e9),
    ):
        here = guard.save()
        result += verdict(guard, now_s, command)
        guard.restore(here)
    harmless = [
        SwitchMotor(motor, "off"),
        MoveGate(gate, "halt"),
        ShowSign(gate, "dark"),
        Keep("x", 1),
        Answer(None, True, "x", "X."),
    ]
    assert verdict(guard, now_s, *harmless) == ["ok"] * 5
    guard.restore(state)
    return result


FREE = ["ok"] * 4


def both(guard, now_s=10.0):
    return stands(guard, "fan", "a", now_s), stands(guard, "vac", "z", now_s)


RED, GREEN = InputPlan("red", InputKind.EMERGENCY), InputPlan("red2", InputKind.EMERGENCY, ("vac",))
HEAT, SMOKE = InputPlan("heat", InputKind.FIRE), InputPlan("smoke", InputKind.FIRE, ("vac",))


def test_nothing_stands_against_a_healthy_shop():
    assert both(make()) == (FREE, FREE)
    assert both(make(RED, GREEN, HEAT, SMOKE)) == (FREE, FREE)


# ---------------------------------------------------------------- C13 and C24


@pytest.mark.parametrize(("source", "rule"), [(RED, "C13"), (GREEN, "C13"), (HEAT, "C24"), (SMOKE, "C24")])
def test_an_input_never_read_blocks_the_whole_shop_but_does_not_latch(source, rule):
    guard = make(source, made=False)
    assert both(guard) == ([rule] * 4, [rule] * 4)
    guard.observe(seen(source.name, "made"), 1.0)
    assert both(guard) == (FREE, FREE)


@pytest.mark.parametrize(
    ("source", "rule", "who"),
    [(RED, "C13", "page"), (GREEN, "C13", "broker"), (HEAT, "C24", "local"), (SMOKE, "C24", "local")],
)
def test_an_open_circuit_latches_until_it_is_made_and_reset(source, rule, who):
    blocked = ([rule] * 4, [rule] * 4)
    guard = make(RED, GREEN, HEAT, SMOKE)
    guard.observe(seen(source.name, "open"), 1.0)
    assert both(guard) == blocked
    guard.observe(Requested(word("reset"), None, word(who)), 2.0)
    assert both(guard) == blocked
    guard.observe(seen(source.name, "made"), 3.0)
    assert both(guard) == blocked
    guard.observe(Requested(word("reset"), None, word(who)), 4.0)
    assert both(guard) == (FREE, FREE)


@pytest.mark.parametrize("who", ["page", "button", "broker", "input"])
def test_only_local_resets_a_fire(who):
    guard = make(HEAT)
    guard.observe(seen("heat", "open"), 1.0)
    guard.observe(seen("heat", "made"), 2.0)
    guard.observe(Requested("reset", None, who), 3.0)
    assert both(guard) == (["C24"] * 4, ["C24"] * 4)


@pytest.mark.parametrize("inputs", [(), (HEAT,)])
def test_sparks_latch_as_a_fire_does_and_use_up_what_asked_for_a_start(inputs):
    guard = make(*inputs)
    guard.observe(Requested("run", "fan"), 1.0)
    guard.observe(Requested(word("sparks"), None, "page"), 2.0)
    assert both(guard) == (["C24"] * 4, ["C24"] * 4)
    guard.observe(Requested("reset", None, "page"), 3.0)
    assert both(guard) == (["C24"] * 4, ["C24"] * 4)
    guard.observe(Requested("reset"), 4.0)
    assert both(guard) == (FREE, FREE)
    assert verdict(guard, 5.0, SwitchMotor("fan", "on", 1e9)) == ["C21"]


@pytest.mark.parametrize(("pair", "rule"), [((RED, GREEN), "C13"), ((HEAT, SMOKE), "C24")])
def test_every_circuit_of_the_kind_must_be_made(pair, rule):
    for still_open in pair:
        guard = make(*pair)
        for source in pair:
            guard.observe(seen(source.name, "open"), 1.0)
        for source in pair:
            if source is not still_open:
                guard.observe(seen(source.name, "made"), 2.0)
        guard.observe(Requested("reset"), 3.0)
        guard.observe(seen(still_open.name, "made"), 4.0)
        assert both(guard) == ([rule] * 4, [rule] * 4)
        guard.observe(Requested("reset"), 5.0)
        assert both(guard) == (FREE, FREE)


def test_a_reset_needs_readings_of_a_circuit_never_read_too():
    guard = make(RED, made=False, kept=Kept({"emergency": True}, fresh=False))
    guard.observe(Requested("reset"), 1.0)
    guard.observe(seen("red", "made"), 2.0)
    assert both(guard)[0] == ["C13"] * 4


def test_fire_and_red_button_are_reset_each_for_itself():
    guard = make(RED, HEAT)
    for name in ("red", "heat"):
        guard.observe(seen(name, "open"), 1.0)
    assert both(guard)[0] == ["C24"] * 4  # fire comes first
    guard.observe(seen("heat", "made"), 2.0)
    guard.observe(Requested("reset"), 2.0)
    assert both(guard)[0] == ["C13"] * 4
    guard.observe(seen("red", "made"), 3.0)
    guard.observe(seen("heat", "open"), 3.0)
    guard.observe(Requested("reset"), 3.0)
    guard.observe(seen("heat", "made"), 4.0)
    assert both(guard)[0] == ["C24"] * 4
    guard.observe(Requested("reset"), 5.0)
    assert both(guard)[0] == FREE


@pytest.mark.parametrize(("key", "rule"), [("emergency", "C13"), ("fire", "C24")])
def test_the_latches_outlive_a_restart(key, rule):
    levels = {f"starts/{n}": {"level": 9.0} for n in ("fan", "vac")}
    for value in (True, {"since_s": 1.0}):
        guard = make(RED, HEAT, kept=Kept({key: value, **levels}, fresh=False))
        assert both(guard) == ([rule] * 4, [rule] * 4)
        guard.observe(Requested("reset"), 1.0)
        assert both(guard) == (FREE, FREE)
    for value in (False, None):
        assert both(make(kept=Kept({key: value, **levels}, fresh=False))) == (FREE, FREE)


def test_damaged_records_count_as_every_latch():
    guard = make(RED, HEAT, kept=Kept(fresh=False, damaged=True))
    assert both(guard)[0] == ["C24"] * 4
    guard.observe(Requested("reset", None, "page"), 1.0)
    assert both(guard)[0] == ["C24"] * 4
    guard = make(HEAT, kept=Kept(fresh=False, damaged=True))
    guard.observe(seen("heat", "open"), 1.0)
    guard.observe(Requested("reset"), 1.0)
    assert not guard.emergency
    assert guard.fire
    guard = make(RED, HEAT, kept=Kept(fresh=False, damaged=True))
    guard.observe(seen("red", "open"), 1.0)
    guard.observe(Requested("reset"), 1.0)
    assert both(guard) == (["C13"] * 4, ["C13"] * 4)
    guard.observe(seen("red", "made"), 1.0)
    guard.observe(Requested("reset"), 1.0)
    assert both(guard) == (["C14"] * 4, ["C14"] * 4)


def test_an_emergency_circuit_is_no_fire_and_a_door_is_neither():
    guard = make(RED, HEAT, InputPlan("bin", InputKind.DOOR))
    guard.observe(seen("bin", "open"), 1.0)
    assert (guard.emergency, guard.fire) == (False, False)
    guard.observe(seen("red", "open"), 1.0)
    assert (guard.emergency, guard.fire) == (True, False)
    guard.observe(seen("bin", "open"), 1.0)
    assert (guard.emergency, guard.fire) == (True, False)
    other = make(RED, HEAT, InputPlan("bin", InputKind.DOOR))
    other.observe(seen("heat", "open"), 1.0)
    other.observe(seen("bin", "open"), 1.0)
    assert (other.emergency, other.fire) == (False, True)


def test_the_kinds_may_be_plain_text():
    sources = [InputPlan(kind, word(kind), ("vac",)) for kind in ("emergency", "fire", "door")]
    guard = make(*sources)
    guard.observe(seen("door", "open"), 1.0)
    assert both(guard) == (FREE, ["C14"] * 4)
    guard.observe(seen("emergency", "open"), 1.0)
    assert both(guard) == (["C13"] * 4, ["C13"] * 4)
    guard.observe(seen("fire", "open"), 1.0)
    assert both(guard) == (["C24"] * 4, ["C24"] * 4)


# ---------------------------------------------------------------- C14


@pytest.mark.parametrize(
    ("subject", "fan", "vac"),
    [("fan", True, False), ("vac", False, True), (None, True, True), ("nobody", False, False), ("a", False, False)],
)
def test_out_of_service_until_back_in_service(subject, fan, vac):
    out = (["C14"] * 4 if fan else FREE, ["C14"] * 4 if vac else FREE)
    name = subject and word(subject)
    guard = make()
    guard.observe(Requested(word("out_of_service"), name), 1.0)
    assert both(guard) == out
    guard.observe(Requested("stop", name), 1.0)
    guard.observe(Requested("reset", name), 1.0)
    assert both(guard) == out
    guard.observe(Requested(word("back_in_service"), name), 2.0)
    assert both(guard) == (FREE, FREE)
    guard.observe(Requested("out_of_service"), 1.0)
    guard.observe(Requested("back_in_service", name), 2.0)
    assert both(guard) == (FREE if fan else ["C14"] * 4, FREE if vac else ["C14"] * 4)


def test_out_of_service_outlives_a_restart():
    values = {f"starts/{n}": {"level": 9.0} for n in ("fan", "vac")}
    for value, rules in ((True, ["C14"] * 4), ({"who": "x"}, ["C14"] * 4), (False, FREE), (None, FREE)):
        guard = make(kept=Kept({"out_of_service/fan": value, **values}, fresh=False))
        assert both(guard) == (rules, FREE)


@pytest.mark.parametrize(
    ("systems", "fan", "vac"), [(("fan",), True, False), (("fan", "vac"), True, True), ((), True, True)]
)
def test_a_door_that_is_open_or_unread_is_the_same(systems, fan, vac):
    door = InputPlan("bin", InputKind.DOOR, systems)
    out = (["C14"] * 4 if fan else FREE, ["C14"] * 4 if vac else FREE)
    guard = make(door, made=False)
    assert both(guard) == out
    guard.observe(seen("bin", "made"), 1.0)
    assert both(guard) == (FREE, FREE)
    guard.observe(seen("bin", "open"), 1.0)
    assert both(guard) == out
    guard.observe(seen("bin", "made"), 1.0)
    assert both(guard) == (FREE, FREE)


def test_one_door_says_nothing_of_another():
    guard = make(InputPlan("bin", InputKind.DOOR, ("fan",)), InputPlan("hatch", InputKind.DOOR, ("fan", "vac")))
    guard.observe(seen("bin", "open"), 1.0)
    guard.observe(seen("hatch", "open"), 1.0)
    guard.observe(seen("hatch", "made"), 1.0)
    assert both(guard) == (["C14"] * 4, FREE)


# ---------------------------------------------------------------- C25


def test_the_switch_of_the_motor():
    guard = make()
    for state, rules in (
        ("hand", ["ok", "ok", "C25", "C25"]),
        ("off", ["C25"] * 4),
        ("auto", FREE),
        ("off", ["C25"] * 4),
        ("hand", ["ok", "ok", "C25", "C25"]),
    ):
        guard.observe(HandSeen(word("fan"), word(state)), 1.0)
        assert both(guard) == (rules, FREE)


# ---------------------------------------------------------------- what is said, and what wins


def dropped(guard, command):
    (entry,) = guard.judge([command], 10.0).dropped
    return entry


@pytest.mark.parametrize(("source", "rule"), [(HEAT, "C24"), (RED, "C13"), (InputPlan("b", InputKind.DOOR), "C14")])
def test_what_is_said(source, rule):
    guard = make(source, made=False)
    for command in (SwitchMotor("fan", "on", 20.0), MoveGate("a", "open")):
        assert dropped(guard, command) == Dropped(command, rule, SENTENCES[rule].format("fan"))


def test_what_is_said_about_the_switch():
    guard = make()
    guard.observe(HandSeen("fan", "off"), 1.0)
    sentence = "The switch of fan stands at off: it does not run and no gate of it moves."
    for command in (SwitchMotor("fan", "on", 20.0), MoveGate("a", "shut")):
        assert dropped(guard, command) == Dropped(command, "C25", sentence)
    guard.observe(HandSeen("fan", "hand"), 1.0)
    command = SwitchMotor("fan", "renew", 20.0)
    assert dropped(guard, command) == Dropped(
        command, "C25", "fan runs by hand: it is started and stopped at its switch."
    )


def test_the_order_of_yielding():
    guard = make(RED, HEAT)
    command = MoveGate("a", "shut")  # nothing is proven open: C3 at the least, were it not for the rest
    guard.observe(ToolSeen("saw", "running"), 1.0)
    for event, rule in (
        (Ticked(), "C1"),
        (Requested("hold", "a"), "C26"),
        (HandSeen("fan", "off"), "C25"),
        (Requested("out_of_service"), "C14"),
        (seen("red", "open"), "C13"),
        (seen("heat", "open"), "C24"),
    ):
        guard.observe(event, 1.0)
        assert dropped(guard, command).rule == rule


def test_a_circuit_found_open_is_not_reset_while_it_is_open():
    guard = make(RED, HEAT, made=False)
    for name in ("red", "heat"):
        guard.observe(seen(name, "open"), 1.0)
    guard.observe(Requested("reset"), 2.0)
    assert (guard.emergency, guard.fire, guard.made) == (True, True, frozenset())


def test_kinds_in_plain_text_latch_too():
    guard = make(InputPlan("red", word("emergency")), InputPlan("heat", word("fire")))
    guard.observe(seen("red", "open"), 1.0)
    assert (guard.emergency, guard.fire) == (True, False)
    guard.observe(seen("heat", "open"), 1.0)
    assert (guard.emergency, guard.fire) == (True, True)


@pytest.mark.parametrize("what", ["", "A", "cleared", "helden", "released", "stopped_", "zzz"])
def test_a_request_in_words_that_nobody_knows_changes_nothing(what):
    guard = make()
    guard.observe(ToolSeen("saw", "stale"), 1.0)
    guard.observe(Requested("hold", "z"), 1.0)
    guard.motors["fan"].locked = guard.motors["vac"].out = True
    before = guard.save()
    for subject in (None, "fan", "vac", "saw", "a", "z"):
        guard.observe(Requested(what, subject), 2.0)
    assert guard.save() == before


@pytest.mark.parametrize(("kind", "rule"), [(InputKind.EMERGENCY, "C13"), (InputKind.FIRE, "C24")])
def test_a_damaged_record_latches_only_what_the_shop_has_an_input_for(kind, rule):
    for inputs in ({}, {"it": InputPlan("it", kind)}):
        plan = Plan({"fan": MotorPlan("fan")}, {"a": GatePlan("a", "fan", 0.01)}, {}, inputs=inputs)
        guard = Guard(plan, Kept(fresh=False, damaged=True))
        guard.observe(Woke(), 0.0)
        for name in inputs:
            guard.observe(InputSeen(name, "made"), 0.0)
        guard.observe(Requested("back_in_service"), 0.0)
        dropped = guard.judge([MoveGate("a", "open")], 10.0).dropped
        assert [drop.rule for drop in dropped] == ([rule] if inputs else [])
