"""The plan as one file to print: what to buy, what to wire in which order, the electrician's sheet, labels, signs."""

from collections.abc import Iterator, Sequence
from importlib import resources

from gatekeeper.layout.report_parts import document, told_list
from gatekeeper.markup import Html, el
from gatekeeper.service.pin_table import pin_table
from gatekeeper.shop.model import Shop
from gatekeeper.wiring_plan.drawing import drawing
from gatekeeper.wiring_plan.electrician import brought_by_electrician, electrician_sheet
from gatekeeper.wiring_plan.model import Cable, Core, Device, Plan, Step
from gatekeeper.wiring_plan.signs import sign_pages
from gatekeeper.wiring_plan.supplies import relays_on_board_a
from gatekeeper.wiring_plan.tables import table

HOW = (
    "In drawings a dot joins two wires; without a dot they only cross. The dashed line is the wall of the box, "
    "squares on it "
    "are the terminals of X1.",
    "Cross-sections: by the current of a stalled actuator over the length of the ducts and 2 m more, a tenth of the "
    "voltage "
    "lost at most, copper; from the collector, so add the way from there to the box. Gauges beside them carry at "
    "least as "
    "much.",
    "Nothing here was measured on a real board: what pins do at power-up is from the board's documentation.",
    "Electric work beyond low voltage is for a licensed electrician, under the code of your place. This plan decides "
    "nothing there.",
)


def whole_page(shop: Shop, plan: Plan) -> str:
    """Everything in one file."""
    parts = [*_front(shop, plan), *_steps(plan), *electrician_sheet(shop, plan), _labels(plan), *sign_pages(shop)]
    return document(f"{plan.shop_name}: wiring", parts, style())


def plan_page(shop: Shop, plan: Plan) -> str:
    """What to buy and the work in order."""
    return document(f"{plan.shop_name}: wiring", [*_front(shop, plan), *_steps(plan)], style())


def electrician_page(shop: Shop, plan: Plan) -> str:
    """The two pages for the electrician."""
    title = el("p", {"class": "shop"}, f"{plan.shop_name} ({plan.file_name})")
    return document(f"{plan.shop_name}: for the electrician", [title, *electrician_sheet(shop, plan)], style())


def labels_page(plan: Plan) -> str:
    """Labels for cores and terminals."""
    return document(f"{plan.shop_name}: labels", _labels(plan), style())


def signs_page(shop: Shop) -> str:
    """Signs to hang."""
    return document(f"{shop.name}: signs", sign_pages(shop), style())


def style() -> str:
    """What these sheets have beyond the style of all reports."""
    return (resources.files("gatekeeper.wiring_plan") / "wiring.css").read_text(encoding="utf-8")


def _front(shop: Shop, plan: Plan) -> Iterator[Html]:
    count = len(plan.cables)
    cables = "one cable" if count == 1 else f"{count} cables"
    pages = len(plan.steps)
    yield el(
        "header",
        None,
        el("p", {"class": "shop"}, f"{plan.shop_name} ({plan.file_name}): the wiring"),
        el("h1", None, f"{_sentence(cables)} to the box, in {pages} pages of work, one machine a page."),
    )
    yield told_list([*plan.unseen, *HOW])
    yield el("h2", None, "Power")
    yield told_list(list(_power(shop, plan)))
    yield el("h2", None, "What to buy")
    yield table(
        ("What", "Rating", "How many"), [[one.what, one.rating, str(one.count)] for one in plan.pieces], "pieces"
    )
    yield el("h2", None, "What the electrician brings")
    brought = [[one.what, one.rating, str(one.count)] for one in brought_by_electrician(shop)]
    yield table(("What", "For", "How many"), brought, "pieces")
    yield el("h2", None, "Cables to pull")
    yield table(("Cable", "To", "Cores", "Length"), [_cable(one) for one in plan.cables], "cables")
    yield el("h2", {"class": "page"}, "Every pin of the board")
    rows = [[row.line, row.wire, row.does, row.pull] for row in pin_table(shop)]
    yield table(("Line", "Wire", "What it does", "What holds it"), rows, "pins")


def _cable(cable: Cable) -> list[str]:
    length = "measure" if cable.run_m is None else f"about {cable.run_m:.0f} m and the way to the box"
    return [cable.number, cable.to, cable.kind, length]


def _power(shop: Shop, plan: Plan) -> Iterator[str]:
    count, current_a = relays_on_board_a(shop)
    modules = "one relay module" if count == 1 else f"{count} relay modules"
    yield (
        f"The board's own supply, made for it: nothing else hangs on it but {modules}, {current_a:.2g} A more at 5 V "
        "when all "
        "are on (0.08 A each, common practice)."
    )
    for load in plan.loads:
        yield f"{_sentence(load.name)}: {load.volts}, {load.current_a:g} A. {load.counted}"


def _steps(plan: Plan) -> Iterator[Html]:
    for number, step in enumerate(plan.steps, 1):
        yield _step(number, step)


def _step(number: int, step: Step) -> Html:
    return el(
        "section",
        {"class": "step"},
        el("h2", {"class": "page"}, f"{number}. {_sentence(step.title)}"),
        el("ol", {"class": "doing"}, [el("li", None, one) for one in step.doing]),
        [_device(device) for device in step.devices],
    )


def _device(device: Device) -> Html:
    drawn = el("div", {"class": "wide"}, drawing(device.sheet, device.cable, device.title))
    parts: list[Html] = [el("h3", None, device.title), drawn]
    if device.cable is not None:
        run = f" About {device.cable.run_m:.0f} m along the ducts." if device.cable.run_m is not None else ""
        cores = "; ".join(f"{core.number} {core.at_box} → {core.at_device}" for core in device.cable.cores)
        parts.append(el("p", {"class": "cores"}, f"{device.cable.number} to {device.cable.to}: {cores}.{run}"))
    parts.append(told_list(device.notes))
    if device.states is not None:
        said = f"At power-up: {device.states.at_power_up} Program crashes: {device.states.program_dies} "
        parts.append(el("p", {"class": "states"}, f"{said}Board without power: {device.states.power_lost}"))
    who = "The electrician fits it. " if device.by_electrician else ""
    parts.append(el("p", {"class": "try"}, f"☐ {who}Try it: {device.test}"))
    return el("div", {"class": "device"}, parts)


def _labels(plan: Plan) -> Html:
    """Each core twice, for both its ends, and each terminal once."""
    cores = [(cable.to, core) for cable in plan.cables for core in cable.cores]
    return el(
        "section",
        {"class": "labels"},
        el("h2", {"class": "page"}, "Labels: one at each end of each core"),
        el("div", {"class": "cut"}, [_label(to, core) for to, core in cores for _ in range(2)]),
        el("h2", None, "Labels: terminals of X1, from the left"),
        el("div", {"class": "cut strip"}, [el("span", None, core.terminal.removeprefix("X1:")) for _, core in cores]),
    )


def _label(to: str, core: Core) -> Html:
    return el("span", None, el("b", None, core.number), f" {core.terminal} ", el("i", None, f"{to}, {core.at_device}"))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def drawings(plan: Plan) -> Sequence[tuple[str, Html]]:
    """Every drawing by a name for its file."""
    return [
        (f"{number:02d} {device.title}", drawing(device.sheet, device.cable, device.title))
        for number, device in enumerate(plan.devices, 1)
    ]
