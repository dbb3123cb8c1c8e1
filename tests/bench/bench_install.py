"""The install script in a clean Debian tree, for real: packages fetched, unit checked, the controller started by it.

    python tests/bench/bench_install.py [bookworm|trixie]

As root on a Debian machine with ``mmdebstrap`` and ``systemd``, and with the package registries in reach (the
machine's own settings for apt and pip are used). It makes the tree in a passing folder, lays this project into it, runs
``install.sh`` there, checks the installed unit, starts the unit's own command as the unit's user on pins that are no
board's until it says that it is ready, runs the doctor, takes everything off, and says what was left. About four
minutes, most of them Debian's. No service manager runs in such a tree, so roll-back is tested elsewhere
(``tests/packaging/test_install.py``).
"""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("gatekeeper", "sim", "config", "hardware", "pyproject.toml", "README.md", "DEVELOPERS.md")
IN_TREE = "ca-certificates,systemd,udev,python3-venv"
LEAST_WAIT_S = 60.0


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


def start_by_its_unit(tree: Path) -> tuple[float, int, list[str]]:
    """The unit's own command under its user with a notify socket: seconds to ready, exit status, what was said."""
    unit = (tree / "etc/systemd/system/gatekeeper.service").read_text(encoding="utf-8")
    (start,) = re.findall(r"^ExecStart=(.*)$", unit, re.MULTILINE)
    (off,) = re.findall(r"^ExecStopPost=(.*)$", unit, re.MULTILINE)
    ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    folder = tree / "run/gatekeeper"
    folder.mkdir()
    ear.bind(str(folder / "told"))
    run("chroot", str(tree), "chown", "-R", "gatekeeper:gatekeeper", "/run/gatekeeper")
    ear.settimeout(LEAST_WAIT_S)
    told = "NOTIFY_SOCKET=/run/gatekeeper/told STATE_DIRECTORY=/var/lib/gatekeeper WATCHDOG_USEC=10000000"
    as_user = ["chroot", "--userspec=gatekeeper:gatekeeper", str(tree), "/bin/sh", "-c"]
    began_s = time.monotonic()
    with subprocess.Popen(
        [*as_user, f"cd /run/gatekeeper && export {told} && exec {start.replace('${GATEKEEPER_PINS}', 'mock')}"],
        stdout=subprocess.PIPE,
        text=True,
    ) as program:
        try:
            said = ear.recv(4096).decode().split("\n")
            ready_s = time.monotonic() - began_s
            program.terminate()
            status = program.wait(LEAST_WAIT_S)
        finally:
            program.kill()
    ear.close()
    said.append(run(*as_user, off.replace("${GATEKEEPER_PINS}", "mock")).stdout.strip())
    return ready_s, status, said


def files_below(tree: Path) -> set[str]:
    outside = ("proc", "sys", "dev", "run", "tmp", "root", "var/cache", "var/log")
    found = (str(path.relative_to(tree)) for path in tree.rglob("*"))
    return {path for path in found if not path.startswith(outside) and "__pycache__" not in path}


def main() -> None:
    suite = sys.argv[1] if len(sys.argv) > 1 else "bookworm"
    figures: dict[str, object] = {"debian": suite}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        tree = Path(folder) / "tree"
        began_s = time.monotonic()
        make_tree(tree, suite)
        figures["tree_s"] = round(time.monotonic() - began_s, 1)
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
            ready_s, status, said = start_by_its_unit(tree)
            figures |= {"ready_s": round(ready_s, 2), "exit_status": status, "told": said}
            doctor = run(*inside, "gatekeeper", "doctor", "--json", quiet=True)
            told = json.loads(doctor.stdout)["findings"]
            figures["doctor"] = [f"{one['code']}: {one['said']}" for one in told if one["verdict"] == "mend"]
            again = run(*inside, *script)
            figures["again_said"] = again.stdout.splitlines()
            run(*inside, *script, "uninstall", "--with-data")
        finally:
            run("umount", str(tree / "proc"))
        figures["left_over"] = sorted(files_below(tree) - before)[:20]
    print(json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
