"""What page, terminal and print share about commissioning: its words, and finding one's way in a view."""

from gatekeeper.service.face_bench import BenchControl
from gatekeeper.service.face_commissioning import CommissioningView, StageView, StepState, StepView, WalkView

#: How a step stands, beside its title.
WORDS = {
    StepState.PASSED: "did what it should",
    StepState.FAILED: "did not do what it should",
    StepState.LEFT_OUT: "left out",
    StepState.DUE: "not tried",
    StepState.STALE: "due again",
    StepState.NOW: "in hand",
}


#: Presses that write down that something was not as it should be: drawn small, so that no thumb says so by chance.
FINDS_FAULT = frozenset(
    {"nothing", "stuck", "stands", "wrong", "wrong_way", "still", "short", "bad", "silent", "no_connection"}
)
#: Of what is seen the step is about the first; contacts that only must not change stand behind.
SPOKEN_OF = 3


def found(view: CommissioningView, key: str | None) -> tuple[StageView, StepView] | None:
    """A step and its stage; None where there is no such step."""
    return next(((stage, step) for stage in view.stages for step in stage.steps if step.key == key), None)


def is_about(walk: WalkView, control: BenchControl) -> bool:
    """Whether a part of a virtual shop's bench is one that the step in hand speaks of."""
    subject = control.key.rpartition(":")[2].casefold()
    spoken = (walk.key, walk.title, walk.prompt.text, *walk.notes, *(what for what, _ in walk.live[:SPOKEN_OF]))
    return any(subject in one.casefold() for one in spoken)


def capital(text: str) -> str:
    """A text at the head of a line."""
    return text[:1].upper() + text[1:]
