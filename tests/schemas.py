"""JSON Schemas that ship with the package, ready to validate with."""

import json
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator

NAMES = (
    "result",
    "comparison",
    "check",
    "fitting",
    "kinds",
    "sources",
    "size",
    "operation",
    "proportions",
    "remedies",
    "quantities",
    "remarks",
)


def schema(name: str) -> dict[str, Any]:
    path = files("elbowroom.viewer").joinpath(f"{name}.schema.json")
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def validate(content: Any, name: str) -> None:
    """Raise unless the content is what the schema of that name says."""
    validator = Draft202012Validator(schema(name))  # each can be used alone
    validator.check_schema(schema(name))
    validator.validate(content)
