"""Every sentence of the doctor from facts made up here, and the command itself on this machine."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.doctor import (
    EARLIEST_WALL_S,
    Verdict,
    _nodes,
    _packages,
    doctor_data,
    doctor_lines,
    findings_of,
    is_well,
    pins_of,
)
from gatekeeper.doctor_look import ChipSeen, Facts
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop


def shop_of(name: str) -> Shop:
    shop = load_shop(example(name).read_text(encoding="utf-8"), "shop.yaml")
    assert isinstance(shop, Shop)
    return shop


GARAGE = shop_of("garage-one-collector")
HEADER = ChipSeen("/dev/gpiochip0", "pinctrl-rp1", {17: "gatekeeper", 2: "sda"})
SERVICE = {
    "LoadState": "loaded",
    "ActiveState": "active",
    "UnitFileState": "enabled",
    "NRestarts": "0",
    "WatchdogUSec": "10s",
    "StatusText": "The shop is under control.",
    "Environment": "LANG=C GATEKEEPER_PINS=lgpio",
}
WELL = Facts(
    python=(3, 11),
    bits=64,
    packages={"gpiod": "2.5.0", "lgpio": "0.2.2.0"},
    chips=(HEADER,),
    nodes={"/dev/spidev0.0": True},
    user="gatekeeper",
    groups=frozenset({"gatekeeper", "gpio", "spi"}),
    folder=Path("/var/lib/gatekeeper"),
    folder_writable=True,
    free_bytes=2_000_000_000,
    wall_s=EARLIEST_WALL_S + 1.0,
    is_synced=False,
    has_clock=True,
    keeps_outputs=True,
    is_strict=True,
    service=SERVICE,
    board_watchdog_s=10.0,
    page_status=200,
)


def said(facts: Facts, code: str, pins: str = "lgpio", shop: Shop = GARAGE) -> list[tuple[Verdict, str]]:
    return [(one.verdict, one.said) for one in findings_of(facts, shop, pins) if one.code == code]


def test_a_board_in_order_says_so_line_by_line() -> None:
    findings = findings_of(WELL, GARAGE, "lgpio")
    assert is_well(findings)
    assert doctor_lines(GARAGE, "lgpio", findings) == [
        "Back-wall garage, on lgpio.",
        "",
        "In order:",
        "- Python 3.11, 64 bits.",
        "- The package gpiod 2.5.0.",
        "- The package lgpio 0.2.2.0.",
        "- The header's lines are /dev/gpiochip0 (pinctrl-rp1).",
        "- All 11 lines of the shop can be had: the controller holds them.",
        "- After a crash the kernel lets the outputs go, so a relay drops.",
        "- gatekeeper may use /dev/spidev0.0.",
        "- 2000 MB are free for /var/lib/gatekeeper.",
        "- The clock is kept by its own battery.",
        "- The service runs. The shop is under control.",
        "- The service's watchdog is on.",
        "- The board restarts itself when it hangs for 10 s.",
        "- The page answers at port 8080.",
        "",
        "Nothing was changed.",
    ]


def test_what_must_be_mended_stands_first_and_json_says_the_same() -> None:
    findings = findings_of(replace(WELL, page_status=500, is_synced=None, has_clock=False), GARAGE, "lgpio")
    lines = doctor_lines(GARAGE, "lgpio", findings)
    assert [line for line in lines if line.endswith(":")] == ["To mend:", "Good to know:", "In order:"]
    data = doctor_data(GARAGE, "lgpio", findings)
    assert (data["shop"], data["pins"], data["ok"]) == ("Back-wall garage", "lgpio", False)
    assert {
        "code": "page",
        "verdict": "mend",
        "said": "The page answers with the fault 500. Why: journalctl -u gatekeeper -n 50",
    } in data["findings"]


MEND, KNOW, GOOD = Verdict.MEND, Verdict.KNOW, Verdict.WELL
NO_LIBRARY = "The package lgpio is missing. Install it with: pip install 'gatekeeper[board]'."
NO_VIEW = "The package gpiod is missing. Install it with: pip install 'gatekeeper[board]'."
AFTER_A_CRASH = (
    "each output at its level: a collector that runs would run on. Put dtparam=strict_gpiod into config.txt "
    "(sh install.sh board does it) and restart the board."
)
UNREADABLE = (
    "The board's lines cannot be looked at by gatekeeper: no right to /dev/gpiochip*, or no package gpiod. Ask as "
    "root, and see the device files below."
)


@pytest.mark.parametrize(
    ("change", "code", "expected"),
    [
        (
            {"python": (3, 10)},
            "python",
            [(MEND, "This is Python 3.10; 3.11, 3.12 and 3.13 are allowed. Make the environment anew.")],
        ),
        ({"bits": 32}, "python", [(MEND, "This is a 32-bit Python 3.11; put a 64-bit system on the board.")]),
        ({"packages": {"gpiod": None, "lgpio": None}}, "package", [(KNOW, NO_VIEW), (MEND, NO_LIBRARY)]),
        (
            {"packages": {"lgpio": "0.0.0.2"}},
            "package",
            [(MEND, "The package lgpio is 0.0.0.2; 0.2.2 or newer is needed.")],
        ),
        ({"chips": None}, "chip", [(MEND, UNREADABLE)]),
        (
            {"chips": ()},
            "chip",
            [(MEND, "No chip of the 40-pin header was found; seen: none. Run this on the board.")],
        ),
        (
            {"chips": (ChipSeen("/dev/gpiochip0", "gpio-sim", {}),)},
            "chip",
            [
                (
                    MEND,
                    "No chip of the 40-pin header was found; seen: /dev/gpiochip0 (gpio-sim). Run this on the board.",
                )
            ],
        ),
        (
            {"chips": (ChipSeen("/dev/gpiochip0", "pinctrl-rp1", {17: "w1", 22: ""}),)},
            "line",
            [
                (
                    MEND,
                    "GPIO 17, the line of collector, is held by w1. Stop that program, or take its overlay out of "
                    "config.txt.",
                ),
                (
                    MEND,
                    "GPIO 22, the line of collector, is held by the system. Stop that program, or take its overlay out "
                    "of config.txt.",
                ),
            ],
        ),
        (
            {"chips": (ChipSeen("/dev/gpiochip0", "pinctrl-rp1", {}),)},
            "line",
            [(GOOD, "All 11 lines of the shop can be had: nobody holds one.")],
        ),
        ({"is_strict": False}, "strict", [(MEND, f"After a crash the kernel keeps {AFTER_A_CRASH}")]),
        (
            {"is_strict": None, "keeps_outputs": None},
            "strict",
            [(KNOW, f"After a crash the kernel may keep {AFTER_A_CRASH}")],
        ),
        (
            {"is_strict": None, "keeps_outputs": False},
            "strict",
            [(GOOD, "After a crash the kernel lets the outputs go, so a relay drops.")],
        ),
        (
            {"nodes": {"/dev/spidev0.0": None, "/dev/i2c-1": None}},
            "node",
            [
                (
                    MEND,
                    "/dev/spidev0.0 is missing: SPI is switched off. Put dtparam=spi=on into config.txt and restart "
                    "the board.",
                ),
                (
                    MEND,
                    "/dev/i2c-1 is missing: I2C is switched off. Put dtparam=i2c_arm=on into config.txt and restart "
                    "the board.",
                ),
            ],
        ),
        (
            {"nodes": {"/dev/spidev0.0": False, "/dev/i2c-1": False}},
            "node",
            [
                (
                    MEND,
                    "gatekeeper may not use /dev/spidev0.0. It should belong to the group spi with mode 0660; "
                    "gatekeeper is in that group already. sh install.sh lays the rule for it.",
                ),
                (
                    MEND,
                    "gatekeeper may not use /dev/i2c-1. It should belong to the group i2c with mode 0660; "
                    "gatekeeper is not in it. sh install.sh lays the rule for it.",
                ),
            ],
        ),
        (
            {"folder_writable": False},
            "folder",
            [
                (
                    MEND,
                    "gatekeeper may not write /var/lib/gatekeeper. Give it: chown -R gatekeeper /var/lib/gatekeeper",
                )
            ],
        ),
        (
            {"folder_writable": None},
            "folder",
            [(KNOW, "The state folder /var/lib/gatekeeper is not there yet; the first start makes it.")],
        ),
        (
            {"free_bytes": 99_999_999},
            "room",
            [(MEND, "99 MB are free for /var/lib/gatekeeper; 100 MB are needed. Make room on the card.")],
        ),
        (
            {"wall_s": 0.0},
            "clock",
            [
                (
                    KNOW,
                    "The board's clock is wrong, so dates in the history are. The shop runs all the same. Give the "
                    "board a network or a clock with a battery, or set it: date --set.",
                )
            ],
        ),
        ({"is_synced": True, "has_clock": False}, "clock", [(GOOD, "The clock is kept by the network.")]),
        (
            {"is_synced": None, "has_clock": False},
            "clock",
            [(KNOW, "Nothing keeps the clock: after a power cut dates in the history are wrong until it is set.")],
        ),
        (
            {"service": None},
            "service",
            [
                (
                    KNOW,
                    "No service is installed, so nothing starts by itself when the board does. For a board in a shop: "
                    "sudo sh hardware/install.sh",
                )
            ],
        ),
        (
            {"service": SERVICE | {"ActiveState": "failed"}},
            "service",
            [
                (
                    MEND,
                    "The service is failed. What it said: journalctl -u gatekeeper -n 50. Then: systemctl restart "
                    "gatekeeper",
                )
            ],
        ),
        (
            {"service": SERVICE | {"NRestarts": "4"}},
            "service",
            [
                (
                    KNOW,
                    "The service runs, but had to be restarted 4 times since the board's start or the last install. "
                    "Why: journalctl -u gatekeeper",
                )
            ],
        ),
        (
            {"service": SERVICE | {"UnitFileState": "disabled"}},
            "boot",
            [(MEND, "The service does not start with the board. Mend it: systemctl enable gatekeeper")],
        ),
        (
            {"service": SERVICE | {"WatchdogUSec": "0"}},
            "watchdog",
            [(MEND, "The service's watchdog is off. Lay the unit anew: sudo sh hardware/install.sh")],
        ),
        ({"service": SERVICE | {"WatchdogUSec": "0", "ActiveState": "inactive"}}, "watchdog", []),
        (
            {"board_watchdog_s": 0.0},
            "board_watchdog",
            [
                (
                    KNOW,
                    "Nothing restarts the board when the whole system hangs, and outputs stay as they are. Switch its "
                    "watchdog on: sudo sh hardware/install.sh board",
                )
            ],
        ),
        (
            {"page_status": None},
            "page",
            [
                (
                    MEND,
                    "No page answers at 127.0.0.1 port 8080. Another program may have the port: ss -ltnp. Or give the "
                    "page another port.",
                )
            ],
        ),
        (
            {"page_status": None, "service": None},
            "page",
            [(KNOW, "No page answers at 127.0.0.1 port 8080. None does while the controller does not run.")],
        ),
    ],
    ids=lambda value: ",".join(value) if isinstance(value, dict) else None,
)
def test_each_trouble_is_one_sentence_and_what_to_do(
    change: dict[str, object], code: str, expected: list[tuple[Verdict, str]]
) -> None:
    assert said(replace(WELL, **change), code) == expected  # type: ignore[arg-type]


def test_servos_on_pins_that_send_no_pulses_are_told() -> None:
    assert said(WELL, "servo", "gpiod") == [
        (MEND, "The shop has servos on the board's own pins, and gpiod sends no pulses. Use the pins lgpio, or a bank.")
    ]
    assert said(WELL, "servo", "gpiod", shop_of("one-evening")) == []
    assert said(WELL, "servo", "lgpio") == []


def test_on_pins_that_are_no_board_s_no_chip_is_asked_for() -> None:
    assert said(replace(WELL, chips=()), "chip", "mock") == said(WELL, "strict", "mock") == []


def test_the_service_s_own_pins_are_taken() -> None:
    assert pins_of(SERVICE) == "lgpio"
    assert pins_of({"Environment": ""}) is None
    assert pins_of(None) is None


def test_the_command_says_the_same_for_machines_and_ends_by_what_it_found() -> None:
    done = CliRunner().invoke(app, ["doctor", "garage-one-collector", "--json"])
    data = json.loads(done.output)
    assert done.exit_code == (0 if data["ok"] else 1)
    codes = {finding["code"] for finding in data["findings"]}
    assert {"python", "package", "chip", "strict", "node", "room", "clock", "service", "page"} <= codes
    plain = CliRunner().invoke(app, ["doctor", "garage-one-collector"])
    assert plain.output.splitlines()[0] == "Back-wall garage, on gpiod."
    assert plain.output.splitlines()[-1] == "Nothing was changed."
    assert plain.exit_code == done.exit_code


def test_a_file_that_is_no_shop_is_refused(tmp_path: Path) -> None:
    assert CliRunner().invoke(app, ["doctor", str(tmp_path / "none.yaml")]).exit_code == 2


def test_a_drive_wants_its_library_and_its_serial_line() -> None:
    drive = SimpleNamespace(serial="/dev/ttyUSB0")
    shop = replace(GARAGE, drives={"fan drive": drive})  # type: ignore[dict-item]
    assert _packages(shop, "mock") == {"pymodbus", "pyserial"}
    assert _nodes(shop)[-1] == "/dev/ttyUSB0"
    assert said(replace(WELL, packages={"pymodbus": None}), "package") == [
        (MEND, "The package pymodbus is missing. Install it with: pip install 'gatekeeper[modbus]'.")
    ]
    lines = {usable: said(replace(WELL, nodes={"/dev/ttyUSB0": usable}), "node") for usable in (None, False, True)}
    assert lines == {
        None: [(MEND, "/dev/ttyUSB0 is missing: plug the drive's serial adapter in, or write its right name.")],
        False: [(MEND, f"{WELL.user} may not use /dev/ttyUSB0. Add this user to the group dialout.")],
        True: [(Verdict.WELL, f"{WELL.user} may use /dev/ttyUSB0.")],
    }
