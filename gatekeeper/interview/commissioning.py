"""What has to be tried anew after a shop file changed: what is new, what is gone, what changed, and nothing else."""

import math
from collections.abc import Iterator
from dataclasses import fields

from gatekeeper.layout.measures import Measures
from gatekeeper.shop.kinds import Proof
from gatekeeper.shop.model import Gate, Motor, Shop, Tool

_SECTIONS = ("motors", "servo_banks", "ducts", "gates", "tools", "inputs", "signs", "permits")
_TRIED = {
    "servo_banks": "with the program stopped, every servo on it can be turned by hand.",
    "inputs": "work it once and see that the page says so.",
    "signs": "start its machine and see it show that air is coming, then ready.",
    "permits": "its machine starts only while air is ready there, and runs on when the air goes.",
}
_MOVERS = frozenset({"servo", "bank_servo", "relays", "bridge", "coil", "behind_broker"})
_SMALLEST = "start it once with only its smallest gate open."
NEW_DUCT = "bond it to ground, close its joints, and measure its resistance to ground."


def to_commission(old: Shop, new: Shop, name: str) -> list[str]:
    """The sentences; ``name``: how the file is called, for the commands to type."""
    say = Measures(new.units)
    lines: list[str] = []
    untouched = 0
    for section in _SECTIONS:
        before, after = getattr(old, section), getattr(new, section)
        for thing in after:
            if thing not in before:
                lines += _new(section, thing, new, name)
            elif before[thing] != after[thing]:
                lines += _changed(section, thing, before[thing], after[thing], say)
            elif section in ("motors", "gates", "tools"):
                untouched += 1
        lines += [_gone(section, thing, old) for thing in before if thing not in after]
    kept = f"Nothing else changed: {untouched} other motors, gates and tools keep what was proved of them."
    return [*lines, kept] if untouched else lines


def _new(section: str, thing: str, shop: Shop, name: str) -> Iterator[str]:
    if section == "ducts":
        yield f"{thing}: {NEW_DUCT}"
    elif section == "gates":
        gate = shop.gates[thing]
        if gate.is_actuated:
            yield f"{thing}: jog it to both ends, set them, and time a whole move."
        else:
            yield f"{thing}: move it by hand to both ends; it must seal when shut."
    elif section == "tools":
        yield from _new_tool(shop.tools[thing], name)
    elif section == "motors":
        where = " with only its smallest gate open" if shop.motors[thing].has_ducts else ""
        yield f"{thing}: click its switch with the motor isolated, then start it once{where}, and see that it stops."
    elif section in _TRIED:
        yield f"{thing}: {_TRIED[section]}"


def _new_tool(tool: Tool, name: str) -> Iterator[str]:
    yield f"{tool.name}: switch it on once and see that the page names it and no other machine."
    if tool.sensor is not None and tool.sensor.channel is not None:
        yield f"{tool.name}: set its clamp: gatekeeper calibrate {name} {_shell(tool.name)}"


def _changed(section: str, thing: str, before: object, after: object, say: Measures) -> Iterator[str]:
    if isinstance(before, Gate) and isinstance(after, Gate):
        yield f"{thing}: {_gate_said(before, after, say)}"
    elif isinstance(before, Motor) and isinstance(after, Motor):
        yield f"{thing}: {_motor_said(before, after, say)}"
    elif section == "ducts":
        yield f"{thing}: {NEW_DUCT}"
    else:
        yield f"{thing}: its figures changed; try it anew."


def _gate_said(before: Gate, after: Gate, say: Measures) -> str:
    changed = _differ(before, after)
    if changed == {"clear_s"}:
        return f"its branch now needs {after.clear_s:.1f} s to clear (before: {before.clear_s:.1f} s)."
    if "diameter_m" in changed:
        widths = f"{say.diameter(after.diameter_m)} (before: {say.diameter(before.diameter_m)})"
        return f"its duct is {widths}; fit it there, then move it to both ends."
    if after.is_actuated and not before.is_actuated:
        return "it moves by itself now: jog it to both ends, set them, time a whole move, and hang its sign."
    if before.is_actuated and not after.is_actuated:
        return "it is moved by hand now: disconnect its actuator, then move it to both ends; it must seal when shut."
    if changed & _MOVERS:
        return "it is moved otherwise now: jog it to both ends, set them, and time a whole move."
    if changed == {"open_contact"} and after.open_contact is not None:
        return "a switch tells that it is open: move it to both ends and see that the page follows."
    return "its figures changed; try it anew."


def _motor_said(before: Motor, after: Motor, say: Measures) -> str:
    changed = _differ(before, after)
    if changed == {"path_minimum_m2"}:
        width = say.diameter(math.sqrt(after.path_minimum_m2 * 4 / math.pi))
        return f"it now runs from an open port of {width} on; {_SMALLEST}"
    if changed == {"proof"} and after.proof is Proof.PERSON:
        return f"nothing tells it any more whether a gate is open, so open one before it runs; {_SMALLEST}"
    if changed == {"proof"} and before.proof is Proof.PERSON:
        return f"from now on it only runs where the controller knows of an open gate; {_SMALLEST}"
    return f"its figures changed; {_SMALLEST}"


def _gone(section: str, thing: str, shop: Shop) -> str:
    if section == "gates" and not shop.gates[thing].is_actuated:
        return f"{thing}: gone."
    what = {
        "tools": "Take its sensor off its wire.",
        "gates": "Take its actuator's wires off the board.",
        "ducts": "Cap the hole where it joined.",
    }
    return f"{thing}: gone. {what.get(section, 'Take its wires off the board.')}"


def _differ(before: Gate | Motor, after: Gate | Motor) -> set[str]:
    return {one.name for one in fields(after) if getattr(before, one.name) != getattr(after, one.name)}


def _shell(word: str) -> str:
    return f'"{word}"' if " " in word else word
