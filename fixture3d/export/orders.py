"""Many blocks at once: the lines of an inventory, or of a table of models and parameters."""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fixture3d import output
from fixture3d.errors import FixtureError, ModelError, nearest_name, one_line
from fixture3d.export.block import block_title
from fixture3d.job.inventory import table_pattern
from fixture3d.library import Entry, Library
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import load_inventory
from fixture3d.scene.read import LARGEST, read_text
from fixture3d.units import Units

MOST: Final = 100_000  # lines of a table
MANY: Final = 1_000_000  # of one block
LISTS: Final = (".csv", ".toml")  # endings of files that are lists


@dataclass(frozen=True, kw_only=True)
class Order:
    """One block that is wanted: the line that first asks for it, its model, what its files are called, how many."""

    where: str
    entry: Entry
    part: Part
    title: str
    quantity: int = 1


@dataclass(frozen=True, kw_only=True)
class Orders:
    """What a list asks for: blocks, those that are alike once, and the unit it is written in.

    Attributes:
        problems: lines that cannot be made, in words.
        left_out: lines of loose dowels and bolts, which have no model to make them from, in words.
    """

    orders: tuple[Order, ...]
    units: Units
    problems: tuple[str, ...]
    left_out: tuple[str, ...] = ()


def read_orders(path: str | os.PathLike[str], shop: Library, pattern: Pattern | None, units: Units) -> Orders:
    """The blocks of an inventory (``.toml``) or of a table (``.csv``).

    A table has a line of headings: ``model``, and any parameters; an empty cell leaves a parameter at its default. A
    column ``name`` says what the files are called, and a column ``quantity`` how many are made, 1 where it is empty.
    Lines that ask for the same block under the same name are taken together.

    Args:
        path: of the list.
        shop: the models.
        pattern: that the blocks are made for; None takes that of the file's own table, or the usual one.
        units: of bare numbers in a table.

    Raises:
        FixtureError: the file as a whole cannot be used.
    """
    file = os.fspath(path)
    left_out: list[str] = []
    if file.casefold().endswith(".csv"):
        usual = Pattern(pitch=50.8, bore=19.05, inch=True) if units == "in" else Pattern(pitch=50.0, bore=16.0)
        asked, problems = _of_table(file, shop, pattern or usual, units)
    elif file.casefold().endswith(".toml"):
        scene = load_inventory(path)
        units = scene.units
        asked, problems = [], []
        for number, line in enumerate(scene.inventory):
            where = f"{one_line(file)}:{scene.line_of(('inventory', number, 'small' if line.small else 'model'))}"
            if line.model is None:
                left_out.append(f"{where}: loose {line.small}s are left out: they are no block of a model")
                continue
            try:
                entry = shop.entry(line.model)
                part = shop.make(line.model, pattern or table_pattern(scene), line.with_, units)
            except ModelError as error:
                problems += [f"{where}: {text}" for text in str(error).splitlines()]
                continue
            asked.append((where, entry, part, "", line.count))
    else:
        raise FixtureError(f"{one_line(file)}: expected a table (.csv) or an inventory (.toml)")
    return Orders(orders=_named(asked, units), units=units, problems=tuple(problems), left_out=tuple(left_out))


_Asked = tuple[str, Entry, Part, str, int]


def _named(asked: Sequence[_Asked], units: Units) -> tuple[Order, ...]:
    """Each block once, with how many of it, under a name that no other block has."""
    counts: dict[tuple[Part, str], int] = {}
    for _, _, part, name, count in asked:
        counts[part, name] = counts.get((part, name), 0) + count
    taken: set[str] = set()
    last: dict[str, int] = {}
    out = []
    for where, entry, part, name, _ in asked:
        quantity = counts.pop((part, name), 0)
        if not quantity:
            continue  # told of with the first
        title = stem = name or block_title(part, units)
        while output.file_name(stem).casefold() in taken:
            last[title] = last.get(title, 1) + 1
            stem = f"{title[:100]} #{last[title]}"
        taken.add(output.file_name(stem).casefold())
        out.append(Order(where=where, entry=entry, part=part, title=stem, quantity=quantity))
    return tuple(out)


def _of_table(file: str, shop: Library, pattern: Pattern, units: Units) -> tuple[list[_Asked], list[str]]:
    shown = one_line(file)
    text = _text(Path(file), shown)
    first = text.partition("\n")[0]
    # What spreadsheets write: tabs where cells are copied, semicolons where the comma is decimal.
    mark = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    asked: list[_Asked] = []
    problems: list[str] = []
    heads: list[str] = []
    try:
        for row in reader:
            where = f"{shown}:{reader.line_num}"
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if not heads:
                heads = _heads(cells, where)
                continue
            if len(asked) + len(problems) >= MOST:
                raise FixtureError(f"{where}: more than {MOST} lines; expected at most {MOST}, in several files")
            try:
                asked.append(_row(heads, cells, where, shop, pattern, units))
            except ModelError as error:
                problems += [f"{where}: {line}" for line in str(error).splitlines()]
    except csv.Error as error:
        raise FixtureError(f"{shown}:{reader.line_num}: not a table: {one_line(str(error))}") from error
    if not asked and not problems:
        raise FixtureError(f"{shown}: no block stands in it; expected a line for each")
    return asked, problems


def _text(path: Path, shown: str) -> str:
    """The text of a table.

    Raises:
        FixtureError: it is none, or cannot be read.
    """
    if path.is_dir():
        raise FixtureError(f"{shown}: is a folder; expected a table (.csv)")
    if path.is_file():
        with contextlib.suppress(OSError), path.open("rb") as stream:  # told below
            raw = stream.read(LARGEST + 1)
            if len(raw) > LARGEST:
                raise FixtureError(f"{shown}: is larger than 5 MB; expected a smaller table, or several files")
            if not raw.strip():
                raise FixtureError(f"{shown}: it is empty; expected a line of headings such as model,height,length")
            if b"\0" in raw and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
                raise FixtureError(f"{shown}: is not a text file; expected a table (.csv), as a spreadsheet saves it")
    return read_text(os.fspath(path))


def _heads(cells: Sequence[str], where: str) -> list[str]:
    heads = [cell.lstrip("\ufeff").replace(" ", "_") for cell in cells]
    if "model" not in heads:
        near = nearest_name("model", heads)
        raise FixtureError(
            f"{where}: no column is called model; expected headings such as model,height,length"
            + (f"; nearest: {one_line(near)}" if near else "")
        )
    twice = sorted({head for head in heads if head and heads.count(head) > 1})
    if twice:
        raise FixtureError(f"{where}: two columns are called {one_line(twice[0])}; expected one")
    return heads


def _row(
    heads: Sequence[str], cells: Sequence[str], where: str, shop: Library, pattern: Pattern, units: Units
) -> _Asked:
    if len(cells) > len(heads):
        raise ModelError(f"{len(cells)} cells under {len(heads)} headings; expected no more cells than headings")
    given = {head: cell for head, cell in zip(heads, cells, strict=False) if cell}
    model, name, count = given.pop("model", ""), "", ""
    if not model:
        raise ModelError("no model is named; see: fixture3d models")
    entry = shop.entry(model)
    if "name" not in parameters(entry.model):
        name = given.pop("name", "")
    if "quantity" not in parameters(entry.model):
        count = given.pop("quantity", "")
    if "" in given:
        raise ModelError(f'"{one_line(given[""])}" stands in a column without a heading')
    return where, entry, shop.make(model, pattern, given, units), name, _quantity(count)


def _quantity(cell: str) -> int:
    """How many, as a spreadsheet writes it.

    >>> _quantity(""), _quantity("4.0")
    (1, 4)
    """
    whole, _, rest = (cell or "1").partition(".")
    if not (whole.isascii() and whole.isdigit() and not rest.strip("0") and 1 <= int(whole[:9]) <= MANY):
        raise ModelError(
            f'quantity: "{one_line(cell)}" is no number of blocks; expected a whole number from 1 to {MANY}'
        )
    return int(whole)
