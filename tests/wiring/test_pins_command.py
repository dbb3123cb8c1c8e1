"""Choosing pins: which ones, why, and in which order; written with everything else left alone."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.shop.choosing import ROLES, WANTED, CannotChoose, Role, choices_for
from gatekeeper.shop.claims import PIN_KEYS
from gatekeeper.shop.lines import HEADER_PINS, LOW_BUT_SHARED, PULLED_UP_AT_BOOT, QUIET

OPEN_SHOP = """\
shop: {name: Bench, units: metric, mains: 50 Hz, open_flue_nearby: no}
# keep me
motors:
  collector:
    power: 2 kW
    switched_by: {pin: to be chosen, when_board_dies: drops}
gates:
  left gate: {diameter: 100 mm, servo: {pin: GPIO5}}   # twitches
  right gate: {diameter: 100 mm, relays: {open: to be chosen, shut: GPIO14}}
tools:
  saw: {gates: left gate, sensor: {current_switch: to be chosen}}
  planer: {gates: right gate, sensor: {current_switch: GPIO17}}
inputs:
  mushroom: {kind: red button, pin: to be chosen normally closed}
signs:
  lamp: {pin: to be chosen active low, at: saw}
"""

CHOSEN = [
    "motors > collector > switched_by > pin: GPIO22 (header pin 15). Low while the board starts and wanted by no bus.",
    "gates > right gate > relays > open: GPIO23 (header pin 16). Low while the board starts and wanted by no bus.",
    "gates > right gate > relays > shut: GPIO24 (header pin 18) instead of GPIO14. GPIO14 is driven high by the serial "
    "console while the board starts. Low while the board starts and wanted by no bus.",
    "gates > left gate > servo > pin: GPIO12 (header pin 32) instead of GPIO5. GPIO5 is pulled up while the board "
    "starts. Low while the board starts; free as long as neither sound nor a second SPI bus is in use.",
    "signs > lamp > pin: GPIO5 (header pin 29). "
    "Pulled up while the board starts, so a relay that is on when low stays off; add 10 k to 3.3 V.",
    "tools > saw > sensor > current_switch: GPIO6 (header pin 31). "
    "A contact drives nothing and may stand anywhere; this one is pulled up already while the board starts.",
    "inputs > mushroom > pin: GPIO4 (header pin 7). A contact drives nothing and may stand anywhere; "
    "this one is pulled up already while the board starts. Mind: 1-wire must stay off.",
]


def ask(*words: str, typed: str = "") -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["pins", *words], input=typed)
    return result.exit_code, result.stdout, result.stderr


def file_with(folder: Path, text: str) -> Path:
    path = folder / "bench.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_motors_choose_first_and_each_choice_says_why(tmp_path: Path) -> None:
    path = file_with(tmp_path, OPEN_SHOP)

    status, said, _ = ask(str(path), "--assign")

    assert status == 0
    assert said.splitlines() == [*CHOSEN, f"Nothing was written. next: gatekeeper pins {path} --assign --write"]
    assert path.read_text(encoding="utf-8") == OPEN_SHOP


def test_the_choice_is_written_with_everything_else_left_as_it_was(tmp_path: Path) -> None:
    path = file_with(tmp_path, OPEN_SHOP)

    status, said, _ = ask(str(path), "--assign", "--write", "--yes")

    assert (status, said.splitlines()[-1]) == (0, f"Written. next: gatekeeper wiring {path} --out wiring.html")
    written = OPEN_SHOP.replace("{pin: to be chosen, when", "{pin: GPIO22, when").replace(
        "servo: {pin: GPIO5", "servo: {pin: GPIO12"
    )
    written = written.replace("open: to be chosen, shut: GPIO14", "open: GPIO23, shut: GPIO24")
    written = written.replace("current_switch: to be chosen", "current_switch: GPIO6")
    written = written.replace("to be chosen normally closed", "GPIO4 normally closed")
    assert path.read_text(encoding="utf-8") == written.replace("to be chosen active low", "GPIO5 active low")
    assert ask(str(path), "--assign")[1] == "Every pin is chosen, and no output stands on one that moves at power-up.\n"


@pytest.mark.parametrize(("typed", "is_written"), [("n\n", False), ("y\n", True)])
def test_nothing_is_written_before_somebody_says_yes(tmp_path: Path, typed: str, is_written: bool) -> None:
    path = file_with(tmp_path, OPEN_SHOP)

    status, said, _ = ask(str(path), "--assign", "--write", typed=typed)

    assert status == 0
    assert f"Write this into {path}? [y/N]: " in said
    assert (path.read_text(encoding="utf-8") != OPEN_SHOP) is is_written


def test_the_list_says_which_wire_is_where_and_what_is_open(tmp_path: Path) -> None:
    path = file_with(tmp_path, OPEN_SHOP)

    assert ask(str(path))[1].splitlines() == [
        "Bench: 8 wires on the board.",
        "  GPIO5, header pin 29   Signal wire of the servo of left gate, through 1 k",
        "  GPIO14, header pin 8   Input of the shutting relay of right gate",
        "  GPIO17, header pin 11  Current switch on a wire of planer: a normally open contact to ground",
        "  to be chosen           Relay in the coil circuit of the contactor of collector",
        "  to be chosen           Input of the opening relay of right gate",
        "  to be chosen           Transistor or relay input of the lamp lamp",
        "  to be chosen           Mushroom: a normally closed contact to ground",
        "  to be chosen           Current switch on a wire of saw: a normally open contact to ground",
        "There is something to choose at 7 pins.",
        f"next: gatekeeper pins {path} --assign",
    ]


def test_a_shop_with_open_pins_may_be_read_and_played_but_not_run(tmp_path: Path) -> None:
    path = file_with(tmp_path, OPEN_SHOP)
    refused = (
        f"{path}: pins of collector, right gate, saw, mushroom and lamp still to be chosen; "
        f"next: gatekeeper pins {path} --assign\n"
    )

    checked = CliRunner().invoke(app, ["check", str(path), "--all"])
    assert checked.exit_code == 0
    told = " ".join(checked.stdout.split())
    assert (
        "- collector, right gate, saw, mushroom and lamp: A pin of it is still to be chosen, so nothing can run it "
        "yet: gatekeeper pins SHOP.yaml --assign." in told
    )
    for words in (
        ["run", str(path), "--pins", "mock"],
        ["outputs-off", str(path), "--pins", "mock"],
        ["doctor", str(path)],
    ):
        result = CliRunner().invoke(app, words)
        assert (result.exit_code, result.stderr) == (2, refused)
    assert CliRunner().invoke(app, ["simulate", str(path), "--day"]).exit_code == 0
    assert path.read_text(encoding="utf-8") == OPEN_SHOP


def test_an_example_stays_as_it_is() -> None:
    status, said, _ = ask("long-narrow", "--assign", "--write")

    assert (status, said) == (0, "Every pin is chosen, and no output stands on one that moves at power-up.\n")


def test_writing_belongs_to_choosing() -> None:
    assert ask("one-evening", "--yes")[::2] == (
        2,
        "--write and --yes belong to --assign; without it nothing is chosen.\n",
    )


def test_what_drives_something_never_gets_a_pin_that_is_up_while_the_board_starts() -> None:
    for role in (Role.MOTOR, Role.MOVES, Role.SERVO, Role.LAMP):
        assert not set(WANTED[role]) & {*PULLED_UP_AT_BOOT, 14, 15}
        assert set(WANTED[role]) == {*QUIET, *LOW_BUT_SHARED}
    assert set(WANTED[Role.CONTACT]) == set(range(2, len(HEADER_PINS)))


def test_every_key_that_drives_a_pin_is_known_as_one() -> None:
    contacts = {
        "current_stop",
        "current_switch",
        "contact",
        "open_contact",
        "shut_contact",
        "pressure_switch",
        "flow_switch",
    }
    as_contact = {keys for keys in PIN_KEYS if keys not in ROLES}

    assert {keys for keys in as_contact if keys[-1] not in contacts and keys[0] != "inputs"} == set()


def test_where_no_quiet_pin_is_left_the_holders_are_named() -> None:
    gates = "".join(f"  gate {number}: {{diameter: 100 mm, servo: {{pin: to be chosen}}}}\n" for number in range(15))
    text = (
        OPEN_SHOP.split("gates:")[0]
        + f"gates:\n{gates}tools:\n  saw: {{gates: gate 1, sensor: {{current_switch: GPIO25}}}}\n"
    )

    with pytest.raises(CannotChoose) as trouble:
        choices_for(text, "full.yaml")

    assert str(trouble.value) == (
        "gates > gate 12 > servo > pin: no pin is left that is quiet at power-up (GPIO12, GPIO13, GPIO18, GPIO19, "
        "GPIO20, GPIO21, GPIO17, GPIO22 and 6 more); contacts may stand anywhere: write to be chosen at "
        "tools > saw > sensor > current_switch and ask again"
    )
