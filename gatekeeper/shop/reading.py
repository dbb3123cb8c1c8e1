"""The first pass over a shop file: every value by itself. What is wrong becomes a fault with its place.

A part that is wrong is left out of what the second pass sees, but its name still counts as known, so that one slip is
said once and does not hide the others.
"""

import typing
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from gatekeeper.shop.faults import Fault, did_you_mean, listed, shortened
from gatekeeper.shop.places import Loc, Tree
from gatekeeper.shop.written import ShopFile

Written = TypeVar("Written", bound=BaseModel)

_STAND_IN = {"shop": {"name": "unnamed", "mains": "50 Hz"}, "motors": {}}


def read_parts(tree: Tree) -> tuple[ShopFile, list[Fault]]:
    """All parts of the file that can be read, and a fault for everything that cannot."""
    plain = tree.plain()
    try:
        return ShopFile.model_validate(plain), []
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
    for detail in details:
        _leave_out(plain, detail["loc"])
    return ShopFile.model_validate(_STAND_IN | plain), [_fault(tree, detail, ShopFile) for detail in details]


def read_as(tree: Tree, written: type[Written]) -> tuple[Written | None, list[Fault]]:
    """Another kind of file, by the model of what is ``written`` in it: the whole of it, or None and every fault.

    Its parts are models, lists of models, and names that lead to models; no unions.
    """
    try:
        return written.model_validate(tree.plain()), []
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
    return None, [_fault(tree, detail, written) for detail in details]


def path_of(loc: Loc) -> tuple[str, ...]:
    """A path as it is shown: list items counted from 1."""
    return tuple(step if isinstance(step, str) else f"item {step + 1}" for step in loc)


def _leave_out(plain: dict[str, Any], loc: Loc) -> None:
    section = str(loc[0])
    entries = plain.get(section)
    if section in plain and len(loc) > 1 and isinstance(entries, dict) and _is_named(section):
        entries.pop(loc[1], None)
    else:
        plain.pop(section, None)


def _is_named(section: str) -> bool:
    field = ShopFile.model_fields.get(section)
    return field is not None and typing.get_origin(field.annotation) is dict


def _model_at(loc: Loc, root: type[BaseModel]) -> type[BaseModel] | None:
    """The part that a path leads into, or None where it leads to named parts or to a value."""
    here: Any = root
    for step in loc:
        if typing.get_origin(here) is dict:
            here = typing.get_args(here)[1]
        elif typing.get_origin(here) is list:
            here = typing.get_args(here)[0]
        else:
            here = here.model_fields[str(step)].annotation
        inner = [kind for kind in typing.get_args(here) if isinstance(kind, type) and issubclass(kind, BaseModel)]
        if inner and typing.get_origin(here) not in (dict, list):
            here = inner[0]
    return here if isinstance(here, type) and issubclass(here, BaseModel) else None


def _fault(tree: Tree, detail: ErrorDetails, root: type[BaseModel]) -> Fault:
    loc, kind = detail["loc"], detail["type"]
    if kind == "missing":
        model = _model_at(loc[:-1], root)
        what = "" if model is None else (model.model_fields[str(loc[-1])].description or "")
        said = f'the key "{loc[-1]}" is missing here. {what}'.removesuffix(".").rstrip()
        return Fault(tree.mark_of(loc[:-1], key=True), path_of(loc[:-1]), said)
    if kind == "extra_forbidden":
        model = _model_at(loc[:-1], root)
        known = [] if model is None else list(model.model_fields)
        key = str(loc[-1])
        said = f'"{shortened(key)}" is not a key here; the keys are {listed(known, "and", 40)}'
        return Fault(tree.mark_of(loc, key=True), path_of(loc[:-1]), said + did_you_mean(key, known))
    if kind == "said":
        return Fault(tree.mark_of(loc), path_of(loc), detail["msg"])
    if kind == "list_type":
        return Fault(tree.mark_of(loc), path_of(loc), "a list is due here; begin each item with a dash on its own line")
    model = _model_at(loc, root)
    if model is not None:
        said = f"one value stands where keys are due; the keys are {listed(list(model.model_fields), 'and', 30)}"
    else:
        said = "one value stands where names are due; write a name, a colon, and its keys below it"
    return Fault(tree.mark_of(loc), path_of(loc), said)
