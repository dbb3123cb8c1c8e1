"""What the `shop` entry of the record says about the shop, read without trusting it to be complete."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

HOLD_DEFAULT_S = 1800.0
"""Hold of a lost tool, seconds, where none is given (rule C12: 30 min)."""

LONGEST_RUN_DEFAULT_S = 7200.0
"""Longest plausible run of a tool, seconds, where none is given (rule C12: 2 h)."""

MOTORS_WITHOUT_PATH = frozenset({"air_cleaner", "shaker"})
"""Kinds of motor that pull on no duct (rule C18): no path, and no spin-down by rule C5."""


@dataclass(slots=True)
class SystemFacts:
    """One motor with its gates. Times in seconds, areas in square metres; None means not given."""

    motor: str
    gates: tuple[str, ...] = ()
    path_minimum_m2: float = 0.0
    starts_per_hour: float | None = None
    starts_stored: float | None = None
    starts_locked: bool | None = None
    rest_s: float = 0.0
    coast_s: float = 0.0
    release_s: float = 0.0
    spin_down_s: float = 0.0
    feeder: str | None = None
    confirm_s: float | None = None
    settle_s: float = 0.0
    relief_m2: float = 0.0
    kind: str | None = None
    follows: str | None = None
    lease_s: float | None = None
    proof: str | None = None
    out_of_service: bool = False


@dataclass(slots=True)
class GateFacts:
    """One gate. `can_halt` None means that the record does not say."""

    gate: str
    area_m2: float = 0.0
    travel_s: float = 0.0
    dead_s: float = 0.0
    actuated: bool = False
    switch: bool = False
    sees_shut: bool = True
    supply: str | None = None
    clear_s: float = 0.0
    can_halt: bool | None = None
    spring: bool = False


@dataclass(slots=True)
class ToolFacts:
    """One tool. `spin_down_s` None: the collector's own delay counts."""

    tool: str
    gates: tuple[str, ...] = ()
    systems: tuple[str, ...] = ()
    spin_down_s: float | None = None
    longest_run_s: float = LONGEST_RUN_DEFAULT_S
    hold_s: float = HOLD_DEFAULT_S
    feeder: str | None = None


@dataclass(slots=True)
class ShopFacts:
    """The whole `shop` entry, with the look-ups that the rules need."""

    systems: dict[str, SystemFacts] = field(default_factory=dict)
    gates: dict[str, GateFacts] = field(default_factory=dict)
    tools: dict[str, ToolFacts] = field(default_factory=dict)
    at_once: dict[str, int] = field(default_factory=dict)
    gap_s: dict[str, float] = field(default_factory=dict)
    inputs: dict[str, tuple[str, ...]] = field(default_factory=dict)
    input_kinds: dict[str, str] = field(default_factory=dict)
    planned: dict[str, float | None] = field(default_factory=dict)
    proof: str | None = None
    damaged: bool = False
    remote_start: bool = True
    latched: frozenset[str] = frozenset()
    gate_systems: dict[str, tuple[str, ...]] = field(default_factory=dict)
    gate_tools: dict[str, tuple[str, ...]] = field(default_factory=dict)
    tool_motors: dict[str, tuple[str, ...]] = field(default_factory=dict)
    motor_tools: dict[str, tuple[str, ...]] = field(default_factory=dict)
    persons: dict[str, bool] = field(default_factory=dict)
    """Answers of `path_is_the_persons`, which nothing changes within a run."""
    worst_s: float | None = None

    def has_path(self, motor: str) -> bool:
        """Whether rules C2, C3 and C7 ask a path of this motor at all."""
        return self.systems[motor].kind not in MOTORS_WITHOUT_PATH

    def proof_of(self, motor: str) -> str | None:
        """What proves this motor's path (rule C3a)."""
        return self.systems[motor].proof or self.proof

    def path_is_the_persons(self, motor: str) -> bool:
        """Rule C3a: proof by the person, and only where every gate of the system is a hand gate without a switch."""
        known = self.persons.get(motor)
        if known is None:
            known = self.persons[motor] = self._is_the_persons(motor)
        return known

    def _is_the_persons(self, motor: str) -> bool:
        system = self.systems[motor]
        gates = [self.gates[name] for name in system.gates if name in self.gates]
        by_hand = all(not gate.actuated and not gate.switch for gate in gates)
        return self.proof_of(motor) == "person" and by_hand

    def path_binds(self, motor: str) -> bool:
        """Whether the controller answers for this motor's path."""
        return self.has_path(motor) and not self.path_is_the_persons(motor)

    def spins_down(self, motor: str) -> bool:
        """Whether rule C5 gives this motor's stop: collectors and vacuums that serve tools or gates."""
        system = self.systems[motor]
        return self.has_path(motor) and bool(system.gates or self.motor_tools[motor])

    def worst_travel_s(self) -> float:
        """The longest that any actuator of the shop may take, dead time included."""
        if self.worst_s is None:
            moved = (gate.travel_s + gate.dead_s for gate in self.gates.values() if gate.actuated)
            self.worst_s = max(moved, default=0.0)
        return self.worst_s


def _number(raw: Any) -> float | None:
    return float(raw) if isinstance(raw, int | float) and not isinstance(raw, bool) else None


def _names(raw: Any) -> tuple[str, ...]:
    return tuple(str(name) for name in raw) if isinstance(raw, list | tuple) else ()


def _fill(target: Any, raw: Mapping[str, Any]) -> None:
    """Copy the keys that the target knows, each in its own type; a key of a wrong type is left at its default."""
    for spec in fields(target):
        if spec.name not in raw:
            continue
        value, kind = raw[spec.name], str(spec.type)
        if "tuple" in kind:
            setattr(target, spec.name, _names(value))
        elif "bool" in kind:
            if isinstance(value, bool):
                setattr(target, spec.name, value)
        elif "float" in kind:
            number = _number(value)
            if number is not None or "None" in kind:
                setattr(target, spec.name, number)
        elif isinstance(value, str) or (value is None and "None" in kind):
            setattr(target, spec.name, value)


def _table(raw: Mapping[str, Any], key: str) -> dict[str, Mapping[str, Any]]:
    table = raw.get(key)
    if not isinstance(table, Mapping):
        return {}
    return {str(name): row for name, row in table.items() if isinstance(row, Mapping)}


def read_shop(raw: Mapping[str, Any]) -> ShopFacts:
    """Read the value of a `shop` entry; what it leaves out takes the default of the rules."""
    shop = ShopFacts()
    for name, row in _table(raw, "systems").items():
        shop.systems[name] = SystemFacts(name)
        _fill(shop.systems[name], row)
    for name, row in _table(raw, "gates").items():
        shop.gates[name] = GateFacts(name)
        _fill(shop.gates[name], row)
    for name, row in _table(raw, "tools").items():
        shop.tools[name] = ToolFacts(name)
        _fill(shop.tools[name], row)
    for name, row in _table(raw, "supplies").items():
        at_once = _number(row.get("at_once"))
        if at_once is not None:
            shop.at_once[name] = int(at_once)
    for name, row in _table(raw, "feeders").items():
        shop.gap_s[name] = _number(row.get("gap_s")) or 0.0
    for name, row in _table(raw, "inputs").items():
        shop.inputs[name] = _names(row.get("systems"))
        if isinstance(row.get("kind"), str):
            shop.input_kinds[name] = row["kind"]
    proof = raw.get("proof")
    if isinstance(proof, str):
        shop.proof = proof
    elif isinstance(proof, Mapping):
        for name, word in proof.items():
            if name in shop.systems and isinstance(word, str):
                shop.systems[name].proof = word
    shop.planned = {name: system.spin_down_s for name, system in shop.systems.items()}
    shop.planned |= {name: tool.spin_down_s for name, tool in shop.tools.items()}
    settings = raw.get("settings")
    for key, value in settings.items() if isinstance(settings, Mapping) else ():
        subject, _, name = str(key).rpartition("/")
        apply_setting(shop, subject, name, value)
    latched = raw.get("latched")
    if isinstance(latched, Mapping):
        shop.latched = frozenset(kind for kind in ("emergency", "fire") if latched.get(kind) is True)
    shop.remote_start = raw.get("remote_start") is not False
    shop.damaged = raw.get("damaged") is True
    _link(shop)
    return shop


def _link(shop: ShopFacts) -> None:
    for gate in shop.gates:
        shop.gate_systems[gate] = tuple(name for name, system in shop.systems.items() if gate in system.gates)
        shop.gate_tools[gate] = tuple(name for name, tool in shop.tools.items() if gate in tool.gates)
    for name, tool in shop.tools.items():
        by_gate = {motor for gate in tool.gates for motor in shop.gate_systems.get(gate, ())}
        given = tool.systems or tuple(sorted(by_gate))
        shop.tool_motors[name] = tuple(motor for motor in given if motor in shop.systems)
    for motor in shop.systems:
        shop.motor_tools[motor] = tuple(name for name, motors in shop.tool_motors.items() if motor in motors)


def apply_setting(shop: ShopFacts, subject: str | None, name: str, value: Any) -> None:
    """Put a changed setting in force; a name that the rules do not use is ignored."""
    target = shop.systems.get(subject or "") or shop.tools.get(subject or "") or shop.gates.get(subject or "")
    if target is None:
        return
    if name in ("spin_down", "spin_down_s") and value is None:
        value = shop.planned.get(subject or "")
    known = {spec.name for spec in fields(target)}
    for candidate in (name, f"{name}_s"):
        if candidate in known:
            _fill(target, {candidate: value})
            return
