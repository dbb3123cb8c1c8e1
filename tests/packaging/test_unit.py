"""The service's unit under the service manager's own two checks, and the traps that neither of them knows."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from gatekeeper.service.notify import SIGNS, STALE_S

HARDWARE = Path(__file__).parents[2] / "hardware"
UNIT = (HARDWARE / "gatekeeper.service").read_text(encoding="utf-8")
#: Ten times the exposure that is allowed, as ``systemd-analyze security`` counts.
MOST_EXPOSURE = 20


def values(key: str, unit: str = UNIT) -> list[str]:
    return re.findall(rf"^{key}=(.*)$", unit, re.MULTILINE)


def verified(folder: Path, unit: str) -> "subprocess.CompletedProcess[str]":
    """The unit with a program that is there in place of the installed one."""
    program = folder / "gatekeeper"
    shutil.copy(sys.executable, program)
    path = folder / "gatekeeper.service"
    path.write_text(unit.replace("/opt/gatekeeper/current/bin/gatekeeper", str(program)), encoding="utf-8")
    return subprocess.run(
        ["systemd-analyze", "verify", str(path)], capture_output=True, text=True, check=False, timeout=60
    )


def test_the_service_manager_has_nothing_to_say_against_the_unit(tmp_path: Path) -> None:
    done = verified(tmp_path, UNIT)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("WatchdogSec=10", "WatchdogSek=10", "WatchdogSek"),
        ("Restart=always", "Restart=allways", "allways"),
        ("Type=notify", "Type=notified", "notified"),
    ],
)
def test_that_check_sees_a_slip_of_the_pen(tmp_path: Path, right: str, wrong: str, said: str) -> None:
    assert said in verified(tmp_path, UNIT.replace(right, wrong)).stderr


def test_the_exposure_is_low(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "gatekeeper.service"
    path.write_text(UNIT, encoding="utf-8")
    command = ["systemd-analyze", "security", "--offline=true", f"--threshold={MOST_EXPOSURE}", "--no-pager", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    (score,) = re.findall(r"Overall exposure level for gatekeeper.service: ([0-9.]+)", done.stdout)
    with capsys.disabled():
        print(f"\nexposure of the unit: {score} of 10 (allowed: {MOST_EXPOSURE / 10:g})")
    assert done.returncode == 0, done.stdout + done.stderr


def test_nothing_hides_the_wires() -> None:
    """PrivateDevices hides the pins; ProtectClock does on older systems; ProcSubset hides the boot's name."""
    for trap in ("PrivateDevices", "ProtectClock", "ProcSubset", "PrivateNetwork", "DynamicUser"):
        assert values(trap) == []
    assert values("DevicePolicy") == ["closed"]
    allowed = set(values("DeviceAllow"))
    assert {"char-gpiochip rw", "char-spi rw", "char-i2c rw", "char-ttyUSB rw"} <= allowed
    assert values("SupplementaryGroups") == ["gpio i2c spi dialout"]


def test_outputs_go_off_after_every_end_by_the_same_program_file_and_pins() -> None:
    (start,), (off,) = values("ExecStart"), values("ExecStopPost")
    assert off.split()[2:] == ["/etc/gatekeeper/shop.yaml", "--pins", "${GATEKEEPER_PINS}"]
    assert start.split()[2:] == [*off.split()[2:], "--ask"]
    assert (start.split()[1], off.split()[1]) == ("run", "outputs-off")
    assert start.split()[0] == off.split()[0]


def test_it_never_gives_up_and_waits_for_no_network() -> None:
    assert values("StartLimitIntervalSec") == ["0"]
    assert values("Restart") == ["always"]
    assert "network" not in " ".join(values("After") + values("Wants") + values("Requires"))
    assert "time-sync" not in UNIT


def test_a_thread_that_hangs_is_noticed_before_the_watchdog_bites_and_one_late_sign_is_no_end() -> None:
    (watchdog_s,) = map(float, values("WatchdogSec"))
    assert STALE_S + watchdog_s / SIGNS < watchdog_s


def test_the_rules_give_each_bus_to_its_group() -> None:
    rules = re.findall(r'^SUBSYSTEM=="([a-z0-9-]+)".*GROUP="([a-z0-9]+)", MODE="0660"$', _rules(), re.MULTILINE)
    assert rules == [("gpio", "gpio"), ("spidev", "spi"), ("i2c-dev", "i2c")]


def _rules() -> str:
    return (HARDWARE / "60-gatekeeper.rules").read_text(encoding="utf-8")
