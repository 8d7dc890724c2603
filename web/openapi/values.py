"""Words in which the interface is described: JSON Schema 2020-12, as OpenAPI 3.1 has it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Schema = dict[str, Any]
Schemas = Mapping[str, Schema]

TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "number"}
WHOLE: Schema = {"type": "integer"}
YES_NO: Schema = {"type": "boolean"}
COUNT: Schema = {"type": "integer", "minimum": 0}
ANYTHING: Schema = {"type": "object", "additionalProperties": True}
UID: Schema = {"type": "string", "pattern": "^[0-9a-f]{16}$"}
MOMENT: Schema = {"type": "string", "description": "ISO 8601, UTC"}
DATED: Schema = {
    "enum": ["network", "phone", "believed"],
    "description": "Who told the time: the network, a paired phone, or nobody (the box's own "
    "clock, which may be wrong).",
}
DEGREE: Schema = {"enum": ["ringing", "howl"]}
WAY: Schema = {"enum": ["soundcheck", "set"]}


def known(about: str, schema: Schema) -> Schema:
    """The schema with a description."""
    return {**schema, "description": about}


def number(lowest: float, highest: float) -> Schema:
    """A number in a range, both ends in it."""
    return {"type": "number", "minimum": lowest, "maximum": highest}


def whole(lowest: int, highest: int) -> Schema:
    """A whole number in a range, both ends in it."""
    return {"type": "integer", "minimum": lowest, "maximum": highest}


def one_of(*words: str) -> Schema:
    """One of some words."""
    return {"enum": list(words)}


def array(items: Schema, most: int | None = None) -> Schema:
    """A list of like things."""
    return {"type": "array", "items": items, **({} if most is None else {"maxItems": most})}


def ref(name: str) -> Schema:
    """A schema of the document, by its name."""
    return {"$ref": f"#/components/schemas/{name}"}


def obj(always: Schemas, sometimes: Schemas | None = None, about: str = "") -> Schema:
    """An object: the keys that are always there, and those that are left out when not known.

    Further keys may come with any release; a reader ignores what it does not know.
    """
    return {
        "type": "object",
        "properties": {**always, **(sometimes or {})},
        "required": list(always),
        **({"description": about} if about else {}),
    }
