"""One suction reading corrects the fan: the model then shows what the gauge showed."""

from dataclasses import replace

import pytest

from gatekeeper.airflow.solve import prepare
from gatekeeper.service.ducting import READ_ERROR, ducting_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop, SuctionReading

DUCT, OPEN = "main near", ("planer gate",)


def shop_of(text: str) -> Shop | Faults:
    return load_shop(text, "shop.yaml")


def garage(**motor: object) -> Shop:
    read = shop_of(example("garage-one-collector").read_text(encoding="utf-8"))
    assert not isinstance(read, Faults)
    return replace(read, motors={**read.motors, "collector": replace(read.motors["collector"], **motor)})  # type: ignore[arg-type]


def suction_pa(shop: Shop) -> float:
    network = ducting_of(shop, "collector").network
    return -prepare(network).solve(OPEN).ducts()[DUCT].static_downstream_pa


@pytest.mark.parametrize("share", [0.7, 1.0, 1.4])
def test_the_model_shows_what_the_gauge_showed(share: float) -> None:
    read_pa = share * suction_pa(garage())
    corrected = garage(suction_reading=SuctionReading(DUCT, read_pa, OPEN))
    assert suction_pa(corrected) == pytest.approx(read_pa, rel=1e-6)
    # A curve that was given stays a given one.
    assert ducting_of(corrected, "collector").fan_is_estimate is False


def test_an_estimate_keeps_a_smaller_error_after_a_reading() -> None:
    guessed = garage(fan_curve=())
    before = ducting_of(guessed, "collector").network.fan
    assert before.error > READ_ERROR
    read_pa = 1.2 * suction_pa(guessed)
    after = ducting_of(garage(fan_curve=(), suction_reading=SuctionReading(DUCT, read_pa, OPEN)), "collector")
    assert after.network.fan.error == READ_ERROR
    assert after.fan_is_estimate
    assert max(after.network.fan.pressures_pa) > max(before.pressures_pa)


def test_a_reading_by_the_fans_own_curve_changes_nothing() -> None:
    plain = garage()
    same = garage(suction_reading=SuctionReading(DUCT, suction_pa(plain), OPEN))
    assert ducting_of(same, "collector").network.fan.pressures_pa == pytest.approx(
        ducting_of(plain, "collector").network.fan.pressures_pa, rel=1e-6
    )


def test_it_is_written_in_the_shop_file() -> None:
    text = example("garage-one-collector").read_text(encoding="utf-8")
    line = "    suction_reading: {duct: main near, suction: 6 in wg, open: [planer gate, saw gate]}\n"
    read = shop_of(text.replace("    spin_down: 8 s\n", "    spin_down: 8 s\n" + line, 1))
    assert not isinstance(read, Faults)
    assert read.motors["collector"].suction_reading == SuctionReading(
        "main near", pytest.approx(6 * 249.089, rel=1e-3), ("planer gate", "saw gate")
    )


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("{duct: moon main, suction: 6 in wg, open: planer gate}", '"moon main" is none of the ducts of this shop'),
        ("{duct: main near, suction: 6 in wg, open: moon gate}", '"moon gate" is none of the gates of this shop'),
        ("{duct: main near, suction: 6 cfm, open: planer gate}", '"cfm" in "6 cfm" is not a unit of pressure here'),
        ("{duct: main near, open: planer gate}", 'the key "suction" is missing here'),
    ],
)
def test_a_wrong_reading_is_a_fault_with_its_place(written: str, said: str) -> None:
    text = example("garage-one-collector").read_text(encoding="utf-8")
    read = shop_of(text.replace("    spin_down: 8 s\n", f"    spin_down: 8 s\n    suction_reading: {written}\n", 1))
    assert isinstance(read, Faults)
    assert len(read.each) == 1
    assert read.each[0].said.startswith(said)
    assert read.each[0].path[:3] == ("motors", "collector", "suction_reading")
