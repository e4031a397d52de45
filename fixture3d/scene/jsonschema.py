"""The JSON Schema of the scene file, for editors that complete and check it. Made from the records themselves.

``python -m fixture3d.scene.jsonschema`` writes ``scene.schema.json`` beside this file; a test compares the two.
"""

from __future__ import annotations

import inspect
import json
import re
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel

from fixture3d.scene import Scene
from fixture3d.scene.family import ENTRIES, MOST_SIZES
from fixture3d.scene.fields import LONGEST_NAME
from fixture3d.scene.located import RECORDS, TOP_KEYS

FILE: Final = "scene.schema.json"
_WHOLE: Final = ("format", "units")  # never by size
_BY_SIZE: Final = {
    "type": "string",
    "pattern": "^=",
    "description": "Of a file with [sizes]: a name of it, or a sum such as `=width / 2 - 25`.",
}
_SOME_SIZES: Final = {
    "type": "array",
    "description": "Of a file with [sizes]: the names of those that have it; without it, all.",
    "items": {"type": "string"},
    "minItems": 1,
}
_SIZES: Final = {
    "type": "object",
    "description": "A family of sizes: their names, and a table of values, one line a name, one value a size.",
    "required": ["names"],
    "properties": {
        "names": {
            "type": "array",
            "description": "Of the sizes.",
            "items": {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME},
            "minItems": 1,
            "maxItems": MOST_SIZES,
        }
    },
    "additionalProperties": {"type": "array", "minItems": 1, "maxItems": MOST_SIZES},
}


def json_schema() -> dict[str, Any]:
    """The schema, draft 2020-12. It checks keys, types and words; lengths as text and references are for ``load``."""
    made = Scene.model_json_schema(by_alias=True, mode="validation")
    definitions = made.pop("$defs")
    for record in {
        one for one in RECORDS.values() if one.__name__ in definitions
    }:  # those of a record file are not here
        definitions[record.__name__] = _described(definitions[record.__name__], record)
    properties = made["properties"]
    properties, definitions = _tidy(properties), _tidy(definitions)
    plain = {key for key, one in properties.items() if key in _WHOLE or "$ref" in one.get("items", {})}
    properties = {key: one if key in plain else _or_by_size(one) for key, one in properties.items()}
    definitions = {name: {**one, **_inside(one)} for name, one in definitions.items()}
    properties["sizes"], definitions["BySize"] = _SIZES, _BY_SIZE
    for kind in ENTRIES:
        definitions[RECORDS[kind].__name__]["properties"]["sizes"] = _SOME_SIZES
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "fixture3d scene file, format 1",
        "description": 'A number that is a length is in the file\'s units; text such as "3/4 in" carries its own.',
        "type": "object",
        "additionalProperties": False,
        "required": ["format", "table"],
        "properties": {key: properties[key] for key in TOP_KEYS},
        "$defs": {name: definitions[name] for name in sorted(definitions)},
    }


def schema_text() -> str:
    """The schema as it is shipped."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False, sort_keys=False) + "\n"


def shipped() -> str:
    """The text of the shipped file."""
    return (files(__package__) / FILE).read_text(encoding="utf-8")


def _described(schema: dict[str, Any], record: type[BaseModel]) -> dict[str, Any]:
    """The schema of one record with the words of its docstring at the right keys."""
    text = inspect.cleandoc(record.__doc__ or "")
    attributes: dict[str, str] = {}
    for base in reversed(record.__mro__):
        attributes |= _attributes(inspect.cleandoc(base.__doc__ or "")) if issubclass(base, BaseModel) else {}
    schema["description"] = _plain(text.split("\n\n")[0])
    for name, info in record.model_fields.items():
        entry = schema["properties"][info.alias or name]
        entry.pop("title", None)
        if name in attributes:
            entry["description"] = _plain(attributes[name])
    return schema


def _tidy(value: Any) -> Any:
    """Without what a TOML file cannot hold or an editor has no use for: nulls, empty defaults, invented titles."""
    if isinstance(value, list):
        return [_tidy(one) for one in value]
    if not isinstance(value, dict):
        return value
    if isinstance(value.get("title"), str):
        value = {key: one for key, one in value.items() if key != "title"}
    a_length = value.get("type") == ["number", "string"]  # whose default is in mm, whatever the file's units are
    of_records = isinstance(value.get("default"), list) and any(isinstance(one, dict) for one in value["default"])
    if value.get("default", 0) in (None, [], {}) or (a_length and value.get("default")) or of_records:
        value = {key: one for key, one in value.items() if key != "default"}
    choices = [one for one in value.get("anyOf", ()) if one != {"type": "null"}]
    if len(choices) == 1:
        rest = {key: one for key, one in value.items() if key != "anyOf"}
        return _tidy({**choices[0], **rest})
    if choices:
        value = {**value, "anyOf": choices}
    return {key: _tidy(one) for key, one in value.items()}


def _or_by_size(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema of a value with text behind ``=`` as one thing more it may be, and likewise the values in it."""
    inside = {**schema, **_inside(schema)}
    if "$ref" in schema or any(_any_text(one) or one.get("type") == "object" for one in schema.get("anyOf", [schema])):
        return inside  # any text is allowed already, or it is a table of keys, which has a header
    about: dict[str, Any] = {key: inside.pop(key) for key in ("description", "default") if key in inside}
    choices = inside.pop("anyOf") if inside.keys() == {"anyOf"} else [inside]
    return {**about, "anyOf": [*choices, {"$ref": "#/$defs/BySize"}]}


def _any_text(schema: dict[str, Any]) -> bool:
    return "string" in schema.get("type", ()) and not {"enum", "pattern"} & schema.keys()


def _inside(schema: dict[str, Any]) -> dict[str, Any]:
    """The parts of a schema whose values may be by size."""
    out: dict[str, Any] = {}
    if "properties" in schema:
        out["properties"] = {key: _or_by_size(one) for key, one in schema["properties"].items()}
    if isinstance(schema.get("items"), dict):
        out["items"] = _or_by_size(schema["items"])
    if isinstance(schema.get("additionalProperties"), dict):
        out["additionalProperties"] = _or_by_size(schema["additionalProperties"])
    if "prefixItems" in schema:
        out["prefixItems"] = [_or_by_size(one) for one in schema["prefixItems"]]
    if "anyOf" in schema:
        out["anyOf"] = [{**one, **_inside(one)} for one in schema["anyOf"]]
    return out


def _attributes(text: str) -> dict[str, str]:
    """Attribute name to description, from a Google style docstring."""
    _, found, block = text.partition("Attributes:\n")
    pairs = re.findall(r"^ {4}(\w+): (.*(?:\n {8}.*)*)", block, re.MULTILINE) if found else []
    return {name: re.sub(r"\s+", " ", words) for name, words in pairs}


def _plain(text: str) -> str:
    """Without the marks of Python documentation; and without mm, because in a file lengths are in its units."""
    text = re.sub(r"\s+", " ", text).replace("``", "`")
    text = re.sub(r"\(\d,\) ?(?:mm(?: |, ))?|(?:,| in world)? mm\b", "", text)
    text = re.sub(r"^mm\b", "distance", text).replace("`from_`", "`from`")
    return text[:1].upper() + text[1:]


if __name__ == "__main__":
    (Path(__file__).parent / FILE).write_bytes(schema_text().encode("utf-8"))
