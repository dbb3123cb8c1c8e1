"""Contacts that somebody works in a virtual shop: who begins or ends such work presses for a moment."""

from gatekeeper.shop.model import EndsBy, Tool
from sim.currents import Stint

#: A finger stays on a button for this long. Our own assumption.
PRESS_S = 0.3


def pressed_now(tool: Tool, stint: Stint | None, now_s: float) -> bool | None:
    """Whether the contact of a tool is pressed now; None for a tool whose work is not begun and ended by presses."""
    if tool.sensor is None or tool.sensor.asking is None or tool.sensor.asking.ends is not EndsBy.PRESS_AGAIN:
        return None
    return stint is not None and any(0 <= now_s - pressed_s < PRESS_S for pressed_s in (stint.on_s, stint.off_s))
