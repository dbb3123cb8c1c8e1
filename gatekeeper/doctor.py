"""``gatekeeper doctor``: what stands between this machine and a shop that runs unattended, each with what to do."""

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from gatekeeper.devices.resting import HEADER_LABELS
from gatekeeper.doctor_look import ChipSeen, Facts, look, seconds_of, service_facts
from gatekeeper.launch import state_folder
from gatekeeper.service.wiring import contacts_of, output_lines
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Shop

#: Where the installed service keeps its things.
INSTALLED_SHOP = "/etc/gatekeeper/shop.yaml"
INSTALLED_STATE = Path("/var/lib/gatekeeper")
LEAST_FREE_BYTES = 100_000_000
#: 1 January 2026: the program is younger, so a clock before that is wrong.
EARLIEST_WALL_S = 1_767_225_600.0
OWN_NAMES = ("gatekeeper", "lg")
WIDTH = 100
_EXTRAS = {"paho-mqtt": "mqtt", "pymodbus": "modbus", "pyserial": "modbus"}
_LIBRARIES = {"gpiod": (2, 2), "lgpio": (0, 2, 2)}


class Verdict(Enum):
    """How a finding stands: it must be mended, it is worth knowing, or all is well."""

    MEND = "mend"
    KNOW = "know"
    WELL = "well"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. ``said``: what was seen and, where something is wrong, what to do."""

    code: str
    verdict: Verdict
    said: str


def examine(shop: Shop, name: str, pins: str | None, state: Path | None) -> tuple[str, list[Finding]]:
    """Look at this machine and judge it for a shop: the pins that were looked at, and the findings.

    ``pins`` None: the service's own, else gpiod. ``state`` None: the service's folder where it is there.
    """
    service = service_facts()
    pins = pins or pins_of(service) or "gpiod"
    if state is None and INSTALLED_STATE.is_dir():
        state = INSTALLED_STATE
    facts = look(
        packages=sorted(_packages(shop, pins)),
        nodes=_nodes(shop),
        folder=state_folder(name, state),
        port=shop.page.port,
        encrypted=shop.page.certificate is not None,
        service=service,
    )
    return pins, findings_of(facts, shop, pins)


def pins_of(service: Mapping[str, str] | None) -> str | None:
    """The pins that the installed service runs on."""
    for word in (service or {}).get("Environment", "").split():
        if word.startswith("GATEKEEPER_PINS="):
            return word.removeprefix("GATEKEEPER_PINS=")
    return None


def findings_of(facts: Facts, shop: Shop, pins: str) -> list[Finding]:
    """Every finding, in the order in which things depend on each other."""
    found = [*_python(facts), *_libraries(facts, shop, pins)]
    if pins.partition(":")[0] in ("gpiod", "lgpio"):
        found += [*_lines(facts, shop), *_after_a_crash(facts)]
    return [*found, *_device_files(facts), *_folder(facts), *_clock(facts), *_service(facts), *_page(facts, shop)]


def doctor_lines(shop: Shop, pins: str, findings: list[Finding]) -> list[str]:
    """The findings for people, what must be mended first."""
    lines = [f"{shop.name}, on {pins}."]
    for verdict, heading in ((Verdict.MEND, "To mend:"), (Verdict.KNOW, "Good to know:"), (Verdict.WELL, "In order:")):
        said = [finding.said for finding in findings if finding.verdict is verdict]
        if said:
            lines += ["", heading]
        for sentence in said:
            lines += textwrap.wrap(sentence, WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    lines += ["", "Nothing was changed."]
    return lines


def doctor_data(shop: Shop, pins: str, findings: list[Finding]) -> dict[str, Any]:
    """The same for machines."""
    return {
        "shop": shop.name,
        "pins": pins,
        "ok": is_well(findings),
        "findings": [{"code": one.code, "verdict": one.verdict.value, "said": one.said} for one in findings],
    }


def is_well(findings: list[Finding]) -> bool:
    """Whether nothing must be mended."""
    return all(finding.verdict is not Verdict.MEND for finding in findings)


def _mend(code: str, said: str) -> Finding:
    return Finding(code, Verdict.MEND, said)


def _know(code: str, said: str) -> Finding:
    return Finding(code, Verdict.KNOW, said)


def _well(code: str, said: str) -> Finding:
    return Finding(code, Verdict.WELL, said)


def _python(facts: Facts) -> Iterator[Finding]:
    version = ".".join(str(number) for number in facts.python)
    if not (3, 11) <= facts.python <= (3, 13):
        yield _mend("python", f"This is Python {version}; 3.11, 3.12 and 3.13 are allowed. Make the environment anew.")
    elif facts.bits != 64:
        yield _mend("python", f"This is a 32-bit Python {version}; put a 64-bit system on the board.")
    else:
        yield _well("python", f"Python {version}, 64 bits.")


def _packages(shop: Shop, pins: str) -> set[str]:
    kind = pins.partition(":")[0]
    wanted = {kind} & set(_LIBRARIES)
    # Whoever holds a line can be told only by this one.
    wanted |= {"gpiod"} if wanted else set()
    wanted |= {"smbus2"} if shop.servo_banks or any(one.kind.is_on_i2c for one in shop.converters.values()) else set()
    wanted |= {"paho-mqtt"} if shop.brokers else set()
    wanted |= {"pymodbus"} if shop.drives else set()
    wanted |= {"pyserial"} if any(drive.serial is not None for drive in shop.drives.values()) else set()
    return wanted


def _libraries(facts: Facts, shop: Shop, pins: str) -> Iterator[Finding]:
    kind = pins.partition(":")[0]
    for package, version in facts.packages.items():
        least = _LIBRARIES.get(package)
        extra = _EXTRAS.get(package, "board")
        if version is None:
            said = f"The package {package} is missing. Install it with: pip install 'gatekeeper[{extra}]'."
            yield _mend("package", said) if package == kind or package not in _LIBRARIES else _know("package", said)
        elif least is not None and _numbers(version) < least:
            wanted = ".".join(str(number) for number in least)
            yield _mend("package", f"The package {package} is {version}; {wanted} or newer is needed.")
        else:
            yield _well("package", f"The package {package} {version}.")
    if kind == "gpiod" and any(gate.servo is not None for gate in shop.gates.values()):
        said = "The shop has servos on the board's own pins, and gpiod sends no pulses. Use the pins lgpio, or a bank."
        yield _mend("servo", said)


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split(".") if part.isdigit())


def _header(chips: tuple[ChipSeen, ...]) -> ChipSeen | None:
    return next((chip for chip in chips if chip.label in HEADER_LABELS), None)


def _lines(facts: Facts, shop: Shop) -> Iterator[Finding]:
    if facts.chips is None:
        said = (
            f"The board's lines cannot be looked at by {facts.user}: no right to /dev/gpiochip*, or no package gpiod."
        )
        yield _mend("chip", f"{said} Ask as root, and see the device files below.")
        return
    header = _header(facts.chips)
    if header is None:
        seen = listed([f"{chip.path} ({chip.label})" for chip in facts.chips], "and") or "none"
        yield _mend("chip", f"No chip of the 40-pin header was found; seen: {seen}. Run this on the board.")
        return
    yield _well("chip", f"The header's lines are {header.path} ({header.label}).")
    wanted = {line.pin: line.holder for line in output_lines(shop)}
    wanted |= {gate.current_stop.line: gate.name for gate in shop.gates.values() if gate.current_stop is not None}
    wanted |= {contact.line: name.partition(":")[2] for name, contact in contacts_of(shop).items()}
    others = {line: by for line, by in header.held.items() if line in wanted and by not in OWN_NAMES}
    for line, by in sorted(others.items()):
        who = f"held by {by}" if by else "held by the system"
        said = f"GPIO {line}, the line of {wanted[line]}, is {who}. Stop that program, or take its overlay out of"
        yield _mend("line", f"{said} config.txt.")
    if not others:
        ours = [line for line in wanted if line in header.held]
        how = "the controller holds them" if ours else "nobody holds one"
        yield _well("line", f"All {len(wanted)} lines of the shop can be had: {how}.")


def _after_a_crash(facts: Facts) -> Iterator[Finding]:
    if facts.is_strict or facts.keeps_outputs is False:
        yield _well("strict", "After a crash the kernel lets the outputs go, so a relay drops.")
        return
    sure = "keeps" if facts.keeps_outputs else "may keep"
    said = f"After a crash the kernel {sure} each output at its level: a collector that runs would run on."
    todo = "Put dtparam=strict_gpiod into config.txt (sh install.sh board does it) and restart the board."
    yield _mend("strict", f"{said} {todo}") if facts.keeps_outputs else _know("strict", f"{said} {todo}")


def _nodes(shop: Shop) -> list[str]:
    nodes: list[str] = []
    for converter in shop.converters.values():
        on_spi = f"/dev/spidev{converter.bus}.{converter.chip_select}"
        node = f"/dev/i2c-{converter.bus}" if converter.kind.is_on_i2c else on_spi
        if node not in nodes:
            nodes.append(node)
    if shop.servo_banks and "/dev/i2c-1" not in nodes:
        nodes.append("/dev/i2c-1")
    return nodes + [drive.serial for drive in shop.drives.values() if drive.serial is not None]


def _device_files(facts: Facts) -> Iterator[Finding]:
    for node, usable in facts.nodes.items():
        if "i2c" not in node and "spi" not in node:
            yield _serial_line(facts, node, usable)
            continue
        bus, group = ("I2C", "i2c") if "i2c" in node else ("SPI", "spi")
        if usable is None:
            key = "i2c_arm" if bus == "I2C" else "spi"
            said = f"{node} is missing: {bus} is switched off."
            yield _mend("node", f"{said} Put dtparam={key}=on into config.txt and restart the board.")
        elif not usable:
            in_it = "is in that group already" if group in facts.groups else "is not in it"
            said = f"{facts.user} may not use {node}. It should belong to the group {group} with mode 0660"
            yield _mend("node", f"{said}; {facts.user} {in_it}. sh install.sh lays the rule for it.")
        else:
            yield _well("node", f"{facts.user} may use {node}.")


def _serial_line(facts: Facts, node: str, usable: bool | None) -> Finding:
    if usable is None:
        return _mend("node", f"{node} is missing: plug the drive's serial adapter in, or write its right name.")
    if not usable:
        return _mend("node", f"{facts.user} may not use {node}. Add this user to the group dialout.")
    return _well("node", f"{facts.user} may use {node}.")


def _folder(facts: Facts) -> Iterator[Finding]:
    if facts.folder_writable is False:
        yield _mend(
            "folder", f"{facts.user} may not write {facts.folder}. Give it: chown -R {facts.user} {facts.folder}"
        )
    elif facts.folder_writable is None:
        yield _know("folder", f"The state folder {facts.folder} is not there yet; the first start makes it.")
    free_mb = facts.free_bytes // 1_000_000
    if facts.free_bytes < LEAST_FREE_BYTES:
        yield _mend("room", f"{free_mb} MB are free for {facts.folder}; 100 MB are needed. Make room on the card.")
    else:
        yield _well("room", f"{free_mb} MB are free for {facts.folder}.")


def _clock(facts: Facts) -> Iterator[Finding]:
    if facts.wall_s < EARLIEST_WALL_S:
        said = "The board's clock is wrong, so dates in the history are. The shop runs all the same."
        yield _know("clock", f"{said} Give the board a network or a clock with a battery, or set it: date --set.")
    elif facts.is_synced or facts.has_clock:
        by = "the network" if facts.is_synced else "its own battery"
        yield _well("clock", f"The clock is kept by {by}.")
    else:
        yield _know(
            "clock", "Nothing keeps the clock: after a power cut dates in the history are wrong until it is set."
        )


def _service(facts: Facts) -> Iterator[Finding]:
    told = facts.service
    if told is None or told.get("LoadState") != "loaded":
        said = "No service is installed, so nothing starts by itself when the board does."
        yield _know("service", f"{said} For a board in a shop: sudo sh hardware/install.sh")
        return
    state, restarts = told.get("ActiveState", "unknown"), told.get("NRestarts", "0")
    if state != "active":
        said = f"The service is {state}. What it said: journalctl -u gatekeeper -n 50. Then: systemctl restart"
        yield _mend("service", f"{said} gatekeeper")
    elif restarts not in ("", "0"):
        said = (
            f"The service runs, but had to be restarted {restarts} times since the board's start or the last install."
        )
        yield _know("service", f"{said} Why: journalctl -u gatekeeper")
    else:
        status = told.get("StatusText", "")
        yield _well("service", f"The service runs. {status}".strip())
    if told.get("UnitFileState") != "enabled":
        yield _mend("boot", "The service does not start with the board. Mend it: systemctl enable gatekeeper")
    if seconds_of(told.get("WatchdogUSec", "")):
        yield _well("watchdog", "The service's watchdog is on.")
    elif state == "active":  # of a service that does not run the manager says 0, whatever its unit says
        yield _mend("watchdog", "The service's watchdog is off. Lay the unit anew: sudo sh hardware/install.sh")
    if facts.board_watchdog_s:
        yield _well("board_watchdog", f"The board restarts itself when it hangs for {facts.board_watchdog_s:g} s.")
    else:
        said = "Nothing restarts the board when the whole system hangs, and outputs stay as they are."
        yield _know("board_watchdog", f"{said} Switch its watchdog on: sudo sh hardware/install.sh board")


def _page(facts: Facts, shop: Shop) -> Iterator[Finding]:
    runs = facts.service is not None and facts.service.get("ActiveState") == "active"
    if facts.page_status is None:
        said = f"No page answers at 127.0.0.1 port {shop.page.port}."
        if runs:
            yield _mend("page", f"{said} Another program may have the port: ss -ltnp. Or give the page another port.")
        else:
            yield _know("page", f"{said} None does while the controller does not run.")
    elif facts.page_status >= 500:
        yield _mend("page", f"The page answers with the fault {facts.page_status}. Why: journalctl -u gatekeeper -n 50")
    else:
        yield _well("page", f"The page answers at port {shop.page.port}.")
