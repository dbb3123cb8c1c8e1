"""The press "I saw sparks" on the running service's face: with a reset key in the shop, and in a shop that has none."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.control.people import SPARKS_SEEN
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face import Offer, Press
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.viewing_scene import SPARKS_CAUTION, SPARKS_NO_RESET
from gatekeeper.service.viewing_sentence import SPARKS
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

#: Only guards against hanging.
DEADLINE_S = 30.0
SHOP = """shop: {name: Sparks, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 2.2 kW, phases: three, switched_by: {pin: GPIO17, when_board_dies: drops}}
  air cleaner:
    {kind: air cleaner, power: 0.2 kW, phases: single, switched_by: {pin: GPIO18, when_board_dies: drops}}
gates:
  saw gate: {diameter: 125 mm, servo: {pin: GPIO12}}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
"""
RESET = "inputs: {reset key: {kind: reset, pin: GPIO22}}\n"

Start = Callable[[str], ShopFace]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    made: list[tuple[Service, ShopFace]] = []

    def begin(text: str) -> ShopFace:
        clock = FastClock(4.0)
        pins = open_pins("mock", clock.now)
        shop = load_shop(text, "shop.yaml")
        assert not isinstance(shop, Faults), str(shop)
        service = Service(shop, pins, tmp_path, clock=clock, boot="boot")
        BenchPins(pins).drive(23, high=True)
        service.start()
        face = ShopFace(service)
        face.start()
        made.append((service, face))
        return face

    yield begin
    for service, face in made:
        service.stop()
        face.stop()


def offered(face: ShopFace) -> Offer | None:
    return next((offer for offer in face.view().offers if offer.what == "sparks"), None)


def pressed(face: ShopFace) -> str:
    answer = face.request("sparks", None, "page", address="192.168.1.23").result(DEADLINE_S)
    assert answer.accepted
    face.wait_for_change(face.view().version, 5.0)
    return answer.sentence


def seen(face: ShopFace, key: str) -> bool:
    for _ in range(100):
        if any(message.key == key for message in face.view().messages):
            return True
        face.wait_for_change(face.view().version, 0.5)
    return False


def test_with_a_reset_key_it_is_a_fire_and_says_before_the_press_how_it_ends(start: Start) -> None:
    face = start(SHOP + RESET)
    assert offered(face) == Offer("sparks", None, "I saw sparks", press=Press.HOLD, caution=SPARKS_CAUTION)
    assert pressed(face) == SPARKS_SEEN
    assert seen(face, "sparks:the shop")
    view = face.view()
    assert view.sentence.text == SPARKS
    assert offered(face) is None
    assert "reset" not in [offer.what for offer in view.offers]
    assert face.request("reset", None, "page").result(DEADLINE_S).code == "local_only"


def test_without_one_the_shop_is_out_of_service_and_comes_back_on_the_page(start: Start) -> None:
    face = start(SHOP)
    offer = offered(face)
    assert offer is not None
    assert offer.caution == SPARKS_NO_RESET
    assert pressed(face) == SPARKS_SEEN
    assert seen(face, "out_of_service:each")
    outs = {motor.name: motor.out_of_service for motor in face.view().motors}
    assert {name: (out.who, out.why) for name, out in outs.items() if out is not None} == {
        "fan": ("the page, from 192.168.1.23", "sparks were seen"),
        "air cleaner": ("the page, from 192.168.1.23", "sparks were seen"),
    }
    assert offered(face) is None
    assert face.request("back_in_service", None, "page").result(DEADLINE_S).accepted


def test_one_press_of_seen_is_told_of_every_message_that_was_folded(start: Start) -> None:
    face = start(SHOP)
    assert face.request("out_of_service", None, "page", text="Ada: belt").result(DEADLINE_S).accepted
    assert seen(face, "out_of_service:each")
    assert face.request("seen", "out_of_service:each", "page").result(DEADLINE_S).accepted
    for _ in range(100):
        (message,) = [one for one in face.view().messages if one.key == "out_of_service:each"]
        if message.seen:
            break
        face.wait_for_change(face.view().version, 0.5)
    assert message.seen
    assert set(message.stands_for) == {"out_of_service:fan", "out_of_service:air cleaner"}


def test_a_message_of_the_service_itself_can_be_seen(start: Start) -> None:
    face = start(SHOP)
    face._service.report("history_not_written", "The history is not being written: the card is full.")
    assert seen(face, "history_not_written:")
    assert face.request("seen", "history_not_written:", "page").result(DEADLINE_S).accepted
    for _ in range(100):
        (message,) = [one for one in face.view().messages if one.key == "history_not_written:"]
        if message.seen:
            break
        face.wait_for_change(face.view().version, 0.5)
    assert message.seen
    gone = face.request("seen", "not_kept:", "page").result(DEADLINE_S)
    assert (gone.accepted, gone.sentence) == (False, "That message no longer stands.")
