"""A scene as TOML text: keys in the order of the format, lengths in the scene's units, exact to the last bit."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from fixture3d.scene import Scene

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_WIDTH: Final = 100


def toml_text(scene: Scene) -> str:
    """The whole file. Reading it gives an equal scene; keys that were not given are not written either."""
    context = {"units": scene.units}
    data = scene.model_dump(mode="python", by_alias=True, exclude_unset=True, exclude_none=True, context=context)
    data = {"format": scene.format, **data}
    if scene.weldment is not None:
        data.setdefault("weldment", {})
    return tables_text(data)


def tables_text(data: Mapping[str, Any]) -> str:
    """The tables of a scene, as ``tomllib`` gives them, as text; keys with single values first."""
    single = {key: value for key, value in data.items() if not isinstance(value, Mapping | list | tuple)}
    top = [f"{key} = {value_text(value)}" for key, value in single.items()]
    blocks = ["\n".join(top)]
    for key, value in data.items():
        if isinstance(value, Mapping) and key in ("torch", "technique"):
            blocks += [_table(f"[{key}.{_key(name)}]", one) for name, one in value.items()]
        elif isinstance(value, Mapping):
            blocks.append(_table(f"[{key}]", value))
        elif isinstance(value, list | tuple):
            blocks += [_table(f"[[{key}]]", one) for one in value]
    return "\n\n".join(blocks) + "\n"


def _table(header: str, values: Mapping[str, Any]) -> str:
    return "\n".join([header, *(_line(key, value) for key, value in values.items())])


def _line(key: str, value: Any) -> str:
    text = f"{_key(key)} = {value_text(value)}"
    if len(text) <= _WIDTH or not isinstance(value, list | tuple):
        return text
    return f"{_key(key)} = [\n" + "".join(f"    {value_text(one)},\n" for one in value) + "]"


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _quoted(key)


def value_text(value: Any) -> str:
    """One value as TOML: numbers without an empty fraction, short tables in braces."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(key)} = {value_text(one)}" for key, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, Sequence):
        return f"[{', '.join(value_text(one) for one in value)}]"
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in a scene file")


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
