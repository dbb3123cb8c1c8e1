"""One fault tried in one play: what the record and the truth say about it afterwards, in the words of the record.

Checks of outcomes are written over this and nothing else: they know the entries, the truth beside them and the shop's
own times as its first entry gives them. Instants are the record's, seconds.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sim.checker.facts import GateFacts, ShopFacts, SystemFacts, read_shop

Json = Mapping[str, Any]

#: Slack of every written time: the rounding of the record and one step at the same instant.
SLACK_S = 0.01
#: A gate with a switch is given a quarter of its travel more, at least half a second, before it has missed; a shake
#: shuts it for a second at most (DEVELOPERS, own numbers; the written outcomes name the sum).
LATE_SHARE, LATE_LEAST_S, SHAKE_S = 0.25, 0.5, 1.0
#: Attempts to move a gate until it is called stuck (C10: the first and two more).
TRIES = 3


def word(entry: Json) -> Any:
    """The word of an entry's value: the value itself, or what stands under ``what`` of an object."""
    value = entry["value"]
    return value.get("what") if isinstance(value, Mapping) else value


@dataclass(frozen=True)
class Trial:
    """A fault, when and where it stood, and all that was written.

    Args:
        subject: what the fault was about, or None.
        from_s, until_s: when it stood; ``until_s`` infinite where nobody took it away.
        entries: the record with the truth entries in their places, in order.
    """

    subject: str | None
    from_s: float
    until_s: float
    entries: Sequence[Json] = field(repr=False)

    # ---------------------------------------------------------------- the shop, as its first entry describes it

    @property
    def shop(self) -> ShopFacts:
        """The shop as the record's first entry has it."""
        return read_shop(next(entry["value"] for entry in self.entries if entry["kind"] == "shop"))

    @property
    def gate(self) -> GateFacts:
        """The subject as a gate."""
        return self.shop.gates[self.subject or ""]

    @property
    def motor(self) -> SystemFacts:
        """The subject as a motor."""
        return self.shop.systems[self.subject or ""]

    def motor_of_gate(self, gate: str) -> str:
        """The motor on whose duct a gate sits."""
        return self.shop.gate_systems[gate][0]

    def give_up_s(self, gate: str) -> float:
        """How long a gate with a switch may take from its first order in vain until it is called stuck."""
        facts = self.shop.gates[gate]
        late_s = max(LATE_LEAST_S, LATE_SHARE * facts.travel_s)
        return TRIES * (facts.dead_s + facts.travel_s + late_s) + 2 * facts.dead_s + SHAKE_S

    # ---------------------------------------------------------------- entries

    def all(self, kind: str, subject: str | None = None, what: Any = None, since_s: float = -math.inf) -> list[Json]:
        """The entries of a kind, about a subject and with a word where these are given, from an instant on."""
        return [
            entry
            for entry in self.entries
            if entry["kind"] == kind
            and (subject is None or entry["subject"] == subject)
            and (what is None or word(entry) == what)
            and entry["t_s"] >= since_s - SLACK_S
        ]

    def first(
        self, kind: str, subject: str | None = None, what: Any = None, since_s: float | None = None
    ) -> float | None:
        """The instant of the first such entry from an instant on (of the fault unless given); None where none is."""
        since_s = self.from_s if since_s is None else since_s
        return next((entry["t_s"] for entry in self.all(kind, subject, what, since_s)), None)

    def raised(self, code: str, subject: str | None = None, since_s: float | None = None) -> float | None:
        """When a message was first raised, from an instant on (of the fault unless given)."""
        since_s = self.from_s if since_s is None else since_s
        return next(
            (e["t_s"] for e in self.all("message", subject, "raised", since_s) if e["value"]["code"] == code), None
        )

    def heap(self, code: str) -> str | None:
        """The heap of a message, where it was raised at all."""
        found = [e["value"]["heap"] for e in self.all("message", None, "raised") if e["value"]["code"] == code]
        return str(found[0]) if found else None

    def at(self, kind: str, subject: str, t_s: float) -> Any:
        """The word that stood for a subject at an instant, None before the first."""
        found = None
        for entry in self.entries:
            if entry["t_s"] > t_s + SLACK_S:
                break
            if entry["kind"] == kind and entry["subject"] == subject:
                found = word(entry)
        return found

    def is_on(self, motor: str, t_s: float) -> bool:
        """Whether a motor stood commanded on at an instant."""
        return self.at("motor_command", motor, t_s) in ("on", "renew")

    # ---------------------------------------------------------------- complaints: a sentence, or None where all is well

    def within(self, what: str, since_s: float | None, came_s: float | None, limit_s: float) -> str | None:
        """A complaint unless something came within a time."""
        if since_s is None:
            return f"{what}: it never came to that"
        if came_s is None:
            return f"{what}: never"
        if came_s > since_s + limit_s + SLACK_S:
            return f"{what}: after {came_s - since_s:.3f} s, at most {limit_s:.3f} s are allowed"
        return None

    def says(self, code: str, subject: str | None, limit_s: float, since_s: float | None = None) -> str | None:
        """A complaint unless a message comes within a time (of the fault unless another instant is given)."""
        since_s = self.from_s if since_s is None else since_s
        return self.within(f"{code} about {subject}", since_s, self.raised(code, subject, since_s), limit_s)

    def silent(self, *codes: str) -> str | None:
        """A complaint if one of these messages was raised since the fault."""
        came = [code for code in codes if self.raised(code) is not None]
        return f"{' and '.join(came)} was raised" if came else None

    def unmoved(self, gate: str, since_s: float, until_s: float = math.inf) -> str | None:
        """A complaint if a gate was told to move in a span."""
        for entry in self.all("gate_command", gate, None, since_s):
            if word(entry) in ("open", "shut") and since_s + SLACK_S < entry["t_s"] < until_s:
                return f"{gate} was told to {word(entry)} at {entry['t_s']:.3f} s"
        return None

    def never_on(self, motor: str, since_s: float, until_s: float = math.inf) -> str | None:
        """A complaint if a motor was switched on in a span."""
        for entry in self.all("motor_command", motor, "on", since_s):
            if since_s < entry["t_s"] < until_s:
                return f"{motor} was switched on at {entry['t_s']:.3f} s"
        return None

    def off_by(self, motor: str, limit_s: float, since_s: float | None = None) -> str | None:
        """A complaint unless a motor that was on was told off within a time."""
        since_s = self.from_s if since_s is None else since_s
        return self.within(f"{motor} off", since_s, self.first("motor_command", motor, "off", since_s), limit_s)

    def never_open_in_vain(self, gate: str, tolerance: float = 0.03) -> str | None:
        """A complaint if a gate counts as open at an instant at which its slide truly is not."""
        truth = 0.0
        for entry in self.entries:
            if entry["subject"] != gate:
                continue
            if entry["kind"] == "truth_gate":
                truth = float(entry["value"])
            believed = entry["kind"] == "gate_belief" and word(entry) == "open" and entry["t_s"] >= self.from_s
            if believed and truth < 1.0 - tolerance:
                return f"{gate} counts as open at {entry['t_s']:.3f} s and truly stands at {truth:.2f}"
        return None

    def fan_without_gate_s(self, motor: str) -> float:
        """The longest stretch, since the fault, in which a motor was commanded on and none of its gates was open."""
        facts, shop = self.shop.systems[motor], self.shop
        opened: set[str] = set()
        on, began_s, longest_s = False, None, 0.0
        for entry in self.entries:
            if entry["kind"] == "gate_belief" and entry["subject"] in facts.gates:
                (opened.add if word(entry) == "open" else opened.discard)(entry["subject"])
            elif entry["kind"] == "motor_command" and entry["subject"] == motor:
                on = word(entry) != "off"
            area_m2 = facts.relief_m2 + sum(shop.gates[name].area_m2 for name in opened)
            bare = on and area_m2 < facts.path_minimum_m2 * (1 - 1e-6) and entry["t_s"] >= self.from_s
            if bare and began_s is None:
                began_s = entry["t_s"]
            elif not bare and began_s is not None:
                longest_s, began_s = max(longest_s, entry["t_s"] - began_s), None
        return longest_s

    def truths(self, kind: str, subject: str) -> Iterator[tuple[float, Any]]:
        """What was truly so of a subject: instants and values, in order."""
        for entry in self.entries:
            if entry["kind"] == kind and entry["subject"] == subject:
                yield entry["t_s"], entry["value"]

    def truly(self, kind: str, subject: str, t_s: float) -> Any:
        """What was truly so of a subject at an instant; None before the first word."""
        found = None
        for at_s, value in self.truths(kind, subject):
            if at_s > t_s + SLACK_S:
                break
            found = value
        return found


def first_of(*complaints: str | None) -> str | None:
    """The first complaint, or None where there is none."""
    return next((complaint for complaint in complaints if complaint is not None), None)
