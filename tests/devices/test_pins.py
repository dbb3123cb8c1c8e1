"""The work-arounds: named back ends, one-step claims, rest instead of release, claims that name both holders."""

import gc
import subprocess
import sys
from typing import Any

import pytest

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import OutputLine, Pins, all_off, open_pins, outputs_off


@pytest.mark.parametrize("name", ["native", "", "MOCK", "rpigpio"])
def test_only_named_back_ends_are_opened(name: str) -> None:
    with pytest.raises(DeviceError) as caught:
        open_pins(name)
    assert str(caught.value) == (
        f"There are no pins called '{name}'. Allowed are 'mock', 'gpiod', 'lgpio' and 'bank:PATH'."
    )


def test_the_environment_does_not_choose_the_back_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "native")
    opened = open_pins("mock")
    assert type(opened.factory).__name__ == "WatchedFactory"
    opened.close()


def test_the_librarys_default_factory_is_left_alone(pins: Pins) -> None:
    from gpiozero import Device

    pins.output(OutputLine("Main", 17))
    assert Device.pin_factory is None


@pytest.mark.parametrize(("active_high", "off", "on"), [(True, 0.0, 1.0), (False, 1.0, 0.0)])
def test_an_output_is_claimed_at_its_off_level_in_one_step(
    pins: Pins, bench: BenchPins, active_high: bool, off: float, on: float
) -> None:
    output = pins.output(OutputLine("Main", 17, active_high))
    assert bench.levels(17) == [None, off]
    assert output.is_on() is False
    output.on()
    assert output.is_on() is True
    output.off()
    assert bench.levels(17) == [None, off, on, off]


def test_the_bare_library_blips_so_the_watched_pin_can_see_a_blip(pins: Pins, bench: BenchPins, mocker: Any) -> None:
    """Without our claim the active-low relay goes on for an instant: the cure is what the test above sees."""
    from gpiozero import OutputDevice
    from gpiozero.pins import Pin

    mocker.patch.object(type(pins.factory.pin(17)), "output_with_state", Pin.output_with_state)
    device = OutputDevice(17, active_high=False, initial_value=False, pin_factory=pins.factory)
    assert bench.levels(17) == [None, 0.0, 1.0]
    device.close()


@pytest.mark.parametrize(("active_high", "off", "on"), [(True, 0.0, 1.0), (False, 1.0, 0.0)])
def test_closing_leaves_an_output_driven_at_its_off_level(
    pins: Pins, bench: BenchPins, active_high: bool, off: float, on: float
) -> None:
    pins.output(OutputLine("Main", 17, active_high)).on()
    history = bench.history(17)
    pin = pins.factory.pin(17)
    pins.close()
    pins.close()
    assert pin.function == "output"
    assert [level for _, level in pin.driven] == [None, off, on, off]
    assert pin.driven[: len(history)] == history


def test_a_device_that_nobody_refers_to_is_kept(pins: Pins, bench: BenchPins) -> None:
    pins.output(OutputLine("Main", 17)).on()
    gc.collect()
    assert bench.levels(17) == [None, 0.0, 1.0]


def test_a_clash_names_both_holders(pins: Pins) -> None:
    pins.output(OutputLine("Main", 17))
    with pytest.raises(DeviceError) as caught:
        pins.contact("Red button", 17, "up")
    assert str(caught.value) == (
        "GPIO 17 is wanted by Red button but already belongs to Main. Give one of them another pin."
    )


def test_a_released_line_can_be_claimed_for_something_else(pins: Pins, bench: BenchPins) -> None:
    output = pins.output(OutputLine("Main", 17, active_high=False))
    output.on()
    pins.release(output)
    pins.release(output)
    contact = pins.contact("Red button", 17, "up")
    assert contact.level is True
    pins.release(contact)
    assert bench.levels(17) == [None, 1.0, 0.0, 1.0, None]


def test_a_line_that_does_not_exist_is_refused(pins: Pins) -> None:
    with pytest.raises(DeviceError) as caught:
        pins.output(OutputLine("Main", 99))
    assert str(caught.value) == (
        "GPIO 99 for Main cannot be used: 99 is not a valid pin name. "
        "Check the number, and that no other program holds the line."
    )


def test_one_line_that_fails_does_not_keep_the_others_on(pins: Pins, bench: BenchPins, mocker: Any) -> None:
    outputs = [pins.output(OutputLine(name, pin)) for name, pin in (("A", 16), ("B", 17), ("C", 22))]
    for output in outputs:
        output.on()
    mocker.patch.object(outputs[1].device, "_write", side_effect=OSError("bus"))
    with pytest.raises(DeviceError) as caught:
        all_off(outputs)
    assert str(caught.value) == "GPIO 17 of B could not be switched off: bus."
    assert [bench.level(pin) for pin in (16, 17, 22)] == [0.0, 1.0, 0.0]


@pytest.mark.parametrize(
    ("broken", "work", "text"),
    [
        ("_set_state", lambda line: line[0].pulse(0.001), "GPIO 18 of Saw could not be pulsed: bus."),
        ("_set_frequency", lambda line: line[0].stop(), "GPIO 18 of Saw could not be stopped: bus."),
        ("_get_state", lambda line: line[1].level, "GPIO 5 of Red button could not be read: bus."),
    ],
)
def test_a_back_ends_own_errors_come_in_our_words(pins: Pins, mocker: Any, broken: str, work: Any, text: str) -> None:
    lines = pins.pulses("Saw", 18), pins.contact("Red button", 5, "up")
    mocker.patch.object(type(pins.factory.pin(18)), broken, side_effect=OSError("bus"))
    with pytest.raises(DeviceError) as caught:
        work(lines)
    assert str(caught.value) == text
    mocker.stopall()


def test_closing_goes_on_past_a_line_that_fails(pins: Pins, mocker: Any) -> None:
    first, second = pins.output(OutputLine("A", 16)), pins.output(OutputLine("B", 17))
    second.on()
    pin = pins.factory.pin(17)
    mocker.patch.object(first.device, "close", side_effect=OSError("bus"))
    with pytest.raises(DeviceError) as caught:
        pins.close()
    assert str(caught.value) == "A line could not be put to rest: bus."
    assert [level for _, level in pin.driven] == [None, 0.0, 1.0, 0.0]


def test_outputs_off_drives_every_line_off_and_tells_what_failed(pins: Pins, bench: BenchPins) -> None:
    faults = outputs_off(
        pins, [OutputLine("Main", 17), OutputLine("Nowhere", 99), OutputLine("Vacuum", 27, active_high=False)]
    )
    assert faults == [
        "GPIO 99 for Nowhere cannot be used: 99 is not a valid pin name. "
        "Check the number, and that no other program holds the line."
    ]
    assert (bench.levels(17), bench.levels(27)) == ([None, 0.0], [None, 1.0])


def test_the_history_of_a_pin_does_not_grow_for_ever(pins: Pins, bench: BenchPins) -> None:
    output = pins.output(OutputLine("Main", 17))
    for _ in range(10_000):
        output.on()
        output.off()
    assert len(bench.history(17)) <= 4097
    assert len(pins.factory.pin(17).states) <= 4096
    assert bench.levels(17)[-3:] == [0.0, 1.0, 0.0]


def test_bench_hands_refuse_real_lines() -> None:
    with pytest.raises(DeviceError) as caught:
        BenchPins(Pins(None, "lgpio"))
    assert str(caught.value) == "Only mock pins can be moved by hand, not 'lgpio'."


def test_importing_the_protocols_loads_no_pin_library() -> None:
    code = "import sys, gatekeeper.devices.base; print('gpiozero' in sys.modules, 'numpy' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert told.stdout == "False False\n"
