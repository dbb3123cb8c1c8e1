"""`gatekeeper commission` as a process of its own: on pins, on a virtual shop, beside a controller; its record."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parent))
from shop_process import DEADLINE_S, ShopProcess, until

from gatekeeper.cli import app
from gatekeeper.commissioning.words import TITLES

ROOT = Path(__file__).parents[2]
MOTOR, SAW = 17, 23
SHOP = """
shop: {name: Shed, mains: 50 Hz}
motors:
  fan: {power: 1.5 kW, starts_per_hour: 60 per hour, switched_by: {pin: GPIO17, when_board_dies: drops}}
feeders: {main: {gap: 0 s}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 200 ms}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
page: {port: {port}}
"""


class Typing:
    """The command, typed into as a person does: a word, then what it says to it."""

    def __init__(self, *command: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "gatekeeper", "commission", *command],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )
        self.said = ""
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said += line

    def hears(self, text: str) -> None:
        """Wait until it has said that."""
        until(lambda: text in self.said or self.process.poll() is not None, text)
        self._thread.join(0 if self.process.poll() is None else DEADLINE_S)
        assert text in self.said, self.said

    def type(self, line: str, hears: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        self.hears(hears)

    def ends(self) -> int:
        """The input ends; the exit status."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        status = self.process.wait(DEADLINE_S)
        self._thread.join(DEADLINE_S)
        return status

    def close(self) -> None:
        self.process.kill()
        self.process.wait(DEADLINE_S)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None and not pipe.closed:
                pipe.close()


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[ShopProcess]:
    made = ShopProcess(tmp_path, SHOP)
    made.contact(SAW, made=False)
    yield made
    made.close()


def on_pins(shed: ShopProcess, *more: str) -> Typing:
    where = str(shed.shop.parent / "pins")
    return Typing(str(shed.shop), "--pins", f"bank:{where}", "--state", str(shed.state), "--by", "Ada", *more)


@pytest.mark.slow
def test_on_pins_a_machine_is_seen_kept_and_gone_on_with_after_a_signal(shed: ShopProcess) -> None:
    typing = on_pins(shed)
    try:
        typing.hears("Next: Saw: seen when it runs (Enter begins it)")
        assert (
            f"Shed: running on bank:{shed.shop.parent / 'pins'}, without its page. State in {shed.state}."
            in typing.said
        )
        typing.type("", "1 It is so")
        typing.type("1", "Switch saw on now, and let it run for a few seconds.")
        shed.contact(SAW, made=True)
        typing.hears("Saw is seen. Switch it off.")
        until(lambda: shed.level(MOTOR) > 0.5, "the motor's relay")
        typing.process.send_signal(signal.SIGTERM)
        assert typing.process.wait(DEADLINE_S) == 1
        assert shed.level(MOTOR) < 0.5
        typing.hears(f"Stopped. What was done is kept in {shed.state}; the same command goes on.")
        assert typing.said.endswith(f"next: gatekeeper commission {shed.shop}\n")
    finally:
        typing.close()
    shed.contact(SAW, made=False)
    again = on_pins(shed)
    try:
        again.hears("Switch saw on now, and let it run for a few seconds.")  # the step was still in hand
        shed.contact(SAW, made=True)
        again.hears("Saw is seen. Switch it off.")
        shed.contact(SAW, made=False)
        again.hears("[x] Saw: seen when it runs: did what it should.")
        again.type("go 1", "1 It runs, and nothing is seen")
        again.type("leave it out", "Why it is left out (such as not wired yet):")
        again.type("no ladder", "Saw: seen when it runs: left out, and that stands in the record.")
        assert again.ends() == 1
    finally:
        again.close()
    done = CliRunner().invoke(app, ["commission", str(shed.shop), "--state", str(shed.state), "--json"])
    record = json.loads(done.output)
    assert [one["state"] for one in record["stages"][0]["steps"][0]["results"]] == ["passed", "left out"]
    assert record["stages"][0]["steps"][0]["results"][1]["why"] == "no ladder"


@pytest.mark.slow
def test_beside_a_running_controller_it_names_the_page(shed: ShopProcess) -> None:
    shed.start()
    typing = on_pins(shed)
    try:
        assert typing.ends() == 2
        assert typing.said == (
            f"Another controller (process {shed.process.pid if shed.process else 0}) already runs this shop from "
            f"{shed.state}. Stop that one first. Or walk on its own page: http://127.0.0.1:{shed.port}/commission\n"
        )
        status, page = shed.get("/commission")
        assert status == 200
        assert "Saw: seen when it runs" in page
    finally:
        typing.close()


@pytest.mark.slow
def test_a_virtual_shop_is_worked_from_its_bench_and_keeps_nothing() -> None:
    typing = Typing("garage-one-collector", "--pins", "virtual")
    try:
        typing.hears("Who tries it?")
        typing.type("  Ada  ", "Next: Table saw: seen when it runs (Enter begins it)")
        assert "a virtual shop under the real controller. Nothing of this is kept." in typing.said
        typing.type("", "1 It is so")
        typing.type("1", "Switch table saw on now, and let it run for a few seconds.")
        typing.type("bench", "b1 table saw (off): Switch on")
        typing.type("b1", "Table saw is seen. Switch it off.")
        typing.type("bench", "b1 table saw (running): Switch off")
        typing.type("b1", "[x] Table saw: seen when it runs: did what it should.")
        assert typing.ends() == 1
        assert typing.said.endswith(
            "1 of 39 is done.\nnext: gatekeeper commission garage-one-collector --pins virtual\n"
        )
    finally:
        typing.close()


# ---------------------------------------------------------------- the record


def test_the_record_is_written_without_a_controller(tmp_path: Path) -> None:
    out = tmp_path / "record.html"
    done = CliRunner().invoke(
        app, ["commission", "garage-one-collector", "--state", str(tmp_path / "none"), "--print", str(out)]
    )
    assert (done.exit_code, done.output) == (
        0,
        f"0 of 39 are done.\nThe record of Back-wall garage: {out}. Print it, sign it, keep it with the shop's book.\n",
    )
    page = out.read_text(encoding="utf-8")
    assert "<h1>0 of 39 are done.</h1>" in page
    assert page.count("<li>") - page.count("<svg") == 4  # three sentences above, one that counts what is to do
    assert page.count('class="box"') == 39
    assert "Not tried: 39 steps, listed below with an empty box." in page
    words = re.sub(r"<[^>]+>", " ", page).casefold()
    assert [word for word in ("approved", "compliant", " safe", "certified", "protected") if word in words] == []
    assert not (tmp_path / "none").exists()


def test_a_record_that_cannot_be_written_says_why(tmp_path: Path) -> None:
    out = tmp_path / "no" / "record.html"
    done = CliRunner().invoke(app, ["commission", "garage-one-collector", "--print", str(out)])
    assert done.exit_code == 2
    assert str(out) in done.output


def test_pins_that_there_are_not_are_refused(tmp_path: Path) -> None:
    done = CliRunner().invoke(
        app, ["commission", "garage-one-collector", "--pins", "wishful", "--state", str(tmp_path), "--by", "Ada"]
    )
    assert done.exit_code == 2
    assert "wishful" in done.output


def test_the_page_on_paper_has_every_stage_in_order() -> None:
    text = (ROOT / "hardware" / "commissioning.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (.+)$", text, re.M)
    assert headings == ["Before you begin", *TITLES.values(), "Afterwards"]
