"""The catalogue as a table: enough rows, each complete, and the page that is written from it."""

import math
import random
import re

from sim.catalogue import BY_NAME, CATALOGUE, PAGE, on, page
from sim.catalogue_row import Layer
from sim.half_hour import HALF_HOUR_S, with_faults
from sim.happening import What
from sim.made_shops import made_shop
from sim.plant_faults import PlantFault

REFUSED = re.compile(
    r"\b(safe|safely|compliant|certified|protected|explosion-proof|path|lease|guard|policy|believed)\b"
)


def test_there_are_more_than_sixty_rows_with_names_of_their_own() -> None:
    assert len(CATALOGUE) == len(BY_NAME) == 62
    assert len({row.outcome for row in CATALOGUE}) > 50


def test_every_row_is_whole() -> None:
    for row in CATALOGUE:
        assert row.layers, row.name
        assert row.rules, row.name
        assert all(re.fullmatch(r"C\d+a?", rule) for rule in row.rules), row.name
        assert row.outcome.endswith("."), row.name
        assert not row.breaks.endswith("."), row.name
        played = {Layer.SIGNALS, Layer.SAMPLES} & set(row.layers)
        assert (row.happens is not None) == (row.holds is not None) == bool(played), row.name


def test_the_words_are_those_of_the_trade() -> None:
    for row in CATALOGUE:
        said = " ".join((row.name, row.breaks, row.put_in, row.taken_away, row.outcome))
        assert REFUSED.search(said) is None, row.name


def test_every_fault_of_the_machinery_is_in_the_table() -> None:
    draw = random.Random(1)
    put = set()
    shops = [made_shop(seed) for seed in range(12)]
    for row in on(Layer.SIGNALS):
        for shop in shops:
            for subject in row.subjects(shop)[:1]:
                assert row.happens is not None
                found = row.happens(shop, subject, 10.0, math.inf, draw)
                put |= {one.value for one in found if one.what is What.FAULT}
    assert put == set(PlantFault)


def test_every_row_is_tried_on_the_service_itself() -> None:
    """On its own loop, wires, drivers and sensing, or as it runs with its threads and files; never on signals alone."""
    assert [row.name for row in CATALOGUE if not {Layer.SAMPLES, Layer.SERVICE} & set(row.layers)] == []


def test_the_page_is_the_table() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_a_half_hour_holds_its_faults_in_order() -> None:
    shop = made_shop(0)
    faults = [BY_NAME["stuck gate"], BY_NAME["power cut"]]
    happenings, puts = with_faults(shop, random.Random(3), faults)
    assert [put.fault.name for put in puts] == ["stuck gate", "power cut"]
    assert all(0.0 < put.from_s < HALF_HOUR_S for put in puts)
    assert [one.at_s for one in happenings] == sorted(one.at_s for one in happenings)
    assert {What.FAULT, What.MAINS, What.TOOL_ON, What.TOOL_OFF} <= {one.what for one in happenings}
