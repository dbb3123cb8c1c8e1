"""Letting a broker's commands in from the settings page, for a time; and keeping them out again."""

from fastapi import FastAPI, Request
from fastapi.responses import Response

from gatekeeper.markup import Html, el
from gatekeeper.service.face_broker import BrokerDoor
from gatekeeper.web.answers import Said, answered, form_of
from gatekeeper.web.asking import number
from gatekeeper.web.door import DoorSettings, Refusal, Refused, in_own_network
from gatekeeper.web.door_front import client_of, reached
from gatekeeper.web.door_rights import Right
from gatekeeper.web.entering import Entrance, address_of
from gatekeeper.web.routes import add_routes

NO_BROKER = Refusal(404, "no_broker", "No broker may send commands in this shop.")
NO_TIME = Refusal(400, "no_time", "The request cannot be read. Send it again from the page.")
NOT_IN_THE_SHOP = Refusal(403, "not_in_the_shop", "Commands are let in from the shop's own network only.")
#: The form's word for no more.
END = "end"


class BrokerRoutes:
    """The handler, and the part of the settings page that asks it.

    Args:
        broker: gives and takes leave; None where the shop's file lets no command in.
        entrance: who may what.
        said: sentences on their way to a page.
        settings: the door's, for the shop's own network.
    """

    def __init__(self, broker: BrokerDoor | None, entrance: Entrance, said: Said, settings: DoorSettings) -> None:
        self._broker, self._entrance, self._said, self._settings = broker, entrance, said, settings

    def add_to(self, app: FastAPI) -> None:
        """Register the address."""
        add_routes(app, {}, {"/broker": self.press})

    async def press(self, request: Request) -> Response:
        """Leave is given only by whoever may change settings and sits in the shop; it is taken by whoever may ask."""
        if self._broker is None:
            raise Refused(NO_BROKER)
        too_often = self._entrance.refuse_too_often(request)
        if too_often is not None:
            raise Refused(too_often)
        word = (await form_of(request)).get("for_s", "")
        refused = self._entrance.refuse_below(request, Right.AIR if word == END else Right.SETTINGS)
        if refused is not None:
            return refused
        by = f"the page, from {address_of(request)}"
        if word == END:
            return answered(request, self._broker.keep_out(by), self._said)
        if not in_own_network(client_of(request), reached(request), self._settings.subnets):
            raise Refused(NOT_IN_THE_SHOP)
        for_s = number(word)
        if for_s is None:
            raise Refused(NO_TIME)
        return answered(request, self._broker.let_in(for_s, by), self._said)

    def part(self) -> Html | None:
        """What is so, and the presses; nothing where there is no such broker."""
        if self._broker is None:
            return None
        view = self._broker.view()
        return el(
            "section",
            {"id": "broker"},
            el("h2", None, view.title),
            el("p", None, view.sentence),
            el("p", {"class": "soft"}, view.caution),
            el(
                "div",
                {"class": "offers"},
                _press(END, "Keep them out") if view.can_end else None,
                [_press(f"{for_s:g}", label) for for_s, label in view.offers],
            ),
        )


def _press(word: str, label: str) -> Html:
    return el(
        "form",
        {"method": "post", "action": "/broker"},
        el("input", {"type": "hidden", "name": "for_s", "value": word}),
        el("button", {"class": "quiet"} if word != END else None, label),
    )
