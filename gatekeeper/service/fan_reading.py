"""One suction reading as a change to the shop file: what it makes of the estimated fan, and of each machine's air.

The file keeps what was measured (``suction_reading``), never a factor: whoever reads it sees the gauge, and the curve
follows from it each time the file is loaded. A curve that was given, as from a maker's table, is never moved here; how
far the reading lies from it is said, for then it is the shop that differs and not the curve.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gatekeeper.airflow.fan_reading import FanFit, NoFit, fan_fit, suction_at
from gatekeeper.airflow.solve import Prepared, prepare
from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.service.air_systems import AirSystem, air_system
from gatekeeper.service.ducting import ducting_of, tap_in
from gatekeeper.shop.faults import Faults, did_you_mean, listed
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Motor, Shop, Units
from gatekeeper.shop.rewrite import CannotRewrite, Change, rewritten

#: A reading this near to what the model gives says nothing new: gauges, taps and losses are not known better. Ours.
ALIKE = 0.05
#: What a gauge at a duct may show, pascals.
LEAST_PA, MOST_PA = 10.0, 40_000.0
_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._()+-]*")
_PA_OF_INCH = 249.089
_CFM = 0.3048**3 / 60


class NoCorrection(Exception):
    """Nothing can be made of a reading; the text is for the person who took it, whole sentences."""


@dataclass(frozen=True, slots=True)
class MachineAir:
    """What a machine gets through its own gates alone, m3/s: by the fan before and after, and what it needs."""

    tool: str
    before_m3s: float
    after_m3s: float
    need_m3s: float


@dataclass(frozen=True, slots=True)
class FanProposal:
    """What one reading makes of a fan.

    Args:
        factor: the pressures of the curve times this, 0.6 to 1.4; of a given curve, the suction read over its own.
        said: sentences for the person: the difference, what is proposed, and what it changes for each machine.
        machines: the same in numbers; empty where nothing is proposed.
        text: the shop file with the reading in it, comments kept; None where nothing is to be written.
    """

    factor: float
    said: tuple[str, ...]
    machines: tuple[MachineAir, ...]
    text: str | None


def fan_from_reading(
    text: str, name: str, motor: str, tap: str, suction_pa: float, open_gates: Sequence[str]
) -> FanProposal:
    """What one reading of static suction makes of the fan of a collector. Writes nothing.

    Args:
        text: the shop file's text.
        name: its name, for messages.
        motor: the collector or tool vacuum.
        tap: the duct with the hole, read at its end towards the collector; or ``inlet of MOTOR``.
        suction_pa: what the gauge showed, pascals below the room, 10 to 40,000.
        open_gates: the gates that were open; all others of that collector were shut.

    Raises:
        NoCorrection: the file, the place, the gates or the reading are not such that anything follows from them.
    """
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        raise NoCorrection(f"{name} has faults; see gatekeeper check {name}.")
    system = _motor(shop, motor)
    duct = _duct(shop, system, tap)
    gates = _gates(shop, motor, open_gates)
    if not LEAST_PA <= suction_pa <= MOST_PA:
        raise NoCorrection(f"A suction of {suction_pa:g} Pa is none; a gauge at a duct shows 10 Pa to 40 kPa.")
    # A reading that the file holds already is replaced by this one, so the curve is taken as it was before any.
    bare = replace(shop, motors={**shop.motors, motor: replace(system, suction_reading=None)})
    try:
        ducting = ducting_of(bare, motor)
        prepared = prepare(ducting.network)
        length = tap_in(ducting.network, duct, shop.ducts[duct].towards)
        if system.fan_curve:
            return _against_given(shop.units, motor, tap, suction_pa, gates, suction_at(prepared, length, gates))
        fit = _fit(prepared, length, suction_pa, gates, shop.units, tap, motor)
    except ValueError as unsolved:
        raise NoCorrection(f"The air of {motor} cannot be solved: {unsolved}.") from None
    written = _written(text, name, motor, duct, suction_pa, gates, shop.units)
    changed = load_shop(written, name)
    assert not isinstance(changed, Faults)  # rewritten has loaded it
    machines = _machines(air_system(shop, system), air_system(changed, changed.motors[motor]))
    said = [_difference(shop.units, motor, tap, suction_pa, gates, fit.before_pa), _proposed(fit, motor)]
    said += [_machine_said(one, shop.units) for one in machines]
    return FanProposal(fit.factor, tuple(said), machines, written)


# ---------------------------------------------------------------- what the person named


def _motor(shop: Shop, named: str) -> Motor:
    able = {motor.name: motor for motor in shop.motors.values() if motor.has_ducts}
    if named not in able:
        raise NoCorrection(
            f"There is no collector {named}; there is {listed(list(able), 'and', 12)}"
            + (did_you_mean(named, able) or ".")
        )
    return able[named]


def _duct(shop: Shop, motor: Motor, tap: str) -> str:
    own = {duct.name: duct for duct in shop.ducts.values() if duct.motor == motor.name}
    if tap == f"inlet of {motor.name}":
        reaching = [duct.name for duct in own.values() if duct.towards == motor.name]
        if len(reaching) == 1:
            return reaching[0]
        raise NoCorrection(
            f"{len(reaching)} ducts of the shop file reach {motor.name}, so its inlet is no one duct. "
            "Read at a hole in one of its ducts and name that."
        )
    if not own:
        raise NoCorrection(f"The shop file describes no ducts of {motor.name}, so nothing is known of what they take.")
    if tap not in own:
        said = f"There is no duct {tap} on {motor.name}; there is {listed(list(own), 'and', 12)}"
        raise NoCorrection(said + (did_you_mean(tap, own) or "."))
    return tap


def _gates(shop: Shop, motor: str, named: Sequence[str]) -> tuple[str, ...]:
    own = [gate.name for gate in shop.gates_of(motor)]
    for gate in named:
        if gate not in own:
            raise NoCorrection(f"{gate} is no gate of {motor}; there is {listed(own, 'and', 12)}.")
    if not named:
        raise NoCorrection("Say which gates stood open; without one no air moves, and nothing follows.")
    return tuple(gate for gate in own if gate in named)


# ---------------------------------------------------------------- what follows


def _fit(
    prepared: Prepared, duct: str, suction_pa: float, gates: Sequence[str], units: Units, tap: str, motor: str
) -> FanFit:
    try:
        return fan_fit(prepared, duct, suction_pa, gates)
    except NoFit as far:
        span = f"{_pressure(far.least_pa, units)} to {_pressure(far.most_pa, units)}"
        is_low = suction_pa < far.least_pa
        look = (
            "Look whether another gate stands open, a clean-out or hose leaks, the filter is loaded, or the fan turns "
            "the wrong way"
            if is_low
            else "Look whether a gate that you named is shut, a branch is blocked, or the gauge was read in another "
            "unit"
        )
        raise NoCorrection(
            f"{_difference(units, motor, tap, suction_pa, gates, far.before_pa)} No fan of this power is that far "
            f"from the estimate, which would give {span}: nothing is changed. {look}. Then check power, ducts and "
            "gates in the shop file, or write the maker's curve into it (fan_curve)."
        ) from None


def _against_given(
    units: Units, motor: str, tap: str, suction_pa: float, gates: Sequence[str], model_pa: float
) -> FanProposal:
    """A curve from a table stays as it is: the sentences say where the difference must lie."""
    share = suction_pa / model_pa
    said = [_difference(units, motor, tap, suction_pa, gates, model_pa, "curve in the shop file")]
    if abs(share - 1.0) <= ALIKE:
        said.append("That is as near as gauges and tables go: the curve fits.")
    elif share < 1.0:
        said.append(
            "The curve is given and stays as it is. Less suction than by it: look at the filter, at gates and "
            "clean-outs that leak, at a loose hose, and whether the fan turns the right way."
        )
    else:
        said.append(
            "The curve is given and stays as it is. More suction than by it: something in front of the hole lets less "
            "air in than the shop file says. Look at the gate, the hose and the hood, then at the lengths in the file."
        )
    return FanProposal(share, tuple(said), (), None)


def _difference(
    units: Units, motor: str, tap: str, suction_pa: float, gates: Sequence[str], model_pa: float, by: str = "estimate"
) -> str:
    off = suction_pa / model_pa - 1.0
    by_how_much = f"{abs(off) * 100:.0f} % {'less' if off < 0 else 'more'}" if abs(off) >= 0.005 else "the same"
    return (
        f"By the {by}, {motor} gives {_pressure(model_pa, units)} at {tap} with {listed(list(gates), 'and', 12)} open; "
        f"the gauge showed {_pressure(suction_pa, units)}, {by_how_much}."
    )


def _proposed(fit: FanFit, motor: str) -> str:
    if abs(fit.factor - 1.0) <= ALIKE:
        return "That is as near as an estimate can be; with the reading in the file it counts as measured."
    return (
        f"The fan of {motor} then gives {fit.factor:.2f} times the pressure at {fit.speed_ratio:.2f} times the air of "
        "the estimate, as the same fan does at another speed; this gives the reading."
    )


def _machines(before: AirSystem, after: AirSystem) -> tuple[MachineAir, ...]:
    return tuple(
        MachineAir(
            tool,
            before.read((tool,), draw.gates).flow_m3s[tool],
            after.read((tool,), draw.gates).flow_m3s[tool],
            after.needs[tool].flow_m3s,
        )
        for tool, draw in after.tools.draws.items()
    )


def _machine_said(one: MachineAir, units: Units) -> str:
    change = one.after_m3s / one.before_m3s - 1.0
    short = "" if one.after_m3s >= ENOUGH * one.need_m3s else ", too little"
    needs = f"it needs {_flow(one.need_m3s, units)}{short}"
    if abs(change) < 0.005:
        return f"{one.tool}: {_flow(one.after_m3s, units)} alone, as before; {needs}."
    word = "less" if change < 0 else "more"
    return (
        f"{one.tool}: {_flow(one.after_m3s, units)} alone instead of {_flow(one.before_m3s, units)}, "
        f"{abs(change) * 100:.0f} % {word}; {needs}."
    )


# ---------------------------------------------------------------- what is written


def _written(text: str, name: str, motor: str, duct: str, suction_pa: float, gates: Sequence[str], units: Units) -> str:
    shown = f"{suction_pa / _PA_OF_INCH:.4g} in wg" if units is Units.INCH else f"{suction_pa:.4g} Pa"
    value = f"{{duct: {_word(duct)}, suction: {shown}, open: [{', '.join(_word(gate) for gate in gates)}]}}"
    try:
        return rewritten(text, name, [Change(("motors", motor), "suction_reading", value)])
    except CannotRewrite as trouble:
        raise NoCorrection(f"{trouble}. Write by hand under motors > {motor}: suction_reading: {value}") from None


def _word(name: str) -> str:
    """A name as it is written in braces: in quotes where a bare one would be read otherwise. Names have no quotes."""
    return name if _PLAIN.fullmatch(name) else f'"{name}"'


def _pressure(pa: float, units: Units) -> str:
    return f"{pa / _PA_OF_INCH:.1f} in wg" if units is Units.INCH else f"{pa / 1000:.2f} kPa"


def _flow(m3s: float, units: Units) -> str:
    number, unit = (m3s / _CFM, "cfm") if units is Units.INCH else (m3s * 3600, "m3/h")
    return f"{round(number / 5) * 5:d} {unit}" if number >= 100 else f"{number:.0f} {unit}"
