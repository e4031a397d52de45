"""From a file to the bare tables of its TOML, and from a fault to the entries that are still worth a look."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from fixture3d import units
from fixture3d.errors import Problem, SceneError
from fixture3d.scene_errors import NAMED, Source, syntax_problem

FORMAT: Final = 1
LARGEST: Final = 5_000_000
"""Bytes of a scene file; a scene written by hand has a few thousand."""
MOST_DOTS: Final = 40
_SMALLEST: Final = 'format = 1 and a table, as in table = "50/16 2000x1000"'
_BETWEEN_KEYS: Final = re.compile(r"[=,\n{}\[\]#]")
_DOT: Final = re.compile(r"[\w\"'-][ \t]*\.(?=[ \t]*[\w\"'-])")


def read_text(file: str) -> str:
    """The text of a scene file, with plain newlines and without a byte order mark.

    Raises:
        SceneError: one line that says why it cannot be read.
    """
    try:
        path = Path(file)
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


def without_faults(data: Mapping[str, Any], error: ValidationError) -> tuple[dict[str, Any], dict[str, list[int]]]:
    """The data less every entry that has a fault, so that the rest can be looked at in the same run.

    Returns:
        The data, and for each list that lost entries the indices of those that are left. A table that had to be
        replaced is listed under ``"table"`` with no indices.
    """
    dropped: dict[str, set[Any]] = {}
    for fault in error.errors(include_url=False, include_context=False, include_input=False):
        top, *below = fault["loc"] or ("",)
        entry = below[0] if below and (isinstance(below[0], int) or top in NAMED) else None
        dropped.setdefault(str(top), set()).add(entry)
    rest = dict(data)
    origin: dict[str, list[int]] = {}
    for key, entries in dropped.items():
        value = data.get(key)
        if key == "table":
            rest[key] = {"pitch": "50 mm", "bore": "16 mm", "columns": 1, "rows": 1}
            origin[key] = []
        elif None not in entries and isinstance(value, list | tuple):
            origin[key] = [k for k in range(len(value)) if k not in entries]
            rest[key] = [value[k] for k in origin[key]]
        elif None not in entries and isinstance(value, Mapping):
            rest[key] = {name: one for name, one in value.items() if name not in entries}
        else:
            rest.pop(key, None)
            origin[key] = []
    return rest, origin


def entry_count(value: Any) -> int:
    """How many entries a list of tables has; 0 for anything else."""
    return len(value) if isinstance(value, list | tuple) else 0


def _refused(file: str, what: str, expected: str = "", nearest: str = "", line: int = 0) -> SceneError:
    return SceneError([Problem(what=what, file=file, line=line, expected=expected, nearest=nearest)])


def _like(path: Path) -> str:
    """A file beside the missing one with almost the same name."""
    try:
        names = sorted(entry.name for entry in os.scandir(path.parent) if entry.is_file())
    except OSError:
        return ""
    close = difflib.get_close_matches(path.name, names[:2000], n=1, cutoff=0.6)
    return f'"{path.with_name(close[0])}"' if close else ""
