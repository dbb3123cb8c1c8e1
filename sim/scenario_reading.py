"""What the second pass over a scenario file works with: the shop's names, the play's clock, and the faults found."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from pydantic import ValidationError

from gatekeeper.shop.faults import Fault, did_you_mean, listed, shortened
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import Leaf, Row, Tree
from gatekeeper.shop.reading import path_of
from sim.scenario_fields import Moment, Part

Item = TypeVar("Item", bound=Part)

#: Longest list of names shown in a fault.
NAMES_SHOWN = 12


@dataclass(slots=True)
class Reading:
    """One scenario file on its way to a scenario. ``begins_s``: its beginning, seconds after midnight."""

    tree: Tree
    shop: Shop
    begins_s: float = 0.0
    ends_s: float | None = None
    faults: list[Fault] = field(default_factory=list)

    def fault(self, said: str, *loc: str | int, key: bool = False) -> None:
        """Note a fault at a value, or at its ``key``."""
        self.faults.append(Fault(self.tree.mark_of(loc, key=key), path_of(loc), said))

    def line_of(self, *loc: str | int) -> int:
        """The line of a part of the file."""
        return self.tree.mark_of(loc).line

    def text_of(self, *loc: str | int) -> str:
        """A value as it was written."""
        node = self.tree.at(loc)
        return " ".join(node.text.split()) if isinstance(node, Leaf) else ""

    def items(self, section: str, written: type[Item]) -> list[tuple[int, Item]]:
        """The items of a list that can be read, with their places in it; the others have their faults already."""
        node = self.tree.at((section,))
        plain = self.tree.plain().get(section)
        found: list[tuple[int, Item]] = []
        if isinstance(node, Row) and isinstance(plain, list):
            for number, item in enumerate(plain):
                try:
                    found.append((number, written.model_validate(item)))
                except ValidationError:
                    continue
        return found

    def rest_names(self, section: str, written: type[Part], kinds_of: Mapping[str, Collection[str]]) -> None:
        """Look up the names in the items that cannot be read; ``kinds_of``: what each key names."""
        readable = {number for number, _ in self.items(section, written)}
        node = self.tree.at((section,))
        for number in range(len(node.items)) if isinstance(node, Row) else ():
            for key, kinds in kinds_of.items() if number not in readable else ():
                for loc, name in self.tree.leaves_at(section, number, key):
                    self.known(name, kinds, *loc)

    def known(self, name: str, kinds: Collection[str], *loc: str | int, key: bool = False) -> bool:
        """Whether a name is one of these kinds of thing in the shop; a fault is noted where it is not."""
        names = self.names(kinds)
        if name in names:
            return True
        what = f"is no {listed(list(kinds))} of {self.shop.name}"
        there = f"it has {listed(names, 'and', NAMES_SHOWN)}"
        self.fault(f'"{shortened(name)}" {what}; {there}{did_you_mean(name, names)}', *loc, key=key)
        return False

    def names(self, kinds: Collection[str]) -> list[str]:
        """The shop's names of these kinds of thing: gate, motor, tool, converter, feeder, input."""
        shop = self.shop
        tables: Mapping[str, Collection[str]] = {
            "gate": shop.gates,
            "motor": shop.motors,
            "tool": shop.tools,
            "converter": shop.converters,
            "feeder": shop.feeders,
            "input": shop.inputs,
        }
        return [name for kind in kinds for name in tables[kind]]

    def seconds(self, moment: Moment, *loc: str | int) -> float:
        """A moment in seconds from the beginning; a fault is noted where it lies outside of the play."""
        seconds_s = moment.from_beginning_s(self.begins_s)
        if seconds_s < 0:
            self.fault(f"this is before the play begins, at {clock(self.begins_s)}", *loc)
        elif self.ends_s is not None and seconds_s > self.ends_s:
            self.fault(f"this is after the end of the play, which lasts {lasting(self.ends_s)}", *loc)
        return max(0.0, seconds_s)

    def one_of(self, part: Part, keys: Sequence[str], what: str, *loc: str | int) -> str | None:
        """The one of these keys that is written in an item; a fault is noted for none and for the second of two."""
        written = [key for key in keys if key in part.model_fields_set]
        if not written:
            self.fault(f"{what}; add one of {listed(list(keys), longest=20)}", *loc)
            return None
        for other in written[1:]:
            self.fault(f'"{written[0]}" and "{other}" stand in one item; write an item for each', *loc, other, key=True)
        return written[0] if len(written) == 1 else None

    def companions(self, part: Part, verb: str, allowed: Mapping[str, Collection[str]], *loc: str | int) -> None:
        """A fault for every further key that does not go with ``verb``; ``allowed``: the verbs of each key."""
        for key, verbs in allowed.items():
            if key in part.model_fields_set and verb not in verbs:
                said = f'"{key}" goes with {listed(list(verbs), "and", 12)}, not with {verb}; take it out'
                self.fault(said, *loc, key, key=True)


def clock(seconds_s: float) -> str:
    """A time of day: ``8:05`` or ``8:05:10``; of a later day ``day 2 8:05``."""
    day, rest = divmod(round(seconds_s), 86400)
    hour, rest = divmod(rest, 3600)
    minute, second = divmod(rest, 60)
    time = f"{hour}:{minute:02}" + (f":{second:02}" if second else "")
    return time if day == 0 else f"day {day + 1} {time}"


def lasting(seconds_s: float) -> str:
    """A length of time as people say it: ``1.2 s``, ``12 s``, ``1 min 30 s``, ``2 h``, ``3 days``."""
    if seconds_s < 60:
        return f"{round(seconds_s, 3):g} s"
    if seconds_s >= 2 * 86400:
        days = seconds_s / 86400
        return f"{days:.0f} days"
    minutes, second = divmod(round(seconds_s), 60)
    hour, minute = divmod(minutes, 60)
    pieces = ((hour, "h"), (minute, "min"), (second, "s"))
    return " ".join(f"{number} {unit}" for number, unit in pieces if number)
