"""The commissioning of an invented shop at several moments, as the page must show it, and a fake with a record."""

from collections.abc import Mapping
from dataclasses import replace

from gatekeeper.service.face import Answer, Press, Saying
from gatekeeper.service.face_commissioning import (
    BEGIN,
    LEAVE_OUT,
    PUT_BY,
    CommissioningRecord,
    CommissioningView,
    Field,
    RecordStage,
    RecordStep,
    ResultLine,
    StageView,
    StepOffer,
    StepState,
    StepView,
    WalkView,
)

S = StepState
LEAVE = StepOffer(LEAVE_OUT, "Leave it out", fields=("why",))
BY = StepOffer(PUT_BY, "Put it by")
WHY = Field("why", "Why it is left out", "no ladder today")
BEFORE = (
    "Two people: one at the machine, one at the red button.",
    "Mains wiring is looked at by a licensed electrician first.",
)


def step(key: str, title: str, state: StepState = S.DUE, result: str | None = None) -> StepView:
    label = "Begin" if state is S.DUE else "Do it again"
    return StepView(key, title, state, result, () if state is S.NOW else (StepOffer(BEGIN, label),))


STAGES = (
    StageView(
        "tools",
        "Machines",
        "The contactor stays in Hand today. Each machine is switched on once, and the page must name it and no other.",
        (
            step("tools/Planer", "Planer: switch it on", S.PASSED, "Seen on channel 2. Ada, 2026-09-21 14:03."),
            step(
                "tools/Bandsaw", "Bandsaw: switch it on", S.FAILED, "Nothing was seen in 60 s. Ada, 2026-09-21 14:06."
            ),
            step("tools/Lathe", "Lathe: switch it on", S.LEFT_OUT, "Left out: no belt. Ada, 2026-09-21 14:07."),
        ),
    ),
    StageView(
        "gates",
        "Gates",
        "Each gate is moved by itself and timed. Nobody's hand is in a gate that moves.",
        (
            step("gates/Planer gate", "Planer gate: jog it and time it"),
            step("gates/Bandsaw gate", "Bandsaw gate: jog it and time it", S.STALE, "Open in 1.9 s. Ada, 2026-09-01."),
        ),
    ),
    StageView("suction", "Suction", "One reading corrects the estimate.", (step("suction/Collector", "Collector"),)),
)
IDLE = CommissioningView(
    STAGES,
    walk=None,
    next_key="gates/Planer gate",
    sentence="3 of 6 steps are done; 1 did not do what it should.",
    due=3,
    done=3,
    cautions=BEFORE,
    version=1,
)
FRESH = replace(
    IDLE,
    stages=tuple(replace(stage, steps=tuple(step(one.key, one.title) for one in stage.steps)) for stage in STAGES),
    next_key="tools/Planer",
    sentence="Nothing is tried yet: 6 steps.",
    due=6,
    done=0,
)
OVER = replace(IDLE, next_key=None, sentence="All 6 steps are done.", due=0, done=6)


def now(key: str, stage: str, title: str, prompt: str | Saying, **more: object) -> CommissioningView:
    """That step in hand."""
    walk = WalkView(
        key=key,
        stage=stage,
        title=title,
        number=4,
        prompt=prompt if isinstance(prompt, Saying) else Saying(prompt),
        notes=(),
        cautions=(),
        live=(),
        fields=(WHY,),
        offers=(LEAVE, BY),
    )
    stages = tuple(
        replace(
            one,
            steps=tuple(replace(s, state=S.NOW, offers=()) if s.key == key else s for s in one.steps),
        )
        for one in STAGES
    )
    return replace(IDLE, stages=stages, walk=replace(walk, **more), version=2)  # type: ignore[arg-type]


LOOKING = now(
    "tools/Planer",
    "tools",
    "Planer: switch it on",
    Saying("Switch Planer on now, and nothing else. Given up in {time}.", until_s=1060.0),
    live=(("Clamp board, channel 2", "0.02 A"), ("Clamp board, channel 3", "0.01 A"), ("Button at the bench", "open")),
    cautions=("Lock the disconnect of Collector: it could start by the wrong input.",),
)
JOG = now(
    "gates/Planer gate",
    "gates",
    "Planer gate: jog it and time it",
    "Stand where you see Planer gate, and keep its slot free.",
    cautions=("Nobody's hand, sleeve or tool is in the slot.",),
    live=(("Planer gate", "shut"),),
    offers=(
        StepOffer("open", "Open Planer gate", Press.HOLD, "This moves Planer gate. Keep its slot free."),
        StepOffer("shut", "Shut Planer gate", Press.HOLD, "This moves Planer gate. Keep its slot free."),
        LEAVE,
        BY,
    ),
)
READING = now(
    "suction/Collector",
    "suction",
    "Collector",
    "Read the gauge at the inlet with only Planer gate open.",
    live=(("Collector", "running, 14 s"), ("Planer gate", "open")),
    fields=(
        Field("suction", "Suction at the inlet, in water", "6.2"),
        Field("tap", "Where", "", "inlet", ("inlet", "main")),
        WHY,
    ),
    offers=(StepOffer("written", "Write it down", fields=("suction", "tap")), LEAVE, BY),
)
STATES = {"fresh": FRESH, "idle": IDLE, "looking": LOOKING, "jog": JOG, "reading": READING, "over": OVER}

RECORD = CommissioningRecord(
    "Invented shop",
    1_790_000_000.0,
    "3 of 6 steps are done; 1 did not do what it should.",
    ("This is what was tried and seen on the days that are named. Whoever inspects decides.",),
    (
        RecordStage(
            "Machines",
            STAGES[0].why,
            (
                RecordStep(
                    "tools/Planer",
                    "Planer: switch it on",
                    S.PASSED,
                    (
                        ResultLine(S.FAILED, "Nothing was seen.", None, (), "Ada", 1_789_990_000.0, stands=False),
                        ResultLine(
                            S.PASSED,
                            "Seen on channel 2 of clamp board.",
                            None,
                            (("Seen after", "0.06 s", "at most 0.10 s"), ("Current", "6.2 A", "")),
                            "Ada <b>",
                            1_789_995_000.0,
                            stands=True,
                        ),
                    ),
                ),
                RecordStep(
                    "tools/Bandsaw",
                    "Bandsaw: switch it on",
                    S.FAILED,
                    (ResultLine(S.FAILED, "Nothing was seen in 60 s.", None, (), "Ada", 1_789_995_600.0, stands=True),),
                ),
                RecordStep(
                    "tools/Lathe",
                    "Lathe: switch it on",
                    S.LEFT_OUT,
                    (ResultLine(S.LEFT_OUT, "Left out.", "no belt", (), "Ada", 1_789_995_900.0, stands=True),),
                ),
            ),
        ),
        RecordStage(
            "Gates",
            STAGES[1].why,
            (
                RecordStep("gates/Planer gate", "Planer gate: jog it and time it", S.DUE, ()),
                RecordStep(
                    "gates/Bandsaw gate",
                    "Bandsaw gate: jog it and time it",
                    S.STALE,
                    (
                        ResultLine(
                            S.PASSED,
                            "It reached both ends.",
                            None,
                            (("Open in", "1.9 s", "2.0 s in the file"),),
                            "Ada",
                            1_788_000_000.0,
                            stands=False,
                        ),
                    ),
                ),
            ),
        ),
    ),
    gone=(
        RecordStep(
            "tools/Jointer",
            "Jointer: switch it on",
            S.PASSED,
            (ResultLine(S.PASSED, "Seen.", None, (), "Ada", 1_788_000_000.0, stands=False),),
            is_gone=True,
        ),
    ),
    damaged=1,
)


class FakeCommissioning:
    """Hands out one view, and records what was pressed."""

    def __init__(self, view: CommissioningView = IDLE) -> None:
        self.shown = view
        self.asked: list[tuple[object, ...]] = []
        self.refuses: Answer | None = None

    def view(self) -> CommissioningView:
        return self.shown

    def press(
        self, key: str, press: str, by: str, values: Mapping[str, str] | None = None, number: int | None = None
    ) -> Answer:
        self.asked.append((key, press, by, dict(values or {}), number))
        return self.refuses or Answer(True, "ok", f"{key}: {press}.")

    def record(self) -> CommissioningRecord:
        return RECORD
