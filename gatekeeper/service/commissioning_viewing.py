"""Commissioning as it is shown: stages, steps and the step in hand, made of what stands and of what a step shows."""

from gatekeeper.commissioning.record import Going, Standing
from gatekeeper.commissioning.steps import Kind, Stage, Step
from gatekeeper.commissioning.words import TITLES, WHYS
from gatekeeper.service.calibration_asking import day_and_time
from gatekeeper.service.commissioning_kept import state_of
from gatekeeper.service.commissioning_scene import Shown
from gatekeeper.service.face import Saying
from gatekeeper.service.face_commissioning import (
    BEGIN,
    LEAVE_OUT,
    PUT_BY,
    Field,
    StageView,
    StepOffer,
    StepState,
    StepView,
    WalkView,
)
from gatekeeper.service.running import Service
from gatekeeper.service.viewing_scene import cap

#: The field that every step has: why it is left out.
WHY = "why"


def walk_view(step: Step, going: Going, shown: Shown) -> WalkView:
    """The step in hand, with what may be pressed of every step."""
    why = Field(WHY, "Why it is left out", "not wired yet")
    general = (
        StepOffer(LEAVE_OUT, "Leave it out", fields=(WHY,)),
        StepOffer(PUT_BY, "Put it by"),
    )
    return WalkView(
        key=step.key,
        stage=step.stage.value,
        title=step.title,
        number=going.number,
        prompt=shown.prompt,
        notes=shown.notes,
        cautions=shown.cautions,
        live=shown.live,
        fields=(*shown.fields, why),
        offers=(*shown.offers, *general),
    )


def waking_view(step: Step, going: Going, said: str) -> WalkView:
    """The step in hand while nothing can be pressed yet."""
    return WalkView(step.key, step.stage.value, step.title, going.number, Saying(said), (), (), (), (), ())


def held_said(service: Service, step: Step) -> str:
    """A gate that a step has held stays held when the step is left: whoever leaves must know."""
    gate = step.subject.rpartition(":")[2]
    core = service.last_view
    if step.kind not in (Kind.ENDS, Kind.CONTACT) or core is None:
        return ""
    is_held = any(one.name == gate and one.worked for one in core.gates)
    return f" {cap(gate)} stays held until somebody presses Release." if is_held else ""


def stages_of(standing: Standing, in_hand: str | None) -> tuple[StageView, ...]:
    """Every stage that this shop has something for."""
    stages = []
    for stage in Stage:
        steps = [step for step in standing.steps if step.stage is stage]
        if steps:
            shown = tuple(_step_view(standing, step, is_in_hand=step.key == in_hand) for step in steps)
            stages.append(StageView(stage.value, TITLES[stage], WHYS[stage], shown))
    return tuple(stages)


def _step_view(standing: Standing, step: Step, *, is_in_hand: bool) -> StepView:
    state = state_of(standing, step)
    last = standing.last(step)
    label = "Begin" if last is None else "Try it anew"
    offers: tuple[StepOffer, ...] = () if is_in_hand else (StepOffer(BEGIN, label),)
    said = None
    if last is not None:
        why = f" Why: {last.why}." if last.why is not None else ""
        changed = standing.changed(step)
        said = f"{last.sentence}{why} {last.by}, {day_and_time(last.at_wall_s)}."
        said = f"{said} {changed}" if changed is not None else said
    return StepView(step.key, step.title, StepState.NOW if is_in_hand else state, said, offers)
