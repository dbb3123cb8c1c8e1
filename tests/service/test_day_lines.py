"""The lines of a day: what happened at once to several parts for one cause is one line with their names."""

from gatekeeper.control.alarms import FAULTS
from gatekeeper.control.messages import Entry
from gatekeeper.records.history_reading import Dated
from gatekeeper.service.day_lines import lines

NOON_S = 1_790_000_000.0


def at(offset_s: float, kind: str, subject: str, value: object, why: str | None = None) -> Dated:
    return Dated(Entry(1, 1, offset_s, "boot", "run", kind, subject, value, why=why), NOON_S + offset_s)


def raised(offset_s: float, code: str, subject: str, what: str = "raised") -> Dated:
    value = {"what": what, "code": code, "heap": FAULTS[code].heap}
    return at(offset_s, "message", subject, value, FAULTS[code].happened.format(subject=subject, gate=subject))


def told(*dated: Dated) -> list[str]:
    return [line.sentence for line in lines(dated)]


def test_a_converter_that_falls_silent_is_one_line_and_not_sixteen() -> None:
    tools = [f"saw {number}" for number in range(1, 9)]
    dated = [at(0.0, "tool", tool, "stale") for tool in tools]
    dated += [raised(0.02, "sensor_lost", tool) for tool in tools]
    names = ", ".join(tools[:7]) + " and saw 8"
    assert told(*dated) == [f"The sensors of {names} say nothing that can be relied on."]


def test_one_sensor_is_one_line() -> None:
    assert told(at(0.0, "tool", "saw", "stale"), raised(0.02, "sensor_lost", "saw")) == [
        "The sensor of saw says nothing that can be relied on"
    ]


def test_what_happens_later_or_alone_is_told_by_itself() -> None:
    assert told(raised(0.0, "no_air", "saw"), raised(5.0, "no_air", "planer")) == [
        "Saw is cutting without air.",
        "Planer is cutting without air.",
    ]


def test_the_end_is_told_together_too() -> None:
    both = [raised(0.0, "no_air", "saw"), raised(0.1, "no_air", "planer")]
    over = [raised(9.0, "no_air", "saw", "cleared"), raised(9.0, "no_air", "planer", "cleared")]
    assert told(*both, *over) == [
        "Saw and planer are cutting without air.",
        "Over: Saw and planer are cutting without air.",
    ]


def test_two_gates_and_what_is_no_message_stay_as_they_are() -> None:
    held = [raised(0.0, "gate_held", "saw gate"), raised(0.0, "gate_held", "planer gate")]
    assert told(*held) == ["Saw gate is held.", "Planer gate is held."]
    assert told(at(0.0, "tool", "saw", "running"), at(0.0, "tool", "planer", "running")) == ["Saw runs", "Planer runs"]
