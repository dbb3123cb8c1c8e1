"""The same network in two general engines, for the side-by-side figures of ``bench_airflow``; neither is required.

EPANET (water networks, C) through wntr's toolkit calls; pandapipes (NumPy, SciPy, numba). What each needs to be told so
that it computes air in ducts stands beside it. Both are cold for each set: nothing of the last solve is kept.
"""

import math
from collections.abc import Collection
from pathlib import Path
from typing import Any

from gatekeeper.airflow.solve import Prepared

_FEET_G = 32.2 * 0.3048
_CMH_PER_CFS, _TRUE_CMH_PER_CFS = 101.94, 0.3048**3 * 3600.0
_MINOR_K = 0.02517 * 32.2 * math.pi**2 / 8.0
_VISCOSITY_UNIT = 1.1e-5 * 0.3048**2
_FILTER_END_M3S = 10.0


def coefficients(prepared: Prepared, open_gates: Collection[str]) -> list[float]:
    """K of every duct on its own velocity pressure."""
    k = prepared.loss_coefficients(open_gates)
    return [here / law.square for here, law in zip(k, prepared.laws, strict=True)]


class Epanet:
    """A network in the EPANET toolkit: heads are metres of air, its own law of friction (Swamee-Jain)."""

    def __init__(self, prepared: Prepared, folder: Path) -> None:
        from wntr.epanet.toolkit import ENepanet

        self.prepared, self.network = prepared, prepared.network
        inp = folder / "network.inp"
        inp.write_text(self._text(), encoding="ascii")
        self.engine = ENepanet()
        self.engine.ENopen(str(inp), str(folder / "network.rpt"), str(folder / "network.bin"))
        self.engine.ENopenH()
        self.links = [self.engine.ENgetlinkindex(f"D{place}") for place in range(len(self.network.ducts))]
        self.set_for: dict[int, float] = {}

    def settings(self, open_gates: Collection[str]) -> list[float]:
        """The minor loss of each duct as EPANET takes it (it refuses 0)."""
        return [max(k / _MINOR_K, 1e-9) for k in coefficients(self.prepared, open_gates)]

    def set_losses(self, settings: list[float]) -> None:
        """Set what differs from the last set."""
        for place, loss in enumerate(settings):
            if self.set_for.get(place) != loss:
                self.engine.ENsetlinkvalue(self.links[place], 3, loss)
                self.set_for[place] = loss

    def run(self) -> None:
        """One cold hydraulic solve."""
        self.engine.ENinitH(10)
        self.engine.ENrunH()

    def flows(self) -> list[float]:
        """The flows of the last solve."""
        to_m3s = _TRUE_CMH_PER_CFS / _CMH_PER_CFS / 3600.0
        return [self.engine.ENgetlinkvalue(link, 8) * to_m3s for link in self.links]

    def close(self) -> None:
        self.engine.ENcloseH()
        self.engine.ENclose()

    def _text(self) -> str:
        network, air = self.network, self.network.air
        head = 1.0 / (air.density_kg_m3 * _FEET_G)
        flow = 3600.0 * _CMH_PER_CFS / _TRUE_CMH_PER_CFS
        nodes = {node: f"N{place}" for place, node in enumerate({d.upstream: 0 for d in network.ducts})}
        hoods = {hood.node for hood in network.hoods}
        root = network.collector.inlet_node
        nodes[root] = "ROOT"
        pipes = [
            f"D{place} {nodes[d.upstream]} {nodes[d.downstream]} {d.length_m!r} {d.diameter_m * 1000!r}"
            f" {d.roughness_m * 1000!r} 0.5 Open"
            for place, d in enumerate(network.ducts)
        ]
        last, valves, bore = "ROOT", [], 0.3
        extra = []
        if network.collector.square_pa_s2_m6:
            area = math.pi * bore**2 / 4.0
            k = network.collector.square_pa_s2_m6 * 2.0 * area**2 / air.density_kg_m3 / _MINOR_K
            pipes.append(f"CYCLONE {last} BEHIND1 1e-6 {bore * 1000!r} 0.0001 {k!r} Open")
            last = "BEHIND1"
            extra.append(last)
        if network.collector.line_pa_s_m3:
            valves.append(f"FILTER {last} BEHIND2 300 GPV FILTERLINE 0")
            last = "BEHIND2"
            extra.append(last)
        curve = [f"FAN {q * flow!r} {max(p, 1e-9) * head!r}" for q, p in network.fan.points()]
        line = network.collector.line_pa_s_m3 * _FILTER_END_M3S * head
        curve += [f"FILTERLINE 0 0\nFILTERLINE {_FILTER_END_M3S * flow!r} {line!r}"] if valves else []
        sections = {
            "JUNCTIONS": [f"{nodes[n]} 0 0" for n in nodes if n not in hoods] + [f"{n} 0 0" for n in extra],
            "RESERVOIRS": [f"{nodes[n]} 0" for n in nodes if n in hoods] + ["ROOM 0"],
            "PIPES": pipes,
            "PUMPS": [f"PUMP {last} ROOM HEAD FAN"],
            "VALVES": valves,
            "CURVES": curve,
            "OPTIONS": [
                "UNITS CMH",
                "HEADLOSS D-W",
                f"VISCOSITY {air.viscosity_pa_s / air.density_kg_m3 / _VISCOSITY_UNIT!r}",
                "TRIALS 500",
                "ACCURACY 0.00001",
                "HEADERROR 0.00000001",
                "FLOWCHANGE 0.00000001",
            ],
            "TIMES": ["DURATION 0"],
            "REPORT": ["STATUS NO", "SUMMARY NO", "MESSAGES NO"],
        }
        return "".join(f"[{name}]\n" + "\n".join(rows) + "\n\n" for name, rows in sections.items()) + "[END]\n"


class Pandapipes:
    """A network in pandapipes, with Colebrook, as a "liquid" of constant density (as "gas" it is compressible)."""

    def __init__(self, prepared: Prepared) -> None:
        import pandapipes
        from pandapipes.std_types.std_type_class import PumpStdType

        self.prepared, network = prepared, prepared.network
        air = network.air
        self.engine = pandapipes
        net = pandapipes.create_empty_network(add_stdtypes=True)
        net.fluid = _fluid(air.density_kg_m3, air.viscosity_pa_s)
        names = {node: place for place, node in enumerate({d.upstream: 0 for d in network.ducts})}
        names[network.collector.inlet_node] = len(names)
        at = {node: pandapipes.create_junction(net, pn_bar=1.0, tfluid_k=293.15) for node in names}
        room = pandapipes.create_junction(net, pn_bar=1.0, tfluid_k=293.15)
        for hood in network.hoods:
            pandapipes.create_ext_grid(net, at[hood.node], p_bar=1.0, t_k=293.15, type="pt")
        pandapipes.create_ext_grid(net, room, p_bar=1.0, t_k=293.15, type="pt")
        for duct in network.ducts:
            pandapipes.create_pipe_from_parameters(
                net,
                at[duct.upstream],
                at[duct.downstream],
                length_km=duct.length_m / 1000.0,
                inner_diameter_mm=duct.diameter_m * 1000.0,
                k_mm=duct.roughness_m * 1000.0 * 3.71 / 3.7,
                loss_coefficient=0.5,
            )
        collector = network.collector

        class Fan(PumpStdType):  # type: ignore[misc]
            """Our straight lines less separator and filter."""

            def get_pressure(self, vdot_m3_per_s: Any) -> Any:
                import numpy as np

                q = np.asarray(vdot_m3_per_s, dtype=float)
                return (np.vectorize(_spare)(q)) / 1e5

            def get_pressure_derivative(self, vdot_m3_per_s: Any) -> Any:
                import numpy as np

                q, by = np.asarray(vdot_m3_per_s, dtype=float), 1e-7
                return (np.vectorize(_spare)(q + by) - np.vectorize(_spare)(q - by)) / (2 * by) / 1e5

        def _spare(q: float) -> float:
            loss = collector.line_pa_s_m3 * q + collector.square_pa_s2_m6 * q * abs(q)
            return network.fan.pressure_at(max(q, 0.0)) - loss

        fan = Fan("fan", [0.0, 0.0, 0.0])
        pandapipes.create_std_type(net, "pump", "fan", fan, overwrite=True)
        pandapipes.create_pump(net, at[collector.inlet_node], room, std_type="fan")
        self.net = net

    def set_losses(self, k: list[float]) -> None:
        self.net.pipe["loss_coefficient"] = k

    def run(self) -> None:
        self.engine.pipeflow(
            self.net,
            friction_model="colebrook",
            tol_p=1e-12,
            tol_m=1e-10,
            tol_res=1e-10,
            max_iter_hyd=300,
            mode="hydraulics",
        )

    def flows(self) -> list[float]:
        density = self.prepared.network.air.density_kg_m3
        return [float(flow) / density for flow in self.net.res_pipe["mdot_from_kg_per_s"]]


def _fluid(density: float, viscosity: float) -> Any:
    from pandapipes.properties.fluids import create_constant_fluid

    return create_constant_fluid(
        "air of the shop",
        "liquid",
        density=density,
        viscosity=viscosity,
        heat_capacity=1005.0,
        molar_mass=28.96,
        compressibility=1.0,
        der_compressibility=0.0,
    )
