"""`gatekeeper commission` in the terminal: the same walk as on the page, read and typed."""

from collections.abc import Callable, Sequence

from gatekeeper.commissioning_words import WORDS, found, is_about
from gatekeeper.layout.text import wrapped
from gatekeeper.service.face import Bench, Press, Saying
from gatekeeper.service.face_commissioning import (
    LEAVE_OUT,
    PUT_BY,
    Commissioning,
    CommissioningView,
    Field,
    StageView,
    StepOffer,
    StepState,
    StepView,
    WalkView,
)
from gatekeeper.status_line import EndOfTyping, Screen

#: What is seen is looked at so often while nobody types.
LOOK_S = 0.25
HELP = (
    "Enter begins the next step, a number does what is offered. ? explains, list shows every step, go 7 takes step 7, "
    "leave it out leaves a step out and asks why, back puts it by, Ctrl-C stops and keeps what is done."
)
BENCH_HELP = (
    "This shop is virtual: bench shows what can be done to what the step is about, bench all shows the whole of it, b1 "
    "does the first thing shown."
)
MARKS = {
    StepState.PASSED: "[x]",
    StepState.FAILED: "[!]",
    StepState.LEFT_OUT: "[-]",
    StepState.DUE: "[ ]",
    StepState.STALE: "[~]",
    StepState.NOW: "[>]",
}
#: Of what is seen the first is what the step is about; more would not be read.
MOST_SEEN = 4
#: The code of an answer that a controller gives just after its start.
WAKING = "waking"
_SAYS_YES = ("yes", "y")


class TerminalWalk:
    """One walk in a terminal.

    Args:
        commissioning: of the running shop.
        screen: where it is read and typed.
        by: who tries it; never empty.
        now_s: the controller's clock, for what counts down.
        bench: of a virtual shop.
        is_alive: False once the controller has ended by itself.
    """

    def __init__(
        self,
        commissioning: Commissioning,
        screen: Screen,
        by: str,
        now_s: Callable[[], float],
        bench: Bench | None = None,
        is_alive: Callable[[], bool] = lambda: True,
    ) -> None:
        self._commissioning = commissioning
        self._screen = screen
        self._by = by
        self._now_s = now_s
        self._bench = bench
        self._is_alive = is_alive
        self._asked: tuple[str, int] | None = None
        self._stage: str | None = None
        self._on_bench: list[tuple[str, str]] = []

    def go(self) -> bool:
        """Walk until nothing is due.

        Returns:
            True when nothing is due any more; False where the person stopped before.
        """
        view = self._commissioning.view()
        for caution in view.cautions:
            self._say(caution, "  - ")
        self._say(HELP)
        if self._bench is not None:
            self._say(BENCH_HELP)
        self._screen.say("")
        self._say(view.sentence)
        try:
            while True:
                if not self._is_alive():
                    self._say("The controller has ended by a fault. Every motor was switched off.")
                    return False
                view = self._look()
                if view.walk is None and view.next_key is None:
                    return True
                line = self._screen.read(_status(view.walk, self._now_s()), LOOK_S)
                if line is not None:
                    self._take(line, view)
        except (EndOfTyping, KeyboardInterrupt):
            self._screen.say("")
            return self._commissioning.view().due == 0

    # ---------------------------------------------------------------- what is so

    def _look(self) -> CommissioningView:
        """The present view; what is new in it is said."""
        view = self._commissioning.view()
        walk = view.walk
        asked = (walk.key, walk.number) if walk is not None else ("", 0)
        if asked == self._asked:
            return view
        before, self._asked = self._asked, asked
        if before is not None and before[0] and before[0] != asked[0]:
            self._say_result(view, before[0])
        if walk is not None:
            self._say_stage(view, walk.stage)
            self._say_walk(walk, is_new=before is None or before[0] != walk.key)
        elif view.next_key is not None:
            step_of = found(view, view.next_key)
            if step_of is not None:
                self._say_stage(view, step_of[0].key)
                self._say(f"Next: {step_of[1].title} (Enter begins it)")
        return view

    def _say_result(self, view: CommissioningView, key: str) -> None:
        step_of = found(view, key)
        if step_of is not None and step_of[1].state not in (StepState.DUE, StepState.NOW):
            step = step_of[1]
            self._say(f"{MARKS[step.state]} {step.title}: {WORDS[step.state]}. {step.result or ''}".rstrip())
            self._screen.say("")

    def _say_stage(self, view: CommissioningView, key: str) -> None:
        if key == self._stage:
            return
        self._stage = key
        stage = next((one for one in view.stages if one.key == key), None)
        if stage is not None:
            self._screen.say("")
            self._say(f"Stage {view.stages.index(stage) + 1} of {len(view.stages)}: {stage.title}")
            self._say(stage.why, "  ")
            self._screen.say("")

    def _say_walk(self, walk: WalkView, *, is_new: bool) -> None:
        if is_new:
            self._say(walk.title)
            for caution in walk.cautions:
                self._say(caution, "  - ")
        self._say(_said(walk.prompt, self._now_s()), "  ")
        for note in walk.notes:
            self._say(note, "  ")
        for what, word in walk.live[:MOST_SEEN]:
            self._say(f"seen: {what}: {word}", "    ")
        for number, offer in enumerate(_main(walk), start=1):
            self._say(f"{number} {offer.label}", "  ")

    # ---------------------------------------------------------------- what is typed

    def _take(self, line: str, view: CommissioningView) -> None:
        word = " ".join(line.split()).casefold()
        if word == "?":
            self._explain(view)
        elif word == "list":
            self._list(view)
        elif word.startswith("go "):
            self._go_to(view, word.removeprefix("go "))
        elif word in ("bench", "bench all") or (word.startswith("b") and word[1:].isdecimal()):
            self._work_bench(view, word)
        elif view.walk is not None:
            self._take_press(view.walk, word)
        elif not word and view.next_key is not None:
            self._begin(view, view.next_key)
        else:
            self._say(f"{line.strip()!r} is not understood here. Enter begins the next step; ? explains.")

    def _take_press(self, walk: WalkView, word: str) -> None:
        main = _main(walk)
        if word == "":
            # Never an answer: some of them say that nothing was seen, and a record keeps what is said.
            asked = "Type 1." if len(main) == 1 else f"Type a number, 1 to {len(main)}."
            self._say(asked if main else "What is seen ends this step by itself. ? explains.")
            return
        if word.isdecimal() and 1 <= int(word) <= len(main):
            self._press(walk, main[int(word) - 1])
            return
        aside = {"leave it out": LEAVE_OUT, "back": PUT_BY}.get(word)
        offer = next((one for one in walk.offers if one.press == aside), None) if aside else None
        if offer is not None:
            self._press(walk, offer)
        elif aside:
            self._say("That cannot be done at this moment.")
        else:
            numbers = f"a number, 1 to {len(main)}" if len(main) > 1 else "1" if main else "back"
            self._say(f"{word!r} is not understood here. Type {numbers}, or ? for help.")

    def _press(self, walk: WalkView, offer: StepOffer) -> None:
        if not self._is_meant(offer):
            return
        values = {field.name: self._fill_in(field) for field in walk.fields if field.name in offer.fields}
        answer = self._commissioning.press(walk.key, offer.press, self._by, values, walk.number)
        self._say(answer.sentence)

    def _is_meant(self, offer: StepOffer) -> bool:
        """What moves or starts something is asked for once more, with its caution."""
        if offer.how is not Press.HOLD:
            return True
        if offer.caution:
            self._say(offer.caution, "  ")
        if self._ask(f"{offer.label}: type yes").casefold() in _SAYS_YES:
            return True
        self._say("Not done.")
        return False

    def _fill_in(self, field: Field) -> str:
        for number, choice in enumerate(field.choices, start=1):
            self._say(f"{number} {choice}", "    ")
        hints = [f"such as {field.example}" if field.example else "", f"Enter: {field.value}" if field.value else ""]
        hint = ", ".join(one for one in hints if one)
        typed = self._ask(f"{field.label}{f' ({hint})' if hint else ''}")
        if typed.isdecimal() and 1 <= int(typed) <= len(field.choices):
            return field.choices[int(typed) - 1]
        return typed or field.value

    def _ask(self, prompt: str) -> str:
        """One typed line, however long it takes."""
        self._say(f"{prompt}:", "  ")
        while True:
            line = self._screen.read("", LOOK_S)
            if line is not None:
                return " ".join(line.split())

    def _begin(self, view: CommissioningView, key: str) -> None:
        step_of = found(view, key)
        if step_of is None or not step_of[1].offers:
            self._say("That step cannot be begun now.")
            return
        offer = step_of[1].offers[0]
        if not self._is_meant(offer):
            return
        answer = self._commissioning.press(key, offer.press, self._by)
        while answer.code == WAKING and self._is_alive():
            # Its sensors settle for a second or two after the start of this very command.
            self._screen.read(answer.sentence, LOOK_S)
            answer = self._commissioning.press(key, offer.press, self._by)
        if not answer.accepted:
            self._say(answer.sentence)

    # ---------------------------------------------------------------- looking around

    def _explain(self, view: CommissioningView) -> None:
        walk = view.walk
        stage = next((one for one in view.stages if one.key == self._stage), None)
        if stage is not None:
            self._say(stage.why, "  ")
        if walk is not None:
            self._say_walk(walk, is_new=True)
        self._say(HELP)
        if self._bench is not None:
            self._say(BENCH_HELP)

    def _list(self, view: CommissioningView) -> None:
        for number, (stage, step) in enumerate(_every(view), start=1):
            if stage.steps[0] is step:
                self._say(stage.title)
            self._say(f"{number:3d} {MARKS[step.state]} {step.title}", "")
        self._say(view.sentence)

    def _go_to(self, view: CommissioningView, typed: str) -> None:
        every = _every(view)
        if not typed.isdecimal() or not 1 <= int(typed) <= len(every):
            self._say(f"There are steps 1 to {len(every)}; list shows them.")
            return
        self._begin(view, every[int(typed) - 1][1].key)

    def _work_bench(self, view: CommissioningView, word: str) -> None:
        if self._bench is None:
            self._say("There is no bench here: this shop is real. Switch the machine itself.")
            return
        if word.startswith("bench"):
            controls = self._bench.controls()
            is_all = word == "bench all" or view.walk is None
            about = [one for one in controls if not is_all and view.walk is not None and is_about(view.walk, one)]
            self._on_bench = [(one.key, choice.to) for one in about or controls for choice in one.choices]
            number = 0
            for one in about or controls:
                for choice in one.choices:
                    number += 1
                    self._say(f"b{number} {one.label} ({one.word}): {choice.label}", "  ")
            return
        place = int(word[1:]) - 1
        if not 0 <= place < len(self._on_bench):
            self._say("Type bench first; it numbers what can be done.")
            return
        self._say(self._bench.work(*self._on_bench[place]).sentence)

    def _say(self, text: str, indent: str = "") -> None:
        for line in wrapped(text, indent, " " * len(indent)):
            self._screen.say(line)


def _main(walk: WalkView) -> Sequence[StepOffer]:
    """What answers the step; leaving it out and putting it by have words of their own."""
    return [one for one in walk.offers if one.press not in (LEAVE_OUT, PUT_BY)]


def _every(view: CommissioningView) -> list[tuple[StageView, StepView]]:
    return [(stage, step) for stage in view.stages for step in stage.steps]


def _status(walk: WalkView | None, now_s: float) -> str:
    """What is seen at this instant, on one line."""
    if walk is None:
        return ""
    seen = [f"{what}: {word}" for what, word in walk.live[:MOST_SEEN]]
    until = walk.prompt.until_s
    left = [f"{max(0, round(until - now_s))} s left"] if until is not None else []
    return ", ".join([*seen, *left])


def _said(saying: Saying, now_s: float) -> str:
    """A saying with its running time in words."""
    if saying.until_s is not None:
        time = f"{max(0, round(saying.until_s - now_s))} s"
    elif saying.since_s is not None:
        time = f"{max(0, int(now_s - saying.since_s))} s"
    else:
        return saying.text
    return saying.text.replace("{time}", time)
