"""A clock that a test jumps, mock pins on that clock, and a pin bank process for the tests that kill something."""

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pin_bank import BankLink
from gatekeeper.devices.pins import Pins, open_pins

Levels = list[float | None]


@dataclass
class HandClock:
    """Monotonic seconds that only a test moves, and never back."""

    now_s: float = 100.0

    def __call__(self) -> float:
        return self.now_s

    def jump(self, by_s: float) -> float:
        assert by_s >= 0.0
        self.now_s += by_s
        return self.now_s


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def pins(clock: HandClock) -> Iterator[Pins]:
    opened = open_pins("mock", clock)
    yield opened
    opened.close()
    opened.factory.reset()


@pytest.fixture
def bench(pins: Pins) -> BenchPins:
    return BenchPins(pins)


@dataclass
class BankProcess:
    """A running pin bank and the name that opens its pins."""

    process: subprocess.Popen[str]
    socket: Path

    @property
    def name(self) -> str:
        return f"bank:{self.socket}"


def start_bank(folder: Path, *options: str) -> BankProcess:
    socket = folder / "bank"
    process = subprocess.Popen(
        [sys.executable, "-m", "gatekeeper.devices.pin_bank", str(socket), *options], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return BankProcess(process, socket)


def end_bank(bank: BankProcess) -> None:
    bank.process.kill()
    bank.process.wait(30)
    assert bank.process.stdout is not None
    bank.process.stdout.close()


@pytest.fixture
def pin_bank(tmp_path: Path) -> Iterator[BankProcess]:
    bank = start_bank(tmp_path)
    yield bank
    end_bank(bank)


@pytest.fixture
def pin_bank_that_falls_back(tmp_path: Path) -> Iterator[BankProcess]:
    bank = start_bank(tmp_path, "--fall-back")
    yield bank
    end_bank(bank)


class MockView:
    """Sees and moves mock pins."""

    def __init__(self, pins: Pins) -> None:
        self._bench = BenchPins(pins)

    def levels(self, pin: int) -> Levels:
        return [None if level is None else round(level, 9) for level in self._bench.levels(pin)]

    def drive(self, pin: int, high: bool) -> None:
        self._bench.drive(pin, high)


class BankView:
    """Sees and moves the pins of a bank from outside, as ``MockView`` does with mock pins."""

    def __init__(self, socket: str) -> None:
        self._link = BankLink(socket)

    def levels(self, pin: int) -> Levels:
        driven: list[float | None] = self._link.ask("look", pin)["driven"]
        return [None if level is None else round(level, 9) for level in driven]

    def drive(self, pin: int, high: bool) -> None:
        self._link.ask("drive", pin, level=float(high))

    def close(self) -> None:
        self._link.close()


@pytest.fixture(params=["mock", "bank"])
def opened(request: pytest.FixtureRequest) -> Iterator[tuple[Pins, Any]]:
    if request.param == "mock":
        pins = request.getfixturevalue("pins")
        yield pins, MockView(pins)
        return
    bank = request.getfixturevalue("pin_bank")
    pins = open_pins(bank.name)
    view = BankView(str(bank.socket))
    yield pins, view
    pins.close()
    view.close()
