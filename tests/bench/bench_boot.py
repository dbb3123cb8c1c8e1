"""What every output does when nobody is in charge: our program on a real ARM kernel with its real GPIO driver.

    python tests/bench/bench_boot.py CACHE [--pins gpiod|lgpio] [--keeps Y|N] [--result FILE.json]

Boots Debian's arm64 kernel on an emulated Raspberry Pi 3B (QEMU), once for each way that a kernel treats the lines of a
dead program and for each pin library, runs ``gatekeeper run`` on a shop with an output of every kind, and ends it by
SIGTERM, SIGKILL, by the watchdog with a hung control thread and with the whole program frozen; after each end
``gatekeeper outputs-off`` runs, as the service's unit has it. The truth is read from the kernel's pin controller, and
every call of the kernel's GPIO driver is traced, so that no blip is missed. Prints the tables as the handbook has them,
and with ``--result`` writes what they are made from.

CACHE is a folder for what is fetched: about 150 MB, once. Needs Debian with qemu-system-arm and device-tree-compiler,
Python 3.11, and the package registries in reach. About half an hour for all four boots on one core; outside of the
quick tests. The emulator has no pulls, no SPI, no I2C and no firmware: what lines do before the kernel starts is not
shown.
"""

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from boot.image import emulator, make_board, outputs_of, pack, shop_text
from boot.packages import CannotBeHad, check_programs
from boot.table import MARK, markdown

#: Guards against hanging: one boot with its four starts and ends.
LONGEST_S = 3600.0


def boot(image: Path, tree_blob: Path, archive: Path, log: Path, keeps: str) -> list[dict[str, Any]]:
    """One boot; returns what was told from inside."""
    log.write_bytes(b"")
    words = [
        "console=ttyS1,115200 rdinit=/init panic=-1 quiet iomem=relaxed",
        f"pinctrl_bcm2835.persist_gpio_outputs={keeps}",
    ]
    command = ["qemu-system-aarch64", "-M", "raspi3b", "-kernel", str(image), "-dtb", str(tree_blob)]
    command += ["-initrd", str(archive), "-append", " ".join(words), "-display", "none", "-no-reboot"]
    command += ["-serial", "null", "-serial", f"file:{log}", "-monitor", "none"]
    began_s, told = time.monotonic(), 0
    machine = subprocess.Popen(["nice", "-n", "10", *command], stdin=subprocess.DEVNULL)
    try:
        while True:
            time.sleep(1.0)
            lines = log.read_text(encoding="utf-8", errors="replace").splitlines(keepends=True)
            whole = [line for line in lines if MARK in line and line.endswith("\n")]
            found = [json.loads(line.split(MARK, 1)[1]) for line in whole]
            for one in found[told:]:
                print(f"  {time.monotonic() - began_s:5.0f} s  {one.get('moment') or one}", file=sys.stderr)
            told = len(found)
            if found and "end" in found[-1]:
                return found
            if machine.poll() is not None or time.monotonic() - began_s > LONGEST_S:
                last = "".join(lines[-15:])
                raise SystemExit(f"The emulated board did not come to its end. It said last:\n{last}")
    finally:
        machine.terminate()
        machine.wait()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cache", type=Path, metavar="CACHE")
    parser.add_argument("--pins", choices=("gpiod", "lgpio"), action="append")
    parser.add_argument("--keeps", choices=("Y", "N"), action="append")
    parser.add_argument("--result", type=Path)
    asked = parser.parse_args()
    cache = asked.cache.absolute()
    boots = []
    try:
        check_programs()
        cache.mkdir(parents=True, exist_ok=True)
        image, tree_blob, tree = make_board(cache)
    except CannotBeHad as missing:
        raise SystemExit(f"The boot job cannot run: {missing}") from None
    for pins in asked.pins or ("gpiod", "lgpio"):
        text = shop_text(servo=pins == "lgpio")
        pack(tree, {"pins": pins, "shop": text, "outputs": outputs_of(text)}, cache / "first.cpio")
        for keeps in asked.keeps or ("Y", "N"):
            print(f"{pins}, persist_gpio_outputs={keeps}", file=sys.stderr)
            told = boot(image, tree_blob, cache / "first.cpio", cache / f"log-{pins}-{keeps}", keeps)
            boots.append(as_result(pins, keeps, told))
    outputs = outputs_of(shop_text(servo="lgpio" in (asked.pins or ("lgpio",))))
    result = {"date": time.strftime("%Y-%m-%d"), "emulator": emulator(), "outputs": outputs, "boots": boots}
    if asked.result is not None:
        asked.result.write_text(written(result), encoding="utf-8")
    print(written(result))
    print(markdown(result))


def as_result(pins: str, keeps: str, told: list[dict[str, Any]]) -> dict[str, Any]:
    """What one boot told, as the result has it; ends the job where something went wrong inside."""
    faults = [one["fault"] for one in told if "fault" in one]
    if faults:
        raise SystemExit(f"Inside the emulated board: {faults[0]}")
    about = {name: value for one in told if "moment" not in one for name, value in one.items()}
    if about["keeps_levels"] != keeps:
        raise SystemExit(f"The kernel was told persist_gpio_outputs={keeps} and has {about['keeps_levels']}.")
    moments = [one for one in told if "moment" in one]
    return {"pins": pins, "keeps": keeps, "kernel": about["kernel"], "python": about["python"], "moments": moments}


def written(result: dict[str, Any]) -> str:
    """As JSON with one line for each moment, so that two runs can be compared by eye."""
    rows: list[str] = []

    def marked(values: list[dict[str, Any]]) -> list[str]:
        rows.extend(json.dumps(value) for value in values)
        return [f"row {number}" for number in range(len(rows) - len(values), len(rows))]

    boots = [{**boot, "moments": marked(boot["moments"])} for boot in result["boots"]]
    text = json.dumps({**result, "outputs": marked(result["outputs"]), "boots": boots}, indent=1)
    for number, row in enumerate(rows):
        text = text.replace(f'"row {number}"', row)
    return text + "\n"


if __name__ == "__main__":
    main()
