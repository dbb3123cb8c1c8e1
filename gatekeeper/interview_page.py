"""Interviews for the page: a new shop before there is a controller, and machines of a shop that runs.

Answers are kept in the same file as the terminal's after every press, and read again at every look: whichever phone or
terminal went on last, all go on from there. A press carries the mark of what was seen; one that comes late is refused.
"""

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from gatekeeper.interview.engine import Interview, NotUnderstood
from gatekeeper.interview_ending import Ending, write_new_shop, write_parts
from gatekeeper.interview_keeping import (
    ADD,
    GATE,
    MOTOR,
    MOVE,
    RETIRE,
    AnsweredElsewhere,
    CannotInterview,
    Kept,
    answers_beside,
    read_answers,
)
from gatekeeper.interview_page_view import Eye, Subject, mark_of, new_subject, offered_gates, parts_subject
from gatekeeper.pinning import not_runnable
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.face_interview import DoneView, InterviewView, NextStep
from gatekeeper.service.face_parts import Answer
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

DONE = Answer(True, "ok", "")
ELSEWHERE = Answer(
    False, "elsewhere", "Somebody answered at another place meanwhile, or the file changed. This is how it stands now."
)
NOTHING_ASKED = Answer(False, "nothing_asked", "Nothing is asked now. Begin anew.")
NOT_OVER = Answer(False, "not_over", "Not everything is answered yet. Nothing was written.")
OVER = Answer(False, "over", "Everything is answered. Write it, or go back.")
LEFT = Answer(True, "left", "Given up. The shop's file stays as it was.")
RESTARTS = Answer(
    True,
    "restarts",
    "The controller starts anew within seconds, unless something begins to run. Read this page again in a minute.",
)
CANNOT_TAKE_OVER = "Nothing here can be started anew."


class _Interviews(ABC):
    """What both kinds share: presses by mark, one at a time."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._eye = Eye()
        self._done: DoneView | None = None

    # ------------------------------------------------------------ of each kind

    @abstractmethod
    def _subject(self) -> Subject | None:
        """What is asked about now, by the files as they are; None where nothing is. Raises CannotInterview."""

    @abstractmethod
    def _write(self, subject: Subject, ending: Ending) -> DoneView:
        """Write the file. Raises CannotInterview."""

    @abstractmethod
    def _seen(self) -> InterviewView:
        """The view without the interview that goes on."""

    # ------------------------------------------------------------ looking

    def view(self) -> InterviewView:
        """Where it stands, by the files as they are now."""
        with self._lock:
            seen = self._seen()
            try:
                subject = self._subject()
                if subject is None:
                    return seen
                going = self._eye.view(subject, self._taken_up(subject))
            except CannotInterview as trouble:
                return _with(seen, refusal=str(trouble))
            return _with(seen, going=going, done=None)

    # ------------------------------------------------------------ pressing

    def answer(self, mark: str, text: str) -> Answer:
        """Answer the question that is due."""

        def press(_: Subject, interview: Interview[Any]) -> Interview[Any] | Answer:
            try:
                further = interview.answered(text)
            except NotUnderstood as slip:
                return Answer(False, "not_understood", str(slip))
            return OVER if further is interview else further

        return self._pressed(mark, press)

    def back(self, mark: str) -> Answer:
        """Take the last answer back."""
        return self._pressed(mark, lambda _, interview: interview.back())

    def write(self, mark: str) -> Answer:
        """Write what came of it."""

        def press(subject: Subject, interview: Interview[Any]) -> Answer:
            stand = interview.stand()
            if stand.question is not None:
                return NOT_OVER
            self._done = self._write(subject, subject.ending(stand.draft))
            answers_beside(self._path).unlink(missing_ok=True)
            return DONE

        return self._pressed(mark, press)

    def leave(self, mark: str) -> Answer:
        """Give it up."""

        def press(_: Subject, __: Interview[Any]) -> Answer:
            answers_beside(self._path).unlink(missing_ok=True)
            return LEFT

        return self._pressed(mark, press)

    def _pressed(self, mark: str, press: Callable[[Subject, Interview[Any]], Interview[Any] | Answer]) -> Answer:
        with self._lock:
            try:
                subject = self._subject()
                if subject is None:
                    return NOTHING_ASKED if self._done is None else ELSEWHERE
                interview = self._taken_up(subject)
                if mark_of(subject, interview.answers) != mark:
                    return ELSEWHERE
                what = press(subject, interview)
                if isinstance(what, Answer):
                    return what
                self._kept(subject).keep(what.answers, self._kept(subject).answers())
            except AnsweredElsewhere:
                return ELSEWHERE
            except CannotInterview as trouble:
                return Answer(False, "refused", str(trouble))
            return DONE

    def _kept(self, subject: Subject) -> Kept:
        return Kept(answers_beside(self._path), subject.head)

    def _taken_up(self, subject: Subject) -> Interview[Any]:
        return self._eye.taken_up(subject, self._kept(subject).answers())


class NewShopPage(_Interviews):
    """Asks for a new shop and writes its file.

    Args:
        out: the file to write; there is none yet.
        goes_on: what happens once it is written, one sentence; empty where the person goes on by commands.
    """

    def __init__(self, out: Path, goes_on: str = "") -> None:
        super().__init__(out)
        self._goes_on = goes_on
        self._written = threading.Event()

    def wait_until_written(self, timeout_s: float) -> bool:
        """Whether the file is written by now."""
        return self._written.wait(timeout_s)

    def _subject(self) -> Subject | None:
        if self._written.is_set():
            return None
        if self._path.exists():
            raise CannotInterview(f"{self._path} is there already. To add a machine to it: gatekeeper add {self._path}")
        return new_subject(self._path)

    def _write(self, subject: Subject, ending: Ending) -> DoneView:
        write_new_shop(self._path, ending)
        self._written.set()
        steps = _steps(str(self._path), ending)
        if self._goes_on:
            steps = (NextStep(self._goes_on, path="/"), *steps)
        else:
            steps = (*steps, NextStep("Run it on the board", f"gatekeeper run {self._path}"))
        return _done(f"The shop's file is {self._path}.", ending, steps)

    def _seen(self) -> InterviewView:
        return InterviewView(None, self._done, commands=(f"gatekeeper new {self._path}",))

    def begin(self, what: str, name: str) -> Answer:
        """A new shop is asked for from the beginning; there is nothing to begin."""
        return Answer(False, "no_such_request", "Here a new shop is asked for, and nothing else.")

    def take_over(self) -> Answer:
        """No controller runs yet."""
        return Answer(False, "no_such_request", CANNOT_TAKE_OVER)


class MachinesPage(_Interviews):
    """A machine more, moved or gone, or a gate that is moved otherwise, in the file of a shop that runs.

    Args:
        file: the file that the controller runs by, asked for anew each time.
        stays: why the controller cannot be started anew now, one sentence; None where it can.
        take_over: starts it anew, a moment after the answer; None where nobody can.
    """

    def __init__(
        self,
        file: Callable[[], ShopFile],
        stays: Callable[[], str | None],
        take_over: Callable[[], None] | None,
    ) -> None:
        super().__init__(file().path)
        self._file, self._stays, self._restart = file, stays, take_over
        #: The text that was read last and its shop; the interview that was made last, of a head and a text.
        self._loaded: tuple[str, Shop | Faults] | None = None
        self._made: tuple[str, str, Subject] | None = None

    def _read(self) -> tuple[str, Shop]:
        """The file as it is now."""
        refusal = self._file().refusal
        if refusal is not None:
            raise CannotInterview(
                f"{self._path} is an example and stays as it is. Copy it to a file of yours and start the controller "
                "with that."
            )
        try:
            text = self._path.read_bytes().decode("utf-8")
        except (OSError, UnicodeDecodeError):
            raise CannotInterview(f"{self._path} cannot be read any more. Put it back.") from None
        if self._loaded is None or self._loaded[0] != text:
            self._loaded = text, load_shop(text, str(self._path))
        shop = self._loaded[1]
        if isinstance(shop, Faults):
            raise CannotInterview(
                f"{self._path} is no shop any more since it was changed by hand. See: gatekeeper check {self._path}"
            )
        return text, shop

    def _subject(self) -> Subject | None:
        head, _ = read_answers(answers_beside(self._path))
        if head is None:
            return None
        if head not in (ADD, MOTOR) and not head.startswith((MOVE, RETIRE, GATE)):
            raise CannotInterview(
                f"{answers_beside(self._path)}: these are the answers of {head}. Finish that first, or take the file "
                "away."
            )
        text, shop = self._read()
        if self._made is None or self._made[:2] != (head, text):
            self._made = head, text, parts_subject(self._path, text, shop, head)
        return self._made[2]

    def _write(self, subject: Subject, ending: Ending) -> DoneView:
        before = write_parts(self._path, subject.text, ending)
        said = f"Written: {self._path}. Everything else in it is as it was; its text until now is kept in {before}."
        tried = NextStep("Once the controller runs by the file, try what is new part by part", path="/commission")
        return _done(said, ending, (tried, *_steps(str(self._path), ending)))

    def _seen(self) -> InterviewView:
        commands = tuple(
            f"gatekeeper add {self._path}{more}"
            for more in ("", " --move TOOL", " --retire TOOL", " --motor", " --gate GATE")
        )
        try:
            text, shop = self._read()
        except CannotInterview as trouble:
            return InterviewView(None, self._done, (), str(trouble), commands=commands)
        waiting = stays = None
        if text != self._file().text:
            waiting = "The controller runs by the file as it was; what changed counts from its next start."
            stays = self._why_it_stays(shop)
        gates = offered_gates(shop)
        return InterviewView(None, self._done, tuple(shop.tools), None, waiting, stays, commands, gates)

    def _why_it_stays(self, shop: Shop) -> str | None:
        unfit = not_runnable(shop, str(self._path))
        if unfit is not None:
            return f"It cannot run by the file yet. {unfit}."
        if self._restart is None:
            return "End the controller where it was started, and start it again."
        return self._stays()

    def begin(self, what: str, name: str) -> Answer:
        """Begin to ask, where nothing is asked yet."""
        alone = {"add": ADD, "motor": MOTOR}
        heads = {**alone, "move": f"{MOVE}{name}", "retire": f"{RETIRE}{name}", "gate": f"{GATE}{name}"}
        if what not in heads:
            return Answer(False, "no_such_request", "There is nothing of that kind to begin.")
        with self._lock:
            try:
                if self._subject() is not None:
                    return Answer(False, "busy", "Something is being asked already. Finish it, or give it up.")
                text, shop = self._read()
                subject = parts_subject(self._path, text, shop, heads[what])
                self._kept(subject).keep((), ())
            except (AnsweredElsewhere, CannotInterview) as trouble:
                return Answer(False, "refused", str(trouble) or ELSEWHERE.sentence)
            self._done = None
            return DONE

    def take_over(self) -> Answer:
        """Start the controller anew."""
        with self._lock:
            seen = self._seen()
        if self._restart is None or seen.waiting is None:
            return Answer(False, "nothing_waits", "The controller runs by the file already.")
        if seen.stays is not None:
            return Answer(False, "stays", seen.stays)
        self._restart()
        return RESTARTS


def _with(seen: InterviewView, **changed: Any) -> InterviewView:
    return replace(seen, **changed)


def _done(said: str, ending: Ending, steps: tuple[NextStep, ...]) -> DoneView:
    pins = tuple(choice.in_words for choice in ending.choices)
    if ending.pin_trouble:
        pins = (f"The pins are still to be chosen: {ending.pin_trouble}", *pins)
    return DoneView(said, pins, ending.assumed, ending.anew, steps)


def _steps(name: str, ending: Ending) -> tuple[NextStep, ...]:
    """What comes after a file was written."""
    choose = (NextStep("Choose the pins", f"gatekeeper pins {name} --assign --write"),) if ending.pin_trouble else ()
    wiring = "Print parts, drawings and the electrician's sheets"
    return (
        NextStep("Look it over", f"gatekeeper check {name}"),
        *choose,
        NextStep(wiring, f"gatekeeper wiring {name} --out wiring.html"),
        NextStep("Try it as a virtual shop", f"gatekeeper demo {name}"),
    )
