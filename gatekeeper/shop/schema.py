"""The JSON Schema of a file, generated from the very keys that are read (``written``); editors read it."""

from typing import Any

from pydantic import BaseModel

from gatekeeper.shop.written import ShopFile


def shop_schema() -> dict[str, Any]:
    """The schema as plain data. A key that is left out is never written as null, so null is not allowed anywhere."""
    return schema_of(ShopFile, "A shop")


def schema_of(written: type[BaseModel], title: str) -> dict[str, Any]:
    """The schema of any file that is read by a model of what is ``written`` in it."""
    schema: dict[str, Any] = _without_null(written.model_json_schema())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}


def _without_null(node: Any) -> Any:
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {key: _without_null(value) for key, value in node.items()}
    if "title" in kept and isinstance(kept["title"], str):
        del kept["title"]
    if kept.get("default", "") in (None, [], {}):
        del kept["default"]
    options = [option for option in kept.pop("anyOf", []) if option != {"type": "null"}]
    if len(options) == 1:
        return options[0] | kept
    return kept | ({"anyOf": options} if options else {})
