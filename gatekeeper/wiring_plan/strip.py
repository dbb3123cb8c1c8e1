"""The terminal strip of the box: numbers for cables, cores and terminals, in the order of work."""

from collections.abc import Sequence

from gatekeeper.shop.lines import HEADER_PINS, TO_BE_CHOSEN, UNCHOSEN
from gatekeeper.shop.model import Duct, Gate, Shop
from gatekeeper.wiring_plan.cables import SIGNAL_MM2, thickness_words
from gatekeeper.wiring_plan.model import Cable, Core

TO_THE_MACHINE_M = 2.0
"""What a cable needs beyond the ducts that it follows, metres; our own."""


class Strip:
    """Counts cables (K1, K2, ...) and terminals (X1:1, X1:2, ...)."""

    def __init__(self) -> None:
        self._cables = 0
        self._terminals = 0

    def cable(
        self,
        to: str,
        ends: Sequence[tuple[int, str, str]],
        needed_mm2: float,
        *,
        words: str = "",
        thin: int = 0,
        run_m: float | None = None,
    ) -> Cable:
        """The next cable; ``ends``: for each core its row, what it is in the box, and its end at the device.

        ``thin``: how many of the cores carry only a signal.
        """
        self._cables += 1
        number = f"K{self._cables}"
        cores = []
        for place, (row, at_box, at_device) in enumerate(ends, 1):
            self._terminals += 1
            cores.append(Core(f"{number}/{place}", f"X1:{self._terminals}", row, at_box, at_device))
        kind = f"{len(cores) - thin} × {thickness_words(needed_mm2)}"
        if thin:
            kind += f" and {thin} × {SIGNAL_MM2:g} mm²"
        return Cable(number, to, tuple(cores), needed_mm2, f"{kind}{words}", run_m)


def line_words(line: int) -> str:
    """A line of the board as it stands at its terminal."""
    return f"pin {TO_BE_CHOSEN}" if line == UNCHOSEN else f"GPIO{line} · pin {HEADER_PINS[line]}"


def run_to_gate_m(shop: Shop, gate: Gate) -> float | None:
    """How far it is from the collector along the ducts to a gate, with something for the way down; None if unknown."""
    duct: Duct | None = shop.ducts.get(gate.duct or "")
    if duct is None:
        return None
    run_m = TO_THE_MACHINE_M
    while duct is not None:
        run_m += duct.length_m
        duct = shop.ducts.get(duct.towards)
    return run_m
