"""Extra air and shortage (C17), monotonic time (C19), the shut shop (C27), and no command for a tool (C28)."""

import dataclasses
import typing

import pytest
import shop_plans

from gatekeeper.control import messages
from gatekeeper.control.messages import Command, Missed, ToolSeen, Woke
from gatekeeper.control.moves import Rank, wishes
from gatekeeper.control.plan import AirAnswer
from gatekeeper.control.supervisor import Supervisor

SAW, BOTH = ("fan", frozenset({"saw"})), ("fan", frozenset({"saw", "planer"}))


def airy(*, at_once=2, extra=("g3",), **gates):
    """The shop with an air table: g3 belongs to no tool. ``gates`` changes a gate's plan."""
    plan = shop_plans.extra_air()
    changed = {name: dataclasses.replace(gate, **gates.get(name, {})) for name, gate in plan.gates.items()}
    air = {SAW: AirAnswer(extra=extra), BOTH: AirAnswer(short=(("saw", 0.2),))}
    return dataclasses.replace(plan, gates=changed, supplies={"air": at_once}, air=air)


def orders(shop, name):
    return [(at_s, word) for at_s, about, word in shop.taken() if about == name]


# ---------------------------------------------------------------- C17


def test_an_extra_gate_opens_when_its_tools_run_says_why_and_shuts_when_they_change(open_shop):
    shop = open_shop(airy())
    assert not shop.core.world.gates["g3"].is_open
    shop.starts("saw")
    assert orders(shop, "g3") == [(10.0, "open")]
    assert next(e.why for e in shop.tail if e.subject == "g3" and e.value == "open") == "open as extra air for the main"
    shop.wait(5.0)
    gates = {gate.name: gate for gate in shop.core.snapshot().gates}
    assert gates["g3"].reason == "open as extra air for the main"
    shop.starts("planer")
    shop.wait(5.0)
    assert orders(shop, "g3") == [(15.0, "shut")]
    assert not shop.core.world.gates["g3"].is_open


def test_no_extra_gate_opens_while_nothing_runs(open_shop):
    shop = open_shop(airy())
    shop.answer("run", "fan", for_s=20.0)
    shop.wait(30.0)
    assert orders(shop, "g3") == [(10.0, "shut")]  # nobody knew where it stood


@pytest.mark.parametrize("how", ["held", "stuck", "not as extra", "shut by hand", "worked on"])
def test_a_gate_that_is_not_free_is_never_opened_as_extra(open_shop, how):
    shop = open_shop(airy(g3={"as_extra": how != "not as extra"}))
    if how in ("held", "worked on"):
        assert shop.answer("hold", "g3") == "done"
    elif how == "stuck":
        for _ in range(3):
            shop.step(Missed("g3"))
    elif how == "shut by hand":
        assert shop.answer("shut", "g3") == "done"
        shop.wait(3.0)
    shop.taken()
    shop.starts("saw")
    shop.wait(10.0)
    assert "open" not in [word for _, word in orders(shop, "g3")]


def test_out_of_service_no_extra_gate_opens(open_shop):
    shop = open_shop(airy())
    shop.answer("out_of_service", "fan")
    shop.taken()
    shop.starts("saw")
    shop.wait(10.0)
    assert shop.taken() == []


def test_every_running_tool_s_gates_are_open_where_the_air_is_short_and_the_alarm_names_it(open_shop):
    shop = open_shop(airy())
    shop.starts("saw")
    shop.starts("planer")
    shop.wait(10.0)
    assert shop.core.world.gates["g1"].is_open
    assert shop.core.world.gates["g2"].is_open
    said = [entry for entry in shop.tail if entry.kind == "message" and entry.value.get("code") == "short_of_air"]
    assert [(e.subject, e.value["missing"], e.why) for e in said] == [
        ("saw", 0.2, "saw gets 20 % less air than it needs.")
    ]
    shop.stops("planer")
    shop.wait(1.0)
    assert "short_of_air" not in shop.alarms()


def test_an_extra_gate_is_the_first_to_yield_its_slot(open_shop):
    shop = open_shop(airy(at_once=1))
    shop.starts("saw")
    assert orders(shop, "g3")[-1] == (10.0, "open")
    shop.wait(1.0)
    shop.starts("planer")
    assert shop.taken() == [(11.0, "g3", "halt"), (11.0, "g2", "open")]


def test_an_extra_gate_is_no_tool_s_own(open_shop):
    shop = open_shop(airy())
    shop.jammed.add("g1")
    shop.core.world.gate_machine.fire(shop.core.world.gates["g1"], "missed")  # its gate no longer counts as open
    shop.starts("saw")
    shop.wait(30.0)
    assert shop.core.world.gates["g3"].is_open
    assert shop.core.world.gates["g1"].belief == "stuck"
    assert "not_collected" in shop.alarms()
    assert shop.core.world.signs["saw"] == "no_air"


def test_a_path_does_not_wait_as_extra_air(open_shop):
    shop = open_shop(airy(at_once=1))
    world = shop.core.world
    shop.starts("saw")

    def rank():
        wished = wishes(world, world.motors["fan"], shop.now_s).wishes
        return next(wish.rank for wish in wished if wish.gate.name == "g3")

    assert rank() is Rank.EXTRA
    for _ in range(3):
        shop.step(Missed("g1"))  # the only path
    assert rank() is Rank.PATH


# ---------------------------------------------------------------- C19


def played(start_s):
    """What a shop says and sends when its clock stands at an instant, with times counted from there."""
    core, said = Supervisor(shop_plans.two_tools(), strict=True), []
    events = [
        (0.0, Woke()),
        (0.0, messages.InputSeen("red", "made")),
        (0.0, messages.InputSeen("heat", "made")),
        (0.0, messages.InputSeen("bin", "made")),
        *((0.0, ToolSeen(name, "stopped")) for name in ("saw", "planer")),
        (8.0, ToolSeen("planer", "running")),
        (30.0, ToolSeen("planer", "stopped")),
        (120.0, ToolSeen("saw", "running")),
        (121.0, messages.Requested("stop", "fan")),
        (300.0, messages.Ticked()),
    ]
    for at_s, event in events:
        while (due_s := core.next_deadline()) is not None and due_s <= start_s + at_s:
            said.append((due_s - start_s, core.handle(messages.Ticked(), due_s)))
        said.append((at_s, core.handle(event, start_s + at_s)))
    commands = [
        (round(at_s, 3), command.motor if isinstance(command, messages.SwitchMotor) else command.gate, command.what)
        for at_s, sent in said
        for command in sent
        if isinstance(command, messages.MoveGate | messages.SwitchMotor)
    ]
    return commands, [(entry.kind, entry.subject) for entry in core.recorder.take()]


@pytest.mark.parametrize("start_s", [1024.0, 65536.0, 1048576.0])
def test_only_differences_of_time_decide(start_s):
    commands, entries = played(0.0)
    assert ("fan", "on") in [sent[1:] for sent in commands]
    assert played(start_s) == (commands, entries)


def test_the_core_reads_no_clock_of_its_own():
    import ast
    import pathlib

    folder = pathlib.Path(messages.__file__).parent
    imported = set()
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {name.name.partition(".")[0] for name in node.names}
            elif isinstance(node, ast.ImportFrom):
                imported.add((node.module or "").partition(".")[0])
    assert "gatekeeper" in imported
    assert not imported & {"time", "datetime", "calendar", "zoneinfo", "random", "os", "threading", "asyncio"}


# ---------------------------------------------------------------- C27


def test_in_a_shut_shop_a_running_motor_ends_by_its_delay_and_gates_serve(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(70.0)  # a whole start is in store again
    shop.taken()
    shop.key("shut")
    assert shop.taken() == []  # what runs goes on
    shop.wait(5.0)
    shop.stops("saw")
    shop.wait(20.0)
    assert orders(shop, "fan") == [(93.0, "off")]
    shop.starts("planer")
    shop.wait(5.0)
    assert shop.core.world.gates["g2"].is_open
    assert shop.core.world.signs["planer"] == "shop_shut"
    assert "shop_shut_start" in shop.alarms()
    assert shop.state() == "at_rest"


@pytest.mark.parametrize("who", ["local", "page", "button", "broker", "input"])
@pytest.mark.parametrize(
    ("what", "subject"), [("run", "fan"), ("air_here", "planer"), ("sweep", None), ("flush", "fan")]
)
def test_in_a_shut_shop_nobody_starts_a_motor(open_shop, what, subject, who):
    shop = open_shop()
    shop.key("shut")
    assert shop.answer(what, subject, who=who) == "shop_shut"
    shop.key("open")
    shop.wait(30.0)
    assert "on" not in [word for _, word in orders(shop, "fan")]


def test_a_lease_is_renewed_in_a_shut_shop_until_the_tool_stops(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.key("shut")
    shop.wait(300.0)
    assert shop.state() == "running"


def test_the_tool_that_started_in_a_shut_shop_is_no_cause_when_it_opens(open_shop):
    shop = open_shop()
    shop.key("shut")
    shop.starts("planer")
    shop.key("open")
    shop.wait(30.0)
    assert "on" not in [word for _, word in orders(shop, "fan")]
    assert shop.answer("run", "fan", for_s=0.0) == "done"
    assert [word for _, word in orders(shop, "fan")] == ["on"]


# ---------------------------------------------------------------- C28


def test_no_command_is_about_a_tool():
    kinds = set(typing.get_args(Command))
    assert kinds == {
        messages.MoveGate,
        messages.SwitchMotor,
        messages.ShowSign,
        messages.Keep,
        messages.Answer,
    }
    fields = {kind.__name__: tuple(f.name for f in dataclasses.fields(kind)) for kind in kinds}
    assert fields["MoveGate"] == ("gate", "what")
    assert fields["SwitchMotor"] == ("motor", "what", "until_s")
    assert fields["ShowSign"] == ("subject", "what")
    assert not any("tool" in name for names in fields.values() for name in names)


def test_what_a_sign_can_show_switches_nothing():
    shown = typing.get_args(typing.get_type_hints(messages.ShowSign)["what"])
    assert set(shown) == {"dark", "coming", "ready", "no_air", "moving_soon", "held", "shop_shut"}


@pytest.mark.parametrize("plan", sorted(shop_plans.PLANS))
def test_everything_sent_is_about_a_gate_or_a_motor_of_the_plan(open_shop, plan):
    shop = open_shop(shop_plans.PLANS[plan])
    for name in shop.plan.tools:
        shop.starts(name)
        shop.wait(30.0)
        shop.stops(name)
    shop.wait(60.0)
    about = {name for _, name, _ in shop.taken()}
    assert about
    assert about <= {*shop.plan.gates, *shop.plan.motors}
