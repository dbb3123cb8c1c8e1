"""The header's library, stood in for by a module that writes down every call; no board is needed."""

import os
import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.pins import OutputLine, Pins, open_pins

LABELS = {0: "other-expander", 4: "pinctrl-rp1"}
PI_5 = 0xD04170


class LibraryError(Exception):
    """What the stand-in raises."""


class StandIn(types.ModuleType):
    """A module ``lgpio`` with the calls that gpiozero makes."""

    BOTH_EDGES, RISING_EDGE, FALLING_EDGE = 3, 1, 2
    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64
    error = LibraryError

    def __init__(self, labels: dict[int, str]) -> None:
        super().__init__("lgpio")
        self.labels = labels
        self.calls: list[tuple[Any, ...]] = []
        self.outputs: set[int] = set()

    def gpiochip_open(self, chip: int) -> int:
        if chip not in self.labels:
            raise LibraryError("can not open gpiochip")
        return chip

    def gpiochip_close(self, handle: int) -> None:
        self.calls.append(("gpiochip_close", handle))

    def gpio_get_chip_info(self, handle: int) -> list[Any]:
        return [0, 54, f"gpiochip{handle}", self.labels[handle]]

    def gpio_get_mode(self, handle: int, gpio: int) -> int:
        return 2 if gpio in self.outputs else 0

    def gpio_claim_input(self, handle: int, gpio: int, flags: int = 0) -> None:
        self.outputs.discard(gpio)
        self.calls.append(("claim_input", gpio))

    def gpio_claim_output(self, handle: int, gpio: int, level: int = 0) -> None:
        self.outputs.add(gpio)
        self.calls.append(("claim_output", gpio, level))

    def gpio_write(self, handle: int, gpio: int, level: int) -> None:
        self.calls.append(("write", gpio, int(level)))

    def tx_pwm(self, handle: int, gpio: int, frequency_hz: float, duty: float) -> None:
        self.calls.append(("tx_pwm", gpio, frequency_hz, round(duty, 6)))


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    from gpiozero.pins.local import LocalPiFactory

    stand_in = StandIn(LABELS)
    monkeypatch.setitem(sys.modules, "lgpio", stand_in)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setattr(LocalPiFactory, "_get_revision", lambda _self: PI_5)
    yield stand_in
    sys.modules.pop("gpiozero.pins.lgpio", None)
    LocalPiFactory.pins.clear()
    LocalPiFactory._reservations.clear()


@pytest.fixture
def board(library: StandIn) -> Iterator[Pins]:
    opened = open_pins("lgpio")
    library.calls.clear()
    yield opened
    opened.close()


def test_the_chip_is_found_by_its_label(library: StandIn) -> None:
    opened = open_pins("lgpio")
    assert opened.factory.chip == 4
    opened.close()


@pytest.mark.parametrize(("active_high", "off", "on"), [(True, 0, 1), (False, 1, 0)])
def test_an_output_is_one_claim_at_its_off_level_and_rests_there(
    board: Pins, library: StandIn, active_high: bool, off: int, on: int
) -> None:
    output = board.output(OutputLine("Main", 17, active_high))
    output.on()
    board.release(output)
    assert library.calls == [("claim_input", 17), ("claim_output", 17, off), ("write", 17, on), ("write", 17, off)]


def test_servo_pulses_keep_the_fraction_and_send_no_stale_pulse(board: Pins, library: StandIn) -> None:
    line = board.pulses("Saw", 18)
    line.pulse(0.00123)
    line.pulse(0.00178)
    line.stop()
    line.pulse(0.00123)
    board.release(line)
    assert library.calls == [
        ("claim_input", 18),
        ("claim_output", 18, 0),
        ("tx_pwm", 18, 50.0, 6.15),
        ("tx_pwm", 18, 50.0, 8.9),
        ("tx_pwm", 18, 0, 0),
        ("write", 18, 0),
        ("tx_pwm", 18, 50.0, 6.15),
        ("tx_pwm", 18, 0, 0),
        ("write", 18, 0),
        ("write", 18, 0),
    ]


def test_a_board_without_a_header_chip_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", StandIn({0: "other-expander"}))
    with pytest.raises(DeviceError) as caught:
        open_pins("lgpio")
    assert str(caught.value) == (
        "No GPIO chip of a Raspberry Pi header was found. "
        "Run this on the board, as a user of the group gpio, or choose the pins 'mock'."
    )


def test_a_missing_library_stops_the_start_and_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    with pytest.raises(DeviceError) as caught:
        open_pins("lgpio")
    assert str(caught.value) == (
        "The pin library 'lgpio' is not installed, so the board's pins cannot be used. "
        "Install it with: pip install 'gatekeeper[board]'. Nothing was switched."
    )


def test_an_empty_library_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", types.ModuleType("lgpio"))
    with pytest.raises(DeviceError) as caught:
        open_pins("lgpio")
    assert str(caught.value) == (
        "The installed package 'lgpio' is empty, so the pins cannot be used. "
        "Install lgpio 0.2.2 or newer, for which there is Python 3.11 or 3.12, or choose the pins 'gpiod'."
    )


def test_another_board_is_told_so(library: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    from gpiozero.exc import PinUnknownPi
    from gpiozero.pins.local import LocalPiFactory

    def unknown(_self: Any) -> int:
        raise PinUnknownPi("unable to locate Pi revision")

    monkeypatch.setattr(LocalPiFactory, "_get_revision", unknown)
    with pytest.raises(DeviceError) as caught:
        open_pins("lgpio")
    assert str(caught.value) == (
        "The pins 'lgpio' work on a Raspberry Pi only, and this board does not say that it is one."
    )
    assert library.calls[-1] == ("gpiochip_close", 4)


def test_a_board_that_may_not_be_opened_says_which_group(library: StandIn, mocker: Any) -> None:
    mocker.patch.object(library, "gpiochip_open", side_effect=[LibraryError("no"), 1])
    mocker.patch.object(library, "gpio_get_chip_info", side_effect=[[0, 54, "chip", "pinctrl-rp1"]])
    mocker.patch("gpiozero.pins.lgpio.LGPIOFactory.__init__", side_effect=LibraryError("denied"))
    with pytest.raises(DeviceError) as caught:
        open_pins("lgpio")
    assert str(caught.value) == (
        "The board's pins cannot be opened: denied. Check that this user may use /dev/gpiochip1 (group gpio)."
    )


def test_the_import_neither_changes_nor_litters_the_working_directory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A library that, like the real one, drops a file where it is imported and may change the directory."""
    library, work, runtime = tmp_path / "library", tmp_path / "work", tmp_path / "runtime"
    for folder in (library, work, runtime):
        folder.mkdir()
    (library / "lgpio.py").write_text(
        "import os, pathlib\n"
        "pathlib.Path('.lgd-nfy0').touch()\n"
        "imported_in = os.getcwd()\n"
        "os.chdir('/')\n"
        "class error(Exception): pass\n"
        "def gpiochip_open(chip): raise error('none')\n"
    )
    monkeypatch.syspath_prepend(str(library))
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.chdir(work)
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(runtime))
    with pytest.raises(DeviceError):
        open_pins("lgpio")
    imported = sys.modules.pop("lgpio")
    assert Path(imported.imported_in).parent == runtime
    assert Path(os.getcwd()) == work
    assert list(work.iterdir()) == []
    assert list(runtime.iterdir()) == []
