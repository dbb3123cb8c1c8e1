"""Commissioning as page, terminal and print see it: frozen views and one protocol, no logic. See ``face``.

A shop is tried part by part. Each part is a step with a ``key``; steps stand in stages, in the order of a walk. At most
one step is in hand at a time: it is the ``walk``. Everything in the views is finished: sentences are whole, and only
what makes sense now is offered. Whoever draws them sends back what was pressed and what stands in the fields.

Instants named ``_s`` lie on the controller's monotonic clock (``ShopView.now_s``), those named ``_wall_s`` are seconds
since 1970 and for people only.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from gatekeeper.service.face_parts import Answer, Saying
from gatekeeper.service.face_words import Press

#: Presses that every view may offer; a step has further ones of its own, which go back as they came.
BEGIN, LEAVE_OUT, PUT_BY = "begin", "leave_out", "put_by"


class StepState(Enum):
    """How a step stands.

    ``DUE``: not tried yet. ``NOW``: it is in hand. ``PASSED``, ``FAILED``: tried, and what was seen was, or was not,
    what should be. ``LEFT_OUT``: a person left it out and said why; it stays that way until it is tried.
    ``STALE``: it was tried, but that part of the shop was changed since, so it is due again.
    """

    DUE = "due"
    NOW = "now"
    PASSED = "passed"
    FAILED = "failed"
    LEFT_OUT = "left out"
    STALE = "due again"


@dataclass(frozen=True, slots=True)
class StepOffer:
    """A button: ``press`` goes back to ``Commissioning.press`` with the step's key.

    Args:
        press: goes back unchanged.
        label: the verb on the button.
        how: ``HOLD`` for everything that may start a motor or move a gate.
        caution: a sentence shown beside the button and before it is pressed; None where nothing can go wrong.
        fields: names of the fields of the walk that go back with this press; they are drawn with its button.
    """

    press: str
    label: str
    how: Press = Press.TAP
    caution: str | None = None
    fields: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Field:
    """Something to fill in.

    Args:
        name: goes back as the key of the value.
        label: what is asked for, with its unit where it has one ("Resistance to ground, ohm").
        example: how it is written.
        value: what stands in it before somebody writes; often empty.
        choices: where it is picked from a list; empty where it is typed.
    """

    name: str
    label: str
    example: str
    value: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StepView:
    """One step.

    Args:
        key: which; stable over restarts ("gate/planer gate").
        title: what is tried ("Planer gate: jog it and time it").
        state: how it stands.
        result: what came of it last, whole sentences with who and when; None where it was never tried.
        offers: what may be pressed from the list (begin it, do it again); empty for the step in hand.
    """

    key: str
    title: str
    state: StepState
    result: str | None
    offers: tuple[StepOffer, ...] = ()


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage.

    Args:
        key: which ("tools", "inputs", "gates", "contactors", "stops", "bonding", "first start", "suction").
        title: its name for people.
        why: one or two sentences before one begins: what is proved here, and what must be so around the machine.
        steps: in the order in which they are walked.
    """

    key: str
    title: str
    why: str
    steps: tuple[StepView, ...]


@dataclass(frozen=True, slots=True)
class WalkView:
    """The step in hand.

    Args:
        key, stage, title: which.
        number: grows with every change of what is asked; goes back with the press, so that a second press, or one
            from an old screen, counts for nothing.
        prompt: what to do now, whole sentences; may hold a running time.
        notes: what is so, what was found so far, whole sentences.
        cautions: what must be so around the machine, whole sentences; always drawn.
        live: what is seen at this instant, as (what, its word) ("Red button at the door", "pressed").
        fields: what to fill in; each belongs to the offers that name it.
        offers: what may be pressed now.
    """

    key: str
    stage: str
    title: str
    number: int
    prompt: Saying
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    live: tuple[tuple[str, str], ...]
    fields: tuple[Field, ...]
    offers: tuple[StepOffer, ...]


@dataclass(frozen=True, slots=True)
class CommissioningView:
    """All of it at one instant.

    Args:
        stages: in the order of the walk; a stage that this shop has nothing for is not among them.
        walk: the step in hand, or None.
        next_key: the step that comes next in the order of the walk; None when nothing is due.
        sentence: how far it has come, one sentence ("9 of 24 are tried; 1 did not do what it should.").
        due: steps that are due or due again.
        done: steps that were tried or left out.
        cautions: what whoever walks reads first, whole sentences.
        version: changes whenever anything else in here but ``Saying`` times may have changed.
    """

    stages: tuple[StageView, ...]
    walk: WalkView | None
    next_key: str | None
    sentence: str
    due: int
    done: int
    cautions: tuple[str, ...]
    version: int


# ---------------------------------------------------------------- for printing


@dataclass(frozen=True, slots=True)
class ResultLine:
    """One result as it was written down; it is never changed afterwards.

    Args:
        state: ``PASSED``, ``FAILED`` or ``LEFT_OUT``.
        sentence: what was seen.
        why: why it was left out, in the person's words; None otherwise.
        figures: what was measured, as (what, figure with its unit, where it was to be compared: with what, else empty).
        by: who did it.
        at_wall_s: when.
        stands: it is the last one of its step, and that part of the shop is as it was.
    """

    state: StepState
    sentence: str
    why: str | None
    figures: tuple[tuple[str, str, str], ...]
    by: str
    at_wall_s: float
    stands: bool


@dataclass(frozen=True, slots=True)
class RecordStep:
    """One step with every result that it ever had, oldest first; ``is_gone``: the shop has this part no more."""

    key: str
    title: str
    state: StepState
    results: tuple[ResultLine, ...]
    is_gone: bool = False


@dataclass(frozen=True, slots=True)
class RecordStage:
    """The steps of one stage."""

    title: str
    why: str
    steps: tuple[RecordStep, ...]


@dataclass(frozen=True, slots=True)
class CommissioningRecord:
    """Everything that was tried in a shop, ready to be printed.

    Args:
        shop: the shop's name.
        made_wall_s: when this was put together.
        sentence: how far it has come.
        before: what stands above the tables, whole sentences (who decides; what this record is and is not).
        stages: in the order of the walk.
        gone: steps of parts that the shop has no more.
        damaged: lines of the record that could not be read; 0 as a rule.
    """

    shop: str
    made_wall_s: float
    sentence: str
    before: tuple[str, ...]
    stages: tuple[RecordStage, ...]
    gone: tuple[RecordStep, ...]
    damaged: int


class Commissioning(Protocol):
    """The commissioning of one running shop. Every method may read and write files: call it from a worker thread."""

    def view(self) -> CommissioningView:
        """How everything stands, at this instant; ask again once a second while a step is in hand."""
        ...

    def press(
        self, key: str, press: str, by: str, values: Mapping[str, str] | None = None, number: int | None = None
    ) -> Answer:
        """Take one press.

        Args:
            key: the step's. press: of an offer. by: who does it, as the person calls themselves; never empty.
            values: what stands in the fields, by name; unknown names are passed over.
            number: ``WalkView.number`` of the screen that was pressed; None only for a press from the list.

        Returns:
            Whether it was taken, and one sentence. What is called done is on the disk.
        """
        ...

    def record(self) -> CommissioningRecord:
        """Every result, for printing."""
        ...
