"""Whole parts of a shop file put in, replaced or taken out in its text; every other character stays as it is.

A part is one name under a section, such as a gate. The changed text is read again and must be the old tree with just
these parts changed, and still a shop; else nothing is given back.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.places import Branch, Tree, read_tree
from gatekeeper.shop.rewrite import CannotRewrite

ASSUMED = "# assumed: "
"""How a comment begins that says what of the next part is an estimate; it goes with that part."""

_LINE = re.compile(r"[^\r\n\x85\u2028\u2029]*(?:\r\n|[\r\n\x85\u2028\u2029]|$)")
_NOTHING = re.compile(r"\s*(#.*)?$")


_PLAIN = re.compile(r"[^\W_][\w .()+/²³-]*")


def quoted(text: str) -> str:
    """A word of a shop file, in quotes where it needs them."""
    if _PLAIN.fullmatch(text) and text == text.strip():
        return text
    return "'" + text.replace("'", "''") + "'"


@dataclass(frozen=True, slots=True)
class PartEdit:
    """One part of a section.

    Args:
        section: such as ``gates``.
        part: the name of the part that is replaced or taken out, or None to put one in at the section's end.
        lines: what is to stand there, without indentation of its own; none to take the part out.
    """

    section: str
    part: str | None
    lines: tuple[str, ...] = ()


def with_parts(text: str, name: str, edits: Sequence[PartEdit]) -> str:
    """The text with these parts changed.

    Raises:
        CannotRewrite: the text is no shop, or a section is written in a form that is not understood, or it would be no
            shop any more; says where, and what would have been written.
    """
    bom = "\ufeff" if text.startswith("\ufeff") else ""
    text = text.removeprefix(bom)
    wanted = _tree(text, name).plain()
    for edit in edits:
        wanted = _applied(wanted, edit, name)
        text = _edited(text, name, edit)
    if _tree(text, name).plain() != wanted:
        raise CannotRewrite(f"{name}: the change would touch more than it should; {_by_hand(edits)}")
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        first = shop.each[0]
        raise CannotRewrite(f"{name}: this would be no shop any more: {' > '.join(first.path)}: {first.said}")
    return bom + text


def _applied(plain: dict[str, object], edit: PartEdit, name: str) -> dict[str, object]:
    """The tree with one part changed, and without a section that has nothing left in it."""
    section = dict(plain.get(edit.section) or {})  # type: ignore[call-overload]
    if edit.part is not None:
        section.pop(edit.part)
    section.update(_tree("\n".join(edit.lines), name).plain() if any(_is_said(line) for line in edit.lines) else {})
    changed = {**plain, edit.section: section}
    if not section:
        del changed[edit.section]
    return changed


def _edited(text: str, name: str, edit: PartEdit) -> str:
    lines = _LINE.findall(text)
    end = next((line[len(line.rstrip("\r\n\x85\u2028\u2029")) :] for line in lines if line.strip()), "\n") or "\n"
    branch = _tree(text, name).at((edit.section,))
    if branch is None:
        if lines and lines[-1] == "":
            lines.pop()
        if lines and not lines[-1].endswith(("\n", "\r", "\x85", "\u2028", "\u2029")):
            lines[-1] += end
        return "".join([*lines, end, f"{edit.section}:{end}", *(f"  {line}{end}" for line in edit.lines)])
    if not isinstance(branch, Branch) or not branch.key_marks or _is_in_braces(lines, branch):
        raise CannotRewrite(f"{name}: {edit.section} is not written with one part a line; {_by_hand([edit])}")
    indent = " " * (next(iter(branch.key_marks.values())).column - 1)
    new = [f"{indent}{line}{end}" for line in edit.lines]
    if edit.part is None:
        last = list(branch.key_marks.values())[-1].line - 1
        place = _end_of_part(lines, last, len(indent))
        if place and not lines[place - 1].endswith(("\n", "\r", "\x85", "\u2028", "\u2029")):
            lines[place - 1] += end
        return "".join([*lines[:place], *new, *lines[place:]])
    begin = branch.key_marks[edit.part].line - 1
    after = _end_of_part(lines, begin, len(indent))
    if lines[begin - 1].lstrip(" ").startswith(ASSUMED):
        begin -= 1
    if not new and len(branch.key_marks) == 1:
        begin = _tree(text, name).root.key_marks[edit.section].line - 1
    return "".join([*lines[:begin], *new, *lines[after:]])


def _end_of_part(lines: Sequence[str], begin: int, indent: int) -> int:
    """The line after a part: comments and empty lines behind it belong to what follows."""
    end = begin + 1
    for place in range(begin + 1, len(lines)):
        line = lines[place]
        if not _is_said(line):
            continue
        if len(line) - len(line.lstrip(" ")) <= indent:
            break
        end = place + 1
    return end


def _is_said(line: str) -> bool:
    return _NOTHING.match(line) is None


def _is_in_braces(lines: Sequence[str], branch: Branch) -> bool:
    mark = branch.mark
    return lines[mark.line - 1][mark.column - 1 : mark.column] == "{"


def _tree(text: str, name: str) -> Tree:
    tree = read_tree(text, name)
    if isinstance(tree, Faults):
        raise CannotRewrite(f"{name}: this file cannot be read; mend it first (gatekeeper check {name})")
    return tree


def _by_hand(edits: Sequence[PartEdit]) -> str:
    told = []
    for edit in edits:
        what = f"write under {edit.section}: {' / '.join(line.strip() for line in edit.lines)}"
        told.append(what if edit.lines else f"take {edit.part} out of {edit.section}")
    return f"do it by hand: {'; '.join(told)}"
