"""Plays a scenario in a shop, has the record judged by the checker, and says what went wrong first, with its story."""

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gatekeeper.control.messages import Entry
from gatekeeper.service.wording import line, word_of
from sim.checker import Checker, Violation
from sim.expect_judge import SAME_S, Broken, judge
from sim.happening import BEFALLS_CONTROLLER, Controller, Happening, What
from sim.play import Fidelity, Played, new_game
from sim.scenario import Scenario
from sim.scenario_reading import lasting
from sim.stage import Stage

#: So many events are told before what went wrong.
TOLD_BEFORE = 10
#: So many broken rules are kept; after them the play goes on unjudged.
MOST_VIOLATIONS = 100
#: So many entries are kept for the story of a broken rule.
KEPT_FOR_RULES = 400


class CannotPlay(Exception):
    """Something happens that cannot be played; the text is the sentence for the person who wrote it."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened, in words, ``at_s`` seconds from the beginning of the play."""

    at_s: float
    said: str


@dataclass(frozen=True, slots=True)
class Offence:
    """What went wrong: a control rule (``rule``, such as "C3") or an expectation (``rule`` None, ``line`` in its file).

    ``said``: the rule's sentence, or the expectation. ``instead``: what was so instead, empty for a rule.
    """

    at_s: float
    said: str
    instead: str
    rule: str | None
    line: int | None
    before: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a play. ``offences``: all that went wrong, the earliest first; ``end_s``: the play's length."""

    played: Played
    end_s: float
    offences: tuple[Offence, ...]


def play_scenario(
    stage: Stage,
    scenario: Scenario,
    *,
    seed: int = 0,
    fidelity: Fidelity = Fidelity.SIGNALS,
    take: Callable[[Mapping[str, Any]], None] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outcome:
    """Play and judge.

    Args:
        seed: of the drawn days and of everything else that is drawn.
        take: gets each entry of the record as its JSON object, the plant's truth beside it, in order.
        progress: gets the play's time now and then, seconds from its beginning.

    Raises:
        CannotPlay: something happens that this fidelity has not.
    """
    listener = _Listener(scenario, take, progress)
    befalls = any(happening.what in BEFALLS_CONTROLLER for happening in scenario.happenings)
    is_plain = take is None and not befalls and fidelity is Fidelity.SIGNALS
    game = new_game(
        stage.with_long_leases() if is_plain else stage,
        fidelity,
        seed=seed,
        watch=listener.hear,
        truth=take is not None,
        wall_start_s=scenario.begins_s,
    )
    listener.now = lambda: game.now_s
    for happening in scenario.all_that_happens(stage.shop, seed):
        game.happen(happening)
    try:
        game.run(scenario.until_s)
    except ValueError as trouble:
        raise CannotPlay(f"{lasting(game.now_s)} into the play something cannot happen: {trouble}") from trouble
    played = game.played()
    listener.finish()
    broken = judge(scenario.expected, played.figures, played.tracks, scenario.until_s)
    offences = [*listener.offences, *(listener.offence_of(one) for one in broken)]
    return Outcome(played, scenario.until_s, tuple(sorted(offences, key=lambda one: one.at_s)))


class _Listener:
    """Hears the record while it is written: judges it, and keeps what is needed to tell what happened."""

    def __init__(
        self,
        scenario: Scenario,
        take: Callable[[Mapping[str, Any]], None] | None,
        progress: Callable[[float], None] | None,
    ) -> None:
        self._take, self._progress = take, progress
        self._outside = outside_events(scenario.happenings)
        # Rules are broken in the present; what an expectation is about may be known at the end only.
        self._heard: deque[tuple[float, Entry]] = deque(maxlen=None if scenario.expected else KEPT_FOR_RULES)
        self._checker = Checker(punctual=True)
        self.offences: list[Offence] = []
        self.now: Callable[[], float] = lambda: 0.0

    def hear(self, entry: Entry) -> None:
        """Take the next entry."""
        now_s = self.now()
        written = entry.as_json()
        if self._take is not None:
            self._take(written)
        if self._progress is not None:
            self._progress(now_s)
        if entry.kind.startswith("truth_"):
            return
        if entry.kind != "tick" and word_of(entry) != "renew":
            self._heard.append((now_s, entry))
        if len(self.offences) < MOST_VIOLATIONS:
            self._note(self._checker.feed(written))

    def finish(self) -> None:
        """Judge the last step."""
        if len(self.offences) < MOST_VIOLATIONS:
            self._note(self._checker.finish())

    def offence_of(self, broken: Broken) -> Offence:
        """An expectation that did not come, with its story."""
        expected = broken.expectation
        before = self._story(broken.at_s + SAME_S, None)
        return Offence(broken.at_s, expected.said, broken.instead, None, expected.line, before)

    def _note(self, violations: Iterable[Violation]) -> None:
        for one in violations:
            at_s = next((t_s for t_s, entry in reversed(self._heard) if entry.seq <= one.seq), self.now())
            self.offences.append(Offence(at_s, one.sentence, "", one.rule, None, self._story(at_s, one.seq)))

    def _story(self, until_s: float, before_seq: int | None) -> tuple[Event, ...]:
        """The last events up to an instant, or before an entry, in order; what came from outside among them."""
        events: list[Event] = []
        for t_s, entry in reversed(self._heard):
            said = None
            if t_s <= until_s and (before_seq is None or entry.seq < before_seq):
                said = line(entry)
            if said is not None:
                events.append(Event(t_s, said))
            if len(events) == TOLD_BEFORE:
                break
        outside = [event for event in self._outside if event.at_s <= until_s][-TOLD_BEFORE:]
        return tuple(sorted([*reversed(events), *outside], key=lambda event: event.at_s)[-TOLD_BEFORE:])


def outside_events(happenings: Iterable[Happening]) -> list[Event]:
    """What happens without a word in the record, in words: faults, hands, and the board's own fate."""
    found = ((happening.at_s, _outside(happening)) for happening in happenings)
    return [Event(at_s, said) for at_s, said in found if said is not None]


_BOARD = {
    Controller.STOP: "the controller is told to end",
    Controller.KILL: "the controller's program is killed",
    Controller.START: "the controller's program is started",
    Controller.PLUG_OUT: "the controller loses its power",
    Controller.PLUG_IN: "the controller has power again",
}


def _outside(happening: Happening) -> str | None:
    match happening.what:
        case What.FAULT:
            return f"Outside: {happening.subject} breaks ({happening.value})"
        case What.MEND:
            return f"Outside: {happening.subject} is mended ({happening.value})"
        case What.MOVE_BY_HAND:
            return f"Outside: somebody pulls {happening.subject} {'open' if happening.value > 0.5 else 'shut'}"
        case What.MAINS:
            return "Outside: the power is back" if happening.value else "Outside: the power fails"
        case What.CONTROLLER:
            return f"Outside: {_BOARD[happening.value]}"
        case What.STANDS_STILL:
            return f"Outside: the controller stands still for {happening.value:g} s"
        case _:
            return None
