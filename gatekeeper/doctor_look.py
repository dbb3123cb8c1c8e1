"""What ``gatekeeper doctor`` looks at on this machine. Reads only: no line is claimed and nothing is written."""

import grp
import os
import pwd
import shutil
import ssl
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from sys import maxsize, version_info

SERVICE = "gatekeeper.service"
SERVICE_USER = "gatekeeper"
#: The longest that the page may take to answer, in seconds.
PAGE_WAIT_S = 3.0
_ASKED = ("LoadState", "ActiveState", "UnitFileState", "NRestarts", "WatchdogUSec", "StatusText", "Environment")
_CONFIG_TEXTS = ("boot/firmware/config.txt", "boot/config.txt")
_PERSIST = "pinctrl_bcm2835.persist_gpio_outputs="


@dataclass(frozen=True, slots=True)
class ChipSeen:
    """A chip of digital lines. ``held``: lines in use, with the name that their holder gave (may be empty)."""

    path: str
    label: str
    held: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class Facts:
    """All that was seen.

    Args:
        python: its version's first two numbers; ``bits``: 64 or 32.
        packages: the version of each package that was asked for, None where it is missing.
        chips: the chips of digital lines; None where they cannot be read for want of a library or of the right.
        nodes: each device file that was asked for: None where it is missing, else whether ``user`` may use it.
        user: who is asked about, the service's user where there is one; ``groups``: the groups it is in.
        folder_writable: None where the folder is not there; ``free_bytes``: room on its disk.
        wall_s: seconds since 1970. ``is_synced``: by the network, None where nobody says. ``has_clock``: has a battery.
        keeps_outputs: whether the kernel keeps a released output at its level, None where it does not say.
        is_strict: whether config.txt has strict_gpiod, None without such a file.
        service: what the service manager says of the service, None without a service manager.
        board_watchdog_s: after how long the board is restarted when the system hangs; 0 never, None unknown.
        page_status: the HTTP status of the page, None where nothing answered.
    """

    python: tuple[int, int]
    bits: int
    packages: Mapping[str, str | None]
    chips: tuple[ChipSeen, ...] | None
    nodes: Mapping[str, bool | None]
    user: str
    groups: frozenset[str]
    folder: Path
    folder_writable: bool | None
    free_bytes: int
    wall_s: float
    is_synced: bool | None
    has_clock: bool
    keeps_outputs: bool | None
    is_strict: bool | None
    service: Mapping[str, str] | None
    board_watchdog_s: float | None
    page_status: int | None


def said_by(command: Sequence[str]) -> dict[str, str] | None:
    """The lines ``key=value`` that a command prints; None where it is missing or fails."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=10.0, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    if done.returncode:
        return None
    return dict(line.split("=", 1) for line in done.stdout.splitlines() if "=" in line)


def service_facts(ask: Callable[[Sequence[str]], dict[str, str] | None] = said_by) -> dict[str, str] | None:
    """What the service manager says of the service."""
    return ask(("systemctl", "show", SERVICE, *(f"--property={name}" for name in _ASKED)))


def look(
    *,
    packages: Sequence[str],
    nodes: Sequence[str],
    folder: Path,
    port: int,
    encrypted: bool,
    service: Mapping[str, str] | None,
    root: Path = Path("/"),
    ask: Callable[[Sequence[str]], dict[str, str] | None] = said_by,
) -> Facts:
    """Look at this machine once.

    Args:
        packages, nodes: which packages and device files to look for.
        folder: the state folder.
        port: of the page, on this machine. encrypted: it speaks https.
        service: what ``service_facts`` said.
        root: where ``dev``, ``sys``, ``proc`` and ``boot`` lie.
        ask: runs a command, as ``said_by`` does.
    """
    manager = ask(("systemctl", "show", "--property=RuntimeWatchdogUSec"))
    clock = ask(("timedatectl", "show", "--property=NTPSynchronized"))
    user, groups = _user(has_service=service is not None and service.get("LoadState") == "loaded")
    return Facts(
        python=version_info[:2],
        bits=64 if maxsize > 2**32 else 32,
        packages={name: _version(name) for name in packages},
        chips=_chips(root),
        nodes={node: _may_use(root / node.lstrip("/"), user, groups) for node in nodes},
        user=user,
        groups=groups,
        folder=folder,
        folder_writable=_may_use(folder, user, groups),
        free_bytes=_free_bytes(folder),
        wall_s=time.time(),
        is_synced=None if not clock else clock.get("NTPSynchronized") == "yes",
        has_clock=(root / "dev/rtc0").exists(),
        keeps_outputs=_keeps_outputs(root),
        is_strict=_is_strict(root),
        service=service,
        board_watchdog_s=None if not manager else seconds_of(manager.get("RuntimeWatchdogUSec", "")),
        page_status=_page_status(port, encrypted),
    )


def seconds_of(span: str) -> float | None:
    """A time as the service manager writes it, such as ``10s`` or ``1min 30s`` or ``0``, in seconds."""
    units = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}
    total = 0.0
    for part in span.split():
        number = part.rstrip("abcdefghijklmnopqrstuvwxyz")
        unit = part[len(number) :] or "us"
        try:
            total += float(number) * units[unit]
        except (ValueError, KeyError):
            return None
    return total if span else None


def _version(package: str) -> str | None:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return None


def _chips(root: Path) -> tuple[ChipSeen, ...] | None:
    """The chips with the lines in use; None where one cannot be opened or nothing can open them."""
    paths = sorted((root / "dev").glob("gpiochip*"))
    if not paths:
        return ()
    try:
        import gpiod
    except ImportError:
        return None
    seen: list[ChipSeen] = []
    for path in paths:
        try:
            with gpiod.Chip(str(path)) as chip:
                info = chip.get_info()
                lines = [chip.get_line_info(line) for line in range(info.num_lines)]
                held = {line.offset: line.consumer or "" for line in lines if line.used}
                seen.append(ChipSeen(str(path), info.label, held))
        except OSError:
            return None
    return tuple(seen)


def _user(*, has_service: bool) -> tuple[str, frozenset[str]]:
    """The service's user where there is one, else whoever asks; with the groups."""
    if has_service:
        try:
            first = pwd.getpwnam(SERVICE_USER).pw_gid
        except KeyError:
            pass
        else:
            names = {group.gr_name for group in grp.getgrall() if SERVICE_USER in group.gr_mem or group.gr_gid == first}
            # The unit adds these, whatever the user's own groups are.
            return SERVICE_USER, frozenset(names | {"gpio", "i2c", "spi", "dialout"})
    names = set()
    for number in {os.getgid(), *os.getgroups()}:
        try:
            names.add(grp.getgrgid(number).gr_name)
        except KeyError:
            continue
    try:
        return pwd.getpwuid(os.getuid()).pw_name, frozenset(names)
    except KeyError:
        return str(os.getuid()), frozenset(names)


def _may_use(path: Path, user: str, groups: frozenset[str]) -> bool | None:
    """Whether a user may read and write a file or folder, by its mode; None where it is not there."""
    try:
        seen = path.stat()
    except FileNotFoundError:
        return None
    except OSError:
        return False
    if user == "root":
        return True
    needed = 0o3 if path.is_dir() else 0o6
    try:
        owner = pwd.getpwuid(seen.st_uid).pw_name
    except KeyError:
        owner = ""
    try:
        group = grp.getgrgid(seen.st_gid).gr_name
    except KeyError:
        group = ""
    if owner == user:
        return seen.st_mode >> 6 & needed == needed
    if group in groups:
        return seen.st_mode >> 3 & needed == needed
    return seen.st_mode & needed == needed


def _free_bytes(folder: Path) -> int:
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None


def _keeps_outputs(root: Path) -> bool | None:
    """The kernel's own word, else its command line's; None where neither says."""
    said = _text(root / "sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs")
    if said is None:
        words = [word for word in (_text(root / "proc/cmdline") or "").split() if word.startswith(_PERSIST)]
        said = words[-1].removeprefix(_PERSIST) if words else None
    return None if said is None else said.strip().lower() in ("y", "1", "yes", "on")


def _is_strict(root: Path) -> bool | None:
    for name in _CONFIG_TEXTS:
        text = _text(root / name)
        if text is not None:
            return any(line.strip() in ("dtparam=strict_gpiod", "dtparam=strict_gpiod=on") for line in text.split("\n"))
    return None


def _page_status(port: int, encrypted: bool) -> int | None:
    # Only whether it answers: the name in the certificate is the network's, never this one.
    unchecked = _unchecked() if encrypted else None
    address = f"{'https' if encrypted else 'http'}://127.0.0.1:{port}/"
    try:
        with urllib.request.urlopen(address, timeout=PAGE_WAIT_S, context=unchecked) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as fault:
        with fault:
            return fault.code
    except (OSError, ValueError):
        return None


def _unchecked() -> ssl.SSLContext:
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context
