"""The real program on a bank of pins that keeps every level when its controller dies, as Raspberry Pi OS does."""

import contextlib
import http.client
import json
import random
import signal
import socket as socketlib
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.devices.pin_bank import BankLink
from gatekeeper.devices.pins import OutputLine
from gatekeeper.records.state import StateStore
from gatekeeper.service.running import STATE_FILE
from gatekeeper.service.wiring import output_lines
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

SHOP = "one-evening"
MOTOR, SENSOR = 17, 23
#: Only guards against hanging.
DEADLINE_S = 30.0


@dataclass
class Bench:
    """A pin bank in a process of its own, and a state folder."""

    link: BankLink
    socket: Path
    state: Path
    running: "list[subprocess.Popen[str]]"

    def start(self) -> "subprocess.Popen[str]":
        """The real command, until it says that it runs."""
        command = [sys.executable, "-m", "gatekeeper", "run", SHOP, "--pins", f"bank:{self.socket}"]
        command += ["--state", str(self.state), "--no-page"]
        program = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.running.append(program)
        assert program.stdout is not None
        assert program.stdout.readline().startswith("One evening in the shed: running on bank:")
        return program

    def motor(self) -> dict[str, Any]:
        told: dict[str, Any] = self.link.ask("look", MOTOR)
        return told

    def tool(self, runs: bool) -> None:
        """Close or open the current switch (pulled up: closed is low)."""
        self.link.ask("drive", SENSOR, level=0.0 if runs else 1.0)

    def until(self, true: Callable[[], bool]) -> None:
        ends_s = time.monotonic() + DEADLINE_S
        while not true():
            assert time.monotonic() < ends_s, "nothing happened"

    def run_the_motor(self) -> "subprocess.Popen[str]":
        """Start the controller and the tool, in the order in which a start is a fresh cause."""
        program = self.start()
        self.until(lambda: self.link.ask("look", SENSOR)["function"] == "input")
        settled_s = time.monotonic() + 2.5
        self.until(lambda: time.monotonic() > settled_s)
        self.tool(True)
        self.until(lambda: self.motor()["level"] == 1.0)
        return program


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    socket = tmp_path / "pins"
    bank = subprocess.Popen(
        [sys.executable, "-m", "gatekeeper.devices.pin_bank", str(socket)], stdout=subprocess.PIPE, text=True
    )
    assert bank.stdout is not None
    assert bank.stdout.readline() == "ready\n"
    link = BankLink(str(socket))
    made = Bench(link, socket, tmp_path / "state", [])
    yield made
    link.close()
    for program in [*made.running, bank]:
        program.kill()
        program.wait(DEADLINE_S)
        for stream in (program.stdout, program.stderr):
            if stream is not None:
                stream.close()


def outputs_off(bench: Bench) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "gatekeeper", "outputs-off", SHOP, "--pins", f"bank:{bench.socket}"],
        capture_output=True,
        text=True,
        check=False,
        timeout=DEADLINE_S,
    )


def test_after_a_kill_the_motor_stays_on_until_outputs_off(bench: Bench) -> None:
    program = bench.run_the_motor()
    program.kill()
    program.wait(DEADLINE_S)
    bench.until(lambda: not bench.motor()["held"])
    assert bench.motor()["level"] == 1.0
    done = outputs_off(bench)
    assert (done.returncode, done.stdout, done.stderr) == (0, "1 of 1 outputs are off.\n", "")
    assert bench.motor()["level"] == 0.0


def test_after_a_kill_the_next_start_puts_the_motor_off_before_anything_else_and_keeps_it_off(bench: Bench) -> None:
    program = bench.run_the_motor()
    program.kill()
    program.wait(DEADLINE_S)
    bench.until(lambda: not bench.motor()["held"])
    assert bench.motor()["level"] == 1.0
    bench.start()
    assert bench.motor()["level"] == 0.0
    # The tool still runs: found running, it gets no motor (C21), even when everything has settled.
    settled_s = time.monotonic() + 4.0
    bench.until(lambda: time.monotonic() > settled_s)
    assert bench.motor()["driven"][-2:] == [1.0, 0.0]


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_switches_the_motor_off_and_ends_the_program(bench: Bench, by: signal.Signals) -> None:
    program = bench.run_the_motor()
    program.send_signal(by)
    assert program.wait(DEADLINE_S) == 0
    assert bench.motor()["level"] == 0.0
    assert program.stderr is not None
    assert program.stderr.read() == ""


def test_a_second_controller_is_refused_before_it_touches_a_pin(bench: Bench) -> None:
    first = bench.run_the_motor()
    second = subprocess.run(
        [
            *(sys.executable, "-m", "gatekeeper", "run", SHOP, "--pins", f"bank:{bench.socket}"),
            *("--state", str(bench.state), "--no-page"),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=DEADLINE_S,
    )
    assert second.returncode == 2
    assert second.stdout == ""
    assert second.stderr == (
        f"Another controller (process {first.pid}) already runs this shop from {bench.state}. Stop that one first.\n"
    )
    assert bench.motor()["level"] == 1.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("run", "nosuch.yaml"), "nosuch.yaml: there is no such file; name a shop file, or an example: "),
        (
            ("run", SHOP, "--pins", "porridge"),
            "There are no pins called 'porridge'. Allowed are ",
        ),
    ],
)
def test_a_wrong_start_is_one_sentence_and_moves_nothing(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "gatekeeper", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=DEADLINE_S,
        cwd=tmp_path,
        env={"HOME": str(tmp_path), "PATH": ""},
    )
    assert done.returncode == 2
    assert done.stderr.startswith(said)
    assert done.stderr.count("\n") == 1
    assert "Traceback" not in done.stderr


def test_outputs_are_listed_motors_first() -> None:
    path = example("garage-one-collector")
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    lines = output_lines(shop)
    assert [line.holder for line in lines][: len(shop.motors)] == list(shop.motors)
    assert all(isinstance(line, OutputLine) for line in lines)
    assert len({line.pin for line in lines}) == len(lines)


# ---------------------------------------------------------------- settings through the page


def free_port() -> int:
    with socketlib.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def set_delay(port: int, value_s: int) -> bool:
    """Change the collector's delay as the page does; True once it was answered as done."""
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)) as connection:
        connection.request(
            "POST",
            "/spin-down",
            f"subject=collector&value_s={value_s}&held=1",
            {
                "Origin": f"http://127.0.0.1:{port}",
                "Content-Type": "application/x-www-form-urlencoded",
                "Accept": "application/json",
            },
        )
        with connection.getresponse() as answer:
            told = json.loads(answer.read())
    return bool(told["accepted"])


def test_a_setting_that_was_answered_survives_a_kill_at_any_instant(tmp_path: Path) -> None:
    port = free_port()
    shop = tmp_path / "shop.yaml"
    shop.write_text(example(SHOP).read_text(encoding="utf-8") + f"\npage: {{port: {port}}}\n", encoding="utf-8")
    state = tmp_path / "state"
    chance = random.Random(11)
    answered_s: float | None = None
    for turn in range(6):
        program = subprocess.Popen(
            [sys.executable, "-m", "gatekeeper", "run", str(shop), "--pins", "mock", "--state", str(state)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert program.stdout is not None
        assert program.stderr is not None
        while not (line := program.stdout.readline()).startswith("Page: "):
            assert line, program.stderr.read()
        killer = threading.Timer(0.05 + 0.4 * chance.random(), program.kill)
        killer.start()
        value = 100 * turn // 2 + 10
        with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
            while program.poll() is None:
                value += 1
                if set_delay(port, value):
                    answered_s = float(value)
        killer.join()
        program.wait(DEADLINE_S)
        program.stdout.close()
        program.stderr.close()
        store = StateStore(state / STATE_FILE)
        kept = store.load("another boot")
        store.close()
        # The last value that was answered, or the one that was on its way when the kill came.
        assert not kept.damaged
        assert kept.values.get("setting/collector/spin_down_s") in (answered_s, float(value)), turn
    assert answered_s is not None
