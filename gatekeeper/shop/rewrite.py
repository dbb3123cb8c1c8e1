"""Changing single values in the text of a shop file, everything else left as it is: comments, order, spacing, quotes.

The tree knows where every value stands, so a value is replaced at its place, and a new key is put beside the others, in
the form of the part it joins: behind the last value of `{a: b, c: d}`, else on a line of its own before the first key.
A value may be a whole small part, written `{a: b, c: [d, e]}`; it replaces one that is written in braces too.
The changed text is read again and must be the old tree with just these changes, and still a shop; else nothing is given
back.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from gatekeeper.shop.faults import Faults, Mark
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.places import Branch, Leaf, Tree, read_tree

_LINE_END = re.compile(r"\r\n|[\r\n\x85\u2028\u2029]")


class CannotRewrite(Exception):
    """The text cannot be changed without touching more; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Change:
    """One value: the path of the part, the key in it, and what is to stand there, as it is written."""

    part: tuple[str, ...]
    key: str
    value: str


def rewritten(text: str, name: str, changes: Sequence[Change]) -> str:
    """The text with these values changed or added.

    Args:
        text: a shop file's text that loads.
        name: the file's name, for messages.
        changes: values as they are to be written, each in a part that is in the file.

    Raises:
        CannotRewrite: the text is no shop, or a place is written in a form that is not understood; says where.
    """
    bom = "\ufeff" if text.startswith("\ufeff") else ""
    text = text.removeprefix(bom)
    tree = _tree(text, name)
    wanted = tree.plain()
    edits: list[tuple[int, int, str]] = []
    for change in changes:
        branch = tree.at(change.part)
        if not isinstance(branch, Branch) or not branch.entries:
            raise CannotRewrite(f"{name}: there is no part {' > '.join(change.part)} to write {change.key} into")
        edits.append(_edit(text, name, branch, change))
        part = wanted
        for key in change.part:
            part = part[key]
        is_part = change.value.startswith(("{", "["))
        part[change.key] = _tree(f"new: {change.value}", name).plain()["new"] if is_part else change.value
    for begin, end, new in sorted(edits, reverse=True):
        text = text[:begin] + new + text[end:]
    if _tree(text, name).plain() != wanted:
        raise CannotRewrite(f"{name}: the change would touch more than it should; write it by hand: {_told(changes)}")
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        raise CannotRewrite(f"{name}: with {_told(changes)} this would be no shop: {shop.each[0].said}")
    return bom + text


def _told(changes: Sequence[Change]) -> str:
    return ", ".join(f"{' > '.join(change.part)} > {change.key}: {change.value}" for change in changes)


def _tree(text: str, name: str) -> Tree:
    tree = read_tree(text, name)
    if isinstance(tree, Faults):
        raise CannotRewrite(f"{name}: this file cannot be read any more; mend it first (gatekeeper check {name})")
    return tree


def _edit(text: str, name: str, branch: Branch, change: Change) -> tuple[int, int, str]:
    """From where to where, and what is to stand there."""
    there = branch.entries.get(change.key)
    if there is not None:
        begin, end = _span(text, name, there) if isinstance(there, Leaf) else _braced(text, name, there.mark)
        return begin, end, change.value
    new = f"{change.key}: {change.value}"
    if text[_place(text, branch.mark)] == "{":
        # Behind the last plain value: what ends the part stays where it is.
        plain = [entry for entry in branch.entries.values() if isinstance(entry, Leaf)]
        if not plain:
            raise CannotRewrite(f"{name}: line {branch.mark.line} has no plain value to put {change.key} beside")
        _, end = _span(text, name, plain[-1])
        return end, end, f", {new}"
    key_mark = next(iter(branch.key_marks.values()))
    line_begin = _place(text, Mark(key_mark.line, 1))
    indent = text[line_begin : _place(text, key_mark)]
    ends = _LINE_END.search(text)
    return line_begin, line_begin, f"{indent}{new}{ends.group() if ends else chr(10)}"


def _place(text: str, mark: Mark) -> int:
    """The index of a mark in its text."""
    begin = 0
    for _ in range(mark.line - 1):
        found = _LINE_END.search(text, begin)
        if found is None:
            return len(text)
        begin = found.end()
    return min(begin + mark.column - 1, len(text))


def _span(text: str, name: str, leaf: Leaf) -> tuple[int, int]:
    """From where to where a value on one line is written, quotes included."""
    begin = _place(text, leaf.mark)
    for quote in ("", "'", '"'):
        written = f"{quote}{leaf.text}{quote}"
        if leaf.text and text.startswith(written, begin):
            return begin, begin + len(written)
    raise CannotRewrite(f"{name}: line {leaf.mark.line} is written in a way that cannot be changed; write it by hand")


def _braced(text: str, name: str, mark: Mark) -> tuple[int, int]:
    """From where to where a part or a list in braces or brackets is written."""
    begin = _place(text, mark)
    depth, quote = 0, ""
    for place in range(begin, len(text)):
        letter = text[place]
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in "{[":
            depth += 1
        elif letter in "}]":
            depth -= 1
        if depth == 0:
            if place == begin or letter not in "}]":
                break
            return begin, place + 1
    raise CannotRewrite(f"{name}: line {mark.line} is written in a way that cannot be changed; write it by hand")
