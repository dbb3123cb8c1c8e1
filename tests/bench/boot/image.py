"""Makes the emulated board's files: kernel, device tree, and the first file system with our program in it."""

import compileall
import json
import os
import py_compile
import shutil
import stat
import subprocess
import zipfile
from pathlib import Path

from boot.packages import PYTHON, CannotBeHad, fetch_packages, fetch_wheels, run

HERE = Path(__file__).parent
PROJECT = HERE.parents[2]
TREE_NAME = "bcm2837-rpi-3-b.dtb"
#: What a real board's first stage writes into its device tree, and an emulator does not; the pins "lgpio" ask for it.
REVISION = "0xa02082"
SERVO = "  servo gate: {duct: first main, servo: {pin: GPIO18}, travel: 60 s}\n"

INIT = f"""#!/bin/busybox sh
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
/bin/busybox mount -t devtmpfs dev /dev
/bin/busybox mount -t debugfs debug /sys/kernel/debug
/bin/busybox mount -t tracefs trace /sys/kernel/tracing
export PATH=/usr/bin:/bin HOME=/root PYTHONPATH=/program PYTHONHASHSEED=0 LANG=C.UTF-8
/usr/bin/python{PYTHON} /job/inside.py
"""


def shop_text(servo: bool) -> str:
    """The shop of the job, with or without the gate on a pin's servo."""
    text = (HERE / "shop.yaml").read_text(encoding="utf-8")
    assert SERVO in text
    return text if servo else text.replace(SERVO, "").replace(", servo gate]", "]")


def outputs_of(text: str) -> list[dict[str, object]]:
    """Every output of that shop, as the program has them; ``leased`` ones go off when nobody renews them."""
    from gatekeeper.service.wiring import output_lines
    from gatekeeper.shop.faults import Faults
    from gatekeeper.shop.load import load_shop

    shop = load_shop(text, "shop.yaml")
    assert not isinstance(shop, Faults), shop
    leased = (*shop.motors, *shop.permits)
    return [
        {
            "holder": one.holder,
            "pin": one.pin,
            "active_high": one.active_high,
            "leased": one.holder.split(", ")[0] in leased,
        }
        for one in output_lines(shop)
    ]


def make_board(cache: Path) -> tuple[Path, Path, Path]:
    """Kernel, device tree and the folder of the first file system, made anew but for what was fetched.

    Raises:
        CannotBeHad: something could not be fetched or does not look as it should.
    """
    kernel, tree = cache / "kernel", cache / "tree"
    for folder in (kernel, tree):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
    for deb in fetch_packages(cache):
        run("dpkg-deb", "-x", str(deb), str(kernel if deb.name.startswith("linux-image") else tree))
    (image,) = kernel.glob("boot/vmlinuz-*")
    found = list(kernel.rglob(TREE_NAME))
    if len(found) != 1:
        raise CannotBeHad(f"The kernel's package has no {TREE_NAME}.")
    run("fdtput", "-p", "-t", "x", str(found[0]), "/system", "linux,revision", REVISION)
    program = tree / "program"
    for wheel in fetch_wheels(cache, PROJECT):
        with zipfile.ZipFile(wheel) as packed:
            packed.extractall(program)
    for part in ("gatekeeper", "sim"):
        shutil.copytree(PROJECT / part, program / part, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(PROJECT / "config", program / "gatekeeper/examples")
    # Nothing is compiled on the emulated board, which is slow, and nothing is looked up by its time.
    mode = py_compile.PycInvalidationMode.UNCHECKED_HASH
    for folder in (program, tree / f"usr/lib/python{PYTHON}"):
        compileall.compile_dir(folder, quiet=2, invalidation_mode=mode)
    for folder in ("proc", "sys", "dev", "tmp", "run", "root", "job"):
        (tree / folder).mkdir(exist_ok=True)
    for useless in ("usr/share", "var", f"usr/lib/python{PYTHON}/test"):
        shutil.rmtree(tree / useless, ignore_errors=True)
    (tree / "init").write_text(INIT, encoding="ascii")
    (tree / "init").chmod(0o755)
    for name in ("inside.py", "lines.py", "hung.py"):
        shutil.copy(HERE / name, tree / "job" / name)
    return image, found[0], tree


def pack(tree: Path, job: dict[str, object], target: Path) -> None:
    """Write the first file system with that job, as the kernel takes it (the archive "newc", not compressed)."""
    (tree / "job/job.json").write_text(json.dumps(job), encoding="utf-8")
    (tree / "job/shop.yaml").write_text(str(job["shop"]), encoding="utf-8")
    with target.open("wb") as out:

        def entry(name: str, mode: int, body: bytes = b"", device: tuple[int, int] = (0, 0), number: int = 0) -> None:
            raw = name.encode()
            fields = (number, mode, 0, 0, 1, 0, len(body), 0, 0, *device, len(raw) + 1, 0)
            out.write(b"070701" + "".join(f"{field:08X}" for field in fields).encode() + raw + b"\0")
            out.write(b"\0" * (-out.tell() % 4) + body)
            out.write(b"\0" * (-out.tell() % 4))

        for number, path in enumerate(sorted(tree.rglob("*")), 1):
            about, name = path.lstat(), str(path.relative_to(tree))
            if path.is_symlink():
                body = os.readlink(path).encode()
            elif path.is_file():
                body = path.read_bytes()
            else:
                body = b""
            entry(name, stat.S_IFMT(about.st_mode) | stat.S_IMODE(about.st_mode), body, number=number)
        entry("dev/console", stat.S_IFCHR | 0o600, device=(5, 1), number=10**6)
        entry("TRAILER!!!", 0)


def emulator() -> str:
    """What the emulator calls itself."""
    return subprocess.run(
        ["qemu-system-aarch64", "--version"], capture_output=True, text=True, check=True
    ).stdout.splitlines()[0]
