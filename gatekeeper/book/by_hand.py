"""The first page of the book: the controller is dead. How this shop goes on, and whom to call."""

from collections.abc import Iterator

from gatekeeper.markup import Html, el, join
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Gate, InputKind, Motor, Shop

#: Lines to fill in where the shop file names nobody.
BLANK = ("Electrician", "Whoever looks after the controller", "Filters and bags", "Fire service")


def by_hand(shop: Shop) -> Html:
    """How to run each motor and move each gate with nobody in charge."""
    return join(
        el("h2", None, "When the controller is dead: how to run by hand"),
        el(
            "ol",
            {"class": "findings"},
            [el("li", None, el("b", None, head), f" {said}") for head, said in _steps(shop)],
        ),
        el(
            "p",
            {"class": "note"},
            "A fan that runs on shut gates may collapse a duct: open first, then start. Stop before you open a bin, a "
            "filter or a clean-out, and put your own lock on the disconnect.",
        ),
    )


def _steps(shop: Shop) -> Iterator[tuple[str, str]]:
    moved = [gate for gate in shop.gates.values() if gate.is_actuated]
    if moved:
        yield (
            "Take the power off the gates.",
            f"Switch off {listed(list(shop.supplies), 'and', 24)}, so that no gate moves while a hand is in its slot.",
        )
    yield (
        "Open the gate of the machine that you want to use, by hand, and leave it open.",
        _gates(list(shop.gates.values())),
    )
    for motor in shop.motors.values():
        if motor.has_ducts:
            yield f"Start {motor.name}.", _start(shop, motor)
    yield "Work.", "One machine at a time, with its gate open. Nothing shuts or opens by itself."
    yield (
        "Stop, and go back.",
        "Turn every Hand switch to Off. To give the shop back to the controller: power on, wait until the page says "
        "what is so, then turn the switches to Auto. Nothing starts because of it.",
    )


def _gates(gates: list[Gate]) -> str:
    moved = [gate.name for gate in gates if gate.is_actuated]
    hand = [gate.name for gate in gates if not gate.is_actuated]
    told = []
    if moved:
        told.append(f"Moved by the controller until now: {listed(moved, 'and', 24)}.")
    if hand:
        told.append(f"Moved by hand always: {listed(hand, 'and', 24)}.")
    return " ".join(told)


def _start(shop: Shop, motor: Motor) -> str:
    switches = [
        source.name
        for source in shop.inputs.values()
        if source.kind is InputKind.HAND_OFF_AUTO and motor.name in source.systems
    ]
    if switches:
        return f"Turn {listed(switches, 'and')} to Hand. It runs by wire, past the controller."
    return (
        "No Hand-Off-Auto switch is told to the controller. If the electrician has fitted one at its contactor, turn "
        "it to Hand. Where it is: ______________________________"
    )


def to_call(shop: Shop) -> Html:
    """Whom to call: from the shop file, or lines to fill in."""
    if shop.call:
        lines = [el("li", None, line) for line in shop.call]
    else:
        lines = [el("li", {"class": "blank"}, f"{who}: ") for who in BLANK]
    return join(el("h2", None, "Whom to call"), el("ul", {"class": "known calls"}, lines))


#: What is tried once before the shop is trusted, and again after every change; each with who and when to fill in.
def trials(shop: Shop) -> list[list[str]]:
    """A table to fill in: what is tried, what must happen, when, by whom."""
    rows = [["Try", "What must happen", "Day", "By"]]
    kinds = {source.kind for source in shop.inputs.values()}
    for motor in shop.motors.values():
        rows.append([f"Stop on the page while {motor.name} runs", "It stands still, and the page says stopped", "", ""])
    rows.append(
        ["Hard-wired stop, at every button", "Every motor stands still; nothing moves until it is reset", "", ""]
    )
    if InputKind.FIRE in kinds:
        rows.append(["Fire input, at the detector", "Every motor off, gates stay; no reset from the page", "", ""])
    if InputKind.DOOR in kinds:
        rows.append(["Each door contact", "Its motors stay off while it is open", "", ""])
    if InputKind.HAND_OFF_AUTO in kinds:
        rows.append(["Pull the plug of the board in mid-cut, then turn to Hand", "Work goes on by hand", "", ""])
    rows.append(["Plug out and in while a machine runs", "No motor starts by itself", "", ""])
    rows.append(["Each machine started once", "Its gate opens, then the collector runs", "", ""])
    return rows
