"""The record of commissioning on the disk: results, the step in hand, and which motors somebody isolated.

One file that is only ever added to, in the form of the care log: each line with a check sum, durable when written, so a
power cut in mid-step loses nothing that was called done. A backup holds it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from gatekeeper.commissioning.plan import steps_of
from gatekeeper.commissioning.record import Going, Result, Standing
from gatekeeper.commissioning.steps import Outcome, Stage, Step
from gatekeeper.commissioning.words import BEFORE, TITLES, WHYS, how_far
from gatekeeper.records.backup_form import COMMISSIONED
from gatekeeper.records.care_log import CareLog, Done
from gatekeeper.service.face_commissioning import (
    CommissioningRecord,
    RecordStage,
    RecordStep,
    ResultLine,
    StepState,
)
from gatekeeper.shop.model import Shop

_RESULT, _WALK, _ISOLATED, _JOINED = "result", "walk", "isolated", "joined"
_STATES = {
    Outcome.PASSED: StepState.PASSED,
    Outcome.FAILED: StepState.FAILED,
    Outcome.LEFT_OUT: StepState.LEFT_OUT,
}


@dataclass(frozen=True, slots=True)
class Book:
    """Everything that was kept.

    Args:
        results: oldest first.
        going: the step in hand, or None.
        isolated: by motor, when somebody said last that its disconnect is open (wall clock).
        unread: lines that could not be believed or understood.
    """

    results: tuple[Result, ...] = ()
    going: Going | None = None
    isolated: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    unread: int = 0


class KeptCommissioning:
    """The file of one shop. Any thread, any process.

    Args:
        folder: the state folder.
    """

    def __init__(self, folder: Path) -> None:
        self._log = CareLog(folder / COMMISSIONED)
        self._read: tuple[tuple[Done, ...], Book] | None = None

    def read(self) -> Book:
        """All of it; the same object until something is added."""
        lines = self._log.read()
        if self._read is None or self._read[0] is not lines:
            self._read = lines, _book(lines, self._log.torn)
        return self._read[1]

    def add(self, result: Result) -> None:
        """Write a result down. Raises: NotWrittenError."""
        self._log.add(Done(result.at_wall_s, _RESULT, result.key, result.by, result.as_kept()))

    def put(self, going: Going | None, by: str, at_wall_s: float) -> None:
        """Write down where the step in hand is; None: none is any more. Raises: NotWrittenError."""
        if going is None:
            self._log.add(Done(at_wall_s, _WALK, "", by))
        else:
            self._log.add(Done(at_wall_s, _WALK, going.key, going.by, going.as_kept()))

    def isolate(self, motor: str, is_open: bool, by: str, at_wall_s: float) -> None:
        """Somebody says that a motor's disconnect is open, or closed again. Raises: NotWrittenError."""
        self._log.add(Done(at_wall_s, _ISOLATED if is_open else _JOINED, motor, by))


def _book(lines: tuple[Done, ...], torn: int) -> Book:
    results: list[Result] = []
    going: Going | None = None
    isolated: dict[str, float] = {}
    unread = torn
    for line in lines:
        if line.what == _RESULT:
            result = Result.from_kept(line.subject, line.who, line.at_s, line.more)
            if result is None:
                unread += 1
            else:
                results.append(result)
        elif line.what == _WALK:
            going = Going.from_kept(line.subject, line.who, line.more) if line.subject else None
        elif line.what == _ISOLATED:
            isolated[line.subject] = line.at_s
        elif line.what == _JOINED:
            isolated.pop(line.subject, None)
        else:
            unread += 1
    return Book(tuple(results), going, MappingProxyType(isolated), unread)


def state_of(standing: Standing, step: Step) -> StepState:
    """How a step stands, but for being in hand."""
    last = standing.last(step)
    if last is None:
        return StepState.DUE
    return StepState.STALE if standing.changed(step) is not None else _STATES[last.outcome]


def counted(standing: Standing) -> tuple[int, int, str]:
    """How many steps are due, how many are done, and both in a sentence."""
    states = [state_of(standing, step) for step in standing.steps]
    due = sum(1 for state in states if state in (StepState.DUE, StepState.STALE))
    said = how_far(
        len(states),
        due,
        failed=states.count(StepState.FAILED),
        left_out=states.count(StepState.LEFT_OUT),
        stale=states.count(StepState.STALE),
    )
    return due, len(states) - due, said


def record_of(shop: Shop, folder: Path, made_wall_s: float) -> CommissioningRecord:
    """Every result of a shop, for printing; reads the folder only, so no controller needs to run.

    Args:
        shop: the shop as it is now.
        folder: the state folder.
        made_wall_s: now, by the wall clock.
    """
    return record_from(shop, KeptCommissioning(folder).read(), made_wall_s)


def record_from(shop: Shop, book: Book, made_wall_s: float) -> CommissioningRecord:
    """The same of a book that was read already."""
    standing = Standing(steps_of(shop), book.results)
    stages = []
    for stage in Stage:
        steps = tuple(_step(standing, step) for step in standing.steps if step.stage is stage)
        if steps:
            stages.append(RecordStage(TITLES[stage], WHYS[stage], steps))
    gone = []
    for results in standing.gone():
        lines = tuple(_line(result, stands=False) for result in results)
        gone.append(RecordStep(results[-1].key, results[-1].title, lines[-1].state, lines, is_gone=True))
    return CommissioningRecord(
        shop=shop.name,
        made_wall_s=made_wall_s,
        sentence=counted(standing)[2],
        before=BEFORE,
        stages=tuple(stages),
        gone=tuple(gone),
        damaged=book.unread,
    )


def _step(standing: Standing, step: Step) -> RecordStep:
    results = standing.results.get(step.key, [])
    stands = not standing.is_due(step)
    lines = tuple(_line(result, stands=stands and result is results[-1]) for result in results)
    return RecordStep(step.key, step.title, state_of(standing, step), lines)


def _line(result: Result, *, stands: bool) -> ResultLine:
    return ResultLine(
        state=_STATES[result.outcome],
        sentence=result.sentence,
        why=result.why,
        figures=tuple((one.what, one.value, one.against) for one in result.figures),
        by=result.by,
        at_wall_s=result.at_wall_s,
        stands=stands,
    )
