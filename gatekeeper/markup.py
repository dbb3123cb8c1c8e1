"""Making HTML that is escaped by construction: plain strings are text, only ``Html`` is markup."""

from collections.abc import Iterable, Mapping
from html import escape
from typing import TypeAlias

_DRAWN = frozenset({"path", "rect", "circle"})
_EMPTY = frozenset({"input", "meta", "link", "br"}) | _DRAWN


class Html(str):
    """Finished markup. Only this module and string literals of the packages that draw pages make it."""

    __slots__ = ()


Child: TypeAlias = "str | Html | Iterable[str | Html | None] | None"
Value: TypeAlias = "str | int | float | bool | None"


def text(value: str) -> Html:
    """``value`` as text; what is ``Html`` already stays as it is."""
    return value if isinstance(value, Html) else Html(escape(value))


def join(*children: Child) -> Html:
    """All children one after the other; None is left out."""
    parts: list[str] = []
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            parts.append(text(child))
        else:
            parts.extend(text(one) for one in child if one is not None)
    return Html("".join(parts))


def el(name: str, attributes: Mapping[str, Value] | None = None, *children: Child) -> Html:
    """One element. An attribute that is None or False is left out, True stands without a value."""
    head = [name]
    for key, value in (attributes or {}).items():
        if value is None or value is False:
            continue
        head.append(key if value is True else f'{key}="{escape(str(value))}"')
    opened = "<" + " ".join(head) + ">"
    if name in _EMPTY:
        return Html(opened[:-1] + "/>" if name in _DRAWN else opened)
    return Html(f"{opened}{join(*children)}</{name}>")
