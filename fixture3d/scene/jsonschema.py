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
from fixture3d.scene.located import RECORDS, TOP_KEYS

FILE: Final = "scene.schema.json"


def json_schema() -> dict[str, Any]:
    """The schema, draft 2020-12. It checks keys, types and words; lengths as text and references are for ``load``."""
    made = Scene.model_json_schema(by_alias=True, mode="validation")
    definitions = made.pop("$defs")
    for record in set(RECORDS.values()):
        definitions[record.__name__] = _described(definitions[record.__name__], record)
    properties = made["properties"]
    properties, definitions = _tidy(properties), _tidy(definitions)
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
