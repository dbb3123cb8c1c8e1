"""What every part of a shop file has in common."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """Any part of a shop file: unknown keys are refused, values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def key(said: str, default: Any = ..., **more: Any) -> Any:
    """One key: what it means, for people and for the JSON Schema, and its default."""
    return Field(default, description=said, **more)
