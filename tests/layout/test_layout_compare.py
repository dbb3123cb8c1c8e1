"""Two layouts beside each other: which figure is better, and what only one of them has."""

from dataclasses import replace

from gatekeeper.layout.compare import Row, rows_of
from gatekeeper.layout.study import LayoutStudy, study_layout
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop


def study(name: str, wider_m: float | None = None) -> LayoutStudy:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    if wider_m is not None:
        planer = replace(shop.ducts["planer drop"], diameter_m=wider_m)
        shop = replace(shop, ducts={**shop.ducts, "planer drop": planer})
    return study_layout(shop, name)


def row(rows: list[Row], what: str) -> Row:
    return next(one for one in rows if one.what == what)


def test_a_wider_drop_is_better_in_flow_for_its_machine() -> None:
    rows = rows_of(study("garage-one-collector"), study("garage-one-collector", 0.127))
    planer = row(rows, "planer gets, cfm")

    assert planer.better == 2
    assert int(planer.first) < int(planer.second)
    assert row(rows, "jointer gets, cfm").better == 0
    assert row(rows_of(study("garage-one-collector", 0.127), study("garage-one-collector")), planer.what).better == 1


def test_what_one_layout_has_not_is_a_dash_and_neither_is_better() -> None:
    rows = rows_of(study("garage-one-collector"), study("one-evening"))

    assert row(rows, "jointer gets, cfm") == Row("jointer gets, cfm", "480", "-", 0)
    assert row(rows, "pairs with enough air") == Row("pairs with enough air", "9 of 15", "-", 0)


def test_a_machine_on_two_systems_has_a_row_for_each() -> None:
    what = {one.what for one in rows_of(study("long-narrow"), study("long-narrow"))}

    assert {"panel saw (collector) gets, m3/h", "panel saw (vacuum) gets, m3/h", "planer gets, m3/h"} <= what
