"""The page tells how fast a drive that follows the air runs, and why."""

import re
from dataclasses import replace

from shop_views import NOW_S, collector, shop

from gatekeeper.service.face import Saying
from gatekeeper.web.parts import runs


def drawn(said: Saying | None) -> str:
    view = replace(shop(), motors=(collector("on", True, reason=Saying("Runs for Planer."), speed=said),))
    return re.sub(r"<[^>]+>", "", str(runs(view)))


def test_speed_and_reason_stand_under_why_it_runs() -> None:
    text = drawn(Saying("62 %: the Planer needs no more; the air in Main keeps 21.0 m/s."))
    assert "Runs for Planer.Speed 62 %: the Planer needs no more; the air in Main keeps 21.0 m/s." in text


def test_the_time_until_it_slows_down_is_counted() -> None:
    text = drawn(Saying("100 %: for {time} more, then 62 %.", until_s=NOW_S + 12))
    assert "Speed 100 %: for 12\u202fs more, then 62 %." in text.replace("\xa0", "\u202f")


def test_a_motor_of_one_speed_says_nothing_of_it() -> None:
    assert "Speed" not in drawn(None)
