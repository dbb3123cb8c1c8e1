"""What an interview comes to: the text of the file, its pins, what is assumed and what is to be commissioned anew.

The terminal and the page end alike, to the byte.
"""

from dataclasses import dataclass
from pathlib import Path

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.interview.adding import PartsDraft
from gatekeeper.interview.commissioning import to_commission
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import assumed_lines, draft_text, with_moved_gate, without_waiting
from gatekeeper.interview_keeping import CannotInterview
from gatekeeper.shop.choosing import CannotChoose, Choice, choices_for, with_pins
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite


@dataclass(frozen=True, slots=True)
class Ending:
    """What will be written.

    Args:
        text: the whole file.
        choices: pins that were chosen for new wires.
        pin_trouble: why they are still to be chosen, one sentence; empty where they are not.
        assumed: what is an estimate, as the file says it.
        anew: what is to be commissioned anew, whole sentences; none of a new shop, where it is everything.
    """

    text: str
    choices: tuple[Choice, ...]
    pin_trouble: str
    assumed: tuple[str, ...]
    anew: tuple[str, ...] = ()


def new_ending(draft: ShopDraft, name: str) -> Ending:
    """The file of a new shop."""
    text, choices, trouble = _with_own_pins(draft_text(draft), name, "")
    return Ending(text, choices, trouble, tuple(assumed_lines(text)))


def write_new_shop(out: Path, ending: Ending) -> None:
    """Write it. Raises CannotInterview where there is a file already, or none can be written."""
    try:
        write_new(out, ending.text.encode("utf-8"))
    except FileTrouble as wrong:
        raise CannotInterview(f"{wrong}.") from None


def parts_ending(shop: Shop, text: str, name: str, draft: PartsDraft) -> Ending:
    """The file of a shop with a machine more, moved or gone.

    Raises:
        CannotInterview: the file is written in a form that cannot be changed here; says what to do by hand.
    """
    try:
        changed = with_parts(with_moved_gate(without_waiting(text, draft.machine), draft.gate), name, draft.edits)
        changed, choices, trouble = _with_own_pins(changed, name, text)
    except CannotRewrite as wrong:
        raise CannotInterview(f"{wrong}.") from None
    new = load_shop(changed, name)
    assert not isinstance(new, Faults), "what with_parts gives back is a shop"
    return Ending(changed, choices, trouble, (), tuple(to_commission(shop, new, name)))


def write_parts(path: Path, text: str, ending: Ending) -> Path:
    """Change the file, and keep the text that it had beside it; where that is.

    Args:
        path: the shop's file.
        text: what it said when the interview was made of it.
        ending: what it is to say.

    Raises:
        CannotInterview: it was changed meanwhile, or cannot be written; nothing was changed.
    """
    try:
        if path.read_bytes() != text.encode("utf-8"):
            raise CannotInterview(f"{path}: the file was changed meanwhile; ask again.")
        write_new(text_before(path), text.encode("utf-8"), replace=True)
        write_new(path, ending.text.encode("utf-8"), replace=True)
    except OSError:
        raise CannotInterview(f"{path}: this file cannot be read any more.") from None
    except FileTrouble as wrong:
        raise CannotInterview(f"{wrong}.") from None
    return text_before(path)


def text_before(path: Path) -> Path:
    """Where the text of a shop file is kept that it had before its last change by an interview."""
    return Path(f"{path}.before")


def _with_own_pins(text: str, name: str, before: str) -> tuple[str, tuple[Choice, ...], str]:
    """The text with pins for the new wires, those pins, and what went wrong; ``before``: the file until now."""
    try:
        old = {choice.path for choice in choices_for(before, name, move=False)} if before else set()
        choices = [choice for choice in choices_for(text, name, move=False) if choice.path not in old]
        return (with_pins(text, name, choices) if choices else text), tuple(choices), ""
    except (CannotChoose, CannotRewrite) as trouble:
        return text, (), f"{trouble}."
