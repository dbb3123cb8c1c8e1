"""The install script in a clean Debian tree under a real service manager: packages, unit, every end of the service.

    python tests/bench/bench_install.py [bookworm|trixie]

As root on a Debian machine with ``mmdebstrap`` and ``systemd-container``, and with the package registries in reach (the
machine's own settings for apt and pip are used). It makes the tree in a passing folder, lays this project into it and
installs it there as on a card. Then it boots the tree in a container and looks at the service on pins that are no
board's: ready, upgraded, killed, hung until the watchdog bites, a broken version taken back, stopped, taken off. Exit
status 1 where one of these was not as it must be. About five minutes, most of them Debian's. The unit is the installed
one but for its pins; what a container cannot show is the board's own wires.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("gatekeeper", "sim", "config", "hardware", "pyproject.toml", "README.md", "DEVELOPERS.md")
IN_TREE = "ca-certificates,passwd,systemd,udev,python3-venv"
LONGEST_S = 90.0


def run(*command: str, quiet: bool = False) -> "subprocess.CompletedProcess[str]":
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode and not quiet:
        raise SystemExit(f"{' '.join(command)} failed with {done.returncode}:\n{done.stdout}{done.stderr}")
    return done


def make_tree(tree: Path, suite: str) -> None:
    run("mmdebstrap", "--variant=apt", f"--include={IN_TREE}", suite, str(tree))
    for part in PARTS:
        source = ROOT / part
        target = tree / "root/project" / part
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir():
            shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, target)
    # How this machine reaches the registries.
    for own in ("/etc/pip.conf", "/etc/resolv.conf", str(Path.home() / ".config/pip/pip.conf")):
        if Path(own).is_file():
            target = tree / own.lstrip("/")
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(own, target)
    for name in ("PIP_CERT", "SSL_CERT_FILE", "REQUESTS_CA_BUNDLE"):
        if Path(os.environ.get(name, "")).is_file():
            target = tree / os.environ[name].lstrip("/")
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(os.environ[name], target)


class Booted:
    """The tree, booted in a container with a network of its own."""

    def __init__(self, tree: Path) -> None:
        (tree / "etc/machine-id").unlink(missing_ok=True)
        run("chroot", str(tree), "systemd-machine-id-setup")
        command = ["systemd-nspawn", "-q", "-D", str(tree), "--register=no", "--keep-unit", "--private-network"]
        self.container = subprocess.Popen(
            [*command, "/lib/systemd/systemd"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            start_new_session=True,
        )
        children = Path(f"/proc/{self.container.pid}/task/{self.container.pid}/children")
        self.leader = ""
        until(lambda: bool(children.read_text(encoding="ascii").split()), "no container")
        self.leader = children.read_text(encoding="ascii").split()[0]
        until(lambda: self.inside("systemctl", "is-active", "multi-user.target").stdout.strip() == "active", "no boot")

    def inside(self, *command: str, network: str = "machine") -> "subprocess.CompletedProcess[str]":
        """A command in the container, but in this machine's network, where packages come from, unless told."""
        own = () if network == "machine" else ("-n",)
        return run("nsenter", "-t", self.leader, "-m", "-u", "-i", "-p", *own, "--", *command, quiet=True)

    def install(self, *words: str, folder: str = "project") -> list[str]:
        done = self.inside("/bin/sh", f"/root/{folder}/hardware/install.sh", *words)
        return [*done.stdout.splitlines(), *(line for line in done.stderr.splitlines() if line.startswith("Version"))]

    def service(self, key: str) -> str:
        return self.inside("systemctl", "show", "gatekeeper", f"--property={key}", "--value").stdout.strip()

    def said(self) -> str:
        return self.inside("journalctl", "-u", "gatekeeper", "-o", "cat", "--no-pager").stdout

    def end_it(self, by: str, restarts: int) -> dict[str, object]:
        """Send a signal to the program, wait for the next run, and say what came between."""
        before = self.said()
        began_s = time.monotonic()
        self.inside("/bin/sh", "-c", f"kill -{by} {self.service('MainPID')}")
        until(
            lambda: (self.service("NRestarts"), self.service("SubState")) == (str(restarts), "running"),
            f"no new run, {by}",
        )
        new = self.said()[len(before) :]
        marks = ("outputs are off", "Main process", "Watchdog")
        lines = [line for line in new.splitlines() if any(mark in line for mark in marks)]
        return {"back_after_s": round(time.monotonic() - began_s, 1), "said": lines}

    def shut_down(self) -> None:
        os.kill(int(self.leader), signal.SIGRTMIN + 3)
        self.container.wait(LONGEST_S)


def until(true: Callable[[], bool], otherwise: str) -> None:
    ends_s = time.monotonic() + LONGEST_S
    while not true():
        if time.monotonic() > ends_s:
            raise SystemExit(otherwise)
        time.sleep(0.2)


def with_no_boards_pins(project: Path) -> None:
    """The unit as it is but for the pins, which no container has."""
    for name, old in (("gatekeeper.service", "PINS=gpiod"), ("install.sh", "PINS=${pins:-gpiod}")):
        path = project / "hardware" / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, "PINS=mock"), encoding="utf-8")


def ends_of_the_service(tree: Path) -> dict[str, object]:
    """Everything that wants a service manager."""
    found: dict[str, object] = {}
    booted = Booted(tree)
    try:
        found["started_with_the_board"] = booted.service("ActiveState")
        asked = booted.inside("gatekeeper", "doctor", "--json", network="container").stdout
        found["doctor"] = [one["said"] for one in json.loads(asked)["findings"] if one["verdict"] != "well"]
        found["upgrade"] = booted.install("--hold", "3")
        found["killed"] = booted.end_it("KILL", 1)
        found["hung"] = booted.end_it("STOP", 2)
        broken = tree / "root/broken"
        shutil.copytree(tree / "root/project", broken)
        with (broken / "gatekeeper/service/running.py").open("a", encoding="utf-8") as module:
            module.write('\nraise RuntimeError("planted")\n')
        found["broken_upgrade"] = booted.install("--hold", "3", folder="broken")
        found["after_it"] = [booted.service("ActiveState"), booted.service("NRestarts")]
        found["back"] = booted.install("back", "--hold", "3")
        booted.inside("systemctl", "stop", "gatekeeper")
        found["stopped"] = [booted.service("ActiveState"), *booted.said().splitlines()[-3:]]
        found["uninstall"] = booted.install("uninstall", "--with-data")
    finally:
        booted.shut_down()
    return found


def files_below(tree: Path) -> set[str]:
    # What a booted system makes by itself is not ours.
    outside = ("proc", "sys", "dev", "run", "tmp", "root", "var/cache", "var/log", "var/lib/systemd", "etc/localtime")
    found = (str(path.relative_to(tree)) for path in tree.rglob("*"))
    return {
        path
        for path in found
        if not path.startswith(outside) and not path.endswith((".pyc", "__pycache__", ".updated"))
    }


def main() -> None:
    suite = sys.argv[1] if len(sys.argv) > 1 else "bookworm"
    figures: dict[str, object] = {"debian": suite}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        tree = Path(folder) / "tree"
        began_s = time.monotonic()
        make_tree(tree, suite)
        figures["tree_s"] = round(time.monotonic() - began_s, 1)
        with_no_boards_pins(tree / "root/project")
        before = files_below(tree)
        inside = ("chroot", str(tree))
        script = ("/bin/sh", "/root/project/hardware/install.sh")
        run("mount", "-t", "proc", "proc", str(tree / "proc"))
        try:
            began_s = time.monotonic()
            done = run(*inside, *script, "--shop", "garage-one-collector")
            figures["install_s"] = round(time.monotonic() - began_s, 1)
            figures["install_said"] = done.stdout.splitlines()
            version = tree / "opt/gatekeeper/current"
            held = sum(path.stat().st_size for path in version.resolve().rglob("*") if path.is_file())
            figures["installed_mb"] = round(held / 1e6, 1)
            verified = run(*inside, "systemd-analyze", "verify", "/etc/systemd/system/gatekeeper.service", quiet=True)
            figures["verify"] = [verified.returncode, verified.stderr.splitlines()]
        finally:
            run("umount", str(tree / "proc"))
        figures |= ends_of_the_service(tree)
        figures["left_over"] = sorted(files_below(tree) - before)[:20]
    print(json.dumps(figures, indent=2))
    wrong = [name for name, is_right in as_it_must_be(figures).items() if not is_right]
    if wrong:
        raise SystemExit(f"not as it must be: {', '.join(wrong)}")


def as_it_must_be(figures: dict[str, object]) -> dict[str, bool]:
    """What was asked for, each by its name."""
    text = {name: json.dumps(value) for name, value in figures.items()}
    return {
        "verify": figures["verify"] == [0, []],
        "started_with_the_board": figures["started_with_the_board"] == "active",
        "upgrade": text["upgrade"].endswith('runs."]'),
        "killed": "outputs are off" in text["killed"],
        "hung": "Watchdog timeout" in text["hung"] and "outputs are off" in text["hung"],
        "broken_upgrade": "runs again, as before" in text["broken_upgrade"],
        "after_it": figures["after_it"] == ["active", "0"],
        "back": text["back"].count("runs. To go forward again") == 1,
        "stopped": '"inactive"' in text["stopped"] and "outputs are off" in text["stopped"],
        "left_over": figures["left_over"] == [],
    }


if __name__ == "__main__":
    main()
