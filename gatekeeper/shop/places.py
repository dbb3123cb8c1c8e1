"""The only reader of YAML: a text becomes a tree of plain strings in which every key and value knows its place.

Theory of operation. Types come from the reader's own schema and the raw text, so ``on``, ``off``, ``1:30`` and ``010``
are what was written and nothing else. What makes YAML surprising is refused with its place: anchors, aliases, tags,
merge keys, several documents, keys that are not words, keys given twice, and keys with nothing after them. The tree is
built from the parser's events as they come, so reading ends before anything lies too deep. The fast parser reads every
file; on a syntax error the text is read again with the slower one, whose messages do not depend on the machine. Only
the first syntax error of a text can be reported.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import yaml

from gatekeeper.shop.faults import Fault, Faults, Mark, in_order, shortened

DEEPEST = 12
LONGEST_CHARACTERS = 1_000_000

Loc: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Leaf:
    """One written value: its raw text."""

    mark: Mark
    text: str


@dataclass(frozen=True, slots=True)
class Row:
    """A list, in order."""

    mark: Mark
    items: "list[Node]"


@dataclass(frozen=True, slots=True)
class Branch:
    """Keys with their values, in order; ``key_marks`` holds the place of each key."""

    mark: Mark
    entries: "dict[str, Node]"
    key_marks: dict[str, Mark]


Node: TypeAlias = Leaf | Row | Branch


@dataclass(frozen=True, slots=True)
class Tree:
    """A text that was read: ``root`` is its outermost node, ``faults`` what was refused on the way."""

    name: str
    text: str
    root: Branch
    faults: tuple[Fault, ...] = ()

    def plain(self) -> dict[str, Any]:
        """The same as dictionaries, lists and strings."""
        plain: dict[str, Any] = _plain(self.root)
        return plain

    def at(self, loc: Loc) -> Node | None:
        """The node at a path of keys and list positions, or None when the text has none there."""
        node: Node = self.root
        for step in loc:
            if isinstance(node, Branch) and isinstance(step, str) and step in node.entries:
                node = node.entries[step]
            elif isinstance(node, Row) and isinstance(step, int) and 0 <= step < len(node.items):
                node = node.items[step]
            else:
                return None
        return node

    def mark_of(self, loc: Loc, *, key: bool = False) -> Mark:
        """The place of a value, or of its ``key``; of the nearest key above it when the text has nothing there."""
        while loc:
            parent = self.at(loc[:-1])
            node = self.at(loc)
            if node is not None:
                return parent.key_marks[str(loc[-1])] if key and isinstance(parent, Branch) else node.mark
            loc, key = loc[:-1], True
        return self.root.mark

    def leaves(self, *pattern: str) -> Iterator[tuple[Loc, str]]:
        """Every written value whose path fits ``pattern``, in which ``*`` is any key and a list counts as its items."""
        yield from _leaves(self.root, pattern, ())

    def leaves_at(self, *loc: str | int) -> Iterator[tuple[Loc, str]]:
        """The values written at a path: one, or those of a list."""
        node = self.at(loc)
        if node is not None:
            yield from _leaves(node, (), loc)

    def keys(self, *loc: str) -> list[str]:
        """The keys written under a path; empty when there is nothing there."""
        node = self.at(loc)
        return list(node.entries) if isinstance(node, Branch) else []


def read_tree(text: str, name: str) -> Tree | Faults:
    """Read a YAML text of plain keys, lists and words. Pure: ``name`` is only for messages."""
    tree = read_through(text, name)
    if isinstance(tree, Faults) or not tree.faults:
        return tree
    return Faults(name, tree.text, tree.faults)


def read_through(text: str, name: str, sections: str = "shop:, motors:, tools:") -> Tree | Faults:
    """The same, for a caller that has more to complain about: the tree comes with the ``faults`` of its form.

    What was refused stands in the tree with the very mark of its fault, so that a second complaint at the same mark can
    be dropped. Only a text without any tree gives Faults; ``sections`` are what that fault offers.
    """
    text = text.removeprefix("\ufeff")
    if len(text) > LONGEST_CHARACTERS:
        said = f"this file has {len(text)} characters; at most {LONGEST_CHARACTERS} can be read"
        return Faults(name, "", (Fault(Mark(1, 1), (), said),))
    reader = _read(text, getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    if reader.syntax is not None:
        reader = _read(text, yaml.SafeLoader)
    if reader.syntax is not None:
        return Faults(name, text, in_order([reader.syntax]))
    if not isinstance(reader.root, Branch):
        found = "is empty" if reader.root is None else "does not begin with a key and a colon"
        mark = Mark(1, 1) if reader.root is None else reader.root.mark
        said = f"this file {found}; write sections such as {sections}"
        return Faults(name, text, in_order([*reader.faults, Fault(mark, (), said)]))
    return Tree(name, text, reader.root, in_order(reader.faults))


def _plain(node: Node) -> Any:
    match node:
        case Leaf():
            return node.text
        case Row():
            return [_plain(item) for item in node.items]
        case Branch():
            return {key: _plain(value) for key, value in node.entries.items()}


def _leaves(node: Node, pattern: tuple[str, ...], loc: Loc) -> Iterator[tuple[Loc, str]]:
    if isinstance(node, Row):
        for place, item in enumerate(node.items):
            yield from _leaves(item, pattern, (*loc, place))
    elif isinstance(node, Leaf):
        if not pattern:
            yield loc, node.text
    elif pattern:
        for key, value in node.entries.items():
            if pattern[0] in ("*", key):
                yield from _leaves(value, pattern[1:], (*loc, key))


# What the parser says about the slips that people make most, in words that say what to do.
_SYNTAX = {
    "found character '\\t' that cannot start any token": "a tab stands here; indent with spaces",
    "mapping values are not allowed here": "a colon stands where no key can be; mend the indentation or use quotes",
    "expected <block end>, but found '<block mapping start>'": "this line is not indented like its neighbours",
    "could not find expected ':'": "a key without its colon; write key: value",
}


class _TooDeep(Exception):
    """Ends the reading at once: the parser's work grows with the square of the depth."""

    def __init__(self, mark: Mark) -> None:
        super().__init__(mark)
        self.mark = mark


def _read(text: str, loader: Any) -> "_Reader":
    reader = _Reader()
    try:
        reader.read(yaml.parse(text, Loader=loader))
    except _TooDeep as deep:
        reader.syntax = _syntax_fault(deep.mark, f"this is nested more than {DEEPEST} deep; write it flatter")
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Mark(mark.line + 1, mark.column + 1) if mark is not None else Mark(1, 1)
        problem = error.problem or "it cannot be read"
        reader.syntax = _syntax_fault(place, _SYNTAX.get(problem, f"this cannot be read ({problem})"))
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        place = Mark(before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1)
        reader.syntax = _syntax_fault(place, "an unprintable character stands here; take it out")
    return reader


def _syntax_fault(place: Mark, said: str) -> Fault:
    return Fault(place, (), f"{said}. Nothing after this place was checked: mend it first, then check again")


@dataclass(slots=True)
class _Reader:
    """Puts the parser's events together, noting every fault on the way."""

    root: Node | None = None
    syntax: Fault | None = None
    faults: list[Fault] = field(default_factory=list)
    events: Iterator[Any] = field(default_factory=lambda: iter(()))

    def read(self, events: Iterator[Any]) -> None:
        self.events = events
        documents = 0
        for event in self.events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                first = next(self.events)
                node = self.node(first, ())
                if documents == 1:
                    self.root = None if isinstance(node, Leaf) and node.text == "" else node
                elif documents == 2:
                    self.faults.append(Fault(_mark(first), (), "a second document (---) begins here; keep one"))

    def node(self, event: Any, path: tuple[str, ...]) -> Node:
        """The node that begins with ``event``; takes all of its events."""
        mark = _mark(event)
        if isinstance(event, yaml.AliasEvent):
            self.faults.append(Fault(mark, path, f"references (*{event.anchor}) are not read; write the value out"))
            return Leaf(mark, "*")
        if event.anchor is not None:
            self.faults.append(Fault(mark, path, f"anchors (&{event.anchor}) are not read; take it out"))
        if event.tag is not None:
            self.faults.append(Fault(mark, path, f"tags ({shortened(event.tag)}) are not read; take it out"))
        if isinstance(event, yaml.ScalarEvent):
            return Leaf(mark, event.value)
        if len(path) >= DEEPEST:
            raise _TooDeep(mark)
        return self.row(mark, path) if isinstance(event, yaml.SequenceStartEvent) else self.branch(mark, path)

    def row(self, mark: Mark, path: tuple[str, ...]) -> Row:
        items: list[Node] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            item = self.node(event, (*path, f"item {len(items) + 1}"))
            if _is_nothing(event):
                self.faults.append(Fault(item.mark, path, "this item of the list is empty; write it or take it out"))
            items.append(item)
        return Row(mark, items)

    def branch(self, mark: Mark, path: tuple[str, ...]) -> Branch:
        branch = Branch(mark, {}, {})
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            key = self.key(event, path, branch)
            first = next(self.events)
            value = self.node(first, (*path, key if key is not None else "?"))
            if key is None:
                continue
            if _is_nothing(first):
                said = "nothing is written after this key; give a value or leave the key out"
                self.faults.append(Fault(branch.key_marks[key], (*path, key), said))
                value = Leaf(branch.key_marks[key], "")
            branch.entries[key] = value
        return branch

    def key(self, event: Any, path: tuple[str, ...], branch: Branch) -> str | None:
        """The word of a key, or None when the key is refused (its value is read and left out)."""
        node = self.node(event, path)
        if not isinstance(node, Leaf) or isinstance(event, yaml.AliasEvent) or node.text == "":
            said = "a key here is no plain word; write one word or name, a colon, and its value"
        elif node.text == "<<":
            said = "merge keys (<<) are not read; write the lines out"
        elif node.text in branch.key_marks:
            first = branch.key_marks[node.text].line
            said = f'"{shortened(node.text)}" is given twice, first in line {first}; keep one of the two'
        else:
            branch.key_marks[node.text] = node.mark
            return node.text
        self.faults.append(Fault(node.mark, path, said))
        return None


def _is_nothing(event: Any) -> bool:
    """Whether nothing at all was written where a value was due (an empty pair of quotes is something)."""
    return isinstance(event, yaml.ScalarEvent) and event.value == "" and not event.style


def _mark(event: Any) -> Mark:
    return Mark(event.start_mark.line + 1, event.start_mark.column + 1)
