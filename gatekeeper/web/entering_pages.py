"""What the page shows of its door: where the PIN is typed, who has signed in, and another PIN."""

import time
from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.web.door_sessions import Session
from gatekeeper.web.entering import ALL_PHONES
from gatekeeper.web.frame import head


def sign_in_form(back: str, said: str | None, *, two_pins: bool, is_closed: bool = False, is_new: bool = False) -> Html:
    """The form for the PIN.

    Args:
        back: where it leads afterwards.
        said: why somebody was sent here.
        two_pins: there is one for air alone.
        is_closed: looking needs it, too.
        is_new: a new shop is asked for; there is nothing to stop yet.
    """
    free = "Stopping the dust collector from inside the shop needs none."
    if not is_closed:
        free = "Reading, and stopping the dust collector from inside the shop, need none."
    if is_new:
        free = "Looking needs none. It is shown where the program was started."
    opens = (
        "The PIN lets this phone look and change things. " if is_closed else "The PIN lets this phone change things. "
    )
    if two_pins:
        opens += "There are two: one for asking for air, one for settings and release as well. "
    return join(
        el("h1", None, "Sign in"),
        el("p", {"role": "status"}, said) if said else None,
        el("p", None, opens + free),
        el(
            "form",
            {"method": "post", "action": "/sign-in", "class": "pin"},
            el("input", {"type": "hidden", "name": "back", "value": back}),
            *_digits("pin", "PIN", "current-password"),
            el("button", None, "Sign in"),
        ),
    )


def closed(back: str, said: str | None, *, two_pins: bool) -> Html:
    """What somebody sees who may not look: where the PIN is typed, and the stop that is everybody's."""
    return join(
        Html("<!doctype html>"),
        el(
            "html",
            {"lang": "en"},
            head("Sign in"),
            el(
                "body",
                None,
                el("main", {"id": "main"}, sign_in_form(back, said, two_pins=two_pins, is_closed=True)),
                el(
                    "footer",
                    {"aria-label": "Stop"},
                    el(
                        "form",
                        {"method": "post", "action": "/stop", "id": "stop"},
                        el("button", {"class": "stop", "aria-describedby": "stop-limit"}, "Stop dust collector"),
                    ),
                    el("p", {"id": "stop-limit"}, "does not stop any machine"),
                ),
            ),
        ),
    )


def door_part(phones: Sequence[Session] | None, own: str | None, *, pin_in_file: bool) -> Html:
    """The part of the settings about signed-in phones and the PIN.

    Args:
        phones: those that are signed in; None for a visitor who may not see them.
        own: the handle of the visitor's own.
        pin_in_file: the PIN stands in the shop's file.
    """
    if phones is None:
        told = "Sign in with the PIN for settings to see which phones are signed in, and to change the PIN."
        return el("section", {"id": "door"}, el("h2", None, "Signed-in phones"), el("p", None, told))
    return el(
        "section",
        {"id": "door"},
        el("h2", None, "Signed-in phones"),
        el("ul", {"class": "cards"}, [_phone(one, is_own=one.handle == own) for one in phones])
        if phones
        else el("p", None, "No phone is signed in."),
        _sign_out(ALL_PHONES, "Sign every phone out") if phones else None,
        el("h2", None, "PIN"),
        _in_file() if pin_in_file else _another_pin(),
    )


def _phone(one: Session, *, is_own: bool) -> Html:
    where = f", from {one.address}" if one.address else ""
    return el(
        "li",
        {"class": "card"},
        el("p", {"class": "what"}, el("b", None, "This phone" if is_own else "A phone"), f": may {one.right.words}."),
        el("p", None, f"Signed in since {_day(one.since_wall_s)}. Seen last {_day(one.seen_wall_s)}{where}."),
        el("div", {"class": "offers"}, _sign_out(one.handle, "Sign this one out")),
    )


def _sign_out(handle: str, label: str) -> Html:
    return el(
        "form",
        {"method": "post", "action": "/phones"},
        el("input", {"type": "hidden", "name": "phone", "value": handle}),
        el("button", {"class": "quiet"}, label),
    )


def _in_file() -> Html:
    return el(
        "p",
        None,
        "The PIN stands in the shop's file (page: pin); change it there. A changed PIN signs every phone out.",
    )


def _another_pin() -> Html:
    return join(
        el("p", None, "A changed PIN signs every phone out, this one too. 6 to 8 digits."),
        el(
            "form",
            {"method": "post", "action": "/pin", "class": "pin"},
            *_digits("pin", "PIN as it is now", "current-password", mark="pin-now"),
            *_digits("new", "New PIN", "new-password", mark="pin-new"),
            el("button", None, "Change the PIN"),
        ),
    )


def _digits(name: str, label: str, kind: str, mark: str = "pin") -> tuple[Html, Html]:
    shown: dict[str, str | int | bool] = {
        "id": mark,
        "name": name,
        "type": "password",
        "inputmode": "numeric",
        "autocomplete": kind,
        "maxlength": 12,
        "required": True,
    }
    return el("label", {"for": mark}, label), el("input", {**shown})


def _day(wall_s: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(wall_s))
