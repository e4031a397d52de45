"""From a file to the bare tables of its TOML, and from a fault to the entries that are still worth a look."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, Final

from pydantic import ValidationError

from fixture3d import units
from fixture3d.errors import Problem, SceneError
from fixture3d.scene.located import NAMED, RECORDS, Source, syntax_problem
from fixture3d.scene.text import Key, Path

FORMAT: Final = 1
LARGEST: Final = 5_000_000
"""Bytes of a scene file; a scene written by hand has a few thousand."""
MOST_DOTS: Final = 40
MOST_LAYERS: Final = 50
_SMALLEST: Final = 'format = 1 and a table, as in table = "50/16 2000x1000"'
_BETWEEN_KEYS: Final = re.compile(r"[=,\n{}\[\]#]")
_DOT: Final = re.compile(r"[\w\"'-][ \t]*\.(?=[ \t]*[\w\"'-])")


def read_text(file: str) -> str:
    """The text of a scene file, with plain newlines and without a byte order mark.

    Raises:
        SceneError: one line that says why it cannot be read.
    """
    try:
        path = FilePath(file)
        if path.is_dir():
            raise _refused(file, "is a folder", "a scene file, such as rack.toml")
        if not path.exists():
            raise _refused(file, "there is no such file", "", _like(path))
        if not path.is_file():
            raise _refused(file, "is not a plain file", "a scene file, such as rack.toml")
        with path.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _refused(file, f"cannot be read: {reason[:1].lower()}{reason[1:]}") from None
    return decode(raw, file)


def decode(raw: bytes, file: str = "") -> str:
    """The text in the bytes of a scene file.

    Raises:
        SceneError: they are no text, too many, or not UTF-8.
    """
    if len(raw) > LARGEST:
        raise _refused(file, "is larger than 5 MB", "a scene file; geometry belongs in a file of its own")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refused(file, "is saved as UTF-16", "UTF-8; most editors offer it under Save as")
    if b"\0" in raw:
        raise _refused(file, "is not a text file", "a scene file in TOML")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(file, "is not UTF-8 text", "UTF-8; most editors offer it under Save as", line=line) from None
    if not text.strip():
        raise _refused(file, "is empty", _SMALLEST)
    return text.replace("\r\n", "\n")


def parse(text: str, file: str = "") -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        SceneError: the first place where it is not TOML.
    """
    for number, row in enumerate(text.split("\n"), start=1):
        if row.count(".") > MOST_DOTS and any(len(_DOT.findall(s)) > MOST_DOTS for s in _BETWEEN_KEYS.split(row)):
            raise _refused(file, f"more than {MOST_DOTS} dots in one key or text", "shorter ones", line=number)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SceneError([syntax_problem(str(error), text, file)]) from None
    except RecursionError:
        raise _refused(file, "brackets are nested too deep", "lists of points and { key = value } tables") from None
    except ValueError:  # dates that do not exist, numbers of thousands of digits
        raise _refused(file, "a number or date that cannot be", "plain numbers and text in quotes") from None


def check_format(data: Mapping[str, Any], source: Source) -> None:
    """Look at the format before anything else: a newer one makes every other message worthless.

    Raises:
        SceneError: the format is newer, or older than what can be read.
    """
    if "format" not in data:
        return
    value = data["format"]
    if isinstance(value, bool) or not isinstance(value, int):
        return
    if value > FORMAT:
        newer = f"written for a newer version of the program (format {units.describe(value)})"
        raise SceneError([source.problem(("format",), newer, f"format = {FORMAT}, or a newer fixture3d")])
    if value < FORMAT:
        older = f"written in the older format {units.describe(value)}"
        raise SceneError([source.problem(("format",), older, f"format = {FORMAT}; the upgrade command rewrites it")])


def check_keys(data: Any) -> None:
    """Make sure that tables from Python are such as a TOML file could hold: every key is text, and no circles.

    Raises:
        SceneError: one is not.
    """
    layer: list[Any] = [data]
    for _ in range(MOST_LAYERS):
        tables = [value for value in layer if isinstance(value, Mapping)]
        odd = [key for value in tables for key in value if not isinstance(key, str)]
        if odd or not isinstance(data, Mapping):
            raise _refused(
                "", f"{units.describe(odd[0])} is not a key" if odd else "this is no scene", "tables with keys of text"
            )
        inside = [one for value in tables for one in value.values()]
        inside += [one for value in layer if isinstance(value, list | tuple) for one in value]
        layer = list({id(one): one for one in inside if isinstance(one, Mapping | list | tuple)}.values())
        if not layer:
            return
    raise _refused("", f"tables nested more than {MOST_LAYERS} deep", "the tables of a scene file")


@dataclass(frozen=True)
class Rest:
    """What is left of the data without its faults, so that the rest can be looked at in the same run.

    Attributes:
        data: without the keys that had a fault, and without the entries that cannot do without such a key.
        origin: for each list that lost entries, the indices in the file of those that are left.
        damaged: entries, such as ``("place", 2)``, that lost a key: what they lack means nothing.
    """

    data: dict[str, Any]
    origin: dict[str, list[int]]
    damaged: frozenset[Path]


def without_faults(data: Mapping[str, Any], error: ValidationError) -> Rest:
    """Take out what a validation complained about, and as little else as possible."""
    faults: dict[Path, set[Key]] = {}
    for fault in error.errors(include_url=False, include_context=False, include_input=False):
        path = fault["loc"]
        depth = 2 if len(path) > 1 and (isinstance(path[1], int) or path[0] in NAMED) else 1
        faults.setdefault(path[:depth], set()).add(path[depth] if len(path) > depth else "")
    rest = dict(data)
    for path, keys in faults.items():
        if not path:
            continue
        kind = str(path[0])
        if len(path) == 1:
            rest[kind] = _mended(data.get(kind), kind, keys)
        elif isinstance(rest[kind], Mapping):
            rest[kind] = {name: one for name, one in rest[kind].items() if name != path[1]}
        else:
            entries = list(rest[kind])
            entries[int(path[1])] = _mended(entries[int(path[1])], kind, keys)
            rest[kind] = entries
    origin: dict[str, list[int]] = {}
    for kind in {str(path[0]) for path in faults if path}:
        value = rest[kind]
        if kind == "table" and value is None:
            rest[kind] = {"pitch": "50 mm", "bore": "16 mm", "columns": 1, "rows": 1}
        elif value is None:
            del rest[kind]
        elif isinstance(value, list):
            origin[kind] = [k for k, entry in enumerate(value) if entry is not None]
            rest[kind] = [value[k] for k in origin[kind]]
    return Rest(rest, origin, frozenset(faults))


def _mended(entry: Any, kind: str, keys: set[Key]) -> Any:
    """A record without its faulty keys; None when it cannot do without them."""
    record = RECORDS.get(kind)
    if record is None or not isinstance(entry, Mapping) or "" in keys:
        return None
    needed = {info.alias or name for name, info in record.model_fields.items() if info.is_required()}
    if needed & keys:
        return None
    return {key: value for key, value in entry.items() if key not in keys}


def _refused(file: str, what: str, expected: str = "", nearest: str = "", line: int = 0) -> SceneError:
    return SceneError([Problem(what=what, file=file, line=line, expected=expected, nearest=nearest)])


def _like(path: FilePath) -> str:
    """A file beside the missing one with almost the same name."""
    try:
        names = sorted(entry.name for entry in os.scandir(path.parent) if entry.is_file())
    except OSError:
        return ""
    close = difflib.get_close_matches(path.name, names[:2000], n=1, cutoff=0.6)
    return f'"{path.with_name(close[0])}"' if close else ""
