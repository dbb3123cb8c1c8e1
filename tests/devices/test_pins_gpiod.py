"""The kernel's line interface, stood in for by a module with the library's names; a pipe stands for the edges."""

import os
import queue
import sys
import threading
import tomllib
import types
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import pytest
from gpiozero import Button, Device, DigitalOutputDevice

from gatekeeper.devices.base import ContactSeen, DeviceError
from gatekeeper.devices.inputs import ContactInput
from gatekeeper.devices.pins import OutputLine, Pins, open_pins
from gatekeeper.devices.pins_gpiod import HeaderFactory, header_chip

PATH = "/dev/gpiochip7"


class Direction(Enum):
    INPUT = "in"
    OUTPUT = "out"


class Bias(Enum):
    DISABLED = "none"
    PULL_UP = "up"
    PULL_DOWN = "down"


class Edge(Enum):
    NONE = "none"
    BOTH = "both"


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1


@dataclass
class LineSettings:
    """The library's settings, as far as we use them, with its defaults."""

    direction: Direction
    edge_detection: Edge = Edge.NONE
    bias: Bias | None = None
    output_value: Value = Value.INACTIVE


@dataclass
class LineRequest:
    """One requested line; ``calls`` is shared by all."""

    calls: list[tuple[Any, ...]]
    offset: int
    level: Value = Value.INACTIVE
    pipe: tuple[int, int] = field(default_factory=os.pipe)

    @property
    def fd(self) -> int:
        return self.pipe[0]

    def reconfigure_lines(self, config: dict[int, LineSettings]) -> None:
        self.apply("reconfigure", config)

    def apply(self, what: str, config: dict[int, LineSettings]) -> None:
        settings = config[self.offset]
        if settings.direction is Direction.OUTPUT:
            self.level = settings.output_value
            self.calls.append((what, self.offset, "out", settings.output_value.value))
        else:
            assert settings.bias is not None
            self.level = Value.ACTIVE if settings.bias is Bias.PULL_UP else Value.INACTIVE
            self.calls.append((what, self.offset, "in", settings.bias.value, settings.edge_detection.value))

    def set_value(self, offset: int, value: Value) -> None:
        self.level = value
        self.calls.append(("set", offset, value.value))

    def get_value(self, offset: int) -> Value:
        return self.level

    def edge(self, level: Value) -> None:
        self.level = level
        os.write(self.pipe[1], b"e")

    def read_edge_events(self) -> list[bytes]:
        return [bytes([one]) for one in os.read(self.pipe[0], 64)]

    def release(self) -> None:
        self.calls.append(("release", self.offset))
        for end in self.pipe:
            os.close(end)


class StandIn(types.ModuleType):
    """A module ``gpiod`` of version 2."""

    LineSettings = LineSettings

    def __init__(self) -> None:
        super().__init__("gpiod")
        self.line = types.SimpleNamespace(Direction=Direction, Bias=Bias, Edge=Edge, Value=Value)
        self.calls: list[tuple[Any, ...]] = []
        self.requests: dict[int, LineRequest] = {}
        self.busy: set[int] = set()

    def is_gpiochip_device(self, path: str) -> bool:
        return path == PATH

    def request_lines(self, path: str, consumer: str, config: dict[int, LineSettings]) -> LineRequest:
        (offset,) = config
        if offset in self.busy:
            raise OSError(16, "Device or resource busy")
        assert (path, consumer) == (PATH, "gatekeeper")
        request = self.requests[offset] = LineRequest(self.calls, offset)
        request.apply("request", config)
        return request


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    stand_in = StandIn()
    monkeypatch.setitem(sys.modules, "gpiod", stand_in)
    return stand_in


@pytest.fixture
def board(library: StandIn) -> Iterator[Pins]:
    opened = open_pins(f"gpiod:{PATH}", lambda: 100.0)
    yield opened
    opened.close()


@pytest.mark.parametrize(("active_high", "off", "on"), [(True, 0, 1), (False, 1, 0)])
def test_an_output_is_one_request_at_its_off_level_and_rests_there(
    board: Pins, library: StandIn, active_high: bool, off: int, on: int
) -> None:
    output = board.output(OutputLine("Main", 17, active_high))
    output.on()
    assert output.is_on() is True
    board.release(output)
    assert library.calls == [("request", 17, "out", off), ("set", 17, on), ("set", 17, off)]


def test_lines_go_back_to_the_kernel_at_rest_and_only_at_the_end(library: StandIn) -> None:
    opened = open_pins(f"gpiod:{PATH}")
    opened.output(OutputLine("Main", 17)).on()
    opened.close()
    opened.close()
    assert library.calls == [
        ("request", 17, "out", 0),
        ("set", 17, 1),
        ("set", 17, 0),
        ("set", 17, 0),
        ("release", 17),
    ]
    assert [thread.name for thread in threading.enumerate() if thread.name == "gpiod-edges"] == []


def test_a_contact_has_its_pull_and_its_edges(board: Pins, library: StandIn) -> None:
    inbox: queue.Queue[tuple[str, ContactSeen]] = queue.Queue()
    contact = ContactInput(
        board, "Red button", 5, pull="up", report=lambda seen: inbox.put((threading.current_thread().name, seen))
    )
    assert library.calls[-1] == ("reconfigure", 5, "in", "up", "both")
    contact.poll(99.0)
    assert inbox.get(timeout=30.0)[1] == ContactSeen(99.0, "Red button", False)
    library.requests[5].edge(Value.INACTIVE)
    assert inbox.get(timeout=30.0) == ("gpiod-edges", ContactSeen(100.0, "Red button", True))
    library.requests[5].edge(Value.ACTIVE)
    assert inbox.get(timeout=30.0) == ("gpiod-edges", ContactSeen(100.0, "Red button", False))
    contact.close()
    library.requests[5].edge(Value.INACTIVE)
    board.close()
    assert inbox.qsize() == 0


def test_a_pull_down_is_asked_for(board: Pins, library: StandIn) -> None:
    contact = board.contact("Key", 6, "down")
    assert library.calls[-1] == ("reconfigure", 6, "in", "down", "none")
    assert contact.level is False


def test_a_line_in_use_is_told(board: Pins, library: StandIn) -> None:
    library.busy.add(17)
    with pytest.raises(DeviceError) as caught:
        board.output(OutputLine("Main", 17))
    assert str(caught.value) == (
        "GPIO 17 for Main cannot be used: [Errno 16] Device or resource busy. "
        "Check the number, and that no other program holds the line."
    )


def test_servo_pulses_are_refused_at_the_claim(board: Pins, library: StandIn) -> None:
    with pytest.raises(DeviceError) as caught:
        board.pulses("Saw", 18)
    assert str(caught.value) == (
        f"GPIO 18 for Saw cannot send servo pulses with the pins 'gpiod:{PATH}'. "
        "Use a pulse generator board, or the pins 'lgpio'."
    )
    assert library.calls == []


def test_a_missing_library_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(DeviceError) as caught:
        open_pins("gpiod")
    assert str(caught.value) == (
        "The pin library 'gpiod' is not installed, so the board's pins cannot be used. "
        "Install it with: pip install 'gatekeeper[board]'. Nothing was switched."
    )


def test_the_old_library_of_the_same_name_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gpiod", types.ModuleType("gpiod"))
    with pytest.raises(DeviceError) as caught:
        open_pins("gpiod")
    assert str(caught.value) == "The installed library 'gpiod' is too old. Install gpiod 2.2 or newer."


def test_a_path_that_is_no_chip_stops_the_start(library: StandIn) -> None:
    with pytest.raises(DeviceError) as caught:
        open_pins("gpiod:/dev/null")
    assert str(caught.value) == (
        "/dev/null is no GPIO chip. The chips of a board are called /dev/gpiochip0, 1, 2 and so on."
    )


class Chips:
    """Chips by path, for the search by label; one of them may not be opened."""

    def __init__(self, labels: dict[str, str | None]) -> None:
        self.labels = labels
        self.label = ""

    def Chip(self, path: str) -> "Chips":
        label = self.labels[Path(path).name]
        if label is None:
            raise PermissionError(13, "Permission denied")
        self.label = label
        return self

    def __enter__(self) -> "Chips":
        return self

    def __exit__(self, *_fault: Any) -> None:
        self.label = ""

    def get_info(self) -> Any:
        return types.SimpleNamespace(label=self.label)


def test_the_chip_is_found_by_its_label(tmp_path: Path) -> None:
    labels = {"gpiochip0": "other-expander", "gpiochip1": None, "gpiochip2": "pinctrl-bcm2711"}
    for name in labels:
        (tmp_path / name).touch()
    assert header_chip(Chips(labels), tmp_path) == str(tmp_path / "gpiochip2")
    with pytest.raises(DeviceError) as caught:
        header_chip(Chips({"gpiochip0": "x", "gpiochip1": None, "gpiochip2": "y"}), tmp_path)
    assert str(caught.value) == (
        "No GPIO chip of a Raspberry Pi header was found. Run this on the board, as a user of the group gpio; "
        "on another board name its chip, as in 'gpiod:/dev/gpiochip0'; or choose the pins 'mock'."
    )


# --- for other programs on the board, by gpiozero's own name for it ---------------------------------------------------


@pytest.fixture
def named(library: StandIn, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The factory that gpiozero makes of the entry point in the project's file, by its name."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    written = project["project"]["entry-points"]["gpiozero_pin_factories"]
    points = [EntryPoint(name, value, "gpiozero_pin_factories") for name, value in written.items()]
    monkeypatch.setattr("gpiozero.devices.entry_points", lambda group: points)
    monkeypatch.setattr("gatekeeper.devices.pins_gpiod.header_chip", lambda gpiod: PATH)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "gatekeeper")
    factory = Device._default_pin_factory()
    yield factory
    factory.close()


def test_gpiozero_finds_the_factory_by_its_name(named: Any) -> None:
    assert isinstance(named, HeaderFactory)
    assert named.path == PATH


def test_a_plain_gpiozero_device_that_is_on_when_low_is_never_on_by_its_claim(named: Any, library: StandIn) -> None:
    relay = DigitalOutputDevice(17, active_high=False, pin_factory=named)
    assert library.calls == [("request", 17, "out", 1)]
    relay.on()
    relay.close()
    assert library.calls[1:] == [("set", 17, 0), ("set", 17, 1)]


def test_a_plain_gpiozero_button_hears_edges_without_polling(named: Any, library: StandIn) -> None:
    pressed: queue.Queue[str] = queue.Queue()
    button = Button(5, pin_factory=named)
    button.when_pressed = lambda: pressed.put(threading.current_thread().name)
    library.requests[5].edge(Value.INACTIVE)
    assert pressed.get(timeout=30.0) == "gpiod-edges"
    button.close()


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(DeviceError) as caught:
        HeaderFactory()
    assert str(caught.value) == (
        "The pin library 'gpiod' is not installed, so the board's pins cannot be used. "
        "Install it with: pip install 'gatekeeper[board]'. Nothing was switched."
    )
