"""From a fault in the data to a problem with file, line, item, expectation and the nearest valid name."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from fixture3d import units
from fixture3d.errors import Problem, SceneError, nearest_name, one_line
from fixture3d.scene.schema import (
    Accept,
    Clamp,
    End,
    EndNotch,
    Figure,
    Frame,
    Inventory,
    Member,
    MemberHole,
    Place,
    Plate,
    PlateHole,
    Printing,
    Shim,
    Slot,
    Stage,
    StageWeldment,
    Technique,
    Torch,
    Weld,
    WeldmentKeys,
)
from fixture3d.scene.table_keys import GridKeys, NamesKeys, TableKeys, TableSlotKeys
from fixture3d.scene.text import Key, Lines, Path

MOST_PROBLEMS: Final = 200
"""Problems that are written out; the rest is counted."""

RECORDS: Final[dict[str, type[BaseModel]]] = {
    "table": TableKeys,
    "names": NamesKeys,
    "slots": TableSlotKeys,
    "grid": GridKeys,
    "torch": Torch,
    "technique": Technique,
    "weldment": WeldmentKeys,
    "member": Member,
    "ends": End,
    "slot": Slot,
    "notch": EndNotch,
    "frame": Frame,
    "member holes": MemberHole,
    "plate": Plate,
    "holes": PlateHole,
    "weld": Weld,
    "figure": Figure,
    "place": Place,
    "clamp": Clamp,
    "shims": Shim,
    "stage": Stage,
    "stage weldment": StageWeldment,
    "inventory": Inventory,
    "printing": Printing,
    "accept": Accept,
}
OF_RECORD: Final[dict[str, type[BaseModel]]] = {}
"""Likewise of the record beside a scene, whose module knows them; they are no keys of a scene."""
NAMED: Final = ("torch", "technique")
EXAMPLES: Final = {
    "format": "format = 1 as the first key",
    "table": 'table = "50/16 2000x1000", or a [table]',
    "name": 'name = "S1"',
    "model": 'model = "stop_block"',
    "material": 'material = "PLA"',
    "stock": 'stock = "SHS 40x40x3"',
    "from": "from = [0, 0, 0]",
    "to": "to = [0, 600, 0]",
    "slots from": "from = [200, 60]",
    "slots to": "to = [600, 60]",
    "slot width": 'width = 6, as in slot = { width = 6, depth = 40, about = "z" }',
    "slot depth": 'depth = 40, as in slot = { width = 6, depth = 40, about = "z" }',
    "slot about": (
        'about = "x", "y" or "z", the axis square to the slot, as in slot = { width = 6, depth = 40, about = "z" }'
    ),
    "notch side": (
        'side = "top", "bottom", "left", "right" or a corner such as "top left", '
        'as in notch = { side = "top", length = 20, depth = 10 }'
    ),
    "notch length": 'length = 20, as in notch = { side = "top", length = 20, depth = 10 }',
    "notch depth": 'depth = 10, as in notch = { side = "top", length = 20, depth = 10 }',
    "path": "path = [[0, 0, 0], [400, 0, 0], [400, 300, 0]]",
    "outline": "outline = [[0, 0], [80, 0], [0, 80]]",
    "dxf": 'dxf = "gusset.dxf"',
    "origin": "origin = [0, -50, -40]",
    "x": "x = [1, 0, 0]",
    "y": "y = [0, 0, 1]",
    "torch": 'torch = "mig-60"',
    "at": "at = [20, 20]",
    "pad": 'pad = "front"',
    "by": 'by = ["0.5"]',
    "rule": 'rule = "overhang"',
    "why": 'why = "steadied by hand"',
    "measured figure": 'figure = "overall X"',
    "value": "value = 1023.5",
    "as_set place": 'place = "T1"',
}


class Source:
    """Where the data came from: gives a problem its file, line and item.

    Args:
        data: the tables.
        file: their path, as messages shall show it.
        text: of the file.
        kept: for each list of tables that has fewer entries than in the text, the numbers there of those that it has.
    """

    def __init__(
        self, data: Mapping[str, Any], file: str = "", text: str = "", kept: Mapping[str, Sequence[int]] | None = None
    ) -> None:
        self.data = data
        self.file = file
        self.text = text
        self.kept = kept or {}

    @cached_property
    def lines(self) -> Lines:
        """Line numbers of the text, scanned when first asked for."""
        return Lines(self.text)

    def line(self, path: Sequence[Key]) -> int:
        """The line of a path, or of the nearest part of it; 0 when there is no text."""
        return self.lines.of(among_all(path, self.kept)) if self.text else 0

    def item(self, path: Sequence[Key]) -> str:
        """What a path belongs to, in words: ``place "S1"``, ``place 3``, ``[table]``; empty for the file."""
        if not path:
            return ""
        kind = str(path[0])
        inside = self.data.get(kind) if isinstance(self.data, Mapping) else None
        if len(path) > 1 and isinstance(path[1], int) and isinstance(inside, list | tuple):
            entry = inside[path[1]] if 0 <= path[1] < len(inside) else None
            name = entry.get("name") if isinstance(entry, Mapping) else getattr(entry, "name", None)
            return f"{kind} {_quoted(name)}" if isinstance(name, str) else f"{kind} {path[1] + 1}"
        if len(path) > 1 and kind in NAMED and isinstance(inside, Mapping):
            return f"{kind} {_quoted(str(path[1]))}"
        return (
            f"[{one_line(kind[:80])}]"
            if isinstance(inside, Mapping | BaseModel) and kind in {*RECORDS, *OF_RECORD, "sizes"}
            else ""
        )

    def problem(self, path: Sequence[Key], what: str, expected: str = "", nearest: str = "") -> Problem:
        """A problem at ``path``."""
        return Problem(
            what=what,
            where=self.item(path),
            file=self.file,
            line=self.line(path),
            expected=expected,
            nearest=nearest,
        )


def among_all(path: Sequence[Key], kept: Mapping[str, Sequence[int]]) -> Path:
    """A path among the entries that are left as one among all of them.

    >>> among_all(("place", 1, "hole"), {"place": [0, 3]})
    ('place', 3, 'hole')
    """
    numbers = kept.get(str(path[0]), ()) if path else ()
    if len(path) > 1 and isinstance(path[1], int) and path[1] < len(numbers):
        return (path[0], numbers[path[1]], *path[2:])
    return tuple(path)


def _quoted(name: str) -> str:
    return f'"{name[:80]}"'


def scene_error(problems: Sequence[Problem], file: str = "") -> SceneError:
    """One error of many problems, in the order of the file; beyond a limit they are counted."""
    ordered = every = sorted(problems, key=lambda p: p.line)
    if len(ordered) > MOST_PROBLEMS:
        more = len(ordered) - MOST_PROBLEMS
        ordered = [*ordered[:MOST_PROBLEMS], Problem(what=f"{more} more problems of {len(problems)}", file=file)]
    return SceneError(ordered, every)


def translate(error: ValidationError, source: Source) -> list[Problem]:
    """The problems of a validation, in the words of the scene file."""
    out: list[Problem] = []
    for fault in error.errors(include_url=False):
        path = fault["loc"]
        out.append(source.problem(path, *_words(fault, path, source.item(path), len(out) < MOST_PROBLEMS)))
    return out


def _words(fault: Any, path: Path, item: str, near: bool) -> tuple[str, str, str]:
    """What was found, what was expected, the nearest thing."""
    kind = fault["type"]
    key = next((part for part in reversed(path) if isinstance(part, str)), "")
    spot = "" if len(path) == 1 and item else _spot(path)
    if kind == "scene":
        context = fault["ctx"]
        return _at(spot, context["what"]), context["expected"], context["nearest"]
    if kind == "extra_forbidden":
        known = keys_of(path[:-1])
        found = nearest_name(key[:80], known) if near else ""
        return f"unknown key {units.describe(key)}", "" if found else f"one of {', '.join(known)}", found
    if kind == "missing":
        inside = next((part for part in reversed(path[:-1]) if isinstance(part, str)), "")
        example = EXAMPLES.get(f"{inside} {key}", EXAMPLES.get(key, f"{key} = ..."))
        return f"key {units.describe(key)} is missing", example, ""
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return _at(spot, f"{units.describe(fault['input'])} is not a table of keys"), _header(path), ""
    return _at(spot or key, one_line(fault["msg"])), "", ""


def _at(spot: str, what: str) -> str:
    """What was found, after the key where it was found unless it says that itself."""
    return what if not spot or what.startswith(f"{spot} ") else f"{spot}: {what}"


def _spot(path: Path) -> str:
    """The key in its item, as the user would write it: ``shims, entry 2, by``."""
    inside = path[2:] if len(path) > 1 and (isinstance(path[1], int) or path[0] in NAMED) else path[1:]
    if not inside and len(path) == 1:
        inside = path
    return ", ".join(f"entry {part + 1}" if isinstance(part, int) else one_line(str(part)[:80]) for part in inside)


def _header(path: Path) -> str:
    kind = str(path[0])
    if len(path) == 1:
        return f"a [{kind}] table" if kind in ("table", "weldment") else f"a [{kind}.NAME] table"
    return f"a [[{kind}]] table" if len(path) == 2 and isinstance(path[1], int) else "{ key = value }"


def keys_of(path: Path) -> list[str]:
    """The keys that are allowed in the table at ``path``."""
    names = [part for part in path if isinstance(part, str)]
    if not names:
        return list(TOP_KEYS)
    key = names[0] if names[0] in NAMED else names[-1]
    record = RECORDS.get(f"{names[0]} {key}", RECORDS.get(key, OF_RECORD.get(key)))
    return [] if record is None else [info.alias or name for name, info in record.model_fields.items()]


TOP_KEYS: Final = (
    "format",
    "title",
    "units",
    "shop",
    "sizes",
    "table",
    "grid",
    "torch",
    "technique",
    "weldment",
    "member",
    "frame",
    "plate",
    "weld",
    "figure",
    "place",
    "clamp",
    "stage",
    "inventory",
    "printing",
    "accept",
)


def syntax_problem(message: str, text: str, file: str) -> Problem:
    """The problem of a text that is not TOML, from the parser's message."""
    place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", message)
    rows = text.split("\n")
    line = int(place[1]) if place and place[1] else max(1, len(text.rstrip("\n").split("\n")))
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    row = rows[line - 1].strip() if 0 < line <= len(rows) else ""
    column = f" at column {place[2]}" if place and place[2] else ""
    return Problem(
        what=f"not valid TOML{column}, {_plain_reason(reason)}" + (f": {_short(row)}" if row else ""),
        file=file,
        line=line,
        expected=_syntax_hint(reason, row),
    )


def _short(row: str) -> str:
    return one_line(row if len(row) <= 60 else row[:60] + "...")


def _plain_reason(reason: str) -> str:
    return one_line(reason[:1].lower() + reason[1:])[:200]


def _syntax_hint(reason: str, row: str) -> str:
    if re.search(r"=\s*-?[\d .-]*\d/\d", row):
        return 'fractions in quotes, as in "3/4"'
    if re.search(r"=\s*-?\d[\d.]*\s*(mm|cm|m|in|ft|\"|')", row):
        return 'lengths with a unit in quotes, as in "19.05 mm"'
    if re.search(r"=\s*[A-Za-z_]", row) and "value" in reason.lower():
        return 'text in quotes, as in hole = "C4"'
    if "overwrite" in reason or "twice" in reason or "Cannot" in reason:
        return "each key and each [table] once; [[place]] with double brackets for one of many"
    return ""
