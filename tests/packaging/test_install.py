"""The install script on a made-up system: first install, upgrade, roll-back, board, access point, uninstall.

The same script in a real clean Debian tree: ``tests/bench/bench_install.py``.
"""

import os
import subprocess
from pathlib import Path

import pytest
from install_bench import SCRIPT, System

SHOP = "tools: {}\n"


@pytest.fixture
def system(tmp_path: Path) -> System:
    return System(tmp_path)


@pytest.fixture
def installed(system: System) -> System:
    done = system.install("--shop", "one-evening")
    assert done.returncode == 0, done.stderr
    return system


def test_a_first_install_makes_users_folders_unit_and_starts(system: System) -> None:
    own = system.folder / "own.yaml"
    own.write_text(SHOP, encoding="utf-8")
    done = system.install("install", "--shop", str(own))
    assert system.said(done) == [
        "Laying version V beside the others.",
        "Starting it; it must become ready and stay so for 0 s.",
        "Version V runs.",
    ]
    assert done.returncode == 0
    assert system.calls("groupadd") == [f"--system {name}" for name in ("gatekeeper", "gpio", "i2c", "spi")]
    assert system.calls("useradd") == [
        "--system --gid gatekeeper --home-dir /var/lib/gatekeeper --no-create-home --shell /usr/sbin/nologin gatekeeper"
    ]
    assert system.calls("pip") == [
        f"-m pip install --quiet --disable-pip-version-check --no-cache-dir {SCRIPT.parents[1]}[board]"
    ]
    assert system.shop.read_text(encoding="utf-8") == SHOP
    assert system.shop.stat().st_mode & 0o777 == 0o640
    for private in ("etc/gatekeeper", "var/lib/gatekeeper"):
        assert (system.root / private).stat().st_mode & 0o777 == 0o750
    assert system.calls("chown") == [
        "gatekeeper:gatekeeper /etc/gatekeeper /var/lib/gatekeeper",
        "gatekeeper:gatekeeper /etc/gatekeeper/shop.yaml",
    ]
    assert system.unit.read_text(encoding="utf-8") == (SCRIPT.parent / "gatekeeper.service").read_text(encoding="utf-8")
    assert (system.root / "etc/udev/rules.d/60-gatekeeper.rules").is_file()
    assert (system.root / "etc/modules-load.d/gatekeeper.conf").read_text(encoding="utf-8") == "i2c-dev\n"
    link = system.root / "usr/local/bin/gatekeeper"
    assert str(link.readlink()) == "/opt/gatekeeper/current/bin/gatekeeper"
    assert (system.opt / "current/became-ready").is_file()
    assert system.calls("systemctl")[:4] == [
        "daemon-reload",
        "enable --quiet gatekeeper.service",
        "restart gatekeeper.service",
        "show --property=NRestarts --value gatekeeper.service",
    ]


@pytest.mark.parametrize(("kept", "told"), [(None, "in /var/lib/gatekeeper/pin"), ("481516\n", "481516")])
def test_without_a_shop_file_the_board_asks_for_it_on_its_page(system: System, kept: str | None, told: str) -> None:
    if kept is not None:
        folder = system.root / "var/lib/gatekeeper"
        folder.mkdir(parents=True)
        (folder / "pin").write_text(kept, encoding="utf-8")
    done = system.install()
    assert (done.returncode, system.said(done)[-2]) == (0, "Version V runs.")
    asks = "There is no shop file: the board asks for it on its page."
    assert system.said(done)[-1] == f"{asks} http://{os.uname().nodename}.local:8080/ PIN: {told}"
    assert "restart gatekeeper.service" in system.calls("systemctl")
    assert not system.shop.exists()
    (system.root / "run/systemd/system").rmdir()
    done = system.install()
    assert system.said(done)[-1] == "There is no shop file: the board then asks for it on its page."


def test_in_the_tree_of_a_card_nothing_is_started(system: System) -> None:
    (system.root / "run/systemd/system").rmdir()
    done = system.install("--shop", "one-evening")
    assert system.said(done)[-1] == "Installed. No service manager runs here; the controller starts with the board."
    assert system.calls("systemctl") == ["enable --quiet gatekeeper.service"]


def test_an_upgrade_keeps_users_shop_and_the_version_before(installed: System) -> None:
    first = installed.version()
    changed = "tools: {saw: {}}\n"
    installed.shop.write_text(changed, encoding="utf-8")
    done = installed.install("--shop", "one-evening")
    assert installed.said(done)[1] == (
        "The board has a shop file already, /etc/gatekeeper/shop.yaml; one-evening was not taken."
    )
    assert done.returncode == 0
    assert installed.calls("groupadd") == installed.calls("useradd") == []
    assert installed.shop.read_text(encoding="utf-8") == changed
    second = installed.version()
    assert installed.version("previous") == first
    assert installed.install().returncode == 0
    assert installed.version("previous") == second
    assert installed.versions() == sorted([second, installed.version()])


@pytest.mark.parametrize("mark", ["broken", "flaps"])
def test_a_version_that_does_not_become_ready_or_does_not_stay_so_is_taken_back(installed: System, mark: str) -> None:
    first = installed.version()
    installed.mark(f"next-{mark}")
    done = installed.install("--pins", "lgpio")
    assert done.returncode == 1
    assert installed.said(done)[-1] == (
        "Version V did not become ready; V runs again, as before. What it said: journalctl -u gatekeeper -n 80"
    )
    assert installed.version() == first
    assert installed.versions() == [first]
    assert "Environment=GATEKEEPER_PINS=gpiod\n" in installed.unit.read_text(encoding="utf-8")
    restarts = [call for call in installed.calls("systemctl") if call.startswith("restart")]
    assert len(restarts) == 2


def test_the_last_version_that_became_ready_is_taken_not_the_last_one(installed: System) -> None:
    """The one laid last never ran, as after a loss of power in the middle of an upgrade."""
    first = installed.version()
    installed.install()
    installed.unmark("active")
    (installed.opt / "current/became-ready").unlink()
    (installed.opt / "current/broken").touch()
    installed.mark("next-broken")
    assert installed.install().returncode == 1
    assert installed.version() == first


def test_a_version_started_by_hand_counts_as_ready(system: System) -> None:
    system.install()
    system.shop.write_text(SHOP, encoding="utf-8")
    system.mark("active")
    first = system.version()
    system.mark("next-broken")
    assert system.install().returncode == 1
    assert system.version() == first


def test_a_first_version_that_does_not_become_ready_says_where_to_look(system: System) -> None:
    system.mark("next-broken")
    done = system.install("--shop", "one-evening")
    assert done.returncode == 1
    assert system.said(done)[-1] == (
        "Version V did not become ready. What it said: journalctl -u gatekeeper -n 50. Then: gatekeeper doctor"
    )


def test_a_version_that_refuses_the_shop_file_changes_nothing(installed: System) -> None:
    first = installed.version()
    installed.shop.write_text("wrong", encoding="utf-8")
    done = installed.install()
    assert done.returncode == 1
    assert installed.said(done)[-2:] == [
        "Stops you: line 1.",
        "This version does not accept /etc/gatekeeper/shop.yaml; nothing was changed.",
    ]
    assert installed.versions() == [first]
    assert not [call for call in installed.calls("systemctl") if call.startswith("restart")]


def test_a_new_shop_file_that_is_refused_is_not_laid(system: System) -> None:
    own = system.folder / "own.yaml"
    own.write_text("wrong", encoding="utf-8")
    assert system.install("--shop", str(own)).returncode == 1
    assert not system.shop.exists()
    assert not system.unit.exists()
    assert system.versions() == []


def test_packages_that_cannot_be_had_change_nothing(installed: System) -> None:
    first = installed.version()
    installed.mark("no-packages")
    done = installed.install("--wheels", "/media/stick", "--from", "/media/stick/gatekeeper.whl")
    assert done.returncode == 1
    assert installed.said(done)[-1] == (
        "The packages could not be installed; nothing was changed. Without internet, give a folder with --wheels."
    )
    assert installed.calls("pip") == [
        "-m pip install --quiet --disable-pip-version-check --no-cache-dir --no-index --find-links /media/stick "
        "/media/stick/gatekeeper.whl[board]"
    ]
    assert installed.versions() == [first]


def test_an_unknown_example_is_said(system: System) -> None:
    done = system.install("--shop", "nowhere")
    assert system.said(done)[-1] == "There is no shop file nowhere, and no example of that name; nothing was changed."
    assert done.returncode == 1


def test_the_pins_are_kept_by_an_upgrade(system: System) -> None:
    system.install("--shop", "one-evening", "--pins", "lgpio")
    system.install()
    assert "Environment=GATEKEEPER_PINS=lgpio\n" in system.unit.read_text(encoding="utf-8")
    system.install("--pins", "gpiod")
    assert "Environment=GATEKEEPER_PINS=gpiod\n" in system.unit.read_text(encoding="utf-8")


@pytest.mark.parametrize("folder", ["etc/udev/rules.d", "usr/lib/udev/rules.d", "lib/udev/rules.d"])
def test_a_system_with_rules_of_its_own_keeps_them(system: System, folder: str) -> None:
    (system.root / folder).mkdir(parents=True)
    (system.root / folder / "99-com.rules").write_text('SUBSYSTEM=="gpio", GROUP="gpio", MODE="0660"\n')
    system.install()
    assert not (system.root / "etc/udev/rules.d/60-gatekeeper.rules").exists()
    assert system.calls("udevadm") == []


def test_our_own_rules_are_laid_again_by_an_upgrade(installed: System) -> None:
    rules = installed.root / "etc/udev/rules.d/60-gatekeeper.rules"
    rules.write_text('SUBSYSTEM=="gpio", GROUP="gpio", MODE="0600"\n', encoding="utf-8")
    installed.install()
    assert rules.read_bytes() == (SCRIPT.parent / rules.name).read_bytes()


def test_back_and_forward_again(installed: System) -> None:
    first = installed.version()
    installed.install()
    second = installed.version()
    done = installed.run("back", "--hold", "0")
    assert installed.said(done) == ["Version V runs. To go forward again: sh install.sh back"]
    assert (installed.version(), installed.version("previous")) == (first, second)
    installed.run("back", "--hold", "0")
    assert (installed.version(), installed.version("previous")) == (second, first)
    (installed.opt / "versions" / first / "broken").touch()
    done = installed.run("back", "--hold", "0")
    assert (done.returncode, installed.said(done)) == (1, ["Version V did not become ready; V runs again."])
    assert installed.version() == second


def test_back_without_a_version_before(installed: System) -> None:
    done = installed.run("back")
    assert (done.returncode, installed.said(done)) == (1, ["There is no version before this one."])


def test_uninstall_keeps_the_data_unless_told(installed: System) -> None:
    done = installed.run("uninstall")
    assert installed.said(done) == [
        "Taken off. Kept: /etc/gatekeeper and /var/lib/gatekeeper (take them too with: uninstall --with-data)."
    ]
    assert installed.calls("systemctl") == [
        "stop gatekeeper.service",
        "disable --quiet gatekeeper.service",
        "daemon-reload",
    ]
    left = {str(path.relative_to(installed.root)) for path in installed.root.rglob("*") if not path.is_dir()}
    assert left == {"etc/gatekeeper/shop.yaml"}
    assert installed.calls("userdel") == []
    done = installed.run("uninstall", "--with-data")
    assert installed.said(done) == ["Taken off, with shop file, settings, counters and history."]
    assert not [path for path in installed.root.rglob("*") if not path.is_dir()]
    assert installed.calls("userdel") == ["gatekeeper"]


def test_the_board_is_set_up_once(system: System) -> None:
    config = system.root / "boot/firmware/config.txt"
    config.parent.mkdir(parents=True)
    config.write_text("dtparam=spi=on\n", encoding="utf-8")
    for _ in range(2):
        done = system.run("board")
        assert system.said(done) == ["Set. It holds from the next start of the board: reboot"]
        assert config.read_text(encoding="utf-8") == (
            "dtparam=spi=on\n[all]\ndtparam=i2c_arm=on\ndtparam=strict_gpiod\n"
        )
    kept = config.with_name("config.txt.before-gatekeeper")
    assert kept.read_text(encoding="utf-8") == "dtparam=spi=on\n"
    watchdog = system.root / "etc/systemd/system.conf.d/gatekeeper.conf"
    assert watchdog.read_text(encoding="utf-8") == "[Manager]\nRuntimeWatchdogSec=10\n"


def test_a_board_without_config_txt_is_told_so(system: System) -> None:
    assert system.said(system.run("board"))[0] == (
        "There is no config.txt: switch on SPI and I2C in this board's own way."
    )


def test_the_access_point_is_written_for_root_only_and_brought_up(system: System) -> None:
    done = system.run("access-point", "Shop air", typed="dust-dust\n")
    assert system.said(done) == [
        "The board's own Wi-Fi is on. Join Shop air with the phone, then open http://10.77.0.1:8080/"
    ]
    kept = system.root / "etc/NetworkManager/system-connections/gatekeeper.nmconnection"
    assert kept.stat().st_mode & 0o777 == 0o600
    text = kept.read_text(encoding="utf-8")
    for line in ("ssid=Shop air", "psk=dust-dust", "mode=ap", "method=shared", "address1=10.77.0.1/24"):
        assert f"\n{line}\n" in text
    assert system.calls("nmcli") == ["connection reload", "connection up gatekeeper"]


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("Shop", "short\n", "The Wi-Fi's password has 8 to 63 characters."),
        ("Shop", "", "The Wi-Fi's password has 8 to 63 characters."),
        (
            "Shop",
            "back\\slash1\n",
            "The Wi-Fi's password may have plain letters, digits and signs but no backslash.",
        ),
        ("a=b", "long enough\n", "The Wi-Fi's name may have letters, digits, spaces, - and _, and must not be empty."),
        ("", "long enough\n", "The Wi-Fi's name may have letters, digits, spaces, - and _, and must not be empty."),
        ("x" * 33, "long enough\n", "The Wi-Fi's name may have 32 characters."),
    ],
)
def test_an_access_point_that_cannot_be_is_refused(system: System, name: str, typed: str, said: str) -> None:
    done = system.run("access-point", name, typed=typed)
    assert (done.returncode, system.said(done)) == (1, [said])
    assert system.calls("nmcli") == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--shop",), None),
        (("--pins", "native"), "The pins are native; gpiod and lgpio are allowed."),
        (("--hold", "long"), "The hold time is long; a whole number of seconds is allowed."),
        (("--fast", "now"), "--fast is no word that install.sh knows."),
    ],
)
def test_wrong_words_change_nothing(system: System, words: tuple[str, ...], said: str | None) -> None:
    if said is None:
        done = subprocess.run(["/bin/sh", str(SCRIPT), *words], capture_output=True, text=True, check=False, timeout=60)
        assert done.stderr == "--shop needs a value after it.\n"
    else:
        done = system.run(*words)
        assert system.said(done)[-1] == said
    assert done.returncode == 1
    assert not system.opt.exists()


def test_a_32_bit_system_is_refused(system: System) -> None:
    system.mark("is-32-bit")
    done = system.install()
    assert system.said(done) == ["A 64-bit system is needed: the packages are not made for a 32-bit one."]
    assert done.returncode == 1
    assert not system.opt.exists()


def test_help_says_every_word_without_being_root() -> None:
    done = subprocess.run(["/bin/sh", str(SCRIPT), "--help"], capture_output=True, text=True, check=True, timeout=60)
    for word in ("back", "board", "access-point", "uninstall", "--shop", "--pins", "--wheels", "--from", "--hold"):
        assert word in done.stdout
