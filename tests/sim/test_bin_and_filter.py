"""A shop with a bin and a filter contact, on the bench: an empty bin keeps nothing off, a full one the next start."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.demo import Demo
from gatekeeper.service.clock import FastClock
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.bench import VirtualBench
from sim.plant import VirtualShop

#: Only guards against hanging.
DEADLINE_S = 60.0


def with_a_bin(text: str) -> str:
    """The garage with both contacts, and a full bin that refuses the next start."""
    inputs = "\ninputs:\n  chip bin: {kind: bin full, pin: GPIO23}\n  gauge: {kind: filter pressure, pin: GPIO24}\n"
    care = "    spin_up: 3 s\n    care: {full_bin: refuses the next start}\n"
    return text.replace("\ninputs:\n", inputs, 1).replace("    spin_up: 3 s\n", care, 1)


def shop_with_a_bin() -> Shop:
    shop = load_shop(with_a_bin(example("garage-one-collector").read_text(encoding="utf-8")), "shop.yaml")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    made = Demo(shop_with_a_bin(), tmp_path, VirtualShop, VirtualBench, FastClock(4.0))
    made.start()
    yield made
    made.stop()


def until(demo: Demo, doors: tuple[str, ...]) -> None:
    ends_s = time.monotonic() + DEADLINE_S
    while True:
        core = demo._service.last_view
        if core is not None and core.awake and core.motors[0].doors == doors:
            return
        assert time.monotonic() < ends_s
        time.sleep(0.01)


def test_the_bench_fills_a_bin_and_empties_it(demo: Demo) -> None:
    until(demo, ())
    words = {
        control.key: (control.word, [choice.label for choice in control.choices]) for control in demo.bench.controls()
    }
    assert words["input:chip bin"] == ("not full", ["Fill it"])
    assert words["input:gauge"] == ("clean", ["Load it"])
    assert demo.bench.work("input:chip bin", "yes").accepted
    until(demo, ("chip bin",))
    assert demo.bench.work("input:chip bin", "no").accepted
    until(demo, ())


def test_a_day_is_played_as_without_a_bin(tmp_path: Path) -> None:
    """A sensor that nothing fills says made: no motor is kept off."""
    file = tmp_path / "shop.yaml"
    text = example("garage-one-collector").read_text(encoding="utf-8")
    file.write_text(with_a_bin(text), encoding="utf-8")
    said = [CliRunner().invoke(app, ["simulate", str(one), "--day"]).output for one in (file, "garage-one-collector")]
    with_bin, without = (next(line for line in one.splitlines() if "motor starts" in line) for one in said)
    assert with_bin == without
    assert " 0 motor starts" not in with_bin
