"""What has to be tried anew after a shop file changed: what is new, what is gone, what changed, and nothing else."""

import math
from collections.abc import Iterator
from dataclasses import fields

from gatekeeper.layout.measures import Measures
from gatekeeper.shop.model import Gate, Motor, Shop, Tool

_SECTIONS = ("motors", "servo_banks", "ducts", "gates", "tools", "inputs", "signs", "permits")
_TRIED = {
    "servo_banks": "with the program stopped, every servo on it can be turned by hand.",
    "inputs": "work it once and see that the page says so.",
    "signs": "start its machine and see it show that air is coming, then ready.",
    "permits": "its machine starts only while air is ready there, and runs on when the air goes.",
}
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
    if isinstance(before, Gate) and isinstance(after, Gate) and _differ(before, after) == {"clear_s"}:
        yield f"{thing}: its branch now needs {after.clear_s:.1f} s to clear (before: {before.clear_s:.1f} s)."
    elif isinstance(before, Gate) and isinstance(after, Gate) and "diameter_m" in _differ(before, after):
        widths = f"{say.diameter(after.diameter_m)} (before: {say.diameter(before.diameter_m)})"
        yield f"{thing}: its duct is {widths}; fit it there, then move it to both ends."
    elif isinstance(before, Gate) and isinstance(after, Gate) and after.is_actuated and not before.is_actuated:
        yield f"{thing}: it moves by itself now: jog it to both ends, set them, time a whole move, and hang its sign."
    elif isinstance(before, Motor) and isinstance(after, Motor):
        yield f"{thing}: {_motor_said(before, after, say)}"
    elif section == "ducts":
        yield f"{thing}: {NEW_DUCT}"
    else:
        yield f"{thing}: its figures changed; try it anew."


def _motor_said(before: Motor, after: Motor, say: Measures) -> str:
    changed = _differ(before, after)
    if changed == {"path_minimum_m2"}:
        width = say.diameter(math.sqrt(after.path_minimum_m2 * 4 / math.pi))
        return f"it now runs from an open port of {width} on; start it once with only its smallest gate open."
    return "its figures changed; start it once with only its smallest gate open."


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
