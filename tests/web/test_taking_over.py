"""What keeps a controller from being started anew from the page, and how long the wish for it waits."""

from dataclasses import replace

import pytest
from shop_views import shop as shop_view

from gatekeeper.service.face import GateWord, SensorWord, ShopView
from gatekeeper.taking_over import PATIENCE_S, TakeOver, in_the_way


def _with_motor(view: ShopView, **changed: object) -> ShopView:
    return replace(view, motors=(replace(view.motors[0], **changed), *view.motors[1:]))  # type: ignore[arg-type]


def _with_tool(view: ShopView, sensor: SensorWord) -> ShopView:
    return replace(view, tools=(*view.tools[:-1], replace(view.tools[-1], sensor=sensor)))


def _with_gate(view: ShopView, word: GateWord) -> ShopView:
    return replace(view, gates=(*view.gates[:-1], replace(view.gates[-1], word=word)))


AT_REST = shop_view()


@pytest.mark.parametrize(
    ("view", "why"),
    [
        (AT_REST, None),
        (_with_motor(AT_REST, runs=True), "Collector runs."),
        (_with_tool(AT_REST, SensorWord.RUNNING), f"{AT_REST.tools[-1].name} runs."),
        (_with_tool(AT_REST, SensorWord.LOST), f"The sensor of {AT_REST.tools[-1].name} says nothing, so it may run."),
        (_with_gate(AT_REST, GateWord.OPENING), f"{AT_REST.gates[-1].name} moves."),
        (_with_gate(AT_REST, GateWord.SHUTTING), f"{AT_REST.gates[-1].name} moves."),
        (_with_gate(AT_REST, GateWord.STUCK), None),
    ],
)
def test_what_runs_or_moves_is_in_the_way(view: ShopView, why: str | None) -> None:
    assert in_the_way(view) == why
    anew = TakeOver(lambda: view)
    later = None if why is None else f"{why} Once everything stands still, starting anew is offered here."
    assert anew.stays() == later
    assert anew.is_due() is False
    anew.ask()
    assert anew.is_due() is (why is None)
    assert anew.is_taken is (why is None)


def test_a_wish_waits_a_little_for_rest_and_is_dropped_then() -> None:
    now, clock_s = [_with_motor(AT_REST, runs=True)], [100.0]
    anew = TakeOver(lambda: now[0], lambda: clock_s[0])
    anew.ask()
    clock_s[0] += PATIENCE_S
    assert anew.is_due() is False
    now[0] = AT_REST
    assert anew.is_due() is True
    now[0] = _with_motor(AT_REST, runs=True)
    anew.ask()
    clock_s[0] += PATIENCE_S + 0.1
    assert anew.is_due() is False
    now[0] = AT_REST
    assert anew.is_due() is False
