"""Ducts that cannot be solved stop neither the controller nor the laptop with a traceback."""

from dataclasses import replace
from pathlib import Path

import pytest

from gatekeeper.devices.pins import open_pins
from gatekeeper.layout.commands import LayoutTrouble, airflow_answer, layout_answer
from gatekeeper.service.running import Service
from gatekeeper.service.wiring_sensors import bank_for
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

SAID = 'the duct "riser" has a length, a roughness or a loss below 0'


@pytest.fixture
def shop() -> Shop:
    """A shop with a duct that no file can have: only a fault of ours makes one."""
    loaded = load_shop(examples.example("garage-one-collector").read_text(encoding="utf-8"), "garage")
    assert isinstance(loaded, Shop)
    return replace(loaded, ducts={**loaded.ducts, "riser": replace(loaded.ducts["riser"], loss=-1.0)})


def test_the_controller_runs_on_without_a_table_and_says_so(shop: Shop, tmp_path: Path) -> None:
    service = Service(shop, open_pins("mock"), tmp_path, open_bank=bank_for("mock"))
    service.start()
    try:
        assert dict(service.troubles().sentences)["air"] == f"The air in the ducts was not computed: {SAID}."
        assert (service.plan.air, service.air_systems) == ({}, {})
        assert service.plan.gates["saw gate"].clear_s == shop.gates["saw gate"].clear_s
    finally:
        service.stop()


def test_the_commands_answer_with_one_sentence(shop: Shop) -> None:
    with pytest.raises(LayoutTrouble) as refused:
        airflow_answer(shop, "garage", [], as_json=False)
    assert str(refused.value) == f"garage: {SAID}."
    with pytest.raises(LayoutTrouble) as refused:
        layout_answer([(shop, "garage")], all_open=False, report=None, as_json=False)
    assert str(refused.value) == f"garage: {SAID}."
