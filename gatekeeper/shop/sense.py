"""Whether the parts of a shop file make sense together: what must not be, and what must be there.

Works on the parts that could be read (``reading``) and takes places from the tree. Rules about material, fire and
unattended running have no key that switches them off.
"""

import re
from collections.abc import Iterator

from gatekeeper.shop.build_messages import message_faults
from gatekeeper.shop.faults import Fault, a_or_an, listed
from gatekeeper.shop.links import ends_at
from gatekeeper.shop.model import BoardDeath, InputKind, Makes, MotorKind
from gatekeeper.shop.motor_starts import starts_allowed
from gatekeeper.shop.places import Loc, Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.sense_drivers import driver_faults
from gatekeeper.shop.sense_gauges import gauge_faults
from gatekeeper.shop.sense_page import page_faults
from gatekeeper.shop.sense_sensors import SensorRules
from gatekeeper.shop.written import InputPart, MotorPart, ShopFile, SuctionPart, ToolPart

_SPARKS = re.compile(
    r"\b(grinder|grinding|welder|welding|forge|torch|plasma|spray|furnace|fireplace|ash|linisher)\b", re.I
)
_WITH_DUCTS = (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM)
_MOVERS = {"servo": "a servo", "relays": "relays", "bridge": "a bridge", "coil": "a coil", "behind_broker": "a broker"}

_HARM = {
    Makes.METAL: "metal chips are hot and strike sparks, and wood dust burns",
    Makes.SPARKS: "one spark in wood dust can burn down the shop",
    Makes.FLAME: "a flame in wood dust can burn down the shop",
    Makes.SOLVENT: "solvent vapour and wood dust burn together, and the motor may light them",
    Makes.ASH: "ash keeps embers for days, and wood dust burns",
}


def names_sparks(machine: str) -> str | None:
    """The word in a machine's name that says sparks, flame, ash or vapour, or None."""
    found = _SPARKS.search(machine)
    return found[0] if found is not None else None


def sense_faults(tree: Tree, parts: ShopFile) -> list[Fault]:
    """Every rule that these parts break."""
    here = _Here(tree, parts)
    return [
        *here.whole(),
        *here.motors(),
        *here.ducts_and_gates(),
        *here.tools(),
        *here.sensors.circuits(),
        *here.inputs_and_converters(),
        *gauge_faults(tree, parts, here.ends),
        *driver_faults(tree, parts),
        *page_faults(tree, parts),
        *message_faults(tree, parts.messages),
    ]


class _Here:
    """The parts with their places, for the length of one check."""

    def __init__(self, tree: Tree, parts: ShopFile) -> None:
        self.tree, self.parts = tree, parts
        self.ends = ends_at(tree)
        self.served: list[tuple[str, str, ToolPart]] = [
            *(("tools", name, tool) for name, tool in parts.tools.items()),
            *(("outlets", name, outlet) for name, outlet in parts.outlets.items()),
        ]
        self.sensors = SensorRules(tree, parts, self.served)
        self.is_attended = parts.shop.attended or any(
            True for _, text in tree.leaves("shop", "attended") if text == "yes"
        )

    def fault(self, said: str, *loc: str, key: bool = False) -> Fault:
        place: Loc = loc
        return Fault(self.tree.mark_of(place, key=key), path_of(place), said)

    def motors_with_ducts(self) -> list[str]:
        return [name for name, motor in self.parts.motors.items() if motor.kind in _WITH_DUCTS]

    def motor_of_gate(self, gate: str) -> str | None:
        """The motor whose system a gate is on, where the file is good enough to say."""
        part = self.parts.gates.get(gate)
        if part is None:
            return None
        if part.duct is not None:
            return self.ends.get(part.duct)
        able = self.motors_with_ducts()
        return able[0] if len(able) == 1 else None

    def whole(self) -> Iterator[Fault]:
        if self.tree.at(("motors",)) is not None and not self.tree.keys("motors"):
            yield self.fault("no motor is here; name at least one collector or tool vacuum", "motors", key=True)
        if not self.tree.keys("tools") and not self.tree.keys("outlets"):
            yield self.fault("this shop has no tools and no outlets; name at least one under tools:")
        gated = {self.motor_of_gate(gate) for gate in self.parts.gates}
        unread = any(name not in self.parts.gates for name in self.tree.keys("gates"))
        for name in self.motors_with_ducts():
            if name not in gated and not unread and None not in gated:
                yield self.fault(
                    "no gate is on this motor's ducts, so it can never draw air; add one", "motors", name, key=True
                )

    def _suction(self, motor: str, reading: SuctionPart) -> Iterator[Fault]:
        loc = ("motors", motor, "suction_reading")
        if self.ends.get(reading.duct, motor) != motor:
            yield self.fault(f"this duct does not lead to {motor}; name the one with the hole", *loc, "duct")
        for gate in reading.open:
            if self.motor_of_gate(gate) not in (None, motor):
                yield self.fault(
                    f"{gate} is not on a duct of {motor}; name the gates that were open there", *loc, "open"
                )

    def motors(self) -> Iterator[Fault]:
        for name, motor in self.parts.motors.items():
            loc = ("motors", name)
            death, _ = motor.switched_by.when_board_dies
            if death is BoardDeath.STAYS and not self.is_attended:
                said = (
                    "an output that stays on when the board dies may not switch a motor where nobody is always there; "
                    "use a relay that drops, or state shop: attended: yes"
                )
                yield self.fault(said, *loc, "switched_by", "when_board_dies")
            yield from self._motor_keys(loc, motor)
            if motor.suction_reading is not None:
                yield from self._suction(name, motor.suction_reading)
            if motor.confirmed_by is not None and motor.confirmed_by.drive is None:
                yield from self.sensors.sensor(motor.confirmed_by, *loc, "confirmed_by")
                yield from self.sensors.confirming(name, motor.confirmed_by, motor.confirmed_by.within)

    def _motor_keys(self, loc: tuple[str, str], motor: MotorPart) -> Iterator[Fault]:
        if motor.pressure_switch is not None and motor.flow_switch is not None:
            yield self.fault(
                "a pressure switch and a flow switch are both given; keep one", *loc, "flow_switch", key=True
            )
        if motor.runs_longest is not None and motor.runs is not None and motor.runs_longest < motor.runs:
            yield self.fault("runs_longest is shorter than runs; make it longer", *loc, "runs_longest")
        needed = [motor.starts_per_hour, motor.rest]
        if None in needed and starts_allowed(motor.power, motor.poles, motor.load_inertia) is None:
            said = (
                "the published table of motor starts ends at 25 hp and at 2, 4 and 6 poles; "
                "add starts_per_hour and rest from the motor's maker"
            )
            yield self.fault(said, *loc, "power")
        by_room = [motor.room, motor.air_changes, motor.flow if motor.kind is MotorKind.AIR_CLEANER else None]
        if any(given is not None for given in by_room[:2]) and None in by_room:
            key = "room" if motor.room is not None else "air_changes"
            yield self.fault("room, air_changes and flow belong together; add what is missing", *loc, key, key=True)
        own = {
            "follows": (MotorKind.FILTER_SHAKER,),
            "runs": (MotorKind.FILTER_SHAKER, MotorKind.AIR_CLEANER),
            "runs_longest": (MotorKind.AIR_CLEANER,),
            "room": (MotorKind.AIR_CLEANER,),
            "air_changes": (MotorKind.AIR_CLEANER,),
            "inlet": _WITH_DUCTS,
            "smallest_path": _WITH_DUCTS,
            "relief_port": _WITH_DUCTS,
            "pressure_switch": _WITH_DUCTS,
            "flow_switch": _WITH_DUCTS,
            "care": _WITH_DUCTS,
        }
        for key, kinds in own.items():
            if key in motor.model_fields_set and motor.kind not in kinds:
                words = listed([kind.value for kind in kinds])
                yield self.fault(
                    f"this key is for {a_or_an(words)}; this motor is {a_or_an(motor.kind.value)}", *loc, key, key=True
                )
        if motor.kind is MotorKind.FILTER_SHAKER:
            followed = self.parts.motors.get(motor.follows or "")
            if motor.follows is None:
                yield self.fault("a filter shaker follows a collector; add follows: and its name", *loc, key=True)
            elif followed is not None and followed.kind not in _WITH_DUCTS:
                yield self.fault(f"{motor.follows} is no collector or tool vacuum", *loc, "follows")

    def ducts_and_gates(self) -> Iterator[Fault]:
        for name, duct in self.parts.ducts.items():
            is_box = duct.width is not None and duct.height is not None
            if (duct.diameter is not None) == is_box or (duct.width is None) != (duct.height is None):
                yield self.fault("give either diameter, or width and height", "ducts", name, key=True)
            end = self.parts.motors.get(duct.towards)
            if end is not None and end.kind not in _WITH_DUCTS:
                yield self.fault(
                    f"{duct.towards} is {a_or_an(end.kind.value)} and takes no ducts", "ducts", name, "towards"
                )
            if duct.entry_loss is not None and any(other.towards == name for other in self.parts.ducts.values()):
                said = "other ducts lead into this one, so it has no hood; move this key to the duct where air comes in"
                yield self.fault(said, "ducts", name, "entry_loss", key=True)
            smallest = duct.diameter if duct.diameter is not None else min(duct.width or 1.0, duct.height or 1.0)
            if duct.roughness is not None and duct.roughness > smallest / 10:
                said = "a wall rougher than a tenth of the duct is no wall; mend roughness or the size"
                yield self.fault(said, "ducts", name, "roughness")
        for name, gate in self.parts.gates.items():
            loc = ("gates", name)
            moved_by = [key for key in _MOVERS if getattr(gate, key) is not None]
            if len(moved_by) > 1:
                words = listed([_MOVERS[key] for key in moved_by], "and")
                yield self.fault(f"{words} are given; keep the one that moves this gate", *loc, moved_by[-1], key=True)
            if gate.relays is not None and gate.relays.open.active_low is not gate.relays.shut.active_low:
                said = "the two relays of a gate are alike; write active low at both or at none"
                yield self.fault(said, *loc, "relays", "shut")
            if gate.duct is None and gate.diameter is None:
                yield self.fault("this gate needs a duct or a diameter", *loc, key=True)
            able = self.motors_with_ducts()
            if gate.duct is None and len(able) > 1:
                said = f"this shop has {len(able)} systems; say on which duct this gate sits"
                yield self.fault(said, *loc, key=True)
            if gate.servo is not None and gate.servo.open == gate.servo.shut:
                yield self.fault(
                    "open and shut have the same pulse, so this gate would never move", *loc, "servo", "open"
                )
            if not moved_by:
                for key in ("travel", "supply"):
                    if key in gate.model_fields_set:
                        said = (
                            "this gate is moved by hand (no servo, relays, bridge, coil or broker); "
                            "take this key out or add what moves it"
                        )
                        yield self.fault(said, *loc, key, key=True)

    def tools(self) -> Iterator[Fault]:
        makers: dict[str, str] = {}
        for _, name, tool in self.served:
            for gate in tool.gates:
                motor = self.motor_of_gate(gate)
                if motor is not None and tool.makes is Makes.WOOD:
                    makers.setdefault(motor, name)
        for section, name, tool in self.served:
            yield from self._makes(section, name, tool, makers)
            yield from self._seen(section, name, tool)

    def _makes(self, section: str, name: str, tool: ToolPart, makers: dict[str, str]) -> Iterator[Fault]:
        end = "give it a collector made for that, on ducts of its own, and take it out of this file"
        named = names_sparks(name)
        if tool.makes is Makes.WOOD and named is not None:
            said = f'by its name ("{named}") this makes sparks, flame, ash or vapour, and wood dust burns; {end}'
            yield self.fault(said, section, name, key=True)
        if tool.makes is Makes.WOOD:
            return
        motors = dict.fromkeys(motor for gate in tool.gates if (motor := self.motor_of_gate(gate)) is not None)
        shared = [f"{motor} (with {makers[motor]})" for motor in motors if motor in makers]
        if tool.makes is Makes.METAL and not shared:
            return
        on = f" on {listed(shared, 'and')}" if shared else ""
        said = f"a tool that makes {tool.makes.value} may not be on a wood system{on}: {_HARM[tool.makes]}; {end}"
        yield self.fault(said, section, name, "makes")

    def _seen(self, section: str, name: str, tool: ToolPart) -> Iterator[Fault]:
        loc = (section, name)
        if (tool.sensor is None) == (tool.circuit is None):
            found = (
                "neither sensor nor circuit is given" if tool.sensor is None else "sensor and circuit are both given"
            )
            yield self.fault(f"{found}; give one of the two, so that its start is seen", *loc, key=True)
        if tool.band is not None and tool.circuit is None:
            yield self.fault("a band belongs to a circuit; name the circuit or take it out", *loc, "band", key=True)
        if tool.sensor is not None:
            yield from self.sensors.sensor(tool.sensor, *loc, "sensor", running_a=tool.running_current)

    def inputs_and_converters(self) -> Iterator[Fault]:
        yield from self.sensors.converters()
        yield from self.sensors.meters()
        for name, part in self.parts.inputs.items():
            yield from self._input(name, part)
            yield from self.sensors.air_here(name, part)

    def _input(self, name: str, part: InputPart) -> Iterator[Fault]:
        loc = ("inputs", name)
        is_hoa = part.kind is InputKind.HAND_OFF_AUTO
        if is_hoa and (part.hand_pin is None or part.auto_pin is None or part.pin is not None):
            yield self.fault("a hand-off-auto switch has hand_pin and auto_pin, and no pin", *loc, key=True)
        if is_hoa and (part.motors is None or len(part.motors) != 1) and len(self.parts.motors) > 1:
            yield self.fault("a hand-off-auto switch is for one motor; name it under motors", *loc, key=True)
        if not is_hoa and (part.pin is None or part.hand_pin is not None or part.auto_pin is not None):
            yield self.fault(f"{a_or_an(part.kind.value)} input has one pin, under pin", *loc, key=True)
        if part.kind in (InputKind.RED_BUTTON, InputKind.FIRE) and part.pin is not None and part.pin[1] is False:
            said = f"a {part.kind.value} is wired normally closed, so that a broken wire counts as pressed"
            yield self.fault(said, *loc, "pin")
        if part.kind is InputKind.SPARKS and all(one.kind is not InputKind.RESET for one in self.parts.inputs.values()):
            said = "sparks stop the shop as a fire does, and only a reset key in the shop ends that; add kind: reset"
            yield self.fault(said, *loc, key=True)
        needs_place = part.kind in (InputKind.AIR_HERE, InputKind.RELEASE)
        if needs_place and part.at is None:
            yield self.fault(
                f"{a_or_an(part.kind.value)} button belongs to a place; add at: and its tool or gate", *loc, key=True
            )
        if not needs_place and part.at is not None:
            yield self.fault(f"{a_or_an(part.kind.value)} input has no place; take this key out", *loc, "at", key=True)
        if part.kind in (InputKind.BIN_FULL, InputKind.FILTER_PRESSURE):
            named = part.motors if part.motors is not None else tuple(self.motors_with_ducts())
            if len(named) != 1 or named[0] not in self.motors_with_ducts():
                said = f"{a_or_an(part.kind.value)} input is for one collector or tool vacuum; name it under motors"
                yield self.fault(said, *loc, key=True)
        if (
            part.kind is InputKind.RELEASE
            and part.at is not None
            and part.at in self.tree.keys("tools") + self.tree.keys("outlets")
        ):
            yield self.fault("a release button belongs to a gate, not to a tool", *loc, "at")
