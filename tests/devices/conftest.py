"""A clock that a test jumps, mock pins on that clock, and a pin bank process for the tests that kill something."""

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import Pins, open_pins


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
