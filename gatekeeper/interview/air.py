"""The air at every machine of a layout, each running alone, and what one more part changes for the others."""

from collections.abc import Mapping
from dataclasses import dataclass

from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.layout.measures import Measures
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import best_reading
from gatekeeper.shop.faults import Faults, listed
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop, Units

#: A change that is worth a line.
WORTH_SAYING = 0.01


@dataclass(frozen=True, slots=True)
class AirAlone:
    """What one machine gets while it runs alone, and what it needs; ``beside``: gates that stay open beside its own."""

    flow_m3s: float
    need_m3s: float
    is_estimate: bool
    beside: tuple[str, ...] = ()


def air_of_text(text: str) -> Mapping[str, AirAlone]:
    """The same from the text of a shop file; nothing where it is no shop yet."""
    shop = load_shop(text, "")
    return {} if isinstance(shop, Faults) else air_alone(shop)


def air_alone(shop: Shop) -> Mapping[str, AirAlone]:
    """What every machine gets alone, by the reading that the controller uses; nothing where it cannot be solved."""
    told: dict[str, AirAlone] = {}
    try:
        systems = air_systems(shop)
        for system in systems.values():
            for tool in system.tools.draws:
                reading = best_reading(system, (tool,))
                told[tool] = AirAlone(
                    reading.flow_m3s[tool],
                    system.needs[tool].flow_m3s,
                    system.tools.network.fan.is_estimate,
                    tuple(reading.extra),
                )
    except ValueError:
        return {}
    return told


def air_lines(before: Mapping[str, AirAlone], after: Mapping[str, AirAlone], units: Units) -> list[str]:
    """What a change of the layout does, in sentences: the new machines first, then those that get more or less."""
    say = Measures(units)
    lines = []
    for name, air in after.items():
        if name not in before:
            short = "" if air.flow_m3s >= ENOUGH * air.need_m3s else ", too little"
            by = " by an estimated fan" if air.is_estimate else ""
            gets, needs = say.flow(air.flow_m3s), say.flow(air.need_m3s)
            lines.append(f"The {name} gets {gets} alone{by} and needs {needs}{short}{_beside(air)}.")
    for name, air in after.items():
        if name in before and before[name].flow_m3s > 0:
            change = air.flow_m3s / before[name].flow_m3s - 1
            if abs(change) >= WORTH_SAYING:
                word = "less" if change < 0 else "more"
                share = f"{abs(change) * 100:.0f} %"
                lines.append(f"This changes the {name}: {share} {word} air, {say.flow(air.flow_m3s)}{_beside(air)}.")
    return lines


def _beside(air: AirAlone) -> str:
    return f", with {listed(air.beside, 'and')} open beside it" if air.beside else ""
