"""Many blocks at once: the lines of an inventory, or of a table of models and parameters, each as files in one folder.

A folder that is half full is gone on with: what is there and would come out the same is not made again. The sums of
files that were written are kept in the cache by all that they depend on; without a cache they are made and compared.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fixture3d import output, program
from fixture3d.cache import Store, content_key, default_store
from fixture3d.errors import FixtureError, ModelError, OutputRefused, nearest_name, one_line
from fixture3d.export.block import block_files, block_title, no_outline, sure_names
from fixture3d.export.cut_list import refuse_early
from fixture3d.job.bodies import part_key
from fixture3d.job.inventory import table_pattern
from fixture3d.library import Entry, Library
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import load_inventory
from fixture3d.scene.read import read_text
from fixture3d.units import Units

MOST: Final = 100_000  # lines of a table
_KIND: Final = "made-files"
LISTS: Final = (".csv", ".toml")  # endings of files that are lists


@dataclass(frozen=True, kw_only=True)
class Order:
    """One block that is wanted: the line that asks for it, its model, and what its files are called."""

    where: str
    entry: Entry
    part: Part
    title: str


@dataclass(frozen=True, kw_only=True)
class Orders:
    """What a list asks for: blocks, each once, and the unit it is written in.

    Attributes:
        problems: lines that cannot be made, in words.
        left_out: lines of loose dowels and bolts, which have no model to make them from, in words.
    """

    orders: tuple[Order, ...]
    units: Units
    problems: tuple[str, ...]
    left_out: tuple[str, ...] = ()


@dataclass(kw_only=True)
class Made:
    """What came of a list: files written, how many blocks were made or were there, what was not made, in words."""

    paths: list[Path] = field(default_factory=list)
    made: int = 0
    there: int = 0
    problems: list[str] = field(default_factory=list)
    faults: int = 0
    solid: list[tuple[str, str]] = field(default_factory=list)


def read_orders(path: str | os.PathLike[str], shop: Library, pattern: Pattern | None, units: Units) -> Orders:
    """The blocks of an inventory (``.toml``) or of a table (``.csv``).

    A table has a line of headings: ``model``, and any parameters; an empty cell leaves a parameter at its default, and
    a column ``name`` says what the files are called.

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
            asked.append((where, entry, part, ""))
    else:
        raise FixtureError(f"{one_line(file)}: expected a table (.csv) or an inventory (.toml)")
    return Orders(orders=tuple(_named(asked, units)), units=units, problems=tuple(problems), left_out=tuple(left_out))


_Asked = tuple[str, Entry, Part, str]


def _named(asked: Sequence[_Asked], units: Units) -> Iterator[Order]:
    """Each block once, under a name that no other block has."""
    seen: set[tuple[Part, str]] = set()
    taken: set[str] = set()
    for where, entry, part, name in asked:
        if (part, name) in seen:
            continue
        seen.add((part, name))
        title = stem = name or block_title(part, units)
        k = 1
        while output.file_name(stem).casefold() in taken:
            k += 1
            stem = f"{title[:100]} #{k}"
        taken.add(output.file_name(stem).casefold())
        yield Order(where=where, entry=entry, part=part, title=stem)


def _of_table(file: str, shop: Library, pattern: Pattern, units: Units) -> tuple[list[_Asked], list[str]]:
    shown = one_line(file)
    if os.path.isfile(file) and not Path(file).read_bytes().strip():
        raise FixtureError(f"{shown}: it is empty; expected a line of headings such as model,height,length")
    text = read_text(file)
    first = text.partition("\n")[0]
    mark = ";" if first.count(";") > first.count(",") else ","  # what spreadsheets write where the comma is decimal
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
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
    if not heads:
        raise FixtureError(f"{shown}: it is empty; expected a line of headings such as model,height,length")
    return asked, problems


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
    model, name = given.pop("model", ""), ""
    if not model:
        raise ModelError("no model is named; see: fixture3d models")
    entry = shop.entry(model)
    if "name" not in parameters(entry.model):
        name = given.pop("name", "")
    if "" in given:
        raise ModelError(f'"{one_line(given[""])}" stands in a column without a heading')
    return where, entry, shop.make(model, pattern, given, units), name


def write_orders(
    asked: Orders,
    folder: str | os.PathLike[str],
    *,
    formats: Sequence[str],
    kerf: float = 0.0,
    force: bool = False,
    store: Store | None = None,
    progress: Callable[[str, int, int], None] = lambda *_: None,
) -> Made:
    """Write every block of a list. One that cannot be made does not stop the others.

    Args:
        asked: by `read_orders`; its problems are told with the others.
        folder: that is there.
        formats: some of ``block.FORMATS``.
        kerf: width of the cut that outlines make up for, mm.
        force: files of other content may be replaced.
        store: the cache; None takes the user's own.
        progress: is told how far it has come.

    Raises:
        OutputRefused: there is no such folder.
    """
    refuse_early(folder)
    kept = default_store() if store is None else store
    out = Made(problems=list(asked.problems))
    for number, order in enumerate(asked.orders, start=1):
        try:
            _write_one(order, Path(folder), tuple(formats), kerf, asked.units, force, kept, out)
        except FixtureError as error:
            out.problems += [f"{order.where}: {line}" for line in str(error).splitlines()]
        except MemoryError:
            raise
        except Exception as error:  # a fault of the program in one block is told as one, and the others are made
            out.faults += 1
            text = one_line(f"{type(error).__name__}: {error}")
            out.problems.append(f"{order.where}: {order.title}: a fault of the program, not of your file: {text}")
        progress("block", number, len(asked.orders))
    return out


def _write_one(
    order: Order,
    folder: Path,
    formats: tuple[str, ...],
    kerf: float,
    units: Units,
    force: bool,
    store: Store,
    out: Made,
) -> None:
    bodies = [part_key(order.part, order.entry.digest, body.name) for body in order.part.bodies()]
    key = content_key([program.digest(), "made", repr((formats, kerf, order.title, units)), *bodies])
    known = store.get_json(key, _KIND)
    if isinstance(known, dict) and known and all(_sum(folder / name) == found for name, found in known.items()):
        out.there += 1
        return
    if not force:  # refused before it is made; what is told is the first file, by a name of its own
        for name in sure_names(order.part, output.file_name(order.title), formats):
            if not (folder / name).exists():
                output.check_target(folder / name)
    made = block_files(order.part, order.title, entry=order.entry, units=units, formats=formats, kerf=kerf, store=store)
    if not made.files:
        raise FixtureError("; ".join(no_outline(made.solid)))
    out.solid += made.solid
    sums = {name: hashlib.sha256(data).hexdigest() for name, data in made.files.items()}
    missing = {name for name, found in sums.items() if _sum(folder / name) != found}
    for name in sorted(missing):
        if (folder / name).exists() and not force:
            raise OutputRefused(
                f"{one_line(str(folder / name))}: exists already and is another file; add --force to replace it"
            )
    if missing:
        out.paths += output.write_many({folder / name: made.files[name] for name in sums if name in missing}, force)
        out.made += 1
    else:
        out.there += 1
    store.put_json(key, _KIND, sums)


def _sum(path: Path) -> str:
    """The sum of a file, or nothing where there is none that can be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
