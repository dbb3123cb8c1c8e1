"""What the study found, in words a woodworker uses, the worst first, each with remedies that were computed.

Order of harm: dust that is not caught at a machine, chips that settle in a main, chips that settle in a drop, machines
that cannot run together, a machine on the wrong kind of fan, and then what is not known or merely worth knowing.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum

from gatekeeper.airflow.fan import ESTIMATE_ERROR
from gatekeeper.airflow.needs import TRANSPORT_MS, wants_collector
from gatekeeper.airflow.study import SetAir, ToolAir
from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.remedies import Remedies, Remedy
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.service.air_systems import duct_of
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import AirGoes, MotorKind

#: Specific heat of air [J/(kg K)].
_AIR_HEAT = 1006.0
#: Air that comes in through an opening at this speed pulls on nobody's door: our own figure, 2.4 Pa.
_MAKE_UP_MS = 2.0
_SHOWN = 4


class Harm(IntEnum):
    """Why a finding stands where it stands."""

    STARVED = 1
    SETTLES = 2
    SETTLES_IN_DROP = 3
    NOT_TOGETHER = 4
    WRONG_FAN = 5
    FAN = 6
    TO_KNOW = 7


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. ``code`` for machines; ``title``: what is so; ``why``: its figures."""

    harm: Harm
    code: str
    system: str
    title: str
    why: str
    remedies: tuple[Remedy, ...] = ()

    @property
    def is_short(self) -> bool:
        """Whether a machine that runs alone lacks air or leaves chips behind: the layout does not work as it is."""
        return self.harm <= Harm.SETTLES_IN_DROP


def findings_of(study: LayoutStudy) -> tuple[Finding, ...]:
    """All findings of a study, the worst first."""
    found: list[tuple[float, Finding]] = []
    for system in study.systems.values():
        if system.sets:
            found += _System(study, system).findings()
    found += [(0.0, finding) for finding in _shop(study)]
    return tuple(finding for _, finding in sorted(found, key=lambda pair: (pair[1].harm, pair[0])))


class _System:
    """One system, for the length of its findings. Each finding comes with its weight among those of equal harm."""

    def __init__(self, study: LayoutStudy, system: SystemStudy) -> None:
        self.study, self.system = study, system
        self.name = system.system.motor.name
        self.say: Measures = study.measures
        self.remedies = Remedies(study, system)

    def findings(self) -> Iterator[tuple[float, Finding]]:
        yield from self._starved()
        yield from self._settles()
        yield from self._settles_in_drop()
        if not self.study.is_all_open:
            yield from self._not_together()
        yield from self._wrong_fan()
        yield from self._may_starve()
        yield from self._fan()

    # ---------------------------------------------------------------- at the hood

    def _starved(self) -> Iterator[tuple[float, Finding]]:
        every = [(air, tool) for air in self.system.alone for tool in air.tools]
        short = [(air, tool) for air, tool in every if tool.share < ENOUGH]
        if self.study.is_all_open and len(short) > 1:
            short.sort(key=lambda pair: pair[1].share)
            air, tool = short[0]
            title = f"{len(short)} of {len(every)} machines on the {self.name} lack air with every gate open."
            why = "; ".join(
                f"{one.tool} gets {self._flow(one)} of {self.say.flow(one.need_m3s)}" for _, one in short[:_SHOWN]
            )
            why += f", and {len(short) - _SHOWN} more" if len(short) > _SHOWN else ""
            remedies = self.remedies.starved(air, tool)
            yield tool.share, self._finding(Harm.STARVED, "starved", title, f"Worst first: {why}.", remedies)
            return
        for same in _alike(short, lambda tool: (tool.need_m3s, tool.flow_m3s, tool.drop_ms)):
            air, tool = same[0]
            names = listed([other.tool for _, other in same], "and", _SHOWN)
            one = len(same) == 1
            missing = f"{(1 - tool.share) * 100:.0f} %"
            when = "with every gate open" if self.study.is_all_open else "even alone"
            title = f"The {names} {'gets' if one else 'get'} {missing} less air than needed, {when}."
            each = "It needs" if one else "Each needs"
            by = ", by an estimated fan" if self.system.fan_is_estimate else ""
            why = f"{each} {self.say.flow(tool.need_m3s)} and gets {self._flow(tool)}{by}."
            yield tool.share, self._finding(Harm.STARVED, "starved", title, why, self.remedies.starved(air, tool))

    def _may_starve(self) -> Iterator[tuple[float, Finding]]:
        doubtful = [
            tool
            for air in self.system.alone
            for tool in air.tools
            if tool.share >= ENOUGH and tool.low_m3s < tool.need_m3s * ENOUGH
        ]
        if not doubtful:
            return
        names = listed([tool.tool for tool in doubtful], "and", _SHOWN)
        title = f"The {names} may get too little from the {self.name}: its fan is an estimate."
        doubtful.sort(key=lambda tool: tool.low_m3s / tool.need_m3s)
        why = "; ".join(
            f"{tool.tool}: {self._flow(tool)}, needs {self.say.flow_bare(tool.need_m3s)}" for tool in doubtful[:_SHOWN]
        )
        yield 1.0, self._finding(Harm.FAN, "may_starve", title, f"{_cap(why)}.")

    def _flow(self, tool: ToolAir) -> str:
        """A flow with its error where the fan is an estimate."""
        return self.say.flow_between(tool.low_m3s, tool.high_m3s)

    # ---------------------------------------------------------------- in the ducts

    def _settles(self) -> Iterator[tuple[float, Finding]]:
        """Lengths of main that are slow for the very same machines are one finding, from the collector outward."""
        slow: dict[str, list[SetAir]] = {}
        for air in self.system.alone:
            for duct in dict.fromkeys(duct_of(name) for name in air.reading.slow_mains):
                slow.setdefault(duct, []).append(air)
        together: dict[tuple[frozenset[str], ...], list[str]] = {}
        for duct in self.remedies.outward(slow):
            together.setdefault(tuple(frozenset(air.reading.running) for air in slow[duct]), []).append(duct)
        for ducts in together.values():
            sets = slow[ducts[0]]
            speeds = [air.reading.velocity_ms[duct] for air in sets for duct in ducts]
            title = f"Chips settle in the {listed(ducts, 'and')} {self._when(sets)}."
            found = self.say.velocity_between(min(speeds), max(speeds))
            why = f"Air moves there at {found}; chips want {self.say.velocity(TRANSPORT_MS)}.{self._in_pairs(ducts)}"
            weight = min(speeds) / TRANSPORT_MS - len(sets)
            yield weight, self._finding(Harm.SETTLES, "settles", title, why, self.remedies.slow_main(ducts, sets))

    def _when(self, sets: list[SetAir]) -> str:
        if self.study.is_all_open:
            return "with every gate open"
        if len(sets) == len(self.system.alone) > 1:
            return "when any one machine runs alone"
        names = [tool for air in sets for tool in air.reading.running]
        if len(names) > _SHOWN:
            return f"when one of {len(names)} machines runs alone"
        return f"when the {listed(names, 'or')} runs alone"

    def _in_pairs(self, ducts: list[str]) -> str:
        through = [air for air in self.system.of_size(2) if any(duct in air.reading.velocity_ms for duct in ducts)]
        if self.study.is_all_open or not through:
            return ""
        fast = sum(not set(ducts) & set(air.reading.slow_mains) for air in through)
        return f" With two machines at a time they are fast enough in {fast} of {len(through)} pairs."

    def _settles_in_drop(self) -> Iterator[tuple[float, Finding]]:
        slow = [(air, tool) for air in self.system.alone for tool in air.tools if tool.drop_ms < TRANSPORT_MS]
        if not slow:
            return
        slow.sort(key=lambda pair: pair[1].drop_ms)
        air, tool = slow[0]
        names = listed([other.tool for _, other in slow], "and", _SHOWN)
        title = f"Chips settle in the drop{'s' if len(slow) > 1 else ''} of {names}."
        speeds = self.say.velocity_between(tool.drop_ms, slow[-1][1].drop_ms)
        why = f"Air moves there at {speeds}; chips want {self.say.velocity(TRANSPORT_MS)}."
        remedies = self.remedies.slow_drop(air, tool)
        yield tool.drop_ms, self._finding(Harm.SETTLES_IN_DROP, "settles_in_drop", title, why, remedies)

    # ---------------------------------------------------------------- together

    def _not_together(self) -> Iterator[tuple[float, Finding]]:
        able = {air.reading.running[0] for air in self.system.of_size(1) if not air.reading.short}
        pairs = [air for air in self.system.of_size(2) if able.issuperset(air.reading.running)]
        bad = [air for air in pairs if air.reading.short]
        if not bad:
            return
        worst = sorted(bad, key=lambda air: min(tool.share for tool in air.tools))
        first, other = worst[0].reading.running
        if len(bad) == len(pairs) > 1:
            title = f"No two machines on the {self.name} have enough air together."
        elif len(bad) == 1:
            title = f"The {first} and the {other} never together: one of them is short of air."
        else:
            title = f"{len(bad)} of {len(pairs)} pairs on the {self.name} are short of air: never run these together."
        named = [f"{_pair(air)} ({self._least(air)})" for air in worst[:_SHOWN]]
        more = f", and {len(bad) - _SHOWN} more" if len(bad) > _SHOWN else ""
        why = f"Worst first: {'; '.join(named)}{more}."
        yield 0.0, self._finding(Harm.NOT_TOGETHER, "not_together", title, why, self.remedies.pairs(bad, len(pairs)))

    def _least(self, air: SetAir) -> str:
        tool = min(air.tools, key=lambda one: one.share)
        return f"{tool.tool} gets {self.say.flow_bare(tool.flow_m3s)} of {self.say.flow(tool.need_m3s)}"

    # ---------------------------------------------------------------- the fan

    def _wrong_fan(self) -> Iterator[tuple[float, Finding]]:
        is_vacuum = self.system.system.motor.kind is MotorKind.TOOL_VACUUM
        wrong: list[str] = []
        for tool in self.system.system.tools.draws:
            own = [self.system.system.gates[gate] for gate in self.system.system.tools.draws[tool].gates]
            part = self.study.shop.tools[tool]
            port_m = part.port_diameter_m if part.port_diameter_m and len(part.systems) == 1 else None
            size_m = min(port_m or own[0].diameter_m, max(gate.diameter_m for gate in own))
            if wants_collector(size_m) is is_vacuum:
                wrong.append(tool)
        if not wrong:
            return
        names = listed(wrong, "and", _SHOWN)
        has, limit = ("has a port", "4 in") if len(wrong) == 1 else ("have ports", "4 in")
        limit = limit if self.say.is_inch else "100 mm"
        if is_vacuum:
            title = f"The {names} {has} of {limit} or more on a tool vacuum."
            why = "A tool vacuum moves too little air for such a port; a collector does (common practice)."
        else:
            title = f"The {names} {has} smaller than {limit} on a collector."
            why = "A collector has too little pressure for such a port; a tool vacuum has it (common practice)."
        yield 0.0, self._finding(Harm.WRONG_FAN, "wrong_fan", title, why)

    def _fan(self) -> Iterator[tuple[float, Finding]]:
        fan = self.system.system.tools.network.fan
        beyond = [air for air in self.system.sets.values() if air.is_beyond_curve]
        if beyond:
            title = f"The {self.name} works beyond its fan curve in {len(beyond)} of {len(self.system.sets)} cases."
            ends = self.say.flow_between(fan.flows_m3s[0], fan.flows_m3s[-1])
            why = f"The curve is given {ends}; what lies beyond is drawn on in a straight line and is a guess."
            yield 0.0, self._finding(Harm.FAN, "beyond_curve", title, why)
        rising = [air for air in self.system.sets.values() if air.is_on_rising_part]
        if rising:
            cases = f"{len(rising)} of {len(self.system.sets)} cases"
            title = f"The {self.name} works on the rising part of its curve in {cases}."
            why = f"Below {self.say.flow(fan.peak_flow_m3s)} such a fan hunts and rumbles: open another gate."
            yield 0.1, self._finding(Harm.FAN, "hunts", title, why)
        yield from self._relief()

    def _relief(self) -> Iterator[tuple[float, Finding]]:
        """A port that is never shut takes its air all the time; what it takes is told, and what would be without it."""
        if self.system.system.motor.relief_m2 <= 0.0:
            return
        port = f"{self.name}/relief"
        air = max(self.system.alone, key=lambda one: one.reading.solution.flow_in(port))
        taken = air.reading.solution.flow_in(port)
        title = f"The relief port takes up to {taken / air.fan_flow_m3s * 100:.0f} % of the air of the {self.name}."
        why = f"It lets in {self.say.flow(taken)} of {self.say.flow(air.fan_flow_m3s)}, all the time."
        yield 0.5, self._finding(Harm.FAN, "relief", title, why)

    # ---------------------------------------------------------------- words

    def _finding(self, harm: Harm, code: str, title: str, why: str, remedies: Iterable[Remedy] = ()) -> Finding:
        return Finding(harm, code, self.name, title, why, tuple(remedies))


def _shop(study: LayoutStudy) -> Iterator[Finding]:
    """What concerns the whole shop: what is not known, air that goes outside, gates that may not be used."""
    say = study.measures
    systems = [system for system in study.systems.values() if system.sets]
    yield from _not_known(study, systems)
    if study.shop.air_goes is not AirGoes.INSIDE:
        for system in systems:
            if system.system.motor.kind is MotorKind.COLLECTOR:
                yield _air_outside(system, say)
    if study.is_all_open:
        title = "Studied with every gate open and none moved."
        why = "So a published criterion sizes wood shops (UFC 3-410-04N): gates balance, they do not cut airflow."
        yield Finding(Harm.TO_KNOW, "all_open", "shop", title, why)
    else:
        title = "Gates that cut airflow depart from a published criterion for wood shops."
        why = (
            "UFC 3-410-04N sizes with all hoods open and uses gates for balancing only; local code decides. "
            "The velocity in the mains is therefore checked here for every set. For such a site: --all-open."
        )
        yield Finding(Harm.TO_KNOW, "gates_cut_airflow", "shop", title, why)


def _not_known(study: LayoutStudy, systems: list[SystemStudy]) -> Iterator[Finding]:
    say = study.measures
    guessed = [system.system.motor.name for system in systems if system.fan_is_estimate]
    if guessed:
        what = f"The fan of the {guessed[0]} is an estimate" if len(guessed) == 1 else "The fans are estimates"
        error = max(system.system.prepared.network.fan.error for system in systems if system.fan_is_estimate)
        how = "motor power" if error == ESTIMATE_ERROR else "motor power and one suction reading"
        title = f"{what} from {how}: every flow may be off by {error * 100:.0f} %."
        why = (
            "Write the maker's curve into the shop file (fan_curve), or set it right by one suction reading "
            "(suction_reading): every figure follows."
        )
        yield Finding(Harm.TO_KNOW, "fan_estimate", "shop", title, why)
    needs = {tool: need for system in systems for tool, need in system.system.needs.items()}
    small = {tool: need for tool, need in needs.items() if need.sheet_m3s is not None}
    if small:
        names = listed(list(small), "and", _SHOWN)
        title = f"The port of the {names} is smaller than the handbook wants."
        figures = [
            f"{tool}: {say.flow(need.sheet_m3s or 0.0)} by the sheet, {say.flow(need.flow_m3s)} through its port"
            for tool, need in list(small.items())[:_SHOWN]
        ]
        why = f"{_cap('; '.join(figures))}. What the port carries is counted here; the sheets are recalled, not seen."
        yield Finding(Harm.TO_KNOW, "small_port", "shop", title, why)
    assumed = [tool for tool, need in needs.items() if not need.is_given]
    if assumed:
        title = f"What the {listed(assumed, 'and', _SHOWN)} need{'s' if len(assumed) == 1 else ''} is assumed."
        why = "It comes from a table by machine and port. Where you know better, write needs into the shop file."
        yield Finding(Harm.TO_KNOW, "need_assumed", "shop", title, why)


def _air_outside(system: SystemStudy, say: Measures) -> Finding:
    name = system.system.motor.name
    most = max(air.fan_flow_m3s for air in system.alone)
    step, kelvin = say.warmth_step
    heat_w = most * system.system.tools.network.air.density_kg_m3 * _AIR_HEAT * kelvin
    title = f"The {name} takes up to {say.flow(most)} of warm air out of the room."
    why = (
        f"Each {step} that it is colder outside costs {say.heat(heat_w)} while it runs, and as much air must come in: "
        f"leave an opening of at least {say.area(most / _MAKE_UP_MS)}."
    )
    return Finding(Harm.TO_KNOW, "air_outside", name, title, why)


def _pair(air: SetAir) -> str:
    return " with ".join(air.reading.running)


def _alike(
    pairs: list[tuple[SetAir, ToolAir]], figures: Callable[[ToolAir], tuple[float, ...]]
) -> list[list[tuple[SetAir, ToolAir]]]:
    """Machines whose figures are the same to four digits, together."""
    groups: dict[tuple[str, ...], list[tuple[SetAir, ToolAir]]] = {}
    for air, tool in pairs:
        groups.setdefault(tuple(f"{figure:.4g}" for figure in figures(tool)), []).append((air, tool))
    return list(groups.values())


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]
