"""The page's view of a machine being calibrated, and what may be pressed meanwhile."""

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from gatekeeper.service.face_parts import Saying

#: ``begin`` listens; ``go_on``: the person has done what was asked, or leaves it out; ``write`` takes the proposal into
#: the shop's file; ``leave`` ends it and changes nothing.
CalibrationPress = Literal["begin", "go_on", "write", "leave"]


class CalibrationStep(Enum):
    """Where the walk is, in the order of its steps; the last two end it."""

    OFF_FIRST = "off first"
    SWITCH_ON = "switch on"
    RUN_FREE = "run free"
    CUT = "cut"
    SWITCH_OFF = "switch off"
    PROPOSED = "proposed"
    WRITTEN = "written"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class CurrentPoint:
    """One point of the picture.

    Args:
        ago_s: seconds before the newest point, 0 or more.
        current_a: RMS amperes of one mains cycle without the level at rest, 0 or more.
    """

    ago_s: float
    current_a: float


@dataclass(frozen=True, slots=True)
class CalibrationOffer:
    """A button of the walk: goes back to ``Face.calibrate`` with the machine's name."""

    press: CalibrationPress
    label: str


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """One walk through a calibration.

    Args:
        machine: the machine's name.
        step: where it is.
        prompt: what the person is to do now, or what came of it.
        ends: when the step ends by itself, and what then; None where it takes but a moment.
        notes: further sentences: what was measured, which wire it is, what is written where.
        live_a: the current now, RMS amperes without the level at rest; None before the first reading.
        place: whose current that is, in words ("channel 2 of clamp board").
        points: the current of the last half minute, oldest first.
        trip_a: the trip in force, amperes. proposed_a: the one that is proposed or written, or None.
        offers: what may be pressed now.
    """

    machine: str
    step: CalibrationStep
    prompt: str
    ends: Saying | None
    notes: tuple[str, ...]
    live_a: float | None
    place: str
    points: tuple[CurrentPoint, ...]
    trip_a: float
    proposed_a: float | None
    offers: tuple[CalibrationOffer, ...]
