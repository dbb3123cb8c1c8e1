"""A bank of pins in another process: what a killed controller leaves behind, and what puts it off."""

import os
import queue
import signal
import subprocess
import sys
import threading
from typing import Any

import pytest

from gatekeeper.devices.base import ContactSeen, DeviceError
from gatekeeper.devices.inputs import ContactInput
from gatekeeper.devices.pin_bank import BankLink
from gatekeeper.devices.pins import OutputLine, open_pins, outputs_off
from gatekeeper.devices.switching import LeaseGuard, RelaySwitch

MOTOR, BUTTON = 17, 5
CONTROLLER = """
import sys, time
from gatekeeper.devices.pins import open_pins
from gatekeeper.devices.switching import LeaseGuard, RelaySwitch
pins = open_pins(sys.argv[1])
switch = RelaySwitch(pins, "Main", 17)
guard = LeaseGuard([switch], time.monotonic)
guard.start()
now_s = time.monotonic()
switch.on(now_s, now_s + 10.0)
print("on", flush=True)
sys.stdin.read()
"""

PULSED = CONTROLLER.replace(
    'RelaySwitch(pins, "Main", 17)', 'SteadyPulseSwitch(pins, "Main", 17, drops_after_s=0.5)'
).replace("LeaseGuard, RelaySwitch", "LeaseGuard\nfrom gatekeeper.devices.pulse_switching import SteadyPulseSwitch")


@pytest.fixture
def link(pin_bank: Any) -> Any:
    opened = BankLink(str(pin_bank.socket))
    yield opened
    opened.close()


def start_controller(name: str, code: str = CONTROLLER) -> subprocess.Popen[str]:
    controller = subprocess.Popen(
        [sys.executable, "-c", code, name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert controller.stdout is not None
    assert controller.stdout.readline() == "on\n"
    return controller


def end(controller: subprocess.Popen[str], by: signal.Signals) -> None:
    controller.send_signal(by)
    assert controller.wait(30) == -by
    for stream in (controller.stdin, controller.stdout):
        assert stream is not None
        stream.close()


def wait_until_free(link: BankLink, pin: int) -> dict[str, Any]:
    """The bank notices a dead controller when its connection ends; a deadline guards against hanging only."""
    deadline = threading.Event()
    timer = threading.Timer(30.0, deadline.set)
    timer.start()
    try:
        while not deadline.is_set():
            told: dict[str, Any] = link.ask("look", pin)
            if not told["held"]:
                return told
    finally:
        timer.cancel()
    raise AssertionError("the line is still held")


def turns_of(link: BankLink) -> int:
    return len(link.ask("look", MOTOR)["driven"])


def wait_for_turns(link: BankLink, more: int) -> None:
    """Wait for so many turns of the line; a deadline guards against hanging only."""
    deadline = threading.Event()
    timer = threading.Timer(30.0, deadline.set)
    timer.start()
    seen = turns_of(link)
    while not deadline.is_set() and turns_of(link) < seen + more:
        pass
    timer.cancel()
    assert not deadline.is_set()


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGABRT])
def test_a_dead_controller_turns_the_line_of_a_pulsed_relay_no_more(
    pin_bank: Any, link: BankLink, by: signal.Signals
) -> None:
    controller = start_controller(pin_bank.name, PULSED)
    wait_for_turns(link, 6)
    end(controller, by)
    # Whatever level the line is left at, it stands still: nothing of ours is left that could turn it.
    told = wait_until_free(link, MOTOR)
    assert told["function"] == "output"
    assert turns_of(link) == len(told["driven"])


def test_a_controller_that_is_held_still_turns_it_no_more(pin_bank: Any, link: BankLink) -> None:
    controller = start_controller(pin_bank.name, PULSED)
    wait_for_turns(link, 6)
    controller.send_signal(signal.SIGSTOP)
    os.waitpid(controller.pid, os.WUNTRACED)
    for _ in range(200):  # what it had sent before is worked off
        seen = turns_of(link)
    for _ in range(200):
        assert turns_of(link) == seen
    end(controller, signal.SIGKILL)


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGABRT])
def test_a_dead_controller_leaves_the_motor_on_and_outputs_off_puts_it_off(
    pin_bank: Any, link: BankLink, by: signal.Signals
) -> None:
    end(start_controller(pin_bank.name), by)
    told = wait_until_free(link, MOTOR)
    assert (told["function"], told["level"], told["driven"]) == ("output", 1.0, [None, 0.0, 1.0])
    pins = open_pins(pin_bank.name)
    assert outputs_off(pins, [OutputLine("Main", MOTOR)]) == []
    pins.close()
    told = wait_until_free(link, MOTOR)
    assert (told["function"], told["level"], told["driven"]) == ("output", 0.0, [None, 0.0, 1.0, 0.0])


def test_the_next_start_puts_it_off_by_itself_before_anything_else(pin_bank: Any, link: BankLink) -> None:
    end(start_controller(pin_bank.name), signal.SIGKILL)
    wait_until_free(link, MOTOR)
    pins = open_pins(pin_bank.name)
    switch = RelaySwitch(pins, "Main", MOTOR)
    assert switch.is_on() is False
    assert link.ask("look", MOTOR)["driven"] == [None, 0.0, 1.0, 0.0]
    pins.close()


def test_a_kernel_that_lets_go_drops_the_motor_with_the_controller(pin_bank_that_falls_back: Any) -> None:
    link = BankLink(str(pin_bank_that_falls_back.socket))
    end(start_controller(pin_bank_that_falls_back.name), signal.SIGKILL)
    told = wait_until_free(link, MOTOR)
    assert (told["function"], told["level"], told["driven"]) == ("input", 0.0, [None, 0.0, 1.0, None])
    link.close()


def test_a_line_held_by_a_living_program_is_refused(pin_bank: Any) -> None:
    controller = start_controller(pin_bank.name)
    pins = open_pins(pin_bank.name)
    assert outputs_off(pins, [OutputLine("Main", MOTOR)]) == [
        "GPIO 17 for Main cannot be used: GPIO 17 is held by another program. "
        "Check the number, and that no other program holds the line."
    ]
    pins.close()
    end(controller, signal.SIGKILL)


def test_a_dead_control_thread_drops_the_relay_while_the_process_lives(
    pin_bank: Any, link: BankLink, clock: Any
) -> None:
    pins = open_pins(pin_bank.name)
    lapsed: queue.Queue[tuple[float, str]] = queue.Queue()
    switch = RelaySwitch(pins, "Main", MOTOR, on_lapse=lambda now_s, name: lapsed.put((now_s, name)))
    guard = LeaseGuard([switch], clock, period_s=0.005)
    guard.start()
    control = threading.Thread(target=switch.on, args=(100.0, 102.0))
    control.start()
    control.join(30.0)
    assert link.ask("look", MOTOR)["driven"] == [None, 0.0, 1.0]
    clock.jump(2.5)
    assert lapsed.get(timeout=30.0) == (102.5, "Main")
    assert link.ask("look", MOTOR)["driven"] == [None, 0.0, 1.0, 0.0]
    guard.stop()
    pins.close()


def test_edges_of_the_bank_come_in_a_thread_of_their_own(pin_bank: Any, link: BankLink) -> None:
    pins = open_pins(pin_bank.name, lambda: 100.0)
    inbox: queue.Queue[tuple[str, ContactSeen]] = queue.Queue()
    contact = ContactInput(
        pins, "Red button", BUTTON, report=lambda seen: inbox.put((threading.current_thread().name, seen))
    )
    contact.poll(99.0)
    assert inbox.get(timeout=30.0)[1] == ContactSeen(99.0, "Red button", False)
    link.ask("drive", BUTTON, level=0.0)
    assert inbox.get(timeout=30.0) == ("pin-bank-edges", ContactSeen(100.0, "Red button", True))
    link.ask("drive", BUTTON, level=1.0)
    assert inbox.get(timeout=30.0) == ("pin-bank-edges", ContactSeen(100.0, "Red button", False))
    contact.close()
    link.ask("drive", BUTTON, level=0.0)
    pins.close()
    assert inbox.qsize() == 0


def test_lines_wake_with_their_boot_pulls(link: BankLink) -> None:
    assert [(link.ask("look", pin)["pull"], link.ask("read", pin)) for pin in (0, 8, 9, 27)] == [
        ("up", 1.0),
        ("up", 1.0),
        ("down", 0.0),
        ("down", 0.0),
    ]


def test_an_output_is_not_driven_from_outside_and_an_input_is_not_written(pin_bank: Any, link: BankLink) -> None:
    pins = open_pins(pin_bank.name)
    pins.output(OutputLine("Main", MOTOR))
    with pytest.raises(DeviceError) as caught:
        link.ask("drive", MOTOR, level=1.0)
    assert str(caught.value) == "GPIO 17 is an output and cannot be driven from outside."
    with pytest.raises(DeviceError) as caught:
        link.ask("write", MOTOR, level=1.0)
    assert str(caught.value) == "GPIO 17 is no output of this program"
    pins.close()


def test_no_bank_stops_the_start(tmp_path: Any) -> None:
    with pytest.raises(DeviceError) as caught:
        open_pins(f"bank:{tmp_path}/nothing")
    assert str(caught.value) == "No pin bank listens at nothing. Start it first."


def test_a_bank_that_dies_is_told(pin_bank: Any) -> None:
    pins = open_pins(pin_bank.name)
    output = pins.output(OutputLine("Main", MOTOR))
    pin_bank.process.kill()
    pin_bank.process.wait(30)
    with pytest.raises(DeviceError) as caught:
        output.on()
    assert str(caught.value) == "GPIO 17 of Main could not be switched on: The pin bank is gone."
    with pytest.raises(DeviceError) as caught:
        pins.close()
    assert str(caught.value) == "A line could not be put to rest: The pin bank is gone."
