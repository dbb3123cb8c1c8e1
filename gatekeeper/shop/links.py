"""How the parts of a shop file refer to each other: names, references, and the tree of ducts. Read from the tree."""

from gatekeeper.shop.faults import Fault, did_you_mean, listed, shortened
from gatekeeper.shop.fields import name_fault
from gatekeeper.shop.places import Branch, Loc, Tree
from gatekeeper.shop.reading import path_of

NAMED = (
    "motors",
    "feeders",
    "supplies",
    "ducts",
    "gates",
    "circuits",
    "tools",
    "outlets",
    "converters",
    "brokers",
    "meters",
    "gauges",
    "inputs",
    "signs",
    "servo_banks",
    "drives",
    "permits",
)
"""Sections whose keys are names; one name means one thing in the whole shop."""

REFERENCES: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (("motors", "*", "feeder"), ("feeders",)),
    (("motors", "*", "follows"), ("motors",)),
    (("motors", "*", "confirmed_by", "converter"), ("converters",)),
    (("motors", "*", "suction_reading", "duct"), ("ducts",)),
    (("motors", "*", "suction_reading", "open"), ("gates",)),
    (("ducts", "*", "towards"), ("ducts", "motors")),
    (("gates", "*", "duct"), ("ducts",)),
    (("gates", "*", "supply"), ("supplies",)),
    (("tools", "*", "gates"), ("gates",)),
    (("tools", "*", "circuit"), ("circuits",)),
    (("tools", "*", "feeder"), ("feeders",)),
    (("tools", "*", "sensor", "converter"), ("converters",)),
    (("outlets", "*", "gates"), ("gates",)),
    (("outlets", "*", "circuit"), ("circuits",)),
    (("outlets", "*", "feeder"), ("feeders",)),
    (("outlets", "*", "sensor", "converter"), ("converters",)),
    (("circuits", "*", "sensor", "converter"), ("converters",)),
    (("motors", "*", "confirmed_by", "meter"), ("meters",)),
    (("tools", "*", "sensor", "meter"), ("meters",)),
    (("outlets", "*", "sensor", "meter"), ("meters",)),
    (("circuits", "*", "sensor", "meter"), ("meters",)),
    (("meters", "*", "broker"), ("brokers",)),
    (("gauges", "*", "duct"), ("ducts",)),
    (("gauges", "*", "filter_of"), ("motors",)),
    (("gauges", "*", "converter"), ("converters",)),
    (("gauges", "*", "meter"), ("meters",)),
    (("neighbours", "homie", "broker"), ("brokers",)),
    (("inputs", "*", "motors"), ("motors",)),
    (("inputs", "*", "at"), ("gates", "tools", "outlets")),
    (("signs", "*", "at"), ("gates", "tools", "outlets")),
    (("gates", "*", "servo", "bank"), ("servo_banks",)),
    (("gates", "*", "behind_broker", "broker"), ("brokers",)),
    (("motors", "*", "switched_by", "drive"), ("drives",)),
    (("motors", "*", "confirmed_by", "drive"), ("drives",)),
    (("permits", "*", "at"), ("tools", "outlets")),
)
"""Keys that hold a name, and the sections where it must be found."""


LISTS = ("gates", "motors", "open")
"""The keys among them that may hold several names."""


def link_faults(tree: Tree) -> list[Fault]:
    """Every bad name, every name that means two things or nothing, and every duct that leads nowhere."""
    return [*_name_faults(tree), *_reference_faults(tree), *_duct_faults(tree)]


def ends_at(tree: Tree) -> dict[str, str]:
    """The motor where each duct ends, for every duct that ends at one."""
    ends: dict[str, str] = {}
    motors = tree.keys("motors")
    for duct in tree.keys("ducts"):
        here, seen = duct, {duct}
        while (onward := _towards(tree, here)) is not None and onward not in motors and onward not in seen:
            seen.add(onward)
            here = onward
        if onward is not None and onward in motors:
            ends[duct] = onward
    return ends


def _towards(tree: Tree, duct: str) -> str | None:
    return next((text for _, text in tree.leaves("ducts", duct, "towards")), None)


def _name_faults(tree: Tree) -> list[Fault]:
    faults: list[Fault] = []
    first: dict[str, Loc] = {}
    for section in NAMED:
        node = tree.at((section,))
        for name in node.entries if isinstance(node, Branch) else ():
            loc: Loc = (section, name)
            wrong = name_fault(name)
            if wrong is not None:
                faults.append(Fault(tree.mark_of(loc, key=True), (section,), wrong))
            earlier = first.setdefault(name.lower(), loc)
            if earlier != loc:
                line = tree.mark_of(earlier, key=True).line
                said = f"this name is already one of the {earlier[0]} (line {line}); one name means one thing in a shop"
                faults.append(Fault(tree.mark_of(loc, key=True), path_of(loc), said))
    return faults


def _reference_faults(tree: Tree) -> list[Fault]:
    faults: list[Fault] = []
    for pattern, sections in REFERENCES:
        known = [name for section in sections for name in tree.keys(section)]
        seen: dict[Loc, set[str]] = {}
        for loc, text in tree.leaves(*pattern):
            if len(loc) > len(pattern) and pattern[-1] not in LISTS:
                continue
            what = f"is none of the {listed(sections)} of this shop"
            named = seen.setdefault(loc[: len(pattern)], set())
            if text not in known:
                there = f"they are {listed(known, 'and')}" if known else "there are none"
                said = f'"{shortened(text)}" {what}; {there}{did_you_mean(text, known)}'
                faults.append(Fault(tree.mark_of(loc), path_of(loc), said))
            elif text in named:
                faults.append(Fault(tree.mark_of(loc), path_of(loc), f'"{text}" is named twice here; keep one'))
            named.add(text)
    return faults


def _duct_faults(tree: Tree) -> list[Fault]:
    """Ducts that run in a ring: each ring is said once, at its first duct."""
    faults: list[Fault] = []
    known = set(tree.keys("ducts"))
    said_of: set[str] = set()
    for duct in tree.keys("ducts"):
        ring, here = [duct], _towards(tree, duct)
        while here in known and here not in ring:
            ring.append(here)
            here = _towards(tree, here)
        if here == duct and duct not in said_of:
            said_of.update(ring)
            loc: Loc = ("ducts", duct, "towards")
            said = f"these ducts run in a ring: {', '.join(ring)}, {duct}; one of them must lead to a collector"
            faults.append(Fault(tree.mark_of(loc), path_of(loc), said))
    return faults
