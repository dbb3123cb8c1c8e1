"""``gatekeeper checkup --correct-fan``: one reading of suction against the estimated fan, and the line for the file."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gatekeeper.checking_up import CannotCheck, chosen
from gatekeeper.files import FileTrouble, read_shop_text, write_new
from gatekeeper.records.care_log import CARE_FILE, CareLog
from gatekeeper.service.care_jobs import full_speed_pa
from gatekeeper.service.care_pressure import read_measured
from gatekeeper.service.fan_reading import NoCorrection, fan_from_reading
from gatekeeper.service.upkeep import pressure_of, taps_of
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Shop


@dataclass(frozen=True, slots=True)
class Given:
    """A reading as it is typed; or ``measured`` for the newest value of a gauge; none of it for the last one on record.

    ``speed``: how fast a drive ran, in percent of full speed.
    """

    suction: str | None
    at: str | None
    gates: Sequence[str]
    speed: float | None = None
    measured: bool = False


def fan_corrected(shop: Shop, name: str, folder: Path, given: Given, *, write: bool) -> list[str]:
    """What a reading makes of the fan, as lines.

    Args:
        shop, name: the shop file.
        folder: the state folder.
        given: the reading.
        write: put it into the file, which must be one of the caller's own.

    Raises: CannotCheck. FileTrouble: the shop file cannot be read any more.
    """
    text, _ = read_shop_text(name)
    motor, tap, pa, opened = _reading_of(shop, folder, given)
    try:
        proposal = fan_from_reading(text, name, motor, tap, pa, opened)
    except NoCorrection as no:
        raise CannotCheck(str(no)) from None
    lines = list(proposal.said)
    if proposal.text is None:
        return [*lines, "", f"next: gatekeeper layout {name}"]
    new = next(line.strip() for line in proposal.text.splitlines() if "suction_reading:" in line)
    if not write:
        again = "the same with --write puts it there, comments kept"
        return [*lines, "", f"For {name}, under motors > {motor}: {_only(new)}", f"next: {again}"]
    if not Path(name).is_file():
        raise CannotCheck(f"{name} is an example and stays as it is. Copy it to a file of yours first.")
    try:
        write_new(Path(name), proposal.text.encode("utf-8"), replace=True)
    except FileTrouble as trouble:
        raise CannotCheck(str(trouble)) from None
    return [
        *lines,
        "",
        f"Written into {name}: {_only(new)}",
        "It counts from the controller's next start on.",
        f"next: gatekeeper layout {name}",
    ]


def _only(line: str) -> str:
    """The reading alone out of a line that may hold the whole motor."""
    begin = line.index("suction_reading:")
    return line[begin : line.index("}", begin) + 1]


def _reading_of(shop: Shop, folder: Path, given: Given) -> tuple[str, str, float, Sequence[str]]:
    """Whose, where, how much at full speed, and with which gates."""
    if given.measured:
        one = chosen(read_measured(folder), given.at)
        return one.motor, one.tap, one.pa / one.speed**2, one.gates
    if given.suction is None:
        return _last(shop, folder, given.at)
    pa = pressure_of(given.suction)
    if pa is None:
        raise CannotCheck(f'"{given.suction}" is no suction; write such as "1.5 kPa" or "6 in wg".')
    taps = {tap: motor.name for motor in shop.motors.values() if motor.has_ducts for tap in taps_of(shop, motor)}
    if given.at is None or given.at not in taps:
        raise CannotCheck(f"Say where the tap is with --at; there is {listed(list(taps), 'and', 12)}.")
    share = 1.0 if given.speed is None else given.speed / 100.0
    if not 0.1 <= share <= 1.5:
        raise CannotCheck(f"A speed of {given.speed:g} % is none; write 10 to 150.")
    return taps[given.at], given.at, pa / share**2, given.gates


def _last(shop: Shop, folder: Path, at: str | None) -> tuple[str, str, float, Sequence[str]]:
    readings = [
        done
        for done in CareLog(folder / CARE_FILE).read()
        if done.what == "suction" and done.subject in shop.motors and at in (None, done.more.get("tap"))
    ]
    if not readings:
        raise CannotCheck(
            "No reading is written down yet. Give one: --suction '1.5 kPa' --at DUCT --open GATE, or --measured."
        )
    last = readings[-1]
    gates = [str(gate) for gate in last.more.get("gates", ())]
    return last.subject, str(last.more.get("tap")), full_speed_pa(last), gates
