"""Remedies that were computed: the ducts are changed, everything is solved again, and the effect is told in figures.

A remedy that changes nothing worth saying is not told. What a remedy spoils elsewhere is told with it.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.airflow.study import SetAir, ToolAir
from gatekeeper.airflow.tools import ENOUGH, Reading
from gatekeeper.layout.study import LayoutStudy, SystemStudy, Trials
from gatekeeper.service.air_systems import AirSystem, duct_of
from gatekeeper.service.air_table import best_reading
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Duct

#: A remedy is told from this gain on.
_WORTH = 0.02
_MOST = 3
_STEPS_DOWN = 3
_NO_RELIEF = "Shut the relief port, and let position switches prove the gates"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to do and its effect in figures. ``mends``: alone, it ends what was found."""

    do: str
    effect: str
    mends: bool

    @property
    def said(self) -> str:
        return f"{self.do}: {self.effect}."


class Remedies:
    """The remedies for one system's findings."""

    def __init__(self, study: LayoutStudy, system: SystemStudy) -> None:
        self.study, self.system = study, system
        self.say = study.measures
        self.tools = system.system.tools
        self.trials = Trials(study.shop, system.system, all_open=study.is_all_open)

    # ---------------------------------------------------------------- a machine short of air

    def starved(self, air: SetAir, tool: ToolAir) -> list[Remedy]:
        """Drop one size larger, hose shorter, mains one size larger."""
        drop = self._drop_of(tool.tool)
        found = [
            self._for_flow(air, tool, f"Make the {_named(drop)} {size} instead of {was}", ducts)
            for ducts, size, was in self._resized(drop, larger=True)
        ]
        for duct in drop:
            if duct.flex_m > 0.0:
                half_m = duct.flex_m / 2
                say = self.say.length
                hose = f"hose of the {duct.name}" if duct.length_m > 0.0 else duct.name
                do = f"Shorten the {hose} from {say(duct.flex_m)} to {say(half_m)}"
                found.append(self._for_flow(air, tool, do, (replace(duct, flex_m=half_m),)))
        mains = self._mains_of(tool.tool)
        for ducts, _, _ in self._resized(mains, larger=True):
            found.append(self._for_flow(air, tool, f"Make the {_named(mains)} one size larger", ducts))
        if self.system.system.motor.relief_m2 > 0.0:
            flow = self.trials.read(self.trials.without_relief(), air.reading.running).flow_m3s[tool.tool]
            mends = flow >= tool.need_m3s * ENOUGH
            effect = f"it gets {self.say.flow(flow)}{'' if mends else ', still too little'}"
            found.append((flow / tool.flow_m3s - 1.0, Remedy(_NO_RELIEF, effect, mends)))
        told = [(gain, remedy) for gain, remedy in found if gain >= _WORTH]
        told.sort(key=lambda pair: (not pair[1].mends, -pair[0]))
        return [remedy for _, remedy in told[:_MOST]]

    def _for_flow(self, air: SetAir, tool: ToolAir, do: str, ducts: tuple[Duct, ...]) -> tuple[float, Remedy]:
        reading = self.trials.read(self.trials.changed(ducts), air.reading.running)
        flow = reading.flow_m3s[tool.tool]
        effect = f"it gets {self.say.flow(flow)}"
        newly = [duct for duct in reading.slow_drops if duct not in air.reading.slow_drops]
        if newly:
            speed = min(reading.velocity_ms[duct] for duct in newly)
            effect += f", but the air in the {duct_of(newly[0])} falls to {self.say.velocity(speed)}"
        mends = flow >= tool.need_m3s * ENOUGH
        return flow / tool.flow_m3s - 1.0, Remedy(
            do, effect + ("" if mends else ", still too little"), mends and not newly
        )

    # ---------------------------------------------------------------- a main too slow

    def slow_main(self, ducts: list[str], sets: list[SetAir]) -> list[Remedy]:
        """More gates open, and the main smaller. ``ducts``: from the collector outward."""
        found = [self._smaller_main(ducts, sets), self._main_without_relief(ducts, sets)]
        if not self.study.is_all_open:
            found.append(self._more_gates(ducts, min(sets, key=lambda air: _slowest(air.reading, ducts))))
        return sorted((remedy for remedy in found if remedy is not None), key=lambda remedy: not remedy.mends)

    def _main_without_relief(self, ducts: list[str], sets: list[SetAir]) -> Remedy | None:
        if self.system.system.motor.relief_m2 <= 0.0:
            return None
        system = self.trials.without_relief()
        speeds = [_slowest(self.trials.read(system, air.reading.running), ducts) for air in sets]
        fast = min(speeds) >= TRANSPORT_MS
        effect = f"{self.say.velocity_between(min(speeds), max(speeds))} there{'' if fast else ', still too slow'}"
        return Remedy(_NO_RELIEF, effect, fast)

    def _more_gates(self, ducts: list[str], air: SetAir) -> Remedy | None:
        """What opening others would do that the controller may not open, or that somebody would pay for."""
        system, own = self.system.system, air.reading
        (tool,) = own.running
        reading = best_reading(replace(system, extras=tuple(system.gates)), own.running)
        new = [gate for gate in reading.open_gates if gate not in own.open_gates]
        if new and not set(ducts) & set(reading.slow_mains):
            by_hand = any(not system.gates[gate].is_actuated for gate in new)
            how = "by hand" if by_hand else "by the controller (as_extra: yes)"
        else:
            tried = [
                system.read(own.running, (*own.open_gates, gate)) for gate in system.gates if gate not in own.open_gates
            ]
            reading = max(tried, key=lambda reading: _slowest(reading, ducts), default=own)
            new, how = [reading.open_gates[-1]], ""
        speed = _slowest(reading, ducts)
        if speed < _slowest(own, ducts) * (1 + _WORTH):
            return None
        do = f"Open the {listed(new, 'and')} too{', ' + how + ',' if how else ''} when the {tool} runs"
        fed, fast = reading.share[tool] >= ENOUGH, speed >= TRANSPORT_MS
        effect = f"{self.say.velocity(speed)} there{'' if fast else ', still too slow'}"
        effect += f", {'and' if fed else 'but'} the {tool} gets {self._of_need(tool, reading.flow_m3s[tool])}"
        return Remedy(do, effect, fed and fast)

    def _of_need(self, tool: str, flow_m3s: float) -> str:
        """A flow, with the need where it is not met."""
        need_m3s = self.tools.draws[tool].need_m3s
        said = self.say.flow(flow_m3s)
        return said if flow_m3s >= need_m3s * ENOUGH else f"{said} where it needs {self.say.flow(need_m3s)}"

    def _smaller_main(self, names: list[str], sets: list[SetAir]) -> Remedy | None:
        """The lengths smaller, with all mains before them that would be larger: the first size that is enough."""
        first: Remedy | None = None
        wanted = [self._duct(name) for name in names]
        if any(duct.width_m is not None for duct in wanted):
            return None
        largest_m = max(duct.diameter_m for duct in wanted)
        for steps in range(1, _STEPS_DOWN + 1):
            size_m = self.say.next_size(largest_m, larger=False, steps=steps)
            if size_m is None:
                break
            remedy = self._narrowed(names, sets, size_m)
            if remedy.mends:
                return remedy
            first = first or remedy
        return first

    def _narrowed(self, names: list[str], sets: list[SetAir], size_m: float) -> Remedy:
        changed = tuple(
            replace(part, diameter_m=size_m)
            for part in self._mains_before(names)
            if part.diameter_m > size_m and part.width_m is None
        )
        system = self.trials.changed(changed)
        readings = [self.trials.read(system, air.reading.running) for air in sets]
        speeds = [_slowest(reading, names) for reading in readings]
        had = {tool for air in sets for tool, _ in air.reading.short}
        lost = [tool for reading in readings for tool, _ in reading.short if tool not in had]
        was = dict.fromkeys(self.say.diameter(self._duct(part.name).diameter_m) for part in changed)
        parts = listed([part.name for part in changed], "and")
        do = f"Make the {parts} {self.say.diameter(size_m)} instead of {listed(list(was), 'and')}"
        effect = self.say.velocity_between(min(speeds), max(speeds)) + " there"
        effect += ", still too slow" if min(speeds) < TRANSPORT_MS else ""
        if lost:
            effect += f", but then the {listed(lost, 'and', 3)} {'lacks' if len(lost) == 1 else 'lack'} air"
        elif len(readings) == 1 and len(readings[0].running) == 1:
            (tool,) = readings[0].running
            effect += f", and the {tool} gets {self._of_need(tool, readings[0].flow_m3s[tool])}"
        elif not had:
            effect += ", and every machine still gets enough alone"
        effect += self._with_pairs(system)
        return Remedy(do, effect, min(speeds) >= TRANSPORT_MS and not lost)

    def _with_pairs(self, system: AirSystem) -> str:
        """What a change costs the pairs."""
        pairs = self.system.of_size(2)
        if not pairs or self.study.is_all_open:
            return ""
        was = sum(not air.reading.short for air in pairs)
        now = sum(not self.trials.read(system, air.reading.running).short for air in pairs)
        return "" if now == was else f"; {now} of {len(pairs)} pairs have enough air, not {was}"

    # ---------------------------------------------------------------- a drop too slow

    def slow_drop(self, air: SetAir, tool: ToolAir) -> list[Remedy]:
        """The drop one size smaller, or its hose shorter."""
        drop = self._drop_of(tool.tool)
        found: list[Remedy] = []
        for ducts, size, was in self._resized(drop, larger=False):
            reading = self.trials.read(self.trials.changed(ducts), air.reading.running)
            speed = min((reading.velocity_ms[duct.name] for duct in ducts), default=0.0)
            flow = reading.flow_m3s[tool.tool]
            fed = flow >= tool.need_m3s * ENOUGH
            effect = f"{self.say.velocity(speed)} there, and it gets {self._of_need(tool.tool, flow)}"
            if speed > tool.drop_ms * (1 + _WORTH):
                found.append(
                    Remedy(f"Make the {_named(drop)} {size} instead of {was}", effect, fed and speed >= TRANSPORT_MS)
                )
        return found

    # ---------------------------------------------------------------- machines together

    def pairs(self, bad: list[SetAir], total: int) -> Iterator[Remedy]:
        """One after the other; and what larger mains would do for the pairs."""
        yield Remedy("Run one of the two after the other", "each has enough air alone", True)
        mains = [self._duct(name) for name in self._main_names()]
        for ducts, _, _ in self._resized(mains, larger=True):
            system = self.trials.changed(ducts)
            mended = sum(not self.trials.read(system, air.reading.running).short for air in bad)
            if mended:
                effect = f"{total - len(bad) + mended} of {total} pairs have enough air, not {total - len(bad)}"
                slow = sum(bool(self.trials.read(system, air.reading.running).slow_mains) for air in self.system.alone)
                was = sum(bool(air.reading.slow_mains) for air in self.system.alone)
                if slow > was:
                    effect += f", but chips settle with {slow} machines alone, not {was}"
                yield Remedy("Make every main one size larger", effect, mended == len(bad))

    # ---------------------------------------------------------------- ducts

    def _duct(self, name: str) -> Duct:
        return self.study.shop.ducts[name]

    def _names(self, places: Iterable[int]) -> list[str]:
        named = dict.fromkeys(duct_of(self.tools.network.ducts[place].name) for place in places)
        return [name for name in named if name in self.study.shop.ducts]

    def _main_names(self) -> list[str]:
        return self._names(sorted(self.tools.mains))

    def _drop_of(self, tool: str) -> list[Duct]:
        chips = self.tools.chips_of(tool)
        return [self._duct(name) for name in self._names(place for place in chips if place not in self.tools.mains)]

    def _mains_of(self, tool: str) -> list[Duct]:
        chips = self.tools.chips_of(tool)
        return [self._duct(name) for name in self._names(place for place in chips if place in self.tools.mains)]

    def outward(self, ducts: Iterable[str]) -> list[str]:
        """Some ducts in order from the collector outward."""
        network = self.tools.network
        rank = {network.ducts[place].name: at for at, place in enumerate(reversed(network.order))}
        return sorted(ducts, key=lambda name: rank[name])

    def _mains_before(self, names: list[str]) -> list[Duct]:
        """Some mains and all mains whose air passes through them, from the collector outward."""
        wanted = {self.tools.network.duct_places[name] for name in names}
        through: set[int] = set()
        for gate in self.system.system.gates:
            way = self.tools.ways_of(gate)
            last = max((at for at, place in enumerate(way) if place in wanted), default=-1)
            through.update(way[: last + 1])
        return [self._duct(name) for name in self.outward(self._names(sorted(through & self.tools.mains)))]

    def _resized(self, ducts: list[Duct], *, larger: bool) -> Iterator[tuple[tuple[Duct, ...], str, str]]:
        """The ducts one size larger or smaller, with the first one's new and old size; nothing where none is sold."""
        sizes = [
            None if duct.width_m is not None else self.say.next_size(duct.diameter_m, larger=larger) for duct in ducts
        ]
        if ducts and None not in sizes:
            made = tuple(replace(duct, diameter_m=size) for duct, size in zip(ducts, sizes, strict=True) if size)
            yield made, self.say.diameter(made[0].diameter_m), self.say.diameter(ducts[0].diameter_m)


def _slowest(reading: Reading, ducts: Iterable[str]) -> float:
    """The slowest air in those of some mains that have chips in them; infinite where none has."""
    return min((reading.velocity_ms[duct] for duct in ducts if duct in reading.velocity_ms), default=math.inf)


def _named(ducts: list[Duct]) -> str:
    return listed([duct.name for duct in ducts], "and")
