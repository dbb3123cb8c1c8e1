"""The shared drawing: of two threads that draw one page, the later one has the newer view."""

import threading

from fake_face import FakeFace
from shop_views import clearing, shop

from gatekeeper.markup import Html
from gatekeeper.service.face import BenchControl, ShopView
from gatekeeper.web.live import Live


def test_a_drawing_that_waited_for_its_turn_shows_the_view_of_its_turn() -> None:
    face = FakeFace(shop())

    def draw(page: str, view: ShopView, controls: tuple[BenchControl, ...]) -> dict[str, Html]:
        return {"top": Html(view.sentence.text)}

    live = Live(face, None, draw)
    with live._lock:  # somebody else draws
        waiting = threading.Thread(target=live._redraw, args=("shop",))
        waiting.start()
        face.show(clearing(50))
    waiting.join(30)
    assert live._drawn["shop"].parts["top"] == clearing(50).sentence.text
