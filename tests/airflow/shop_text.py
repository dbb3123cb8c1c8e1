"""Writes a network of a check file ("ductnet/1") as a shop file of ours, all gates by hand."""

from collections.abc import Mapping
from typing import Any


def shop_text(found: Mapping[str, Any]) -> str:
    """The text of a shop file with the same ducts, gates, hoods, fan, separator and filter."""
    entry = {hood["node"]: hood["entry_K"] for hood in found["hoods"]}
    leads_on = {duct["upstream"]: duct["id"] for duct in found["ducts"]}
    root, fan = found["collector"]["inlet_node"], found["fan"]
    points = zip(fan["curve_flow_m3_per_s"], fan["curve_static_pressure_Pa"], strict=True)
    lines = [
        "shop:",
        "  name: Check network",
        "  mains: 50 Hz",
        f"  air_density: {_plain(found['air']['density_kg_per_m3'])} kg/m3",
        f"  air_viscosity: {_plain(found['air']['dynamic_viscosity_Pa_s'])} Pa s",
        "motors:",
        "  collector:",
        "    kind: collector",
        "    power: 2 kW",
        "    smallest_path: 20 mm",
        "    switched_by: {pin: GPIO17, when_board_dies: drops}",
        f"    filter_loss: 1 m3/s at {_plain(found['collector']['linear_Pa_s_per_m3'])} Pa",
        f"    separator_loss: 1 m3/s at {_plain(found['collector']['quadratic_Pa_s2_per_m6'])} Pa",
        "    fan_curve:",
        *(f"      - {_plain(flow)} m3/s at {_plain(pressure)} Pa" for flow, pressure in points),
        "ducts:",
    ]
    for duct in found["ducts"]:
        towards = "collector" if duct["downstream"] == root else leads_on[duct["downstream"]]
        hood = f", entry_loss: {_plain(entry[duct['upstream']])}" if duct["upstream"] in entry else ""
        lines.append(
            f"  {duct['id']}: {{towards: {towards}, length: {_plain(duct['length_m'])} m,"
            f" diameter: {_plain(duct['diameter_m'])} m, roughness: {_plain(duct['roughness_m'])} m,"
            f" loss: {_plain(duct['minor_K'])}{hood}}}"
        )
    lines.append("gates:")
    for gate in found["gates"]:
        lines.append(
            f"  {gate['id']}: {{duct: {gate['duct']}, open_loss: {_plain(gate['open_K'])},"
            f" leak_area: {_plain(gate['leak_area_m2'])} m2, leak_discharge: {_plain(gate['discharge_coefficient'])}}}"
        )
    first = found["gates"][0]["id"]
    lines += ["tools:", f"  saw: {{gates: {first}, sensor: {{current_switch: GPIO23}}}}"]
    return "\n".join(lines) + "\n"


def _plain(number: float) -> str:
    """A number without an exponent, as a shop file takes it."""
    return f"{number:.15f}".rstrip("0").rstrip(".")
