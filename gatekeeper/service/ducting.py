"""From a checked shop to the network of ducts of one of its motors, with every loss that the file leaves to us.

What the file gives is taken as it stands. What it leaves out is filled in here, each from a published table or as an
assumption of our own that is named beside it. ``ducting_of`` says which parts are guesses.

Names. A duct keeps its name. A length of hose at its end becomes a duct of its own, "NAME/hose"; a second gate on one
duct "NAME/GATE"; a gate straight on its motor is a duct of the gate's name; a relief port "MOTOR/relief".
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from gatekeeper.airflow import losses
from gatekeeper.airflow.air import STANDARD_DENSITY_KG_M3, Air, air_at
from gatekeeper.airflow.fan import FanCurve, estimated_curve
from gatekeeper.airflow.fan_reading import speed_for
from gatekeeper.airflow.friction import slack_hose_factor
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import prepare
from gatekeeper.shop import model
from gatekeeper.shop.written import Material

OPEN_GATE_LOSS = 0.1
"""Loss of a full-bore sliding gate, open, on its own opening. Our own assumption."""

LEAK_SHARE = 0.005
"""Leak area of a shut gate over its opening: 40 mm2 at 100 mm. Our own assumption."""

HOSE_ROUGHNESS_M = 0.0009
"""The rough end of the published range for wire-and-cloth hose at full length."""

CONE_DEG = 30.0
"""Whole angle of a reducer's cone. Our own assumption, as made by the trade."""

_ELBOWS = {
    Material.SMOOTH_STEEL.value: (1.5, 0),
    Material.SPIRAL_STEEL.value: (1.5, 5),
    Material.PLASTIC_PIPE.value: (0.75, 0),
    Material.FLEXIBLE_HOSE.value: (1.0, 0),
}
"""Radius over diameter, and pieces (0 smooth), of an elbow of which only the angle is given. Our own assumption."""


@dataclass(frozen=True, slots=True)
class Ducting:
    """A network with its guesses. ``fan_is_estimate``: the curve follows from motor power alone, within its error.

    ``guessed_hoods``: ducts at whose open end the hood was taken for a plain end. ``tools_at``: the tools that draw
    through each gate.
    """

    network: Network
    fan_is_estimate: bool
    guessed_hoods: tuple[str, ...]
    tools_at: dict[str, tuple[str, ...]]


def network_of(shop: model.Shop, motor: str) -> Network:
    """The network of one collector or tool vacuum.

    Raises ValueError for a motor without ducts, and KeyError for a name that is no motor.
    """
    return ducting_of(shop, motor).network


def ducting_of(shop: model.Shop, motor: str) -> Ducting:
    """The network of one collector or tool vacuum, and what in it was guessed. Raises as ``network_of``."""
    system = shop.motors[motor]
    if not system.has_ducts:
        raise ValueError(f"{motor} draws through no ducts")
    return _Laying(shop, system).ducting()


def air_of(shop: model.Shop) -> Air:
    """The air of a shop: as given, else from altitude and temperature."""
    usual = air_at(shop.air.altitude_m, shop.air.temperature_c)
    return Air(shop.air.density_kg_m3 or usual.density_kg_m3, shop.air.viscosity_pa_s or usual.viscosity_pa_s)


def fan_of(shop: model.Shop, motor: model.Motor) -> FanCurve:
    """The fan of a motor in the shop's own air: the curve of the file, or an estimate from the motor's power."""
    ratio = air_of(shop).density_kg_m3 / _measured_density(shop, motor)
    if motor.fan_curve:
        points = motor.fan_curve
        curve = FanCurve(tuple(point.flow_m3s for point in points), tuple(point.pressure_pa for point in points))
    else:
        curve = estimated_curve(motor.power_w, is_vacuum=motor.kind is model.MotorKind.TOOL_VACUUM)
    return curve.scaled(density_ratio=ratio)


def _measured_density(shop: model.Shop, motor: model.Motor) -> float:
    return motor.measured_density_kg_m3 or shop.air.density_kg_m3 or STANDARD_DENSITY_KG_M3


class _Laying:
    """The parts of one network, for the length of one build."""

    def __init__(self, shop: model.Shop, motor: model.Motor) -> None:
        self.shop, self.motor = shop, motor
        self.laid = [duct for duct in shop.ducts.values() if duct.motor == motor.name]
        self.feeding: dict[str, list[model.Duct]] = {}
        for duct in self.laid:
            self.feeding.setdefault(duct.towards, []).append(duct)
        self.ducts: list[Duct] = []
        self.hoods: list[Hood] = []
        self.gates: list[Gate] = []
        self.guessed: list[str] = []

    def ducting(self) -> Ducting:
        shop, motor = self.shop, self.motor
        own = shop.gates_of(motor.name)
        for duct in self.laid:
            self.lay(duct, [gate for gate in own if gate.duct == duct.name])
        for gate in own:
            if gate.duct is None:
                self.lay_stub(gate.name, gate.diameter_m, self.port_of([gate]))
                self.gates.append(self.gate_on(gate, gate.name, gate.area_m2))
        if motor.relief_m2 > 0.0:
            self.lay_stub(f"{motor.name}/relief", math.sqrt(4.0 * motor.relief_m2 / math.pi), None)
        air = air_of(shop)
        curve = fan_of(shop, motor)
        network = Network(
            air=air,
            ducts=tuple(self.ducts),
            hoods=tuple(self.hoods),
            gates=tuple(self.gates),
            collector=Collector(motor.name, self.filter_line(), self.separator_square(air)),
            fan=curve,
        )
        if motor.suction_reading is not None:
            reading = motor.suction_reading
            curve = corrected_fan(network, reading, shop.ducts[reading.duct].towards)
            network = replace(network, fan=curve)
        tools_at = {gate.name: tuple(t.name for t in shop.tools_of(motor.name) if gate.name in t.gates) for gate in own}
        return Ducting(network, curve.is_estimate, tuple(self.guessed), tools_at)

    def lay(self, duct: model.Duct, gates: list[model.Gate]) -> None:
        """One duct of the file as one duct or several in a row: hose, the duct itself, and one more for each gate."""
        is_open_end = duct.name not in self.feeding
        is_capped = any(fitting.kind == "cap" for fitting in duct.fittings)
        area_m2 = None if duct.width_m is None else duct.area_m2
        node = duct.name
        if duct.flex_m > 0.0:
            slack = slack_hose_factor(duct.flex_stretch, duct.diameter_m)
            onward = f"{duct.name}/hose"
            self.ducts.append(
                Duct(onward, node, onward, duct.flex_m, duct.diameter_m, HOSE_ROUGHNESS_M, 0.0, area_m2, slack)
            )
            node = onward
        is_hose = duct.material == Material.FLEXIBLE_HOSE.value
        loss = duct.loss + sum(self.fitting_loss(duct, fitting) * fitting.count for fitting in duct.fittings)
        row = [duct.name, *(f"{duct.name}/{gate.name}" for gate in gates[1:])]
        onwards = [*row[1:], duct.towards]
        self.ducts.append(
            Duct(
                name=duct.name,
                upstream=node,
                downstream=onwards[0],
                length_m=duct.length_m,
                diameter_m=duct.diameter_m,
                roughness_m=duct.roughness_m,
                loss=loss,
                area_m2=area_m2,
                friction_scale=slack_hose_factor(duct.flex_stretch, duct.diameter_m) if is_hose else 1.0,
            )
        )
        for name, onward in zip(row[1:], onwards[1:], strict=True):
            self.ducts.append(Duct(name, name, onward, 0.0, duct.diameter_m, 0.0, 0.0, area_m2))
        self.gates += [self.gate_on(gate, name, duct.area_m2) for gate, name in zip(gates, row, strict=False)]
        if is_open_end:
            self.hoods.append(Hood(duct.name, duct.name, self.entry_loss(duct, gates)))
            if is_capped and not gates:
                self.gates.append(Gate(f"{duct.name}/cap", duct.name, 0.0, 0.0))

    def lay_stub(self, name: str, diameter_m: float, port_m: float | None) -> None:
        """A hole straight on the motor's inlet."""
        self.ducts.append(Duct(name, name, self.motor.name, 0.0, diameter_m, 0.0))
        self.hoods.append(Hood(name, name, port_entry_loss(math.pi * diameter_m**2 / 4.0, port_m)))
        self.guessed.append(name)

    def entry_loss(self, duct: model.Duct, gates: list[model.Gate]) -> float:
        if duct.entry_loss is not None:
            return duct.entry_loss
        self.guessed.append(duct.name)
        return port_entry_loss(duct.area_m2, self.port_of(gates))

    def port_of(self, gates: Iterable[model.Gate]) -> float | None:
        """The widest port of the tools behind some gates, where the file gives any."""
        names = {gate.name for gate in gates}
        ports = [
            tool.port_diameter_m
            for tool in self.shop.tools.values()
            if names & set(tool.gates) and tool.port_diameter_m is not None
        ]
        return max(ports, default=None)

    def gate_on(self, gate: model.Gate, duct: str, duct_m2: float) -> Gate:
        area_m2 = min(gate.area_m2, duct_m2)
        open_loss = gate.open_loss
        if open_loss is None:
            open_loss = OPEN_GATE_LOSS * (duct_m2 / area_m2) ** 2 + narrowing_loss(duct_m2, area_m2)
        leak_m2 = gate.leak_area_m2 if gate.leak_area_m2 is not None else LEAK_SHARE * area_m2
        return Gate(gate.name, duct, open_loss, leak_m2, gate.leak_discharge or losses.DISCHARGE)

    def fitting_loss(self, duct: model.Duct, fitting: model.Fitting) -> float:
        """K of one fitting on its duct's own velocity pressure."""
        match fitting.kind:
            case "elbow":
                usual_radius, usual_pieces = _ELBOWS[duct.material]
                pieces = fitting.pieces if fitting.pieces is not None else usual_pieces
                if fitting.radius_ratio is not None and fitting.pieces is None:
                    pieces = 0
                if pieces == 2:
                    return losses.mitre(fitting.angle_deg)
                radius = fitting.radius_ratio if fitting.radius_ratio is not None else usual_radius
                return losses.elbow(fitting.angle_deg, radius, pieces)
            case "wye" | "tee" | "splitter":
                return losses.branch_entry(fitting.angle_deg or 45.0)
            case "reducer":
                return self.reducer_loss(duct)
            case _:
                return 0.0

    def reducer_loss(self, duct: model.Duct) -> float:
        """A cone between a duct and the widest that feeds it; where these are alike, and the one that it leads to."""
        own_m2 = duct.area_m2
        before = max((other.area_m2 for other in self.feeding.get(duct.name, ())), default=own_m2)
        if not math.isclose(before, own_m2):
            return cone_loss(before, own_m2) * (own_m2 / min(before, own_m2)) ** 2
        after = self.shop.ducts[duct.towards].area_m2 if duct.towards in self.shop.ducts else own_m2
        return cone_loss(own_m2, after) * (own_m2 / min(after, own_m2)) ** 2

    def filter_line(self) -> float:
        point = self.motor.filter_loss
        return losses.filter_line_pa_s_m3(point.pressure_pa, point.flow_m3s) if point is not None else 0.0

    def separator_square(self, air: Air) -> float:
        point = self.motor.separator_loss
        if point is None:
            return 0.0
        square = losses.separator_square_pa_s2_m6(point.pressure_pa, point.flow_m3s)
        return square * air.density_kg_m3 / _measured_density(self.shop, self.motor)


def port_entry_loss(duct_m2: float, port_m: float | None) -> float:
    """Entry loss of a machine of which no more is known than its port: a plain end, on the duct's velocity pressure.

    A port narrower than its duct has the entry on its own velocity, and the widening behind it. A machine's insides
    lose more: give ``entry_loss`` where it is known.
    """
    if port_m is None or math.pi * port_m**2 / 4.0 >= duct_m2:
        return losses.HOODS["plain end"]
    ratio = duct_m2 / (math.pi * port_m**2 / 4.0)
    return (losses.HOODS["plain end"] + losses.expansion(ratio)) * ratio**2


def narrowing_loss(duct_m2: float, opening_m2: float) -> float:
    """K of a step into a narrower opening and out of it again, on the duct's velocity pressure; 0 when it is none."""
    ratio = duct_m2 / opening_m2
    if ratio <= 1.0 + 1e-9:
        return 0.0
    return (losses.contraction(min(ratio, 10.0)) + losses.expansion(ratio)) * ratio**2


def cone_loss(from_m2: float, to_m2: float) -> float:
    """K of a reducer's cone on the velocity pressure of its narrow end."""
    if math.isclose(from_m2, to_m2):
        return 0.0
    if from_m2 > to_m2:
        return losses.contraction(min(from_m2 / to_m2, 10.0), CONE_DEG)
    return losses.expansion(to_m2 / from_m2, CONE_DEG)


#: What is left of an estimated curve's error once one reading has set its height: the shape stays a guess. Our own.
READ_ERROR = 0.1
#: A reading may change the speed of the curve by this factor at most, either way; beyond it was not this fan.
SPEED_MOST = 3.0


def corrected_fan(network: Network, reading: model.SuctionReading, towards: str) -> FanCurve:
    """The fan curve that gives the suction that was read, by the fan laws on its speed.

    A curve that was only estimated keeps a smaller error; one that was given stays a given one. The nearest curve is
    taken where no speed within the allowed range gives the reading.
    """
    curve, duct = network.fan, tap_in(network, reading.duct, towards)
    ratio = speed_for(prepare(network), duct, reading.suction_pa, reading.open_gates, 1.0 / SPEED_MOST, SPEED_MOST)
    found = curve.scaled(ratio)
    return replace(found, error=min(found.error, READ_ERROR))


def tap_in(network: Network, duct: str, towards: str) -> str:
    """The length of the network at whose end a hole in one of the shop's ducts is, towards the collector.

    Args:
        network: of the duct's system.
        duct: the duct's name in the shop.
        towards: where its air goes.
    """
    lengths = [one.name for one in network.ducts if one.name.partition("/")[0] == duct and one.downstream == towards]
    return lengths[0] if lengths else duct
