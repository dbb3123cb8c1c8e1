"""The JSON Schema of a shop file, generated from the very keys that are read (``written``); editors read it."""

from typing import Any

from gatekeeper.shop.written import ShopFile


def shop_schema() -> dict[str, Any]:
    """The schema as plain data. A key that is left out is never written as null, so null is not allowed anywhere."""
    schema: dict[str, Any] = _without_null(ShopFile.model_json_schema())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "A shop"}


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
