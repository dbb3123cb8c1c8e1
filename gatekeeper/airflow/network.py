"""A system of ducts as frozen values: a tree of ducts from the hoods to the collector, gates on it, and a fan.

Air flows from the leaves to the collector's inlet. All ducts that meet at a node share one total pressure there; every
loss is listed with the duct on whose velocity pressure it counts. Nothing here decides which gate is open.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from gatekeeper.airflow.air import Air
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.friction import LARGEST_ROUGHNESS_RATIO
from gatekeeper.airflow.losses import DISCHARGE


@dataclass(frozen=True, slots=True)
class Duct:
    """One length of duct. ``diameter_m``: hydraulic; ``area_m2`` None: round. ``loss``: K of all fittings on it.

    ``friction_scale`` multiplies its friction (a slack hose).
    """

    name: str
    upstream: str
    downstream: str
    length_m: float
    diameter_m: float
    roughness_m: float
    loss: float = 0.0
    area_m2: float | None = None
    friction_scale: float = 1.0

    @property
    def section_m2(self) -> float:
        """Area of the opening."""
        return self.area_m2 if self.area_m2 is not None else math.pi * self.diameter_m**2 / 4.0


@dataclass(frozen=True, slots=True)
class Hood:
    """Where air comes in, at a leaf node. ``entry_loss``: K on the velocity pressure of the duct behind it."""

    name: str
    node: str
    entry_loss: float


@dataclass(frozen=True, slots=True)
class Gate:
    """A gate on a duct. ``open_loss``: K when open. Shut it leaks like an orifice of ``leak_area_m2`` (0: sealed)."""

    name: str
    duct: str
    open_loss: float
    leak_area_m2: float
    discharge: float = DISCHARGE


@dataclass(frozen=True, slots=True)
class Collector:
    """Separator and filter between ``inlet_node`` and fan: loss = line x flow + square x flow^2."""

    inlet_node: str
    line_pa_s_m3: float
    square_pa_s2_m6: float


@dataclass(frozen=True, slots=True)
class Network:
    """A whole system. Raises ValueError with one sentence for a network that is no tree or has impossible sizes.

    ``order``: the ducts' places in ``ducts``, every duct after all that lead into it. ``feeding``: for each duct the
    places of the ducts that lead into it (none: its upstream end is a hood).
    """

    air: Air
    ducts: tuple[Duct, ...]
    hoods: tuple[Hood, ...]
    gates: tuple[Gate, ...]
    collector: Collector
    fan: FanCurve
    order: tuple[int, ...] = field(init=False)
    feeding: tuple[tuple[int, ...], ...] = field(init=False)

    def __post_init__(self) -> None:
        if not self.ducts:
            raise ValueError("a system of ducts has at least one duct")
        for kind, parts in (("duct", self.ducts), ("hood", self.hoods), ("gate", self.gates)):
            _refuse_twins(kind, (part.name for part in parts))
        for duct in self.ducts:
            _refuse_bad_sizes(duct)
        object.__setattr__(self, "feeding", self._feeding())
        object.__setattr__(self, "order", self._order())
        self._check_hoods()
        self._check_gates()
        if not (self.collector.line_pa_s_m3 >= 0.0 and self.collector.square_pa_s2_m6 >= 0.0):
            raise ValueError("the losses of separator and filter are 0 or more")

    @property
    def duct_places(self) -> dict[str, int]:
        """The place of each duct by its name."""
        return {duct.name: place for place, duct in enumerate(self.ducts)}

    @property
    def root_ducts(self) -> tuple[int, ...]:
        """The ducts that lead into the collector."""
        return tuple(place for place, duct in enumerate(self.ducts) if duct.downstream == self.collector.inlet_node)

    def _feeding(self) -> tuple[tuple[int, ...], ...]:
        leaving: dict[str, str] = {}
        into: dict[str, list[int]] = {}
        for place, duct in enumerate(self.ducts):
            first = leaving.setdefault(duct.upstream, duct.name)
            if first != duct.name:
                said = "from one place two ducts lead on"
                raise ValueError(f'{said}: "{first}" and "{duct.name}"; air takes one way to the collector')
            into.setdefault(duct.downstream, []).append(place)
        if self.collector.inlet_node in leaving:
            raise ValueError(f'the duct "{leaving[self.collector.inlet_node]}" leads out of the collector\'s inlet')
        return tuple(tuple(into.get(duct.upstream, ())) for duct in self.ducts)

    def _order(self) -> tuple[int, ...]:
        order = list(self.root_ducts)
        for place in order:
            order.extend(self.feeding[place])
        if len(order) < len(self.ducts):
            lost = next(duct.name for place, duct in enumerate(self.ducts) if place not in order)
            raise ValueError(f'the duct "{lost}" does not lead to the collector: it ends nowhere or runs in a ring')
        return tuple(reversed(order))

    def _check_hoods(self) -> None:
        at = {hood.node for hood in self.hoods}
        leaves = {duct.upstream for place, duct in enumerate(self.ducts) if not self.feeding[place]}
        if len(at) < len(self.hoods):
            raise ValueError("two hoods sit at one end of a duct; one is enough")
        if at != leaves:
            bad = sorted(at ^ leaves)[0]
            raise ValueError(f'hoods sit at the open ends of ducts and every open end has one; "{bad}" does not fit')
        if any(not 0.0 <= hood.entry_loss < math.inf for hood in self.hoods):
            raise ValueError("the entry loss of a hood is 0 or more")

    def _check_gates(self) -> None:
        ducts = self.duct_places
        seen: dict[str, str] = {}
        for gate in self.gates:
            if gate.duct not in ducts:
                raise ValueError(f'the gate "{gate.name}" is on a duct "{gate.duct}" that is not there')
            if gate.duct in seen:
                raise ValueError(f'the gates "{seen[gate.duct]}" and "{gate.name}" are on one duct; put one on each')
            seen[gate.duct] = gate.name
            if not (0.0 <= gate.open_loss < math.inf and 0.0 <= gate.leak_area_m2 < math.inf and gate.discharge > 0.0):
                raise ValueError(f'the gate "{gate.name}" has a loss, a leak or a discharge coefficient below 0')


def _refuse_twins(kind: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueError(f'two {kind}s are named "{name}"; give each its own name')
        seen.add(name)


def _refuse_bad_sizes(duct: Duct) -> None:
    sizes = (duct.length_m, duct.diameter_m, duct.roughness_m, duct.loss, duct.section_m2, duct.friction_scale)
    if not all(math.isfinite(size) for size in sizes):
        raise ValueError(f'the duct "{duct.name}" has a size that is no number')
    if duct.diameter_m <= 0.0 or duct.section_m2 <= 0.0:
        raise ValueError(f'the duct "{duct.name}" has no opening; its diameter and its area are above 0')
    if duct.length_m < 0.0 or duct.roughness_m < 0.0 or duct.loss < 0.0 or duct.friction_scale < 0.0:
        raise ValueError(f'the duct "{duct.name}" has a length, a roughness or a loss below 0')
    if duct.roughness_m > LARGEST_ROUGHNESS_RATIO * duct.diameter_m:
        raise ValueError(f'the duct "{duct.name}" is rougher than a tenth of its diameter; no friction law holds there')
