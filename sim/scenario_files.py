"""The scenarios that ship, and reading the file that a command names."""

from importlib import resources
from pathlib import Path

from gatekeeper.shop.faults import Faults
from gatekeeper.shop.places import Leaf, read_through


def folder() -> Path:
    """The folder of the scenarios that ship."""
    return Path(str(resources.files("sim") / "scenarios"))


def names() -> tuple[str, ...]:
    """The names of the scenarios that ship, in order of the alphabet: ``filter-door-opened`` and so on."""
    return tuple(sorted(path.stem for path in folder().glob("*.yaml")))


def shop_of(text: str, name: str) -> str | None:
    """The shop that a scenario's text says it was written for, or None."""
    tree = read_through(text, name)
    node = None if isinstance(tree, Faults) else tree.at(("scenario", "shop"))
    return node.text if isinstance(node, Leaf) else None
