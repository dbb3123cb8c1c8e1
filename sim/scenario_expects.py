"""From the items under ``expects`` to expectations, each with the sentence that says it and its line in the file."""

import math
from collections.abc import Collection, Mapping

from gatekeeper.control.alarms import FAULTS
from gatekeeper.shop.faults import did_you_mean, listed, shortened
from gatekeeper.shop.units import QuantityError, parse
from sim.expect import (
    BEINGS,
    OF_ONE,
    UNIT_OF,
    Expectation,
    FigureExpected,
    MessageExpected,
    StartsApartExpected,
    StateExpected,
    Timing,
)
from sim.scenario_fields import Amount
from sim.scenario_reading import Reading, lasting
from sim.scenario_written import ExpectsPart

VERBS = ("gate", "motor", "tool", "message", "no_message", "figure", "motor_starts_apart")
_STATES = ("gate", "motor", "tool")
_COMPANIONS: Mapping[str, Collection[str]] = {
    "by": (*_STATES, "message"),
    "at": _STATES,
    "since": (*_STATES, "message", "no_message"),
    "until": (*_STATES, "message", "no_message"),
    "must_be": _STATES,
    "never": _STATES,
    "about": ("message", "no_message"),
    "of": ("figure",),
    "at_most": ("figure",),
    "at_least": ("figure",),
}
_NAMES: Mapping[str, Collection[str]] = {
    "gate": ("gate",),
    "motor": ("motor",),
    "tool": ("tool",),
    "about": ("gate", "tool", "motor", "input"),
    "of": ("gate", "tool", "motor"),
}
_MASS_KG: Mapping[str, float] = {"g": 0.001, "kg": 1.0, "oz": 0.028349523125, "lb": 0.45359237}
_ENERGY_KWH: Mapping[str, float] = {"kWh": 1.0, "Wh": 0.001}


def expectations(reading: Reading) -> list[Expectation]:
    """All that must be so, in the order of the file. Faults are noted."""
    reading.rest_names("expects", ExpectsPart, _NAMES)
    found = (_Maker(reading, number, part).expectation() for number, part in reading.items("expects", ExpectsPart))
    return [one for one in found if one is not None]


class _Maker:
    """Turns one item into an expectation."""

    def __init__(self, reading: Reading, number: int, part: ExpectsPart) -> None:
        self.reading, self.part = reading, part
        self.loc: tuple[str | int, ...] = ("expects", number)
        self.line = reading.line_of(*self.loc)

    def fault(self, said: str, *more: str, key: bool = False) -> None:
        self.reading.fault(said, *self.loc, *more, key=key)

    def expectation(self) -> Expectation | None:
        verb = self.reading.one_of(self.part, VERBS, "this does not say what must be so", *self.loc)
        if verb is None:
            return None
        self.reading.companions(self.part, verb, _COMPANIONS, *self.loc)
        match verb:
            case "gate" | "motor" | "tool":
                return self._state(verb)
            case "message" | "no_message":
                return self._message(verb)
            case "figure":
                return self._figure()
            case _:
                assert self.part.motor_starts_apart is not None
                apart_s = self.part.motor_starts_apart
                return StartsApartExpected(self.line, f"no two motors start within {lasting(apart_s)}", apart_s)

    # ---------------------------------------------------------------- states

    def _state(self, kind: str) -> Expectation | None:
        part = self.part
        subject = {"gate": part.gate, "motor": part.motor, "tool": part.tool}[kind]
        assert subject is not None
        is_known = self.reading.known(subject, (kind,), *self.loc, kind)
        if (part.must_be is None) is (part.never is None):
            there = 'one of "must_be" and "never" is due here'
            self.fault(f"{there}, such as must_be: {BEINGS[kind][0].value}", kind, key=True)
            return None
        key, being = ("must_be", part.must_be) if part.must_be is not None else ("never", part.never)
        assert being is not None
        if being not in BEINGS[kind]:
            words = listed([word.value for word in BEINGS[kind]])
            self.fault(f'a {kind} is never called "{being.value}" here; write {words}', key)
            return None
        timing, from_s, to_s, when = self._when(is_never=key == "never")
        verb = {"must_be": "is", "never": "is never"}[key]
        said = f"{subject} {verb} {being.value}{when}"
        return StateExpected(self.line, said, kind, subject, being, timing, from_s, to_s) if is_known else None

    def _when(self, *, is_never: bool) -> tuple[Timing, float, float, str]:
        part = self.part
        for other in ("at", "since", "until"):
            if part.by is not None and other in part.model_fields_set and other != "since":
                self.fault(f'"by" and "{other}" stand in one item; write one of them', other, key=True)
        for other in ("since", "until"):
            if part.at is not None and other in part.model_fields_set:
                self.fault(f'"at" and "{other}" stand in one item; write one of them', other, key=True)
        if is_never and (part.by is not None or part.at is not None):
            there = "by" if part.by is not None else "at"
            self.fault(f'"never" goes with since and until, not with {there}; take it out', there, key=True)
        from_s, to_s, when = self._between()
        if is_never:
            return Timing.NEVER, from_s, to_s, when
        if part.by is not None:
            by_s = self._seconds("by")
            if by_s < from_s:
                self.fault(f"this is before since ({lasting(from_s)}); put them in order", "by")
            since = f", not looking before {self._words('since')}" if part.since is not None else ""
            return Timing.BY, from_s, by_s, f" by {self._words('by')}{since}"
        if part.at is not None:
            at_s = self._seconds("at")
            return Timing.AT, at_s, at_s, f" at {self._words('at')}"
        return Timing.ALL_THE_TIME, from_s, to_s, when or " all the time"

    def _between(self) -> tuple[float, float, str]:
        part = self.part
        from_s = self._seconds("since") if part.since is not None else 0.0
        to_s = self._seconds("until") if part.until is not None else math.inf
        if to_s <= from_s:
            self.fault(f"this is not after {lasting(from_s)}, where it begins; put them in order", "until")
        since = f" from {self._words('since')}" if part.since is not None else ""
        until = f" to {self._words('until')}" if part.until is not None else ""
        return from_s, to_s, since + (until if since else until.replace(" to ", " up to "))

    def _words(self, key: str) -> str:
        return self.reading.text_of(*self.loc, key)

    def _seconds(self, key: str) -> float:
        moment = getattr(self.part, key)
        return self.reading.seconds(moment, *self.loc, key)

    # ---------------------------------------------------------------- messages

    def _message(self, verb: str) -> Expectation | None:
        part = self.part
        written = part.message if verb == "message" else part.no_message
        assert written is not None
        words = " ".join(written.split()).replace("_", " ").lower()
        known = {code.replace("_", " "): code for code in FAULTS}
        known |= {"alarm": "alarm", "any": "any"}
        if words not in known:
            said = f'"{shortened(written)}" is no message; they are {listed(list(known), "and", 40)}'
            self.fault(said + did_you_mean(words, known), verb)
            return None
        about = part.about
        if about is not None and not self.reading.known(about, ("gate", "tool", "motor", "input"), *self.loc, "about"):
            return None
        is_never = verb == "no_message"
        from_s, to_s, when = self._between()
        if part.by is not None:
            to_s = self._seconds("by")
            when = f" by {self._words('by')}"
            if to_s < from_s:
                self.fault(f"this is before since ({lasting(from_s)}); put them in order", "by")
        of = f" about {about}" if about is not None else ""
        called = {"alarm": "alarm", "any": "message"}.get(words, f'message "{words}"')
        said = f"{'no' if is_never else 'a'} {called}{of} is raised{when}"
        return MessageExpected(self.line, said, known[words], about, is_never, from_s, to_s)

    # ---------------------------------------------------------------- figures

    def _figure(self) -> Expectation | None:
        part = self.part
        figure = part.figure
        assert figure is not None
        if part.at_most is None and part.at_least is None:
            self.fault("the limit is missing beside figure; write at_most or at_least", "figure", key=True)
            return None
        kind = OF_ONE.get(figure)
        if part.of is not None and kind is None:
            self.fault(f'"{figure.value}" is a figure of the whole shop; take this out', "of", key=True)
            return None
        if part.of is not None and kind is not None and not self.reading.known(part.of, (kind,), *self.loc, "of"):
            return None
        at_most, at_least = self._limit("at_most"), self._limit("at_least")
        if at_most is not None and at_least is not None and at_least > at_most:
            self.fault("this is more than at_most; put them in order", "at_least")
        of = f" of {part.of}" if part.of is not None else ""
        limits = [
            f"{words} {text}"
            for words, text in (("at least", self._text("at_least")), ("at most", self._text("at_most")))
            if text is not None
        ]
        said = f"{figure.value}{of}: {' and '.join(limits)}"
        return FigureExpected(self.line, said, figure, part.of, at_most, at_least)

    def _text(self, key: str) -> str | None:
        return None if getattr(self.part, key) is None else self._words(key)

    def _limit(self, key: str) -> float | None:
        amount: Amount | None = getattr(self.part, key)
        figure = self.part.figure
        if amount is None or figure is None:
            return None
        unit = UNIT_OF.get(figure)
        table: Mapping[str, float] = {"kg": _MASS_KG, "kWh": _ENERGY_KWH, "%": {"%": 1.0}}.get(unit or "", {"": 1.0})
        if unit == "time":
            try:
                return parse(f"{amount.number} {amount.unit}", "time")
            except QuantityError:
                self.fault(f'"{self._text(key)}" is no time; write it with ms, s, min or h', key)
                return None
        if amount.unit not in table:
            how = f"write it with {listed([name for name in table if name])}" if unit else "write a plain number"
            self.fault(f'"{self._text(key)}" does not fit {figure.value}; {how}', key)
            return None
        return amount.number * table[amount.unit]
