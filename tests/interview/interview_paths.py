"""Walking an interview by drawn answers: any that may be typed for a while, then those that lead to its end."""

from typing import Any

from hypothesis import strategies as st

from gatekeeper.interview.engine import Interview, NotUnderstood, Question

TYPED = {
    "name": ["Shed", "it's #1: a shed", "- x", "12"],
    "power": ["2 hp", "50 W", "25 hp", "1.5 kW", "26 hp"],
    "machine": ["lathe", "saw gate", "main 1", "a, b", "bench grinder", "1", "x" * 33],
    "length": ["0 m", "200 m", "3.5 m", "12 ft", "10"],
    "diameter": ["20 mm", "1 m", '6"', "2 1/2 in", "15 mm"],
    "inlet": ["20 mm", "1 m", "6 in"],
    "port": ["15 mm", "1 m", "50 mm"],
    "relief port": ["20 mm", "1 m"],
    "hose": ["0 ft", "20 m", "2 m"],
    "need": ["350 cfm", "5 m3/s", "-1 cfm"],
    "elbow": ["2 x 45 elbow", "3 x no elbow", "9 x 30"],
    "next": ["3.5 m", "12 ft", "201 m", "2 x 45 elbow", "60 elbow", "tee", "machine", "machine", "45 wye"],
    "motor name": ["south collector", "collector", "main 1", "x" * 33],
    "travel": ["2 s", "1 min", "50 ms"],
    "stall": ["2.5 A", "40 A"],
    "broker": ["192.168.1.5", "it's: here", "x" * 81],
    "commands to": ["shop/a", "a+b", "$x"],
    "states from": ["shop/a", "shop/b", "a#"],
    "drive command": ["0x2000", "70000", "8192"],
    "drive start": ["0x0001", "5"],
    "drive stop": ["0", "1", "0x5"],
    "drive status": ["0x2100", "x"],
    "drive running": ["1", "0x1 of 0x3", "4 of 3"],
    "drive line": ["/dev/ttyUSB1", "192.168.1.20", "/etc/x"],
    "drive silence": ["1 s", "1 min", "2 min"],
}
FREE_ANSWERS, MOST_ANSWERS = 45, 200
LEADING_OUT = {"at the collector": ["nothing more", "machine"], "next": ["machine"], "machine": ["m {}"]}


def walked(interview: Interview[Any], data: st.DataObject) -> Interview[Any]:
    """The interview answered to its end, every answer drawn."""
    for number in range(MOST_ANSWERS):
        question = interview.stand().question
        if question is None:
            return interview
        free = number < FREE_ANSWERS
        answers = _free(question, number) if free else _leading_out(question, number)
        answer = data.draw(st.sampled_from(answers)) if free else answers[0]
        try:
            interview = interview.answered(answer)
        except NotUnderstood:
            assert free, f"{answer} leads out of {question.said}"
    raise AssertionError(f"no end after {interview.answers[-12:]}")


def _free(question: Question, number: int) -> list[str]:
    answers = [*question.choices, *TYPED.get(question.about, []), "unknown"]
    if question.about == "machine":
        answers = [f"m {number}", *TYPED["machine"], "table saw"]
    return answers if question.default is None else ["", *answers]


def _leading_out(question: Question, number: int) -> list[str]:
    if question.about in LEADING_OUT:
        offered = [word.format(number) for word in LEADING_OUT[question.about]]
        return [word for word in offered if not question.choices or word in question.choices or " " in word[:2]]
    if question.default is not None:
        return [question.default]
    return TYPED.get(question.about, list(question.choices))


def told(interview: Interview[Any], **answers: str | list[str]) -> Interview[Any]:
    """The interview answered to its end: by the short words of its questions, their spaces as _, else by Enter.

    A list is answered in its order, and Enter after it.
    """
    left = {about.replace("_", " "): list(said) if isinstance(said, list) else said for about, said in answers.items()}
    for _ in range(MOST_ANSWERS):
        question = interview.stand().question
        if question is None:
            assert not any(said for said in left.values() if isinstance(said, list)), f"never asked: {left}"
            return interview
        said = left.get(question.about, "")
        interview = interview.answered((said.pop(0) if said else "") if isinstance(said, list) else said)
    raise AssertionError(f"no end after {interview.answers[-12:]}")
