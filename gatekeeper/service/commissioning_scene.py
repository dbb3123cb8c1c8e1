"""What a step of commissioning sees at one instant, and what it may do: the core is asked, never gone around."""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Protocol

from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Facts, Figure, Outcome, Step
from gatekeeper.control.messages import Entry, RequestWhat, Who
from gatekeeper.control.snapshot import CoreView, GateNow, MotorNow, ToolNow
from gatekeeper.devices.base import ContactSeen
from gatekeeper.service.face import Answer, Face, Saying
from gatekeeper.service.face_care import Upkeep
from gatekeeper.service.face_commissioning import Field, StepOffer
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change

#: How long a press waits for the core.
ANSWER_S = 2.0
#: Entries and looks that are remembered: hours of a quiet shop, minutes of a busy one. Ours.
MOST_ENTRIES, MOST_LOOKS = 20_000, 4_000
#: Entries that no step asks for.
_PASSED_OVER = frozenset({"tick", "sign"})
NO_ANSWER = Answer(False, "no_answer", "The controller did not answer within 2 s. Look at the page before you go on.")


class Watch:
    """Remembers what the record and the contacts said while a step is in hand. Fed from other threads."""

    def __init__(self) -> None:
        self.entries: deque[Entry] = deque(maxlen=MOST_ENTRIES)
        self.looks: deque[ContactSeen] = deque(maxlen=MOST_LOOKS)
        self._service: Service | None = None

    def listen_to(self, service: Service | None) -> None:
        """Listen to a service, or to none any more. What another one said is forgotten."""
        if service is self._service:
            return
        if self._service is not None:
            self._service.entry_tap = self._service.look_tap = None
        self._service = service
        self.entries.clear()
        self.looks.clear()
        if service is not None:
            service.entry_tap, service.look_tap = self._take, self.looks.append

    def _take(self, entry: Entry) -> None:
        if entry.kind not in _PASSED_OVER:
            self.entries.append(entry)


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a step ended; ``facts``: of the part as it is from now on, where the step itself wrote the file."""

    outcome: Outcome
    sentence: str
    figures: tuple[Figure, ...] = ()
    facts: Facts | None = None


@dataclass(frozen=True, slots=True)
class Turn:
    """What a press, or time, did.

    Args:
        answer: for whoever pressed.
        phase: where the step is now; None: where it was.
        memo: what is remembered from now on, where that changed.
        verdict: its end, written down at once.
        goes_on: the step stays in hand after its verdict, in ``phase``.
        closes: it is in hand no more, and what stands of it is written down already.
    """

    answer: Answer
    phase: str | None = None
    memo: Mapping[str, Any] | None = None
    verdict: Verdict | None = None
    goes_on: bool = False
    closes: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """A step as it is shown; see ``WalkView``."""

    prompt: Saying
    notes: tuple[str, ...] = ()
    live: tuple[tuple[str, str], ...] = ()
    fields: tuple[Field, ...] = ()
    offers: tuple[StepOffer, ...] = ()
    cautions: tuple[str, ...] = ()


class NotNow(Exception):
    """A press makes no sense now, or a step cannot be begun; the text is one plain sentence."""

    def __init__(self, sentence: str, code: str = "not_now") -> None:
        super().__init__(sentence)
        self.code = code


@dataclass(slots=True)
class Scene:
    """One instant.

    Args:
        service: the running service. core: its newest view.
        shop: the shop as its file says now. started: as it was when the service was started; the drivers know that.
        watch: what was said since the step was begun.
        face: asks the core.
        who: the door through which it is asked.
        by: who presses.
        upkeep: takes readings.
        write: writes changes into the shop's file. Raises CannotCalibrate.
        write_text: writes the file anew, where the whole text was made. Raises CannotCalibrate.
        file_said: why the file cannot be written, or None.
        isolated: motors whose disconnect somebody said is open, of late.
    """

    service: Service
    core: CoreView
    shop: Shop
    started: Shop
    watch: Watch
    face: Face
    who: Who
    by: str
    upkeep: Upkeep
    write: Callable[[Sequence[Change]], Shop]
    write_text: Callable[[str], Shop]
    file_text: Callable[[], str]
    file_said: str | None
    isolated: frozenset[str]
    note_isolated: Callable[[str, bool], None]

    @property
    def now_s(self) -> float:
        """The controller's clock."""
        return self.service.clock.now()

    @property
    def mark(self) -> int:
        """The last entry of the record."""
        return self.core.seq

    def gate(self, name: str) -> GateNow:
        """A gate as the core believes it."""
        return next(one for one in self.core.gates if one.name == name)

    def motor(self, name: str) -> MotorNow:
        """A motor as the core believes it."""
        return next(one for one in self.core.motors if one.name == name)

    def tool(self, name: str) -> ToolNow:
        """A machine as the core believes it."""
        return next(one for one in self.core.tools if one.name == name)

    def since(self, mark: int) -> list[Entry]:
        """What the record said after a mark; what an earlier run said is not among it."""
        return [entry for entry in tuple(self.watch.entries) if entry.seq > mark]

    def looks_since(self, t_s: float) -> list[ContactSeen]:
        """What the contacts said from an instant on."""
        return [look for look in tuple(self.watch.looks) if look.t_s >= t_s]

    def ask(self, what: RequestWhat, subject: str | None, *, for_s: float | None = None, why: str) -> Answer:
        """Ask the core, and wait for its answer."""
        asked: Future[Answer] = self.face.request(what, subject, self.who, for_s=for_s, text=f"{self.by}: {why}")
        try:
            return asked.result(ANSWER_S)
        except TimeoutError:
            return NO_ANSWER

    @property
    def may_start_motors(self) -> bool:
        """Whether a motor may be started through this door."""
        return self.who == "local" or self.shop.page.remote_start


class Way(Protocol):
    """How steps of one kind are walked."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """The first phase, and what is remembered from it. Raises: NotNow."""
        ...

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """The phase in which it goes on after a restart, in which nobody listened."""
        ...

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """What time and the record have brought; None: nothing new."""
        ...

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Take a press that was offered. Raises: NotNow."""
        ...

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """The step as it is now."""
        ...


def going_on(said: str, phase: str, memo: Mapping[str, Any]) -> Turn:
    """The step goes on in another phase."""
    return Turn(Answer(True, "goes_on", said), phase, memo)


def ended(verdict: Verdict) -> Turn:
    """The step has ended."""
    return Turn(Answer(True, verdict.outcome.value.replace(" ", "_"), verdict.sentence), verdict=verdict)


def passed(sentence: str, figures: Sequence[Figure] = ()) -> Verdict:
    """It did what it should."""
    return Verdict(Outcome.PASSED, sentence, tuple(figures))


def failed(sentence: str, figures: Sequence[Figure] = ()) -> Verdict:
    """It did not do what it should."""
    return Verdict(Outcome.FAILED, sentence, tuple(figures))


def refused(answer: Answer) -> Turn:
    """The core, or somebody else, said no; nothing changed here."""
    return Turn(answer)


def unknown_press(press: str) -> NotNow:
    """A press that is not offered now."""
    return NotNow(f"{press[:40]} is not offered now. Look at what is asked.", "not_offered")
