"""Answers of an interview that is not over, kept in a file beside the shop's own: the terminal and the page share it.

Where an interview stands follows from its answers alone, so whoever reads the file goes on from there.
"""

from dataclasses import dataclass
from pathlib import Path

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.interview.adding import CannotAdd, PartsDraft, add_machine, move_machine, retire_machine
from gatekeeper.interview.adding_motor import add_motor
from gatekeeper.interview.changing_gate import change_gate
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.engine import Interview
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import draft_text
from gatekeeper.shop.faults import did_you_mean, listed
from gatekeeper.shop.model import Shop

NEW = "gatekeeper new"
ADD, MOVE, RETIRE = "gatekeeper add", "gatekeeper add --move ", "gatekeeper add --retire "
MOTOR, GATE = "gatekeeper add --motor", "gatekeeper add --gate "


class CannotInterview(Exception):
    """It cannot go on; the message is one plain sentence."""


class AnsweredElsewhere(Exception):
    """The answers in the file are not those that were read last: somebody answered at another place meanwhile."""


@dataclass(frozen=True, slots=True)
class Kept:
    """The answers in their file; ``head``: the command that they answer, its first line."""

    path: Path
    head: str

    def answers(self) -> tuple[str, ...]:
        """What was answered so far. Raises CannotInterview for answers of another interview, or unreadable ones."""
        head, answers = read_answers(self.path)
        if head is None:
            return ()
        if head != self.head:
            raise CannotInterview(
                f"{self.path}: these are the answers of {head}. Finish that first, or take the file away."
            )
        return answers

    def keep(self, answers: tuple[str, ...], before: tuple[str, ...]) -> None:
        """Write the answers, where the file still holds those ``before``.

        Raises:
            AnsweredElsewhere: it holds others; nothing was written.
            CannotInterview: it cannot be read or written.
        """
        if self.answers() != before:
            raise AnsweredElsewhere
        try:
            write_new(self.path, "\n".join([self.head, *answers, ""]).encode("utf-8"), replace=True)
        except FileTrouble as trouble:
            raise CannotInterview(f"{trouble}.") from None

    def forget(self) -> None:
        """Take the file away."""
        self.path.unlink(missing_ok=True)


def answers_beside(path: Path) -> Path:
    """Where the answers about a shop file are kept."""
    return Path(f"{path}.answers")


def read_answers(path: Path) -> tuple[str | None, tuple[str, ...]]:
    """The command that a file of answers belongs to, and the answers; None where there is no such file.

    Raises:
        CannotInterview: it cannot be read.
    """
    try:
        head, *answers = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return None, ()
    except (OSError, ValueError):
        raise CannotInterview(f"{path}: this file cannot be read; take it away to begin anew.") from None
    return head, tuple(answers)


def parts_interview(shop: Shop, text: str, head: str) -> Interview[PartsDraft]:
    """The interview that changes one machine of a shop, or adds a motor, by the command that it is called with.

    Raises:
        CannotInterview: there is no such machine, or it cannot be moved.
    """
    if head == MOTOR:
        return add_motor(shop, text)
    if head.startswith(GATE):
        gate = head.removeprefix(GATE)
        if gate not in shop.gates:
            there = listed(list(shop.gates), "and", 30)
            raise CannotInterview(
                f'"{gate}" is no gate of this shop; they are {there}{did_you_mean(gate, shop.gates) or "."}'
            )
        return change_gate(shop, text, gate)
    is_move = head.startswith(MOVE)
    tool = head.removeprefix(MOVE if is_move else RETIRE) if head != ADD else None
    if tool is not None and tool not in shop.tools:
        there = listed(list(shop.tools), "and", 30)
        hint = did_you_mean(tool, shop.tools)
        raise CannotInterview(f'"{tool}" is no machine of this shop; they are {there}{hint or "."}')
    try:
        if tool is None:
            return add_machine(shop, text)
        return move_machine(shop, text, tool) if is_move else retire_machine(shop, text, tool)
    except CannotAdd as trouble:
        raise CannotInterview(str(trouble)) from None


def studied_draft(draft: ShopDraft) -> str | None:
    """A new shop as far as its air can be studied: every machine as if it were seen; None in the middle of a duct."""
    if not draft.machines or draft.opened is not None:
        return None
    return draft_text(draft, as_wired=True)


def studied_parts(draft: PartsDraft, text: str, name: str) -> str | None:
    """The same for a shop that is changed; None before it is known what changes. Raises CannotRewrite."""
    return with_parts(text, name, draft.studied) if draft.edits else None
