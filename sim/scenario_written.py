"""A scenario file as it is written: sections, keys and their meaning. The JSON Schema is generated from here.

Nothing refers to the shop yet: ``sim.scenario_links`` looks the names up. As in a shop file, keys have no alias and no
field is a union, so that every complaint leads to one place.
"""

from enum import Enum
from typing import Annotated, Any

from pydantic import Field

from gatekeeper.shop.fields import DaySpan, FreeText, Name, Names, choice, quantity, whole
from sim.expect import Being, Figure
from sim.plant_faults import PlantFault
from sim.scenario_fields import (
    CountSpan,
    DaySpans,
    ForTime,
    Length,
    Limit,
    Part,
    PerDay,
    TimeOfDay,
    TimeSpan,
    Weekdays,
    When,
)


def _key(said: str, default: Any = ..., **more: Any) -> Any:
    return Field(default, description=said, **more)


class Turned(Enum):
    """Where an input may be put, over all its kinds."""

    PRESSED = "pressed"
    PULLED_OUT = "pulled out"
    ALARM = "alarm"
    QUIET = "quiet"
    OPEN = "open"
    SHUT = "shut"
    HAND = "hand"
    OFF = "off"
    AUTO = "auto"


class Asked(Enum):
    """What a person may ask of the controller."""

    OPEN = "open"
    SHUT = "shut"
    HOLD = "hold"
    RELEASE = "release"
    AIR_HERE = "air here"
    RUN = "run"
    STOP = "stop"
    SWEEP = "sweep"
    FLUSH = "flush"
    RESET = "reset"
    CLEAR = "clear"
    OUT_OF_SERVICE = "out of service"
    BACK_IN_SERVICE = "back in service"
    STOPPED = "stopped"
    STILL_RUNNING = "still running"


class Door(Enum):
    """Through which door a request comes in."""

    LOCAL = "controller"
    PAGE = "page"
    BUTTON = "button"
    BROKER = "broker"


class Board(Enum):
    """What befalls the controller."""

    POWER_CUT = "power cut"
    POWER_BACK = "power back"
    PLUG_OUT = "plug out"
    PLUG_IN = "plug in"
    KILLED = "killed"
    STARTED = "started"
    ENDED = "ended"
    STANDS_STILL = "stands still"


class HeadPart(Part):
    """What the scenario is about."""

    name: FreeText = _key("What happens, in a few words.")
    shop: FreeText | None = _key("The shop it was written for: a file, or the name of an example shop.", None)
    begins: TimeOfDay | None = _key("Time of day at the beginning, such as 8:00. Default 8:00.", None)
    lasts: Length | None = _key("How long it is played. Default: a minute longer than what happens.", None)


class HappensPart(Part):
    """One thing that happens from outside: when, and one of starts, stops, breaks, mends, asks, sets, input, pulls and
    controller.
    """

    at: When = _key("When: 12 s, 1 min 30 s, or a time of day such as 8:05 or day 2 8:05.")
    every: ForTime | None = _key("With times: it happens again after this time.", None)
    times: Annotated[int, whole(2, 5000)] | None = _key("With every: how often it happens in all.", None)
    lasting: ForTime | None = _key(
        "With starts, breaks, input or controller: undone after this time. With asks: for how long it is asked.", None
    )
    starts: Names | None = _key("The tool or tools that somebody switches on.", None)
    stops: Names | None = _key("The tool or tools that somebody switches off.", None)
    breaks: Name | None = _key("The gate, tool, motor, converter or feeder that breaks; how says what breaks.", None)
    mends: Name | None = _key("What is mended again: everything on it, or only what how says.", None)
    how: Annotated[PlantFault, choice(PlantFault)] | None = _key("With breaks or mends: such as stuck gate.", None)
    asks: Annotated[Asked, choice(Asked)] | None = _key("What a person asks of the controller.", None)
    about: Name | None = _key("With asks: the gate, tool or motor. Left out: the whole shop.", None)
    through: Annotated[Door, choice(Door)] | None = _key(
        "With asks: controller (the default), page, button or broker.", None
    )
    sets: Name | None = _key("The motor or tool whose spin-down delay is changed to spin_down.", None)
    spin_down: Annotated[float, quantity("time", "0 s", "30 min")] | None = _key("With sets: the new delay.", None)
    input: Name | None = _key("The input that somebody uses, or that speaks; to says how.", None)
    pulls: Name | None = _key("The gate that somebody moves by hand; to says where.", None)
    to: Annotated[Turned, choice(Turned)] | None = _key("With input or pulls: where it is put.", None)
    controller: Annotated[Board, choice(Board)] | None = _key(
        "What befalls the controller: a power cut of the whole shop, its plug, its program.", None
    )


class ExpectsPart(Part):
    """One thing that must be so: one of gate, motor and tool with must_be or never, or one of message, no_message,
    figure and motor_starts_apart.
    """

    by: When | None = _key("It becomes so at this time at the latest.", None)
    at: When | None = _key("It is so at this very time.", None)
    since: When | None = _key("From this time on. Default: from the beginning.", None)
    until: When | None = _key("Up to this time. Default: to the end.", None)
    gate: Name | None = _key("The gate that must_be or never is open or shut.", None)
    motor: Name | None = _key("The motor that must_be or never is running, off or still.", None)
    tool: Name | None = _key("The tool that must_be or never is running, off or collected.", None)
    must_be: Annotated[Being, choice(Being)] | None = _key(
        "What it is, in the shop itself: open, shut, running, off (no current), still, collected (it has its air).",
        None,
    )
    never: Annotated[Being, choice(Being)] | None = _key("What it is at no instant of that time.", None)
    message: FreeText | None = _key("A message that is raised: its code in words, such as gate stuck.", None)
    no_message: FreeText | None = _key(
        "A message that is not raised; alarm stands for every one of harm now, any for every one.", None
    )
    about: Name | None = _key("With message or no_message: what it is about.", None)
    figure: Annotated[Figure, choice(Figure)] | None = _key("A figure of the whole play that has a limit.", None)
    of: Name | None = _key("With figure: of this motor or tool alone.", None)
    at_most: Limit | None = _key("With figure: the limit, with its unit: 30, 200 g, 12 s, 2 kWh.", None)
    at_least: Limit | None = _key("With figure: the lower limit.", None)
    motor_starts_apart: ForTime | None = _key("No two motors start within this time.", None)


class HabitPart(Part):
    """How one tool is used."""

    jobs: PerDay = _key("Jobs at it: 2 to 5 a day. Each day draws its own number.")
    cuts: CountSpan = _key("Cuts in a job, such as 2 to 8.")
    cut: TimeSpan = _key("How long it runs for one cut: 5 s to 40 s. Short ones are more frequent than long ones.")
    pause: TimeSpan = _key("Between two cuts of a job: 5 s to 60 s.")


class PatternPart(Part):
    """A working day from which cuts are drawn. What is left out is as in the pattern that needs no file."""

    open: DaySpan | None = _key("When people work: 8:00 to 16:00.", None)
    breaks: DaySpans = _key("When nobody works: 10:00 to 10:15, or a list of such spans.", None)
    closed: Weekdays = _key("Days without work, such as Sunday, or a list.", None)
    days: Annotated[int, whole(1, 366)] | None = _key("How many days are played. Default 1.", None)
    people: Annotated[int, whole(1, 24)] | None = _key("How many people work at once.", None)
    tools: dict[str, HabitPart] = _key("How each tool is used. A tool that is not named stays off.", {})


class ScenarioFile(Part):
    """A scenario for a simulated shop: what happens, and what must be so."""

    scenario: HeadPart = _key("What it is about.")
    happens: list[HappensPart] = _key("What happens, in any order.", [])
    pattern: PatternPart | None = _key("Working days that are drawn from a pattern.", None)
    expects: list[ExpectsPart] = _key("What must be so.", [])
