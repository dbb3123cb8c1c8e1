"""What ``gatekeeper pins`` says and writes: the pins of a shop in words, and those that it would choose."""

from pathlib import Path

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.service.pin_table import pin_table
from gatekeeper.shop.choosing import CannotChoose, Choice, choices_for, with_pins
from gatekeeper.shop.faults import listed
from gatekeeper.shop.lines import TO_BE_CHOSEN
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite
from gatekeeper.shop.unpinned import without_pin


class PinTrouble(Exception):
    """Pins cannot be chosen or written; the message is one plain sentence."""


def pin_lines(shop: Shop, name: str, text: str) -> list[str]:
    """Every pin of a shop by its number on the board, and what to do next."""
    rows = [(row.line, row.wire) for row in pin_table(shop)]
    chosen = sorted((row for row in rows if row[0] != TO_BE_CHOSEN), key=lambda row: int(row[0][4:].split(",")[0]))
    width = max((len(line) for line, _ in rows), default=0)
    said = [f"{shop.name}: {len(rows)} wires on the board."]
    said += [f"  {line.ljust(width)}  {wire}" for line, wire in chosen]
    said += [f"  {line.ljust(width)}  {wire}" for line, wire in rows if line == TO_BE_CHOSEN]
    better = len(_choices(text, name))
    if not better:
        return [*said, "Every pin is chosen, and no output stands on one that moves at power-up."]
    things = "one pin" if better == 1 else f"{better} pins"
    return [*said, f"There is something to choose at {things}.", f"next: gatekeeper pins {name} --assign"]


def assign_lines(name: str, text: str) -> tuple[list[str], list[Choice]]:
    """What would be chosen, each with its reason. Raises PinTrouble."""
    choices = _choices(text, name)
    if not choices:
        return ["Every pin is chosen, and no output stands on one that moves at power-up."], []
    return [choice.in_words for choice in choices], choices


def write_pins(path: Path, text: str, choices: list[Choice]) -> None:
    """Put the chosen pins into the file, comments and order kept. Raises PinTrouble."""
    try:
        if path.read_bytes() != text.encode("utf-8"):
            raise PinTrouble(f"{path}: the file was changed meanwhile; ask again")
        write_new(path, with_pins(text, str(path), choices).encode("utf-8"), replace=True)
    except OSError as error:
        raise PinTrouble(f"{path}: this file cannot be read ({error.strerror or 'the disk refused'})") from None
    except (CannotRewrite, FileTrouble) as trouble:
        raise PinTrouble(str(trouble)) from None


def not_runnable(shop: Shop, name: str) -> str | None:
    """Why a shop cannot be run on real pins yet, or None."""
    waiting = list(without_pin(shop))
    if not waiting:
        return None
    whose = "a pin of" if len(waiting) == 1 else "pins of"
    return f"{name}: {whose} {listed(waiting, 'and', 6)} still to be chosen; next: gatekeeper pins {name} --assign"


def played(text: str, name: str) -> str:
    """The text with a pin at every wire, for a shop that is only played; no file is changed.

    Raises PinTrouble.
    """
    try:
        return with_pins(text, name, _choices(text, name, move=False))
    except CannotRewrite as trouble:
        raise PinTrouble(str(trouble)) from None


def _choices(text: str, name: str, *, move: bool = True) -> list[Choice]:
    try:
        return choices_for(text, name, move=move)
    except CannotChoose as trouble:
        raise PinTrouble(str(trouble)) from None
