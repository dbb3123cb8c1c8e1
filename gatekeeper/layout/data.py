"""The study for machines: SI units, each in its key's name. Described in this folder's README."""

from collections.abc import Sequence
from typing import Any

from gatekeeper.airflow.study import SetAir
from gatekeeper.layout.findings import Finding
from gatekeeper.layout.speeds import speeds_data
from gatekeeper.layout.study import LayoutStudy, SystemStudy


def layout_data(study: LayoutStudy, findings: Sequence[Finding]) -> dict[str, Any]:
    """Everything that was found about one shop."""
    return {
        "file": study.name,
        "shop": study.shop.name,
        "all_open": study.is_all_open,
        "is_whole": study.is_whole,
        "is_short": any(finding.is_short for finding in findings),
        "systems": {name: _system_data(system) for name, system in study.systems.items()},
        **(
            {"speeds": {name: speeds_data(study.systems[name], table) for name, table in study.speeds.items()}}
            if study.speeds
            else {}
        ),
        "findings": [
            {
                "harm": int(finding.harm),
                "code": finding.code,
                "system": finding.system,
                "title": finding.title,
                "why": finding.why,
                "is_short": finding.is_short,
                "remedies": [
                    {"do": remedy.do, "effect": remedy.effect, "mends": remedy.mends} for remedy in finding.remedies
                ],
            }
            for finding in findings
        ],
    }


def _system_data(system: SystemStudy) -> dict[str, Any]:
    fan = system.system.tools.network.fan
    return {
        "kind": system.system.motor.kind.value,
        "fan_is_estimate": fan.is_estimate,
        "fan_error_share": fan.error,
        "transport_velocity_ms": system.system.tools.transport_ms,
        "needs": {
            tool: {"flow_m3s": need.flow_m3s, "source": need.source, "is_given": need.is_given}
            for tool, need in system.system.needs.items()
        },
        "sets": [_set_data(air) for air in system.sets.values()],
    }


def _set_data(air: SetAir) -> dict[str, Any]:
    reading = air.reading
    return {
        "running": list(reading.running),
        "open_gates": list(reading.open_gates),
        "extra_gates": list(reading.extra),
        "fan_flow_m3s": air.fan_flow_m3s,
        "fan_flow_low_m3s": air.fan_low_m3s,
        "fan_flow_high_m3s": air.fan_high_m3s,
        "fan_static_pressure_pa": air.fan_static_pa,
        "motor_power_w": air.motor_w,
        "is_beyond_fan_curve": air.is_beyond_curve,
        "is_on_rising_part": air.is_on_rising_part,
        "tools": {
            tool.tool: {
                "flow_m3s": tool.flow_m3s,
                "flow_low_m3s": tool.low_m3s,
                "flow_high_m3s": tool.high_m3s,
                "need_m3s": tool.need_m3s,
                "share_of_need": tool.share,
                "hood_static_pressure_pa": tool.hood_static_pa,
                "drop_velocity_ms": tool.drop_ms,
            }
            for tool in air.tools
        },
        "velocities_ms": dict(reading.velocity_ms),
        "slow_mains": list(reading.slow_mains),
        "slow_drops": list(reading.slow_drops),
    }
