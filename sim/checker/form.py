"""The form of the record: every entry as its description says, whatever the rules make of it."""

from collections.abc import Mapping
from typing import Any

from sim.checker.facts import ShopFacts
from sim.checker.violation import FORM, Violation

TOL_S = 0.0011
"""Times are given to 1 ms: two of them may be out by that much together (the tenth is for binary rounding)."""

KEYS = ("seq", "step", "t_s", "boot", "run", "kind", "subject", "value", "cause", "rule", "why")

WORDS: dict[str, frozenset[Any]] = {
    "tool": frozenset({"running", "stopped", "stale"}),
    "switch": frozenset({"open", "shut", "between"}),
    "motor_seen": frozenset({"running", "still"}),
    "motor_sensor": frozenset({"lost"}),
    "air": frozenset({True, False, "true", "false"}),
    "emergency": frozenset({"open", "made"}),
    "fire": frozenset({"open", "made"}),
    "door": frozenset({"open", "made"}),
    "hand": frozenset({"hand", "off", "auto"}),
    "shop_key": frozenset({"open", "shut"}),
    "gate_command": frozenset({"open", "shut", "halt"}),
    "motor_command": frozenset({"on", "off", "renew"}),
    "gate_belief": frozenset({"open", "shut", "opening", "shutting", "unproven", "stuck", "held"}),
}
"""Kinds whose word is one of a closed list."""

SUBJECTS = {
    "miss": "gates",
    "switch": "gates",
    "gate_belief": "gates",
    "gate_command": "gates",
    "tool": "tools",
    "motor_seen": "systems",
    "motor_sensor": "systems",
    "lapse": "systems",
    "air": "systems",
    "hand": "systems",
    "state": "systems",
    "emergency": "inputs",
    "fire": "inputs",
    "door": "inputs",
}
"""Kinds whose subject is in one table of the `shop` entry. Motor commands are left to rule C28."""

INPUTS = frozenset(
    {"wake", "kill", "tick", "stopped", "miss", "tool", "switch", "motor_seen", "motor_sensor", "air", "emergency"}
    | {"lapse", "fire", "door", "hand", "shop_key", "request", "setting"}
)
COMMANDS = frozenset({"gate_command", "motor_command"})
HEAPS = frozenset({"now", "today", "when_you_can"})


def word_of(value: Any) -> Any:
    """The word of a value: the value itself, or what stands under `what` of an object."""
    return value.get("what") if isinstance(value, Mapping) else value


def field_of(value: Any, key: str) -> Any:
    """A further field of a value that is an object, else None."""
    return value.get(key) if isinstance(value, Mapping) else None


class FormCheck:
    """Judges entries one by one, in the order of the record."""

    def __init__(self) -> None:
        self._seq: int | None = None
        self._step: Any = None
        self._t_s = float("-inf")
        self._boot: Any = None
        self._run: Any = None
        self._commands_begun = False

    def judge(self, entry: Mapping[str, Any], shop: ShopFacts | None) -> list[Violation]:
        """Every fault of form of one entry. `shop` is the run's own, or None before the first one."""
        sentences = [f"The entry has no field `{key}`." for key in KEYS if key not in entry]
        if sentences:
            return [self._violation(entry, sentence) for sentence in sentences]
        sentences += self._order(entry)
        sentences += self._place_in_step(entry)
        sentences += self._content(entry, shop)
        return [self._violation(entry, sentence) for sentence in sentences]

    @staticmethod
    def _violation(entry: Mapping[str, Any], sentence: str) -> Violation:
        seq, t_s, subject = entry.get("seq"), entry.get("t_s"), entry.get("subject")
        return Violation(
            FORM,
            seq if isinstance(seq, int) else -1,
            float(t_s) if isinstance(t_s, int | float) else -1.0,
            subject if isinstance(subject, str) else None,
            sentence,
        )

    def _order(self, entry: Mapping[str, Any]) -> list[str]:
        found = []
        seq, t_s, cause = entry["seq"], entry["t_s"], entry["cause"]
        if not isinstance(seq, int) or not isinstance(t_s, int | float):
            return ["`seq` must be a whole number and `t_s` a number of seconds."]
        if self._seq is not None and seq <= self._seq:
            found.append(f"`seq` must rise: {seq} follows {self._seq}.")
        if (entry["boot"], entry["run"]) != (self._boot, self._run) and entry["kind"] != "shop":
            found.append("The first entry of a run must be `shop`.")
        if entry["boot"] == self._boot and t_s < self._t_s:
            found.append(f"`t_s` went back within one boot: {t_s} follows {self._t_s}.")
        if cause is not None and not (isinstance(cause, int) and cause < seq):
            found.append(f"`cause` must name an earlier entry, not {cause!r}.")
        self._seq, self._t_s = seq, float(t_s)
        return found

    def _place_in_step(self, entry: Mapping[str, Any]) -> list[str]:
        place = (entry["boot"], entry["run"], entry["step"])
        same_run = place[:2] == (self._boot, self._run)
        if same_run and isinstance(place[2], int) and isinstance(self._step, int) and place[2] < self._step:
            return [f"`step` went back within one run: {place[2]} follows {self._step}."]
        if place != (self._boot, self._run, self._step):
            self._commands_begun = False
            self._boot, self._run, self._step = place
        if entry["kind"] in COMMANDS:
            self._commands_begun = True
        elif entry["kind"] in INPUTS and self._commands_begun:
            return ["An input stands after a command of the same step."]
        return []

    @staticmethod
    def _content(entry: Mapping[str, Any], shop: ShopFacts | None) -> list[str]:
        found = []
        kind, subject, value = entry["kind"], entry["subject"], entry["value"]
        word = word_of(value)
        words = WORDS.get(kind)
        if words is not None and not (isinstance(word, str | bool) and word in words):
            allowed = ", ".join(sorted({str(name).lower() for name in words}))
            found.append(f"`{kind}` cannot say {word!r}; it says one of: {allowed}.")
        table = SUBJECTS.get(kind)
        known = shop is None or table is None or (isinstance(subject, str) and subject in getattr(shop, table))
        if not known:
            found.append(f"`{kind}` names {subject!r}, which is not among the {table} of the shop.")
        if kind == "gate_command" and shop is not None and subject in shop.gates and not shop.gates[subject].actuated:
            found.append(f"{subject} is moved by hand and cannot be commanded.")
        if kind == "request" and not isinstance(field_of(value, "what"), str):
            found.append("A request must say under `what` what is asked.")
        if kind == "setting" and not (isinstance(field_of(value, "name"), str) and "value" in value):
            found.append("A setting must give its `name` and its `value`.")
        if kind == "message" and not (field_of(value, "code") and field_of(value, "heap") in HEAPS):
            found.append("A message must give its `code` and its `heap`: now, today or when_you_can.")
        if kind == "shop" and not isinstance(value, Mapping):
            found.append("`shop` must be an object that describes the shop.")
        return found
