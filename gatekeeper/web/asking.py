"""What may be asked through the page, and how the fields of a form become a request."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from gatekeeper.service.face import CalibrationPress, Offer, Press, RequestWhat, ShopView
from gatekeeper.web.door import Refusal, Refused

#: Requests that start a motor: a hold of one second, a caution, and only where the shop's file allows them.
STARTS: frozenset[RequestWhat] = frozenset({"run", "air_here", "sweep", "flush"})
#: The longest time that can be asked for: a day.
_LONGEST_S = 24 * 3600.0
_LONGEST_TEXT = 200

CAUTION = (
    "This starts a motor that you may not see. Make sure that nobody has a hand in a gate, a duct, the bin or the fan."
)
BELOW_CAUTION = "This is shorter than the longest branch needs to clear. Chips may stay in the duct until the next cut."
NO_START = (
    "Starting from the page is switched off in the shop's file. Use the button at the machine, or just switch the "
    "machine on."
)
STARTS_OFF = Refusal(403, "starts_off", NO_START)
HOLD = Refusal(428, "hold", "Hold the button for one second.")
NO_SUCH_REQUEST = Refusal(400, "no_such_request", "The controller knows no such request. Send it again from the page.")
WRONG_TIME = Refusal(400, "wrong_time", "The time must be a number of seconds from 1 to 86400.")
LONG_TEXT = Refusal(400, "long_text", f"The text is too long. Use at most {_LONGEST_TEXT} characters.")
WHO_AND_WHY = Refusal(400, "who_and_why", "Say who takes it out of service, and why.")

_PRESSES: dict[str, CalibrationPress] = {word: word for word in get_args(CalibrationPress)}
_WORDS: dict[str, RequestWhat] = {word: word for word in get_args(RequestWhat)}


@dataclass(frozen=True, slots=True)
class Wish:
    """A request as the form says it, read and checked. ``offer``: the button that it came from, where it still is."""

    what: RequestWhat
    subject: str | None
    for_s: float | None
    text: str | None
    offer: Offer | None

    @property
    def ends(self) -> bool:
        """Whether it takes air that was asked for away again: nothing starts."""
        return self.what == "air_here" and self.for_s == 0

    @property
    def needs_hold(self) -> bool:
        """Whether a second press is needed when it was not held."""
        if self.ends:
            return False
        return self.what in STARTS or (self.offer is not None and self.offer.press is Press.HOLD)


def nobody(name: str) -> Refusal:
    """The refusal for a name that the shop does not have."""
    return Refusal(404, "no_such_name", f"There is no {name[:60]} in this shop.")


def out_of_range(subject: str, low_s: float, high_s: float) -> Refusal:
    """The refusal for a delay outside of its range."""
    sentence = f"The spin-down delay of {subject} can be {low_s:g} s to {high_s:g} s."
    return Refusal(400, "out_of_range", sentence)


def no_clamp(name: str) -> Refusal:
    """The refusal for a machine that cannot be calibrated."""
    return Refusal(404, "no_clamp", f"No clamp of this shop watches {name[:60]}, so there is nothing to calibrate.")


def calibration_press(view: ShopView, fields: Mapping[str, str]) -> tuple[str, CalibrationPress]:
    """The machine and the press that a form says.

    Raises:
        Refused: there is no such machine with a clamp, or no such press.
    """
    machine, press = fields.get("machine", ""), _PRESSES.get(fields.get("press", ""))
    if all(tool.name != machine or tool.trip_note is None for tool in view.tools):
        raise Refused(no_clamp(machine or "name"))
    if press is None:
        raise Refused(NO_SUCH_REQUEST)
    return machine, press


def subjects(view: ShopView) -> frozenset[str]:
    """Every name and message key that a request may be about."""
    names = [motor.name for motor in view.motors]
    names += [gate.name for gate in view.gates]
    names += [tool.name for tool in view.tools]
    names += [message.key for message in view.messages]
    return frozenset(names)


def _offers(view: ShopView) -> list[Offer]:
    found = list(view.offers)
    for holders in (view.motors, view.gates, view.tools, view.messages, view.attention):
        for holder in holders:
            found.extend(holder.offers)
    return found


def wish(view: ShopView, fields: Mapping[str, str]) -> Wish:
    """Read a form.

    Raises:
        Refused: with the sentence for the person.
    """
    what = _WORDS.get(fields.get("what", ""))
    if what is None:
        raise Refused(NO_SUCH_REQUEST)
    subject = fields.get("subject") or None
    if subject is not None and subject not in subjects(view):
        raise Refused(nobody(subject))
    ends = what == "air_here" and fields.get("for_s") in ("0", "0.0")
    if what in STARTS and not ends and not view.remote_start:
        raise Refused(STARTS_OFF)
    text = None
    if what == "out_of_service":
        by, why = _one_line(fields.get("by", "")), _one_line(fields.get("why", ""))
        if not by or not why:
            raise Refused(WHO_AND_WHY)
        text = f"{by}: {why}"
        if len(text) > _LONGEST_TEXT:
            raise Refused(LONG_TEXT)
    offer = next((one for one in _offers(view) if one.what == what and one.subject == subject), None)
    return Wish(what, subject, 0.0 if ends else _time_s(fields.get("for_s")), text, offer)


def _one_line(text: str) -> str:
    """What a person typed, on one line and without characters that cannot be seen."""
    return "".join(mark for mark in " ".join(text.split()) if mark.isprintable())


def _time_s(text: str | None) -> float | None:
    if not text:
        return None
    value_s = number(text)
    if value_s is None or not 1 <= value_s <= _LONGEST_S:
        raise Refused(WRONG_TIME)
    return value_s


def number(text: str) -> float | None:
    """A finite number, or None."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
