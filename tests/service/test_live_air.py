"""The page's ducts at the air's own pace, and shortage in numbers on the page, in the record and in the history."""

import math
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, example_shop

from gatekeeper.control.messages import InputSeen, Ticked, ToolSeen, Woke
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import computed_air
from gatekeeper.service.face import DuctView, GateWord, ShopView
from gatekeeper.service.live_air import MOST_KEPT, LiveAir
from gatekeeper.service.planning import plan_of
from gatekeeper.service.viewing import Viewing
from gatekeeper.service.wording import line
from gatekeeper.shop.model import Shop


class AirRoom(Room):
    """A room whose core and page have the computed air."""

    def __init__(self, shop: Shop) -> None:
        super().__init__(shop, ready=False)
        self.air = computed_air(air_systems(shop))
        self.plan = plan_of(shop, self.air)
        self.core = Supervisor(self.plan, None, strict=True)
        self.viewing = Viewing(shop, self.plan, lambda: OFFSET_S + self.now_s, LiveAir(self.air.systems))
        self.handle(Woke())
        for name in self.plan.inputs:
            self.handle(InputSeen(name, "made"))
        for name in self.plan.tools:
            self.handle(ToolSeen(name, "stopped"))
        self.run(30.0)


def ducts_of(view: ShopView) -> dict[str, DuctView]:
    return {duct.name: duct for duct in view.ducts}


def test_moving_ducts_show_the_solved_velocity() -> None:
    room = AirRoom(example_shop("garage-one-collector"))
    room.tool("table saw", "running")
    room.run(10.0)
    view = room.view()
    opened = {gate.name for gate in view.gates if gate.word is GateWord.OPEN}
    solution = room.air.systems["collector"].prepared.solve(sorted(opened))

    assert opened == {"saw gate", "jointer gate"}
    shown = {name: duct.velocity_ms for name, duct in ducts_of(view).items() if duct.moves}
    assert shown == {
        name: pytest.approx(solution.ducts()[name].velocity_ms)
        for name in ("riser", "main near", "saw drop", "jointer drop")
    }
    still = [duct for duct in view.ducts if not duct.moves]
    assert len(still) == 5
    assert all(duct.velocity_ms is None for duct in still)


def test_an_extra_gate_says_why_it_is_open_and_shuts_for_the_tool_that_wants_all() -> None:
    room = AirRoom(example_shop("garage-one-collector"))
    room.tool("table saw", "running")
    room.run(10.0)
    (extra,) = [gate for gate in room.view().gates if gate.name == "jointer gate"]
    assert extra.reason is not None
    assert extra.reason.text == "Open as extra air, to keep the air in the main fast enough."

    room.tool("planer", "running")
    room.run(20.0)
    opened = {gate.name for gate in room.view().gates if gate.word is GateWord.OPEN}
    assert opened == {"saw gate", "planer gate"}


def test_ducts_that_the_file_does_not_describe_have_a_velocity_too() -> None:
    shop = example_shop("garage-one-collector")
    bare = {name: replace(gate, duct=None) for name, gate in shop.gates.items()}
    room = AirRoom(replace(shop, ducts={}, gates=bare))
    room.tool("table saw", "running")
    room.run(10.0)

    duct = ducts_of(room.view())["saw gate duct"]
    assert duct.moves
    assert duct.velocity_ms is not None
    assert duct.velocity_ms > 10.0


def test_without_computed_air_no_velocity_is_claimed() -> None:
    room = Room(example_shop("garage-one-collector"))
    room.tool("table saw", "running")
    room.run(10.0)

    assert [duct.velocity_ms for duct in room.view().ducts if duct.moves] == [None, None, None]


def test_a_shortage_is_told_in_numbers_and_follows_the_set() -> None:
    room = AirRoom(example_shop("garage-one-collector"))
    room.tool("planer", "running")
    room.tool("drum sander", "running")
    room.run(20.0)

    (message,) = [one for one in room.view().messages if one.key == "short_of_air:planer"]
    share = room.plan.missing_air("planer", ["planer", "drum sander"])
    assert message.sentence == f"Planer gets {share * 100:.0f} % less air than it needs."
    assert 0.05 < share < 0.15

    room.tool("bandsaw", "running")
    room.run(20.0)
    (message,) = [one for one in room.view().messages if one.key == "short_of_air:planer"]
    more = room.plan.missing_air("planer", ["planer", "drum sander", "bandsaw"])
    assert more > share
    assert message.sentence == f"Planer gets {more * 100:.0f} % less air than it needs."


def test_the_record_and_the_history_have_the_number() -> None:
    shop = example_shop("garage-one-collector")
    air = computed_air(air_systems(shop))
    core = Supervisor(plan_of(shop, air), None, strict=True)
    core.handle(Woke(), 0.0)
    for name in shop.tools:
        core.handle(ToolSeen(name, "stopped"), 1.0)
    core.handle(ToolSeen("planer", "running"), 60.0)
    core.recorder.take()
    core.handle(ToolSeen("drum sander", "running"), 61.0)
    core.handle(Ticked(), 64.0)  # a moment later: both do run

    (told,) = [entry for entry in core.recorder.take() if entry.kind == "message" and entry.subject == "planer"]
    share = dict(air.table["collector", frozenset({"planer", "drum sander"})].short)["planer"]
    assert told.value == {"what": "raised", "code": "short_of_air", "heap": "now", "missing": round(share, 3)}
    assert (told.rule, told.why) == ("C17", f"planer gets {share * 100:.0f} % less air than it needs.")
    said = line(told)
    assert said is not None
    assert f"Planer gets {share * 100:.0f} % less air than it needs." in said


# ---------------------------------------------------------------- the memory


def test_a_set_is_solved_once_and_few_are_kept() -> None:
    systems = air_systems(example_shop("shared-twelve"))
    air = LiveAir(systems)
    gates = list(systems["collector"].gates)
    first = air.velocities("collector", frozenset(gates[:1]))

    assert air.velocities("collector", frozenset(gates[:1])) is first
    for number in range(MOST_KEPT):
        chosen = frozenset(gate for place, gate in enumerate(gates) if number + 2 & 1 << place or place == 9)
        air.velocities("collector", chosen)
    again = air.velocities("collector", frozenset(gates[:1]))
    assert again is not first
    assert again == first


def test_velocity_is_flow_over_area_and_a_motor_without_ducts_has_none() -> None:
    systems = air_systems(example_shop("shared-twelve"))
    air = LiveAir(systems)
    flow = systems["collector"].prepared.solve(["saw gate"]).flow_in("trunk")

    shown = air.velocities("collector", frozenset({"saw gate"}))["trunk"]
    assert shown == pytest.approx(flow / (math.pi * 0.25**2 / 4))
    assert air.velocities("air cleaner", frozenset()) == {}
