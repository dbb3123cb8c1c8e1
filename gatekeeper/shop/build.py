"""From the parts of a shop file that fit together to the whole shop: defaults, sizes, times, proofs, starts.

Numbers of our own (no published source; each can be overridden in the file): chips in a duct move at half the air's
transport velocity, plus one second; a branch whose ducts are not described clears in 3 s. Duct roughness: categories of
the ASHRAE Handbook, Fundamentals (smooth 0.03 mm, medium smooth 0.09 mm, average 0.15 mm, medium rough 0.9 mm), quoted
from memory.
"""

import math
from collections.abc import Mapping

from gatekeeper.shop.build_drivers import drive_of, mover_of, servo_bank_of, sign_of, switch_of
from gatekeeper.shop.build_messages import messages_of
from gatekeeper.shop.build_page import neighbours_of, page_of
from gatekeeper.shop.build_sensing import air_here_of, broker_of, converter_of, meter_of, sensor_of
from gatekeeper.shop.faults import Fault
from gatekeeper.shop.fields import contact_of
from gatekeeper.shop.links import ends_at
from gatekeeper.shop.model import (
    Air,
    AirProofKind,
    Circuit,
    Contact,
    Duct,
    Feeder,
    Gate,
    Hours,
    Input,
    InputKind,
    Motor,
    MotorKind,
    Permit,
    Proof,
    Sensor,
    Shop,
    StartsFrom,
    SuctionReading,
    Supply,
    Tool,
)
from gatekeeper.shop.motor_starts import starts_allowed
from gatekeeper.shop.places import Tree
from gatekeeper.shop.written import (
    FeederPart,
    GatePart,
    InputPart,
    Mains,
    Material,
    MotorPart,
    Phases,
    ShopFile,
    SupplyPart,
    ToolPart,
)
from gatekeeper.shop.written_care import care_of
from gatekeeper.shop.written_gauges import gauges_of
from gatekeeper.shop.written_sensing import SensorPart

TRANSPORT_MS = 20.0
"""Transport velocity for wood chips in a branch, about 4000 ft/min (common practice)."""

CHIPS_OVER_AIR = 0.5
CLEAR_MARGIN_S = 1.0
CLEAR_UNKNOWN_S = 3.0
SMALLEST_INLET_SHARE = 0.25
SHAKE_S = 20.0
CLEANER_SHORTEST_S = 7200.0
CLEANER_LONGEST_S = 28800.0
DEFAULT_FEEDER = "main feeder"
DEFAULT_SUPPLY = "gate supply"

ROUGHNESS_M = {
    Material.SMOOTH_STEEL: 0.00009,
    Material.SPIRAL_STEEL: 0.00015,
    Material.PLASTIC_PIPE: 0.00003,
    Material.FLEXIBLE_HOSE: 0.0009,
}


def build_shop(tree: Tree, parts: ShopFile) -> tuple[Shop, list[Fault]]:
    """The whole shop, with the faults that only the whole can show. ``parts`` must be free of other faults."""
    builder = _Builder(tree, parts)
    shop = builder.shop()
    return shop, builder.faults


def round_area_m2(diameter_m: float) -> float:
    """Area of a round port."""
    return math.pi * diameter_m**2 / 4


class _Builder:
    """The parts, for the length of one build."""

    def __init__(self, tree: Tree, parts: ShopFile) -> None:
        self.tree, self.parts = tree, parts
        self.faults: list[Fault] = []
        self.feeders = parts.feeders or {DEFAULT_FEEDER: FeederPart()}
        self.supplies = parts.supplies or {DEFAULT_SUPPLY: SupplyPart()}
        self.ends = ends_at(tree)
        self.served = {**parts.tools, **parts.outlets}
        self.with_ducts = [
            name for name, motor in parts.motors.items() if motor.kind in (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM)
        ]

    @property
    def mains_hz(self) -> int:
        return 60 if self.parts.shop.mains is Mains.HZ_60 else 50

    def fault(self, said: str, *loc: str, key: bool = False) -> None:
        self.faults.append(Fault(self.tree.mark_of(loc, key=key), loc, said))

    def shop(self) -> Shop:
        parts, head = self.parts, self.parts.shop
        gauges = gauges_of(parts.gauges, self.ends)
        converters = {name: converter_of(name, part, gauges.values()) for name, part in parts.converters.items()}
        ducts = self.ducts()
        gates = {name: self.gate(name, part, ducts) for name, part in parts.gates.items()}
        tools = {name: self.tool(name, part, gates, name in parts.outlets) for name, part in self.served.items()}
        motors = {name: self.motor(name, part, ducts, gates, tools) for name, part in parts.motors.items()}
        circuits = {
            name: Circuit(
                name,
                self.sensor(name, part.sensor),
                tuple(tool.name for tool in tools.values() if tool.circuit == name),
            )
            for name, part in parts.circuits.items()
        }
        return Shop(
            name=head.name,
            units=head.units,
            mains_hz=self.mains_hz,
            air=Air(head.altitude, head.temperature, head.air_density, head.air_viscosity),
            air_goes=head.air_goes,
            open_flue=head.open_flue_nearby,
            attended=head.attended,
            motors=motors,
            feeders={name: Feeder(name, part.gap) for name, part in self.feeders.items()},
            supplies={name: Supply(name, part.at_once) for name, part in self.supplies.items()},
            ducts=ducts,
            gates=gates,
            tools=tools,
            circuits=circuits,
            converters=converters,
            inputs={name: self.input(name, part) for name, part in parts.inputs.items()},
            signs={name: sign_of(name, part) for name, part in parts.signs.items()},
            page=page_of(parts.page),
            hours=Hours(parts.hours.open, parts.hours.quiet),
            brokers={name: broker_of(name, part) for name, part in parts.brokers.items()},
            meters={name: meter_of(name, part) for name, part in parts.meters.items()},
            neighbours=neighbours_of(parts.neighbours),
            servo_banks={name: servo_bank_of(name, part) for name, part in parts.servo_banks.items()},
            drives={name: drive_of(name, part, self.mains_hz) for name, part in parts.drives.items()},
            permits={name: Permit(name, part.pin, part.at) for name, part in parts.permits.items()},
            call=head.call,
            messages=messages_of(parts.messages),
            gauges=gauges,
        )

    def ducts(self) -> Mapping[str, Duct]:
        ducts: dict[str, Duct] = {}
        for name, part in self.parts.ducts.items():
            diameter_m = part.diameter or 0.0
            if part.width is not None and part.height is not None:
                diameter_m = 2 * part.width * part.height / (part.width + part.height)
            ducts[name] = Duct(
                name=name,
                towards=part.towards,
                motor=self.ends[name],
                diameter_m=diameter_m,
                width_m=part.width,
                height_m=part.height,
                length_m=part.length,
                flex_m=part.flex,
                material=part.material.value,
                roughness_m=part.roughness if part.roughness is not None else ROUGHNESS_M[part.material],
                fittings=part.fittings,
                flex_stretch=part.flex_stretch,
                loss=part.loss,
                entry_loss=part.entry_loss,
            )
        return ducts

    def gate(self, name: str, part: GatePart, ducts: Mapping[str, Duct]) -> Gate:
        duct = ducts[part.duct] if part.duct is not None else None
        diameter_m = part.diameter
        if diameter_m is None:
            diameter_m = math.sqrt(4 * duct.area_m2 / math.pi) if duct is not None else 0.0
        mover = mover_of(part)
        return Gate(
            name=name,
            duct=part.duct,
            motor=duct.motor if duct is not None else self.with_ducts[0],
            diameter_m=diameter_m,
            servo=mover.servo,
            relays=mover.relays,
            coil=mover.coil,
            travel_s=part.travel or mover.usual_travel_s,
            dead_s=mover.dead_s,
            open_contact=_contact(part.open_contact),
            shut_contact=_contact(part.shut_contact),
            supply=(part.supply or next(iter(self.supplies))) if mover.is_any else None,
            as_extra=part.as_extra,
            clear_s=part.clear if part.clear is not None else _clear_s(duct, ducts),
            clear_is_given=part.clear is not None,
            open_loss=part.open_loss,
            leak_area_m2=part.leak_area,
            leak_discharge=part.leak_discharge,
            bank_servo=mover.bank_servo,
            bridge=mover.bridge,
            behind_broker=mover.behind_broker,
        )

    def tool(self, name: str, part: ToolPart, gates: Mapping[str, Gate], is_outlet: bool) -> Tool:
        return Tool(
            name=name,
            gates=part.gates,
            systems=tuple(dict.fromkeys(gates[gate].motor for gate in part.gates)),
            makes=part.makes,
            is_outlet=is_outlet,
            needs_flow_m3s=part.needs,
            port_diameter_m=part.port,
            spin_down_s=part.spin_down,
            longest_run_s=part.longest_run,
            hold_s=part.hold,
            feeder=part.feeder or next(iter(self.feeders)),
            sensor=self.sensor(name, part.sensor) if part.sensor is not None else None,
            circuit=part.circuit,
            band_a=part.band,
            running_a=part.running_current,
        )

    def sensor(self, owner: str, part: SensorPart) -> Sensor:
        return sensor_of(owner, part, self.parts.converters)

    def input(self, name: str, part: InputPart) -> Input:
        is_closed = part.kind in (InputKind.RED_BUTTON, InputKind.FIRE, InputKind.DOOR)
        return Input(
            name=name,
            kind=part.kind,
            contact=contact_of(part.pin, closed_by_default=is_closed) if part.pin is not None else None,
            hand_contact=_contact(part.hand_pin),
            auto_contact=_contact(part.auto_pin),
            systems=part.motors if part.motors is not None else self._all_of(part.kind),
            at=part.at,
            asking=air_here_of(part) if part.kind is InputKind.AIR_HERE else None,
        )

    def _all_of(self, kind: InputKind) -> tuple[str, ...]:
        """The motors that an input speaks for when it names none."""
        has_bin = kind in (InputKind.BIN_FULL, InputKind.FILTER_PRESSURE)
        return tuple(name for name in self.parts.motors if not has_bin or name in self.with_ducts)

    def motor(
        self,
        name: str,
        part: MotorPart,
        ducts: Mapping[str, Duct],
        gates: Mapping[str, Gate],
        tools: Mapping[str, Tool],
    ) -> Motor:
        own = [gate for gate in gates.values() if gate.motor == name]
        inlet_m = part.inlet
        if inlet_m is None and name in self.with_ducts:
            reaching = [duct.area_m2 for duct in ducts.values() if duct.towards == name]
            inlet_m = math.sqrt(4 * max(reaching) / math.pi) if reaching else max(gate.diameter_m for gate in own)
        minimum_m2 = self._path_minimum_m2(name, part, inlet_m or 0.0, own, tools)
        relief_m2 = round_area_m2(part.relief_port) if part.relief_port is not None else 0.0
        starts, rest_s, starts_from, note = _starts(part)
        runs_s, runs_longest_s = _runs_s(part)
        air = part.pressure_switch or part.flow_switch
        kind = AirProofKind.PRESSURE if part.pressure_switch is not None else AirProofKind.FLOW
        return Motor(
            name=name,
            kind=part.kind,
            power_w=part.power,
            poles=part.poles,
            phases=1 if part.phases is Phases.SINGLE else 3,
            load_inertia_kgm2=part.load_inertia,
            starts_per_hour=starts,
            rest_s=rest_s,
            starts_from=starts_from,
            starts_note=note,
            feeder=part.feeder or next(iter(self.feeders)),
            inlet_diameter_m=inlet_m,
            spin_down_s=part.spin_down,
            path_minimum_m2=minimum_m2,
            relief_m2=relief_m2,
            spin_up_s=part.spin_up,
            coast_s=part.coast,
            release_s=part.release,
            settle_s=part.settle,
            confirm_s=part.confirmed_by.within if part.confirmed_by is not None else 3.0,
            switch=switch_of(part.switched_by, is_attended=self.parts.shop.attended),
            confirmed_by=self.sensor(name, part.confirmed_by) if part.confirmed_by is not None else None,
            air_proof=_contact(air),
            air_proof_kind=kind if air is not None else None,
            resume=part.resume,
            proof=proof_of(own, relief_m2, minimum_m2, has_air_proof=air is not None),
            follows=part.follows,
            runs_s=runs_s,
            runs_longest_s=runs_longest_s,
            room_m3=part.room,
            air_changes=part.air_changes,
            flow_m3s=part.flow,
            fan_curve=part.fan_curve,
            suction_reading=(
                SuctionReading(part.suction_reading.duct, part.suction_reading.suction, part.suction_reading.open)
                if part.suction_reading is not None
                else None
            ),
            filter_loss=part.filter_loss,
            separator_loss=part.separator_loss,
            measured_density_kg_m3=part.measured_density,
            care=care_of(part.care),
        )

    def _path_minimum_m2(
        self, name: str, part: MotorPart, inlet_m: float, own: list[Gate], tools: Mapping[str, Tool]
    ) -> float:
        if name not in self.with_ducts:
            return 0.0
        everything = sum(gate.area_m2 for gate in own)
        everything += round_area_m2(part.relief_port) if part.relief_port is not None else 0.0
        if part.smallest_path is not None:
            minimum_m2 = round_area_m2(part.smallest_path)
        else:
            by_name = {gate.name: gate for gate in own}
            ports = [
                min(by_name[gate].area_m2, round_area_m2(tool.port_diameter_m or math.inf))
                for tool in tools.values()
                for gate in tool.gates
                if gate in by_name
            ]
            floor_m2 = SMALLEST_INLET_SHARE * round_area_m2(inlet_m)
            minimum_m2 = max(min(ports, default=floor_m2), floor_m2)
        if minimum_m2 > everything * (1 + 1e-9):
            key = "smallest_path" if part.smallest_path is not None else "inlet"
            loc = ("motors", name, key) if key in part.model_fields_set else ("motors", name)
            said = "all gates of this motor together are smaller than the smallest path, so it could never run"
            self.fault(f"{said}; add a gate or a relief_port, or mend the sizes", *loc, key=True)
        return minimum_m2


def _starts(part: MotorPart) -> tuple[float, float, StartsFrom, str]:
    """Starts an hour, rest, and where they come from."""
    table = starts_allowed(part.power, part.poles, part.load_inertia)
    rest_s = part.rest if part.rest is not None or table is None else table.rest_s
    assert rest_s is not None
    if part.starts_per_hour is not None:
        return part.starts_per_hour, rest_s, StartsFrom.GIVEN, ""
    assert table is not None
    note = f"row of {table.listed_hp:g} hp, {part.poles} poles"
    if not table.is_exact:
        note += ", the next larger one listed"
    source = StartsFrom.TABLE if part.phases is Phases.THREE else StartsFrom.ESTIMATE
    return table.starts_per_hour, rest_s, source, note


def _contact(written: tuple[int, bool | None] | None) -> Contact | None:
    return contact_of(written) if written is not None else None


def _runs_s(part: MotorPart) -> tuple[float, float]:
    """Shortest and longest run of a shaker or an air cleaner; with room and air changes, the time that these take."""
    if part.room is not None and part.air_changes is not None and part.flow is not None:
        changed_s = part.room * part.air_changes / part.flow
        return changed_s, changed_s
    runs_s = SHAKE_S if part.kind is MotorKind.FILTER_SHAKER else CLEANER_SHORTEST_S
    if part.runs is not None:
        runs_s = part.runs
    return runs_s, max(runs_s, part.runs_longest if part.runs_longest is not None else CLEANER_LONGEST_S)


def _clear_s(duct: Duct | None, ducts: Mapping[str, Duct]) -> float:
    """Time to empty the whole run from a gate to its motor."""
    if duct is None:
        return CLEAR_UNKNOWN_S
    run_m, here = 0.0, duct
    while True:
        run_m += here.length_m + here.flex_m
        if here.towards not in ducts:
            return run_m / (TRANSPORT_MS * CHIPS_OVER_AIR) + CLEAR_MARGIN_S
        here = ducts[here.towards]


def proof_of(own: list[Gate], relief_m2: float, minimum_m2: float, *, has_air_proof: bool) -> Proof:
    """What proves an open gate on one system, the strongest first (C3a)."""
    if not own:
        return Proof.TIME
    moved = [gate for gate in own if gate.is_actuated]
    asked = moved or own
    if all(gate.has_open_switch for gate in asked):
        return Proof.SWITCHES
    if relief_m2 > 0 and relief_m2 >= minimum_m2:
        return Proof.RELIEF
    if not moved:
        return Proof.SWITCHES if any(gate.has_open_switch for gate in own) else Proof.PERSON
    return Proof.AIR if has_air_proof else Proof.TIME
