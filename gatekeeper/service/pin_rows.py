"""One line of the board in words, and what every such row says of pulls, power-up and power lost."""

from dataclasses import dataclass

from gatekeeper.devices.base import Fate
from gatekeeper.shop.lines import CONSOLE_LINE, HEADER_PINS, PULLED_UP_AT_BOOT, TO_BE_CHOSEN, UNCHOSEN
from gatekeeper.shop.model import Output

BOARD_RESISTORS = (2, 3)  # 1.8 kilo-ohm to 3.3 V, soldered on the board

POWER_LOST = "When the board loses power "  # how the drivers' own sentences begin
ACTIVE_LOW_AT_POWER_UP = (
    "On whenever the line is low: off only if the outside resistor to 3.3 V lifts the line, and many 5 V relay boards "
    "never let go at 3.3 V."
)


READS_ONLY = "Drives nothing."
UNREAD = "Drives nothing; nobody reads it."


@dataclass(frozen=True, slots=True)
class PinRow:
    """One line of the board, in words for the person who wires it.

    Args:
        line: GPIO number and pin of the 40-pin header.
        wire: where the wire goes.
        does: what the program does with it.
        pull: which resistor holds the line, on the board and outside.
        at_power_up: from power on until the program has claimed the line.
        program_dies: after a crash or a kill of the program while the board stays powered.
        power_lost: when the board loses its power.
    """

    line: str
    wire: str
    does: str
    pull: str
    at_power_up: str
    program_dies: str
    power_lost: str


def line_words(line: int) -> str:
    return TO_BE_CHOSEN if line == UNCHOSEN else f"GPIO{line}, header pin {HEADER_PINS[line]}"


def board_pull(line: int) -> str:
    """What the board itself does to a line until the program claims it."""
    if line == UNCHOSEN:
        return TO_BE_CHOSEN
    if line in BOARD_RESISTORS:
        return "up, by 1.8 k on the board"
    if line == CONSOLE_LINE:
        return "driven high by the serial console, else down"
    return "up" if line in PULLED_UP_AT_BOOT else "down"


def sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def power_lost_words(fate: Fate) -> str:
    return sentence(fate.in_words.removeprefix(POWER_LOST))


def output_row(
    output: Output, wire: str, does: str, fate: Fate, power_lost: str, *, at_power_up: str | None = None
) -> PinRow:
    """An output; ``at_power_up`` replaces what is true of any line that is on when low."""
    rest = "3.3 V" if output.active_low else "ground"
    return PinRow(
        line=line_words(output.line),
        wire=wire,
        does=f"{does} {'Low' if output.active_low else 'High'} is on.",
        pull=f"10 k to {rest}, outside; the board's own at power-up: {board_pull(output.line)}",
        at_power_up=at_power_up or (ACTIVE_LOW_AT_POWER_UP if output.active_low else fate.at_power_up),
        program_dies=fate.when_process_dies,
        power_lost=power_lost,
    )
