"""What the boot job is made of, fetched into a cache folder: Debian's arm64 kernel and Python, and wheels for arm64.

Foreign packages are fetched with apt's own options and unpacked, never installed: this machine's own package state
stays as it is.
"""

import platform
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

PROGRAMS = {
    "qemu-system-aarch64": "qemu-system-arm",
    "apt-get": "apt",
    "dpkg-deb": "dpkg",
    "fdtput": "device-tree-compiler",
}
KEYS = Path("/usr/share/keyrings/debian-archive-keyring.gpg")
#: The kernel is of one release, what runs on it of the one whose Python has a wheel of every pin library.
KERNEL_OF, PYTHON_OF, PYTHON = "trixie", "bookworm", "3.11"
KERNEL = "linux-image-arm64"
IN_TREE = (
    "busybox-static",
    "python3.11-minimal",
    "libpython3.11-minimal",
    "libpython3.11-stdlib",
    "libc6",
    "libgcc-s1",
    "libstdc++6",
    "zlib1g",
    "libexpat1",
    "libssl3",
    "libffi8",
    "libbz2-1.0",
    "liblzma5",
    "libsqlite3-0",
    "libuuid1",
    "libcrypt1",
)
#: What a wheel for the glibc of that release may call itself.
PLATFORMS = ("manylinux2014", "manylinux_2_17", "manylinux_2_27", "manylinux_2_28", "manylinux_2_34", "manylinux_2_36")


class CannotBeHad(Exception):
    """Something that the job needs is missing; the text is plain words."""


def check_programs() -> None:
    """Raises CannotBeHad where a program of this machine is missing."""
    for program, package in PROGRAMS.items():
        if shutil.which(program) is None:
            raise CannotBeHad(f"The program {program} is missing. On Debian: apt-get install {package}")
    if not KEYS.is_file():
        raise CannotBeHad("Debian's keys are missing. On Debian: apt-get install debian-archive-keyring")


def run(*command: str, cwd: Path | None = None) -> str:
    """A command's output; raises CannotBeHad with what it said where it fails."""
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()[-3:]
        raise CannotBeHad(f"'{' '.join(command[:2])} ...' failed: {' '.join(said)}")
    return done.stdout


def mirror() -> str:
    """Where this machine gets Debian from, as its own sources say."""
    told = run("apt-get", "indextargets", "--format", "$(SITE) $(CODENAME) $(LABEL)", "Created-By: Packages")
    sites = [line.split()[0] for line in told.splitlines() if line.rstrip().endswith(" Debian")]
    if not sites:
        raise CannotBeHad("No source of Debian's packages is set up on this machine (/etc/apt/sources.list).")
    return sites[0]


def fetch_packages(cache: Path) -> list[Path]:
    """The arm64 packages, fetched unless the cache holds them. Raises CannotBeHad."""
    debs, own = cache / "debs", cache / "apt"
    complete = debs / "complete"
    if not complete.exists():
        for folder in (debs, own / "state/lists/partial", own / "cache/archives/partial", own / "none"):
            folder.mkdir(parents=True, exist_ok=True)
        (own / "status").touch()
        line = f"deb [arch=arm64 signed-by={KEYS}] {mirror()} {{}} main\n"
        (own / "sources").write_text(line.format(KERNEL_OF) + line.format(PYTHON_OF), encoding="ascii")
        settings = {
            "Dir::State": own / "state",
            "Dir::State::status": own / "status",
            "Dir::Cache": own / "cache",
            "Dir::Etc::sourcelist": own / "sources",
            "Dir::Etc::sourceparts": own / "none",
            "Dir::Etc::preferencesparts": own / "none",
            "APT::Architecture": "arm64",
            "APT::Architectures": "arm64",
        }
        options = [word for name, value in settings.items() for word in ("-o", f"{name}={value}")]
        run("apt-get", *options, "update")
        told = run("apt-cache", *options, "depends", f"{KERNEL}/{KERNEL_OF}")
        kernel = told.split("Depends: ", 1)[1].split()[0]
        for old in debs.glob("*.deb"):
            old.unlink()
        run("apt-get", *options, "download", kernel, *(f"{name}/{PYTHON_OF}" for name in IN_TREE), cwd=debs)
        complete.touch()
    return sorted(debs.glob("*.deb"))


def fetch_wheels(cache: Path, project: Path) -> list[Path]:
    """Wheels of all that the program needs on a board, fetched unless the cache holds them. Raises CannotBeHad."""
    wheels = cache / "wheels"
    complete = wheels / "complete"
    if not complete.exists():
        wheels.mkdir(parents=True, exist_ok=True)
        if platform.python_version_tuple()[:2] != tuple(PYTHON.split(".")):
            raise CannotBeHad(f"Run this with Python {PYTHON}, so that the wheels for it are chosen.")
        about = tomllib.loads((project / "pyproject.toml").read_text(encoding="utf-8"))["project"]
        wanted = [*about["dependencies"], *about["optional-dependencies"]["board"]]
        where = [word for name in PLATFORMS for word in ("--platform", f"{name}_aarch64")]
        where += ["--only-binary=:all:", "--implementation", "cp", "--python-version", PYTHON]
        run(sys.executable, "-m", "pip", "download", "-q", *where, "-d", str(wheels), *wanted)
        complete.touch()
    return sorted(wheels.glob("*.whl"))
