"""Blocks as files to make them from, with their drawings: one, or many by several processes.

A folder that is half full is gone on with. The sums of the files that a block makes are kept in the cache by all that
they depend on, so that what is there is known without making it again.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fixture3d import output, program
from fixture3d.cache import Store, content_key
from fixture3d.errors import FixtureError, ModelError, OutputRefused, nearest_name, one_line
from fixture3d.export.block import BlockFiles, block_files, block_shapes, sure_names
from fixture3d.job.bodies import part_key
from fixture3d.library import Entry, Library
from fixture3d.part import Part, Pattern, parameters
from fixture3d.units import Units
from fixture3d.workshop.drawing import ENDINGS, Style, files_of, sheets
from fixture3d.workshop.uses import used

_KIND: Final = "made-block"
SHEETS: Final = tuple(ending.removeprefix(".") for ending in ENDINGS)


@dataclass(frozen=True, kw_only=True)
class Block:
    """One block that is to be made: what its files are called, and how many its drawing asks for."""

    part: Part
    entry: Entry
    title: str
    quantity: int = 1


@dataclass(frozen=True, kw_only=True)
class Form:
    """What every block is written as.

    Attributes:
        formats: some of ``block.FORMATS``.
        kerf: width of the cut that outlines make up for, mm.
        units: of the file names.
        sheets: kinds of its drawing, some of `SHEETS`.
        style: of the drawing; the quantity is each block's own.
    """

    formats: tuple[str, ...]
    kerf: float = 0.0
    units: Units = "mm"
    sheets: tuple[str, ...] = ()
    style: Style = field(default_factory=Style)


def sheet_kinds(text: str) -> tuple[str, ...]:
    """Kinds of drawing in a text such as ``pdf,dxf``; none where it is something else, such as the name of a file.

    >>> sheet_kinds(".PDF, dxf"), sheet_kinds("vee.pdf")
    (('pdf', 'dxf'), ())
    """
    words = tuple(word.strip().casefold().removeprefix(".") for word in text.split(","))
    return words if all(word in SHEETS for word in words) else ()


def read_kinds(texts: Iterable[str]) -> tuple[str, ...]:
    """The kinds of drawing that are asked for of many blocks, each once.

    Raises:
        FixtureError: one names a file, or no kind that is known.
    """
    out: list[str] = []
    for text in texts:
        kinds = sheet_kinds(text)
        if not kinds:
            ending = Path(text).suffix.casefold()
            near = ending.removeprefix(".") if ending in ENDINGS else nearest_name(text, SHEETS)
            raise FixtureError(
                f"--drawing {one_line(text)}: many blocks have a sheet each, named like their other files; "
                f"expected some of {','.join(SHEETS)}" + (f"; nearest: --drawing {near}" if near else "")
            )
        out += kinds
    return tuple(dict.fromkeys(out))


def sheet_name(title: str, kind: str) -> str:
    """The file of a drawing beside the other files of a block; an outline is a DXF too, so it says which it is.

    >>> sheet_name("stop: 60 mm", "pdf")
    'stop 60 mm drawing.pdf'
    """
    return f"{output.file_name(title)} drawing.{kind}"


def made(block: Block, form: Form, store: Store) -> BlockFiles:
    """All files of one block; none where only outlines are asked for and it has none.

    Raises:
        FixtureError: it cannot be made.
    """
    solids = block_shapes(block.part, block.entry, store)
    found = block_files(
        block.part, block.title, entry=block.entry, units=form.units, formats=form.formats, kerf=form.kerf,
        store=store, solids=solids,
    )  # fmt: skip
    drawn: dict[str, bytes] = {}
    if form.sheets:
        style = form.style.of(block.quantity, used(block.part))
        pages = sheets(block.part, breps(block.part, solids, "a drawing"), style)
        for kind in form.sheets:
            files = files_of(pages, Path(sheet_name(block.title, kind)))
            drawn |= {path.name: data for path, data in files.items()}
    return BlockFiles(files=found.files | drawn, flats=found.flats, solid=found.solid)


def breps(part: Part, solids: Sequence[tuple[Any, Any]], what: str) -> list[tuple[str, Any]]:
    """Name and ``TopoDS_Shape`` of each body of `block_shapes`.

    Raises:
        ModelError: one is only known as a mesh; ``what`` needs a solid.
    """
    for body, shape in solids:
        if shape.brep is None:
            raise ModelError(f"{part.model} {body.name}".strip() + f": only known as a mesh; {what} needs a solid")
    return [(body.name, shape.brep) for body, shape in solids]


# What is there


@dataclass(frozen=True, kw_only=True)
class Known:
    """What a block makes, without making it: the sums of its files by name, and its parts without an outline."""

    sums: dict[str, str]
    solid: tuple[tuple[str, str], ...]

    def missing(self, folder: Path) -> set[str]:
        """Those of its files that are not there, or otherwise than they would be made."""
        return {name for name, found in self.sums.items() if file_sum(folder / name) != found}


def known(block: Block, form: Form, store: Store) -> Known | None:
    """What came of a block in an earlier run of this program, where the cache has kept it."""
    found: Any = store.get_json(_key(block, form), _KIND)
    try:
        return Known(sums=dict(found["sums"]), solid=tuple((name, why) for name, why in found["solid"]))
    except (TypeError, KeyError, ValueError):
        return None


def known_of(done: BlockFiles) -> Known:
    """The sums of what has been made."""
    return Known(sums={name: data_sum(data) for name, data in done.files.items()}, solid=done.solid)


def keep(block: Block, form: Form, found: Known, store: Store) -> None:
    """Keep what came of a block for the next run."""
    store.put_json(_key(block, form), _KIND, {"sums": found.sums, "solid": found.solid})


def _key(block: Block, form: Form) -> str:
    bodies = [part_key(block.part, block.entry.digest, body.name) for body in block.part.bodies()]
    quantity = block.quantity if form.sheets else 0
    return content_key([program.digest(), "made", repr((form, block.title, quantity)), *bodies])


def file_sum(path: Path) -> str:
    """The sum of a file, or nothing where there is none that can be read."""
    try:
        return data_sum(path.read_bytes())
    except OSError:
        return ""


def data_sum(data: bytes) -> str:
    """The sum of what is in a file."""
    return hashlib.sha256(data).hexdigest()


def refuse_others(folder: Path, names: Iterable[str], force: bool) -> None:
    """Refuse to write over files that are there with other content.

    Raises:
        OutputRefused: one is there, and ``force`` is not set.
    """
    for name in sorted(names):
        if not force and os.path.lexists(folder / name):
            raise OutputRefused(
                f"{one_line(str(folder / name))}: exists already and is another file; add --force to replace it"
            )


def refuse_names(block: Block, form: Form, folder: Path) -> None:
    """Refuse what cannot be written, before it is made; a file that is there may turn out to be the same.

    Raises:
        OutputRefused: see ``output.check_target``; what is told is the first file, by a name of its own.
    """
    drawn = (sheet_name(block.title, kind) for kind in form.sheets)
    for name in (*sure_names(block.part, output.file_name(block.title), form.formats), *drawn):
        if not os.path.lexists(folder / name):
            output.check_target(folder / name)


# By whom it is made


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of one block: its files, or why there are none; ``fault`` is one of the program and not of the user."""

    files: BlockFiles | None = None
    wrong: str = ""
    fault: str = ""


def outcome(block: Block, form: Form, store: Store) -> Outcome:
    """Make one block; whatever goes wrong with it is told and does not stop the others."""
    try:
        return Outcome(files=made(block, form, store))
    except FixtureError as error:
        return Outcome(wrong=str(error))
    except MemoryError:
        raise
    except Exception as error:
        if os.environ.get("FIXTURE3D_TRACEBACK"):
            raise
        return Outcome(fault=one_line(f"{type(error).__name__}: {error}"))


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """A block in words that another process understands: a user's own model is no class that it can be sent."""

    model: str
    pattern: Pattern
    values: dict[str, float]
    title: str
    quantity: int

    @classmethod
    def of(cls, block: Block) -> Recipe:
        """The recipe of a block."""
        values = {name: getattr(block.part, name) for name in parameters(type(block.part))}
        return cls(model=block.part.model, pattern=block.part.pattern, values=values, title=block.title,
                   quantity=block.quantity)  # fmt: skip

    def block(self, shop: Library) -> Block:
        """The block again.

        Raises:
            ModelError: it is no longer what it was, as its file has changed.
        """
        part = shop.make(self.model, self.pattern, self.values)
        return Block(part=part, entry=shop.entry(self.model), title=self.title, quantity=self.quantity)


def outcomes(
    blocks: Sequence[Block], form: Form, store: Store, workers: int = 1, folders: Sequence[Path] = ()
) -> Generator[Outcome, None, None]:
    """What comes of each block, in their order, the same bytes by however many processes.

    Args:
        blocks: to be made.
        form: what they are written as.
        store: the cache.
        workers: processes; they are started where there is enough for them to do. A program that asks for more than
            one has ``if __name__ == "__main__":`` about its own work.
        folders: of the user's own models.
    """
    if workers < 2 or len(blocks) < FEW:
        yield from (outcome(block, form, store) for block in blocks)
        return
    from fixture3d.workshop.lanes import in_lanes

    yield from in_lanes([Recipe.of(block) for block in blocks], form, store, min(workers, len(blocks)), folders)


FEW: Final = 16  # blocks that one process has made while a second one has not yet loaded its kernel
