"""The same shop with something done otherwise: another fan, a gate that moves by itself, or one moved by hand."""

from dataclasses import dataclass, replace

from gatekeeper.shop.build import proof_of
from gatekeeper.shop.faults import Faults, did_you_mean, listed
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Gate, Servo, Shop, Supply

#: The supply of gates that are automated in a study of a shop without any.
NEW_SUPPLY = "supply of the study"
#: Travel of a small servo's slide. Our own assumption, as in the examples.
TRAVEL_S = 1.5
#: What comes with a fan and its motor. Filter and separator stay where they are.
_OF_A_FAN = (
    "power_w",
    "poles",
    "phases",
    "load_inertia_kgm2",
    "starts_per_hour",
    "rest_s",
    "starts_from",
    "starts_note",
    "spin_up_s",
    "coast_s",
    "fan_curve",
    "measured_density_kg_m3",
)


class UnknownPart(ValueError):
    """A change names what is not there; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Changes:
    """Gates that get an actuator, gates that lose theirs, and a shop (text, name) whose collectors' fans are taken."""

    automate: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()
    fan_of: tuple[str, str] | None = None

    @property
    def said(self) -> str:
        """The changes in words; empty for none."""
        parts = [f"{listed(list(self.automate), 'and')} automated"] if self.automate else []
        if self.by_hand:
            parts.append(f"{listed(list(self.by_hand), 'and')} moved by hand")
        if self.fan_of is not None:
            parts.append(f"the fan of {self.fan_of[1]}")
        return ", ".join(parts)


NO_CHANGES = Changes()


def changed(shop: Shop, changes: Changes) -> Shop:
    """The shop with the changes made, and what proves an open gate found anew. Raises UnknownPart."""
    gates, supplies = dict(shop.gates), dict(shop.supplies)
    for name in (*changes.automate, *changes.by_hand):
        if name not in gates:
            hint = did_you_mean(name, list(gates))
            raise UnknownPart(f"{shop.name} has no gate {name}; it has {listed(list(gates), 'and')}{hint or '.'}")
    for name in changes.automate:
        if gates[name].is_actuated:
            raise UnknownPart(f"{name} moves by itself already; name a gate that is moved by hand.")
        if not supplies:
            supplies[NEW_SUPPLY] = Supply(NEW_SUPPLY, 1)
        gates[name] = _automated(gates[name], next(iter(supplies)))
    for name in changes.by_hand:
        if not gates[name].is_actuated:
            raise UnknownPart(f"{name} is moved by hand already; name a gate that moves by itself.")
        gates[name] = replace(gates[name], servo=None, relays=None, coil=None, supply=None)
    shop = replace(shop, gates=gates, supplies=supplies)
    if changes.fan_of is not None:
        shop = _with_fans_of(shop, *changes.fan_of)
    motors = {
        name: replace(
            motor,
            proof=proof_of(
                list(shop.gates_of(name)),
                motor.relief_m2,
                motor.path_minimum_m2,
                has_air_proof=motor.air_proof is not None,
            ),
        )
        if motor.has_ducts
        else motor
        for name, motor in shop.motors.items()
    }
    return replace(shop, motors=motors)


def _automated(gate: Gate, supply: str) -> Gate:
    """The pulses and the pin are those of any small servo: no wire is moved in a study."""
    return replace(gate, servo=Servo(0, 0.001, 0.002), supply=supply, travel_s=TRAVEL_S, dead_s=0.0)


def _with_fans_of(shop: Shop, text: str, name: str) -> Shop:
    """The shop with the fans of another: of the collector of the same name, else of the only one there."""
    other = load_shop(text, name)
    if isinstance(other, Faults):
        raise UnknownPart(f"{name} is no shop: {other.each[0].said}")
    there = {motor.name: motor for motor in other.motors.values() if motor.has_ducts}
    motors = dict(shop.motors)
    for motor in shop.motors.values():
        if not motor.has_ducts:
            continue
        fan = there.get(motor.name) or (next(iter(there.values())) if len(there) == 1 else None)
        if fan is None:
            raise UnknownPart(f"{name} has no {motor.name}; it has {listed(list(there), 'and')}.")
        motors[motor.name] = replace(motor, **{field: getattr(fan, field) for field in _OF_A_FAN})
    return replace(shop, motors=motors)
