"""What the doctor reads, from trees and servers made here."""

import http.server
import threading
from collections.abc import Sequence
from pathlib import Path

import pytest

from gatekeeper.doctor_look import Facts, look, said_by, seconds_of, service_facts


def seen(root: Path, *, port: int = 1, nodes: Sequence[str] = (), folder: Path | None = None) -> Facts:
    return look(
        packages=("pyyaml", "no-such-package"),
        nodes=nodes,
        folder=folder or root,
        port=port,
        encrypted=False,
        service=None,
        root=root,
        ask=lambda command: {"RuntimeWatchdogUSec": "10s"} if command[0] == "systemctl" else None,
    )


def lay(root: Path, name: str, text: str) -> None:
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("kernel", "cmdline", "keeps"),
    [
        (None, None, None),
        ("Y\n", None, True),
        ("N\n", "pinctrl_bcm2835.persist_gpio_outputs=y", False),
        (None, "quiet pinctrl_bcm2835.persist_gpio_outputs=n", False),
        (None, "pinctrl_bcm2835.persist_gpio_outputs=n pinctrl_bcm2835.persist_gpio_outputs=1", True),
        (None, "quiet", None),
    ],
)
def test_whether_the_kernel_keeps_outputs(
    tmp_path: Path, kernel: str | None, cmdline: str | None, keeps: bool | None
) -> None:
    if kernel is not None:
        lay(tmp_path, "sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs", kernel)
    if cmdline is not None:
        lay(tmp_path, "proc/cmdline", cmdline)
    assert seen(tmp_path).keeps_outputs is keeps


@pytest.mark.parametrize("place", ["boot/firmware/config.txt", "boot/config.txt"])
def test_whether_config_txt_is_strict(tmp_path: Path, place: str) -> None:
    assert seen(tmp_path).is_strict is None
    lay(tmp_path, place, "[all]\n#dtparam=strict_gpiod\n")
    assert seen(tmp_path).is_strict is False
    lay(tmp_path, place, "[all]\n dtparam=strict_gpiod\n")
    assert seen(tmp_path).is_strict is True


def test_packages_chips_clock_and_watchdog(tmp_path: Path) -> None:
    facts = seen(tmp_path)
    assert facts.packages["no-such-package"] is None
    assert facts.packages["pyyaml"] is not None
    assert facts.chips == ()
    assert (facts.has_clock, facts.is_synced, facts.board_watchdog_s) == (False, None, 10.0)
    lay(tmp_path, "dev/rtc0", "")
    assert seen(tmp_path).has_clock


def test_a_chip_that_is_none_cannot_be_looked_at(tmp_path: Path) -> None:
    lay(tmp_path, "dev/gpiochip0", "")
    assert seen(tmp_path).chips is None


def test_device_files_and_the_folder(tmp_path: Path) -> None:
    lay(tmp_path, "dev/spidev0.0", "")
    facts = seen(tmp_path, nodes=("/dev/spidev0.0", "/dev/i2c-1"), folder=tmp_path / "not" / "yet")
    assert facts.nodes == {"/dev/spidev0.0": True, "/dev/i2c-1": None}
    assert facts.folder_writable is None
    assert facts.free_bytes > 0
    assert not (tmp_path / "not").exists()


@pytest.mark.parametrize("status", [200, 503])
def test_the_page_is_asked_once(tmp_path: Path, status: int) -> None:
    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_arguments: object) -> None:
            pass

    with http.server.HTTPServer(("127.0.0.1", 0), Answer) as server:
        thread = threading.Thread(target=server.handle_request)
        thread.start()
        assert seen(tmp_path, port=server.server_port).page_status == status
        thread.join()


def test_nobody_at_the_page(tmp_path: Path) -> None:
    assert seen(tmp_path).page_status is None


@pytest.mark.parametrize(
    ("span", "seconds"),
    [("10s", 10.0), ("1min 30s", 90.0), ("500ms", 0.5), ("0", 0.0), ("", None), ("infinity", None), ("10 foo", None)],
)
def test_times_as_the_service_manager_writes_them(span: str, seconds: float | None) -> None:
    assert seconds_of(span) == seconds


def test_a_command_s_lines() -> None:
    assert said_by(("printf", "a=1\nb=x=y\nnothing\n")) == {"a": "1", "b": "x=y"}
    assert said_by(("false",)) is None
    assert said_by(("no-such-program-here",)) is None


def test_the_service_is_asked_by_name() -> None:
    asked: list[Sequence[str]] = []

    def ask(command: Sequence[str]) -> dict[str, str] | None:
        asked.append(command)
        return {"LoadState": "loaded"}

    assert service_facts(ask) == {"LoadState": "loaded"}
    assert asked[0][:3] == ("systemctl", "show", "gatekeeper.service")
    assert "--property=NRestarts" in asked[0]
