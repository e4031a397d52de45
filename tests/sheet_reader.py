"""Reads a setup sheet back as a person at the table would: from the words of the PDF alone, by pypdf.

Nothing of the job is known here but its models, as they lie on the rack. What is read are the table, and of every block
and clamp its model and size, where and how it stands and how it is set.
"""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import pypdf

from fixture3d.errors import ModelError
from fixture3d.job.inventory import outer_size
from fixture3d.library import library
from fixture3d.part import Pattern, parameters
from fixture3d.units import Units, length

_HEADS = ("Set in order", "Close last")
_COLUMNS = ("Stands in", "Turn", "Set to", "Shims", "Top", "Face that touches", "Presses, towards", "Clamp set to")
_NAME_SIZE = 8.6  # type of names and of named holes
_SIZE_AT = 25.0  # mm right of the tick box: where the size stands that has no head of its own


@dataclass(frozen=True)
class Chunk:
    """Some words in one type: where they begin, pt from the lower left corner of the page."""

    x: float
    y: float
    size: float
    bold: bool
    text: str


@dataclass
class Row:
    """One line of the list: what stands in each column, by its head."""

    clamp: bool
    name: str = ""
    model: str = ""
    size: str = ""
    hole: str = ""
    others: str = ""
    cells: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sheet:
    """What stands on it; one list of rows a stage, one alone without stages."""

    units: Units
    table: dict[str, Any]
    stages: list[list[Row]]


def read_sheet(data: bytes) -> Sheet:
    """Read a setup sheet.

    Args:
        data: of the PDF.
    """
    pages = [_chunks(page) for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    words = _joined(list(itertools.chain(*pages)))
    said = re.search(r"Table: holes (.+?) every (.+?), [A-Z]+1 to ([A-Z]+)(\d+)", words)
    assert said is not None, words[:500]
    units: Units = "in" if said[1].endswith(" in") else "mm"
    table = {"bore": said[1], "pitch": said[2].split(" by ")[0], "columns": _number(said[3]), "rows": int(said[4])}
    stages: list[list[Row]] = []
    for page in pages:
        if "Plan, seen from above" in _joined(page):
            stages.append([])
        for row in _rows(page):
            stages[-1].append(row)
    return Sheet(units=units, table=table, stages=stages)


def _number(letters: str) -> int:
    out = 0
    for letter in letters:
        out = out * 26 + ord(letter) - ord("A") + 1
    return out


def _chunks(page: pypdf.PageObject) -> list[Chunk]:
    out: list[Chunk] = []

    def visit(text: str, cm: list[float], tm: list[float], font: Any, size: float) -> None:
        if text.strip():
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            bold = "Bold" in str((font or {}).get("/BaseFont"))
            out.append(Chunk(x=x, y=y, size=size, bold=bold, text=text.replace("\u00a0", " ")))

    page.extract_text(visitor_text=visit)
    return out


def _joined(chunks: list[Chunk]) -> str:
    """Words put together again that are broken over lines, or that the reader gives in parts of one line."""
    out = ""
    for before, chunk in zip([None, *chunks], chunks, strict=False):
        on = before is not None and (before.y, before.size, before.bold) == (chunk.y, chunk.size, chunk.bold)
        out += chunk.text if on else f" {chunk.text}"
    return re.sub("\u200b *", "", re.sub(r"\s+", " ", out)).strip()


def _rows(page: list[Chunk]) -> Iterator[Row]:
    """The rows of all lists of blocks and clamps on a page. The words stand in the file cell by cell."""
    heads: list[tuple[float, str]] = []
    left = line = 0.0
    clamp = False
    row: list[tuple[str, Chunk]] = []
    for chunk in page:
        text = chunk.text.strip()
        if text.startswith(_HEADS) and chunk.bold:
            yield from _row(row, clamp)
            left, line, clamp, heads, row = chunk.x, chunk.y, text.startswith("Close"), [], []
            if not clamp:
                heads.append((left + (_SIZE_AT + 3.5) * 72 / 25.4, "size"))
            continue
        if not left:
            continue
        if chunk.y == line and text.split(", mm")[0].split(", in")[0] in _COLUMNS:
            heads.append((chunk.x, text.split(", mm")[0].split(", in")[0]))
            continue
        if chunk.x < left + 1.0:  # a word at the very left ends the list, or names the next group of blocks
            if not (chunk.bold and abs(chunk.x - left) < 1.0 and abs(chunk.size - 7.5) < 0.1):
                yield from _row(row, clamp)
                left, row = 0.0, []
            continue
        column = max(((x, name) for x, name in heads if x <= chunk.x + 0.6), default=(0.0, "name"))[1]
        starts = column == "name" and chunk.bold and not (row and row[-1][0] == "name" and row[-1][1].bold)
        if starts:
            yield from _row(row, clamp)
            row = []
        row.append((column, chunk))
    yield from _row(row, clamp)


def _row(chunks: list[tuple[str, Chunk]], clamp: bool) -> Iterator[Row]:
    if not chunks:
        return

    def of(column: str, bold: bool | None = None) -> str:
        return _joined([c for name, c in chunks if name == column and bold in (None, c.bold)])

    yield Row(
        clamp=clamp,
        name=of("name", True),
        model=of("name", False).removesuffix("(stays)").strip(),
        size=of("Clamp set to" if clamp else "size"),
        hole=of("Stands in", True),
        others=of("Stands in", False),
        cells={head: of(head) for head in _COLUMNS},
    )


def place_of(row: Row, sheet: Sheet) -> dict[str, Any]:
    """The ``[[place]]`` or ``[[clamp]]`` of a row, without what it presses: that is told by ``presses_of``."""
    out: dict[str, Any] = {"name": row.name, "model": row.model, **_stands(row.hole, sheet.units)}
    turn = row.cells["Turn"]
    if turn not in ("any", ""):
        out["turn"] = float(turn.removesuffix("°"))
    kind, _, value = row.cells["Set to"].partition(" ")
    if kind:
        out[kind] = int(value) if kind == "notch" else length(value, sheet.units)
    if row.cells["Shims"]:
        out["shims"] = [
            {"pad": pad.strip(), "by": [f"{by.strip()} {sheet.units}" for by in stack.split("+")]}
            for pad, stack in (one.split(":") for one in row.cells["Shims"].split(";"))
        ]
    for part in row.others.split("; "):
        if part.startswith("by its pin "):
            out["pin"] = part.removeprefix("by its pin ")
        elif part.endswith(" face down"):
            out["face"] = part.removesuffix(" face down")
        elif part.startswith("bolt "):
            out["bolt"] = True
    size = _with(row, sheet, out)
    if size:
        out["with"] = size
    return out


def _stands(hole: str, units: Units) -> dict[str, Any]:
    if match := re.fullmatch(r"socket (.+?) of (.+)", hole):
        return {"socket": match[1], "on": match[2]}
    if match := re.fullmatch(r"measure from A1: (.+?) right, (.+?) back(?:, (.+?) up)?", hole):
        return {"free": [length(match[1], units), length(match[2], units), length(match[3] or "0", units), 0.0]}
    return {"hole": hole}


def dowels_of(row: Row) -> set[str]:
    """The holes that hold one of its dowels or its bolt, as they are named on the sheet."""
    named = row.hole.removeprefix("socket ").split(" of ")[0]
    parts = row.others.split("; ")
    found = {named} if not any(p.startswith(("no dowel", "dowel only")) for p in parts) else set()
    for part in parts:
        match = re.match(
            r"(?:also|dowel in|dowel only in|bolt in|its own bolt in) (?:sockets? )?(.+?)(?: of .+)?$", part
        )
        if match:
            found |= set(match[1].split(", "))
        if part.endswith("bolt here"):
            found.add(named)
    return found


def presses_of(row: Row) -> dict[str, str]:
    """What a clamp presses, towards which block, and where along the piece."""
    text, out = row.cells["Presses, towards"], {}
    if match := re.fullmatch(r"(.*), at ([^,]+)", text):
        text, out["at"] = match[1], match[2]
    if match := re.fullmatch(r"(.*), towards (.+)", text):
        text, out["toward"] = match[1], match[2]
    return {**out, "presses": text} if text else out


def _with(row: Row, sheet: Sheet, place: Mapping[str, Any]) -> dict[str, Any]:
    """The parameters of a block from its size: those that are named, and those that give it its size over all."""
    units = sheet.units
    pattern = Pattern(
        pitch=length(sheet.table["pitch"], units), bore=length(sheet.table["bore"], units), inch=units == "in"
    )
    known = parameters(library().entries[row.model].model)
    lengths = [name for name, parameter in known.items() if parameter.kind == "length"]
    outer, *named = row.size.split("; ") if "×" in row.size else ("", *row.size.split(", "))
    given: dict[str, Any] = {}
    for words in filter(None, named):
        key, _, value = words.removesuffix(" degrees").rpartition(" ")
        name = key.replace(" ", "_")
        given[name] = f"{value} {units}" if name in lengths else float(value)
    if match := re.search(r"; middle at (.+)$", row.cells["Face that touches"]):
        given["centre_height"] = f"{match[1]} {units}"
    if not outer:
        return given
    sides = [f"{side} {units}" for side in outer.split(" × ")]
    free = [name for name in lengths if name not in given]
    for count in range(len(sides) + 1):
        for names in itertools.permutations(free, count):
            for values in itertools.combinations(sides, count):
                tried = {**given, **dict(zip(names, values, strict=True))}
                try:
                    part = library().make(row.model, pattern, tried, units)
                except ModelError:
                    continue
                if outer_size(part, units) == f"{outer} {units}":
                    return tried
    raise AssertionError(f"no {row.model} measures {outer}")
