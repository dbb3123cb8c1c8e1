"""The frame of every page: head, links, the way back, and the stop bar that is always under the thumb."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import ShopView
from gatekeeper.web import parts, words

STATIC: Mapping[str, bytes] = {
    name: (files("gatekeeper.web") / "static" / name).read_bytes() for name in ("page.css", "page.js")
}
#: Changes with the files, so a phone never mixes an old script with a new page.
STAMP = hashlib.sha256(b"".join(STATIC.values())).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Visit:
    """What the frame of a page knows of the visitor.

    Args:
        path: the address of the page, for the way back.
        signed_in: may change things. can_sign_out: came with a PIN, not from the board itself.
        answer: what became of the last form, in one sentence.
        cautions_read: the cautions were read on this phone.
        can_commission: this controller's shop can be tried part by part from here.
        can_change_machines: machines can be added, moved and retired from here.
    """

    path: str = "/"
    signed_in: bool = False
    can_sign_out: bool = False
    answer: str | None = None
    cautions_read: bool = True
    can_commission: bool = False
    can_change_machines: bool = False


def live(name: str, drawn: Mapping[str, Html], tag: str = "section") -> Html:
    """The element that a live part fills; the stream finds it by its id."""
    return el(tag, {"id": name, "data-live": True}, drawn[name])


def frame(view: ShopView, title: str, page: str, visit: Visit, *content: Html | None) -> Html:
    """A whole page. ``page``: the name of its stream."""
    sign = (
        el("form", {"method": "post", "action": "/sign-out"}, el("button", {"class": "quiet"}, "Sign out"))
        if visit.can_sign_out
        else None
    )
    links = [
        ("/", "Shop"),
        ("/settings", "Settings"),
        ("/history", "History"),
        ("/care", "Care"),
        ("/cautions", "Cautions"),
    ]
    if not visit.signed_in:
        links.append(("/sign-in", "Sign in"))
    here = visit.path
    nav = el(
        "nav",
        {"aria-label": "Pages"},
        [el("a", {"href": path, "aria-current": "page" if path == here else None}, name) for path, name in links],
        sign,
    )
    beat = {"data-now": f"{view.now_s:.2f}", "data-page": page}
    return join(
        Html("<!doctype html>"),
        el(
            "html",
            {"lang": "en"},
            head(f"{title} · {view.name}"),
            el(
                "body",
                {**beat},
                el("a", {"class": "skip", "href": "#main"}, "To the content"),
                el("header", None, el("p", {"class": "shop"}, view.name), nav),
                el("p", {"id": "news", "hidden": True}, ""),
                el(
                    "p",
                    {"class": "unscripted soft"},
                    f"As of {words.clock(view.wall_s)}. This page stands still without scripts. ",
                    el("a", {"href": here}, "Read it again"),
                ),
                el("p", {"id": "spoken", "class": "hush", "role": "status"}, ""),
                el("main", {"id": "main", "tabindex": -1}, *content),
                _stop_bar(view, visit),
            ),
        ),
    )


def head(title: str) -> Html:
    """The head of any page of ours."""
    return el(
        "head",
        None,
        el("meta", {"charset": "utf-8"}),
        el("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        el("meta", {"name": "color-scheme", "content": "light dark"}),
        el("link", {"rel": "icon", "href": "data:,"}),
        el("link", {"rel": "stylesheet", "href": f"/page.css?{STAMP}"}),
        el("script", {"src": f"/page.js?{STAMP}", "defer": True}),
        el("title", None, title),
    )


def _stop_bar(view: ShopView, visit: Visit) -> Html:
    return el(
        "footer",
        {"aria-label": "Stop"},
        el("p", {"id": "answer", "role": "status"}, visit.answer or ""),
        live("stops", {"stops": parts.stops(view)}, "div"),
        el(
            "form",
            {"method": "post", "action": "/stop", "id": "stop"},
            el("button", {"class": "stop", "aria-describedby": "stop-limit"}, "Stop dust collector"),
        ),
        el("p", {"id": "stop-limit"}, "does not stop any machine"),
    )


def refused(title: str, sentence: str) -> Html:
    """A refusal as a page of one sentence."""
    return join(
        Html("<!doctype html>"),
        el(
            "html",
            {"lang": "en"},
            head(title),
            el(
                "body",
                None,
                el(
                    "main",
                    None,
                    el("h1", None, sentence),
                    el("p", {"class": "target"}, el("a", {"href": "/"}, "To the shop's page")),
                ),
            ),
        ),
    )
