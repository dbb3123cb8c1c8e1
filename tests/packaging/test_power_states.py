"""The tables of hardware/power-states.md: what drivers declare, and what an emulated board showed."""

import importlib
import json
import pkgutil
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import gatekeeper.devices
from gatekeeper.devices.actuators import HandGate, spring_fate
from gatekeeper.devices.base import BoardDeath, Fate, Position
from gatekeeper.devices.modbus_drive import ModbusDrive
from gatekeeper.devices.mqtt_gate import MqttGate
from gatekeeper.devices.permits import PermitContact
from gatekeeper.devices.pulse_switching import StarterSwitch, SteadyPulseSwitch
from gatekeeper.devices.reversing import BridgeGate, RelayPairGate
from gatekeeper.devices.servos import BankServoGate, ServoGate
from gatekeeper.devices.signs import LampSign
from gatekeeper.devices.switching import RelaySwitch

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests/bench"))

from boot.table import AGAIN, ENDED, FROZEN, HUNG, MOMENTS, OFF, READY, markdown  # noqa: E402

PAGE = ROOT / "hardware/power-states.md"
RESULT = ROOT / "tests/bench/boot/result.json"

#: Every driver's declaration, in the words of the handbook's pages on devices.
DECLARED: dict[str, Fate] = {
    "motor by a relay and a contactor": RelaySwitch.fate,
    "motor by a relay that wants steady pulses": SteadyPulseSwitch.fate,
    "motor by a starter with push buttons": StarterSwitch.fate,
    "motor on a variable-frequency drive": ModbusDrive.fate,
    "gate on a servo at a pin": ServoGate.fate,
    "gate on a servo of a bank": BankServoGate.fate,
    "gate on a relay pair": RelayPairGate.fate,
    "gate on an H-bridge": BridgeGate.fate,
    "gate that a coil holds open": spring_fate(Position.OPEN),
    "gate that a coil holds shut": spring_fate(Position.SHUT),
    "gate behind a broker": MqttGate.fate,
    "gate moved by hand": HandGate.fate,
    "sign of one, two or three lamps; lamp for messages": LampSign.fate,
    "contact that permits a start": PermitContact.fate,
}
HEADS = ("driver", "at power-up, until it is claimed", "program crashes, is killed or frozen", "board loses power")


def between(mark: str, page: str, text: str | None = None) -> str:
    """What stands between two marks of the page; with ``text`` the page that has it there."""
    found = re.search(rf"(<!-- {mark}: begin -->\n\n)(.*?)(\n<!-- {mark}: end -->)", page, re.DOTALL)
    assert found is not None, f"the marks of {mark} are gone"
    return found[2] if text is None else page[: found.start(2)] + text + page[found.end(2) :]


def declared_table() -> str:
    rows = [HEADS, ("---",) * len(HEADS)]
    for name, fate in DECLARED.items():
        assert isinstance(fate.when_board_dies, BoardDeath)
        words = fate.in_words.removeprefix("When the board loses power ").removeprefix("or hangs, ")
        rows.append((name, fate.at_power_up, fate.when_process_dies, words[:1].upper() + words[1:]))
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def test_the_page_says_what_every_driver_declares(golden: Callable[[Path, str], None]) -> None:
    golden(PAGE, between("declared", PAGE.read_text(encoding="utf-8"), declared_table()))


def test_every_driver_that_declares_something_stands_in_the_table() -> None:
    found: set[Fate] = set()
    for module in pkgutil.iter_modules(gatekeeper.devices.__path__):
        for value in vars(importlib.import_module(f"gatekeeper.devices.{module.name}")).values():
            fate = getattr(value, "fate", None) if isinstance(value, type) else value
            if isinstance(fate, Fate):
                found.add(fate)
    assert len(found) >= 10
    assert [fate.in_words for fate in found if fate not in DECLARED.values()] == []


def test_the_page_holds_the_last_run_of_the_boot_job(golden: Callable[[Path, str], None]) -> None:
    shown = markdown(json.loads(RESULT.read_text(encoding="utf-8")))
    golden(PAGE, between("boot job", PAGE.read_text(encoding="utf-8"), shown))


@pytest.mark.parametrize("pins", ["gpiod", "lgpio"])
@pytest.mark.parametrize("keeps", ["Y", "N"])
def test_the_last_run_was_whole_and_outputs_off_put_everything_off(pins: str, keeps: str) -> None:
    result = json.loads(RESULT.read_text(encoding="utf-8"))
    (boot,) = (one for one in result["boots"] if (one["pins"], one["keeps"]) == (pins, keeps))
    moments = {one["moment"]: one for one in boot["moments"]}
    assert set(MOMENTS) <= set(moments)
    after = [one for moment, one in moments.items() if moment.startswith(OFF)]
    assert len(after) == len(ENDED)
    wanted = {one["holder"]: "low" if one["active_high"] else "high" for one in result["outputs"]}
    for one in after:
        assert one["status"] == 0
        for holder, line in one["lines"].items():
            assert line == ("let go" if keeps == "N" else wanted[holder]), (holder, one["moment"])


def test_in_the_last_run_no_start_and_no_outputs_off_switched_anything_on_but_the_stop_button() -> None:
    moments = [one for boot in json.loads(RESULT.read_text(encoding="utf-8"))["boots"] for one in boot["moments"]]
    begun = [one for one in moments if one["moment"] == READY or one["moment"] == AGAIN]
    after = [one for one in moments if one["moment"].startswith(OFF)]
    assert len(begun) == 4 * 7
    assert len(after) == 4 * len(ENDED)
    assert {holder for one in [*begun, *after] for holder in one["claimed_on"]} == set()
    assert {holder for one in after for holder in one["put_on"]} == set()
    assert {holder for one in begun for holder in one["put_on"]} == {"starter, stop relay"}
    assert {len(one["claimed_off"]) for one in [*begun, *after]} == {19, 20}


def test_in_the_last_run_the_leases_dropped_motors_beside_a_hung_control_thread() -> None:
    for boot in json.loads(RESULT.read_text(encoding="utf-8"))["boots"]:
        (hung,) = (one["lines"] for one in boot["moments"] if one["moment"] == HUNG)
        motors = ("contactor relay", "steady-pulse relay", "starter, start relay", "starter, stop relay", "saw permit")
        assert {hung[motor] for motor in motors} == {"low"}
        (frozen,) = (one["lines"] for one in boot["moments"] if one["moment"] == FROZEN)
        assert frozen["contactor relay"] == "high"
        assert frozen["steady-pulse relay"] in ("high", "low")
