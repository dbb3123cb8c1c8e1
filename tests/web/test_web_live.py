"""The shared drawing: of two threads that draw one page at the same time, the newer view stays."""

import threading

from fake_face import FakeFace
from shop_views import clearing, shop

from gatekeeper.service.face import BenchControl, ShopView
from gatekeeper.web.live import Live
from gatekeeper.web.markup import Html


def test_a_slow_drawing_of_an_older_view_never_replaces_a_newer_one() -> None:
    face = FakeFace(shop())
    drawing, go_on = threading.Event(), threading.Event()

    def draw(page: str, view: ShopView, controls: tuple[BenchControl, ...]) -> dict[str, Html]:
        if not drawing.is_set():
            drawing.set()
            assert go_on.wait(30)
        return {"top": Html(view.sentence.text)}

    live = Live(face, None, draw)
    slow = threading.Thread(target=live._redraw, args=("shop",))
    slow.start()
    assert drawing.wait(30)
    face.show(clearing(50))
    quick = threading.Thread(target=live._redraw, args=("shop",))
    quick.start()
    go_on.set()
    slow.join(30)
    quick.join(30)
    assert live._drawn["shop"].parts["top"] == clearing(50).sentence.text
