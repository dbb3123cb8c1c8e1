"""Reads the networks of ../shared/airflow ("ductnet/1") into networks of ours."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gatekeeper.airflow.air import Air
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "airflow"
NAMES = ("01_single_duct", "03_tee2", "04_shop6", "05_long12")


def network_from(found: Mapping[str, Any]) -> Network:
    """One network of a check file."""
    return Network(
        air=Air(found["air"]["density_kg_per_m3"], found["air"]["dynamic_viscosity_Pa_s"]),
        ducts=tuple(
            Duct(
                duct["id"],
                duct["upstream"],
                duct["downstream"],
                duct["length_m"],
                duct["diameter_m"],
                duct["roughness_m"],
                duct["minor_K"],
            )
            for duct in found["ducts"]
        ),
        hoods=tuple(Hood(hood["id"], hood["node"], hood["entry_K"]) for hood in found["hoods"]),
        gates=tuple(
            Gate(gate["id"], gate["duct"], gate["open_K"], gate["leak_area_m2"], gate["discharge_coefficient"])
            for gate in found["gates"]
        ),
        collector=Collector(
            found["collector"]["inlet_node"],
            found["collector"]["linear_Pa_s_per_m3"],
            found["collector"]["quadratic_Pa_s2_per_m6"],
        ),
        fan=FanCurve(tuple(found["fan"]["curve_flow_m3_per_s"]), tuple(found["fan"]["curve_static_pressure_Pa"])),
    )


def read(name: str) -> tuple[Network, list[dict[str, Any]]]:
    """A network and the expected result of each of its gate sets."""
    network = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    expected = json.loads((FOLDER / f"{name}.expected.json").read_text(encoding="utf-8"))
    return network_from(network), expected["results"]
