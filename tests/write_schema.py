"""Write the part of the JSON Schema that comes from findings anew, and print what changed.

    python tests/write_schema.py

Every field of a `Reading` and of what it holds is in the dataclasses of
`corpusreg.comparison.findings`; the rest of the schema is written by hand.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from corpusreg.comparison import findings
from corpusreg.measures.events import Event
from corpusreg.text.document import SCHEMA

PATH = Path(__file__).parents[1] / "corpusreg" / "data" / "comparison.schema.json"
SPARSE = (findings.Finding, findings.Suggestion)  # empty fields are left out
_SIMPLE = {str: "string", int: "integer", float: "number", bool: "boolean"}


def definitions() -> dict[str, Any]:
    """A definition for each dataclass that a reading is made of."""
    found: dict[str, Any] = {}
    _define(findings.Reading, found)
    found["Reading"]["properties"]["words"] = _array({"type": "string"})
    found["Finding"]["properties"]["words"] = {"type": "string"}
    found["Suggestion"]["properties"]["words"] = {"type": "string"}
    return found


def _define(kind: type, found: dict[str, Any]) -> dict[str, Any]:
    name = kind.__name__
    if name not in found:
        found[name] = {}
        if kind is Event:
            found[name] |= {"description": "fields of an event beyond its finding",
                            "type": "object"}  # fmt: skip
            return {"$ref": f"#/$defs/{name}"}
        hints = typing.get_type_hints(kind)
        asked = [
            each.name
            for each in fields(kind)
            if kind not in SPARSE or (each.default is MISSING and each.name != "place")
        ]
        found[name] |= {
            "type": "object",
            "required": asked,
            "additionalProperties": False,
            "properties": {
                each.name: _of(hints[each.name], found, pitch=bool(each.metadata))
                for each in fields(kind)
            },
        }
    return {"$ref": f"#/$defs/{name}"}


def _of(hint: Any, found: dict[str, Any], *, pitch: bool = False) -> dict[str, Any]:
    origin, inside = get_origin(hint), get_args(hint)
    if origin is types.UnionType or origin is typing.Union:
        return {"anyOf": [_of(each, found, pitch=pitch) for each in inside]}
    if hint is types.NoneType:
        return {"type": "null"}
    if origin is Literal:
        return {"enum": list(inside)}
    if origin is tuple:
        if inside[-1] is Ellipsis:
            return _array(_of(inside[0], found, pitch=pitch))
        return {"type": "array", "prefixItems": [_of(each, found) for each in inside]}
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": _of(inside[1], found)}
    if is_dataclass(hint) and isinstance(hint, type):
        return _define(hint, found)
    return {"$ref": "#/$defs/note"} if pitch else {"type": _SIMPLE[hint]}


def _array(items: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": dict(items)}


def renewed(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema with its definitions of findings made anew."""
    made = definitions()
    whole = made.pop("Reading")
    old = schema["$defs"]["work"]["properties"]
    kept = {name: old[name] for name in BESIDE if name in old}
    work = whole | {
        "properties": {**whole["properties"], **kept},
        "required": [*whole["required"], "words", *REQUIRED],
    }
    return {
        **schema,
        "properties": {"schema": {"const": SCHEMA}, **schema["properties"]},
        "required": sorted({"schema", *schema["required"]}),
        "$defs": {**schema["$defs"], **made, "work": work},
    }


REQUIRED = (
    "background", "saturation", "parts", "two_level", "profile", "profile_reason", "same_shape",
)  # fmt: skip
BESIDE = (*REQUIRED, "study", "drafts")


def main() -> None:
    """Rewrite the file."""
    old = json.loads(PATH.read_text(encoding="utf-8"))
    PATH.write_text(json.dumps(renewed(old), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
