"""What the commands ``wiring`` and ``signs`` answer, and the only module here that writes files."""

import json
import re
import textwrap
from pathlib import Path
from typing import Any

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.printing import WIDTH
from gatekeeper.service.pin_table import pin_table
from gatekeeper.shop.faults import listed
from gatekeeper.shop.lines import TO_BE_CHOSEN
from gatekeeper.shop.model import Shop
from gatekeeper.wiring_plan.cables import gauge_for, sold_area_mm2
from gatekeeper.wiring_plan.electrician import brought_by_electrician
from gatekeeper.wiring_plan.model import Device, Plan
from gatekeeper.wiring_plan.page import (
    drawings,
    electrician_page,
    labels_page,
    plan_page,
    signs_page,
    style,
    whole_page,
)
from gatekeeper.wiring_plan.plan import wiring_plan

#: How the rule begins that puts a drawing into its place on a page.
_PLACE = "svg.wires {"


class WiringTrouble(Exception):
    """A plan cannot be written; the message is one plain sentence."""


def wiring_answer(shop: Shop, name: str, out: str | None, *, as_json: bool) -> str:
    """The plan of one shop: in short on the screen, or whole in a file or folder, or for machines.

    ``out``: a name that ends in .html for one file with everything, else a folder. Raises WiringTrouble.
    """
    plan = wiring_plan(shop, name)
    written = _write(shop, plan, out) if out is not None else []
    if as_json:
        return json.dumps(plan_data(shop, plan), indent=2, ensure_ascii=False)
    return "\n".join([*_short(shop, plan), "", *_then(shop, name, out, written)])


def signs_answer(shop: Shop, out: str) -> str:
    """The signs of one shop in a file. Raises WiringTrouble."""
    _put(Path(out), signs_page(shop))
    return f"Signs written to {out}. Print them from a browser, black on paper."


def plan_data(shop: Shop, plan: Plan) -> dict[str, Any]:
    """The plan for machines: pins, devices with their cables and cores, parts, supplies."""
    return {
        "shop": plan.shop_name,
        "file": plan.file_name,
        "pins": [{"line": row.line, "wire": row.wire, "does": row.does, "pull": row.pull} for row in pin_table(shop)],
        "steps": [
            {"title": step.title, "doing": list(step.doing), "devices": [_device_data(one) for one in step.devices]}
            for step in plan.steps
        ],
        "parts": [{"what": one.what, "rating": one.rating, "count": one.count} for one in plan.pieces],
        "electrician_brings": [
            {"what": one.what, "for": one.rating, "count": one.count} for one in brought_by_electrician(shop)
        ],
        "supplies": [
            {"name": one.name, "volts": one.volts, "current_a": one.current_a, "counted": one.counted}
            for one in plan.loads
        ],
        "not_wired": list(plan.unseen),
    }


def _device_data(device: Device) -> dict[str, Any]:
    cable = device.cable
    return {
        "kind": device.kind,
        "subject": device.subject,
        "title": device.title,
        "by_electrician": device.by_electrician,
        "cable": None
        if cable is None
        else {
            "number": cable.number,
            "to": cable.to,
            "area_mm2": sold_area_mm2(cable.needed_mm2),
            "gauge": gauge_for(cable.needed_mm2),
            "run_m": cable.run_m,
            "cores": [
                {"number": core.number, "terminal": core.terminal, "box": core.at_box, "device": core.at_device}
                for core in cable.cores
            ],
        },
        "test": device.test,
    }


def _short(shop: Shop, plan: Plan) -> list[str]:
    cores = sum(len(cable.cores) for cable in plan.cables)
    said = [f"{plan.shop_name} ({plan.file_name})", f"{len(plan.cables)} cables, {cores} terminals.", ""]
    said += [f"{number}. {step.title}: {_devices(step.devices)}" for number, step in enumerate(plan.steps, 1)]
    said += ["", "Power:"]
    said += [f"  {load.name}: {load.volts}, {load.current_a:g} A. {load.counted}" for load in plan.loads]
    said += ["  the board and its relays: the board's own supply, nothing else on it.", *plan.unseen]
    return [line for one in said for line in _wrapped(one)]


def _wrapped(line: str) -> list[str]:
    """A line of the answer, no wider than a screen."""
    return textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_on_hyphens=False) or [""]


def _devices(devices: tuple[Device, ...]) -> str:
    if not devices:
        return "nothing to wire beyond the box itself"
    return listed([device.title[:1].lower() + device.title[1:] for device in devices], "and", 12)


def _then(shop: Shop, name: str, out: str | None, written: list[str]) -> list[str]:
    said = [f"Written: {listed(written, 'and', 6)}."] if written else []
    if any(row.line == TO_BE_CHOSEN for row in pin_table(shop)):
        return [*said, f"Some pins are still to be chosen. next: gatekeeper pins {name} --assign"]
    if out is None:
        return [f"next: gatekeeper wiring {name} --out wiring.html"]
    return [*said, "Print from a browser, black on paper; pages break by themselves."]


def _write(shop: Shop, plan: Plan, out: str) -> list[str]:
    path = Path(out)
    if path.suffix.lower() in (".html", ".htm"):
        _put(path, whole_page(shop, plan))
        return [out]
    if path.suffix and not path.is_dir():
        raise WiringTrouble(f"{out}: a plan is a page or a folder; name a file that ends in .html, or a folder.")
    pages = {
        "wiring.html": plan_page(shop, plan),
        "electrician.html": electrician_page(shop, plan),
        "labels.html": labels_page(plan),
        "signs.html": signs_page(shop),
    }
    _make(path)
    _make(path / "drawings")
    for file_name, page in pages.items():
        _put(path / file_name, page)
    for title, svg in drawings(plan):
        _put(path / "drawings" / f"{_file_name(title)}.svg", alone(svg))
    return [str(path / file_name) for file_name in pages] + [str(path / "drawings")]


def alone(svg: str) -> str:
    """A drawing as a file of its own: black on white, its style inside."""
    colours = "svg { --ink: #000; --soft: #333; --paper: #fff; background: #fff; font-family: sans-serif; }"
    # The rule for the drawing as a whole is for its place on a page: margins would cut it off here.
    lines = [line for line in style().splitlines() if line.startswith("svg.wires ") and not line.startswith(_PLACE)]
    rules = "\n".join([colours, "svg path { fill: none; }", *lines])
    size = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    assert size is not None, "every drawing says how large it is"
    sized = f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[1]}" height="{size[2]}" '
    opened, rest = svg.replace("<svg ", sized, 1).split(">", 1)
    return f"{opened}><style>{rules}</style>{rest}\n"


def _file_name(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WiringTrouble(f"{folder}: this folder cannot be made ({error.strerror or 'the disk refused'}).") from None


def _put(path: Path, text: str) -> None:
    try:
        write_new(path, text.encode("utf-8"), replace=True)
    except FileTrouble as trouble:
        raise WiringTrouble(f"{trouble}.") from None
