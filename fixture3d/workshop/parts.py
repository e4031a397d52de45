"""All blocks of a setup, and the plates of its weldment, as files to make them from: each kind once, and how many."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from fixture3d import output
from fixture3d.cache import Store, default_store
from fixture3d.errors import FixtureError, OutputRefused, UnitError, one_line
from fixture3d.export.block import BlockFiles, block_title, cut_words, kerf_words, no_outline
from fixture3d.export.cut_list import plain_cell, refuse_early
from fixture3d.export.kerf import with_kerf
from fixture3d.export.nest import FlatPart, flat_dxf, nested, sheet_dxf
from fixture3d.export.stl import stl_names
from fixture3d.job import Job, Seat
from fixture3d.job.cut_data import cut_rows
from fixture3d.job.inventory import size_in_words
from fixture3d.part import Part, parameters
from fixture3d.units import Units, length, show, show_plain
from fixture3d.workshop.making import Block, Form, keep, known, known_of, outcomes, refuse_names, refuse_others


@dataclass(frozen=True, kw_only=True)
class PartsWritten:
    """What was written.

    Attributes:
        paths: of the files that were written.
        there: how many were there as they would be made.
        notes: what cannot be made in one of the formats, one sentence each.
        left_out: flat parts that fit on no sheet, one sentence each.
    """

    paths: tuple[Path, ...]
    there: int = 0
    notes: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """The plate that flat parts are laid on: length and width, and the gap between parts, mm; None for the usual."""

    size: tuple[float, float]
    gap: float | None = None


def read_sheet(text: str, units: Units) -> tuple[float, float]:
    """The size of a sheet such as ``1000x500``, mm.

    Raises:
        FixtureError: it cannot be read.
    """
    long, sign, wide = text.replace("×", "x").replace("X", "x").partition("x")
    try:
        if sign:
            return length(long.strip(), units), length(wide.strip(), units)
    except UnitError:
        pass
    example = "1000x500" if units == "mm" else "48x24"
    raise FixtureError(f'--sheet: "{one_line(text[:40])}" is not a size; expected length x width, such as {example}')


def write_parts(
    job: Job,
    folder: str | os.PathLike[str],
    form: Form,
    *,
    sheets: Sheets | None = None,
    force: bool = False,
    store: Store | None = None,
    workers: int = 1,
    progress: Callable[[str, int, int], None] = lambda *_: None,
) -> PartsWritten:
    """Write each kind of block once, and ``parts.csv`` with how many of it; with ``dxf`` the plates of the work too.

    Args:
        job: the setup.
        folder: that is there.
        form: what they are written as; drawings are those of the blocks.
        sheets: also lay the flat parts on sheets of this size, one drawing a sheet.
        force: files of other content may be replaced.
        store: the cache; None takes the user's own.
        workers: see ``making.outcomes``.
        progress: is told how far it has come.

    Raises:
        OutputRefused: nothing to write, or a file may not be written; then none is.
        FixtureError: sheets without outlines, or a kerf that does not suit a part.
        BadSolid, ModelError: a block cannot be made.
    """
    refuse_early(folder)
    if "dxf" not in form.formats and (sheets is not None or form.kerf):
        raise FixtureError("--sheet, --gap and --kerf are for outlines; expected dxf among --format")
    units, target, kept = form.units, Path(folder), default_store() if store is None else store
    groups: dict[object, list[Seat]] = {}
    for seat in job.seats.values():
        groups.setdefault(_made_alike(seat.part), []).append(seat)
    titles = _unlike([block_title(seats[0].part, units) for seats in groups.values()])
    blocks = [
        Block(part=seats[0].part, entry=job.library.entry(seats[0].model), title=title, quantity=len(seats))
        for seats, title in zip(groups.values(), titles, strict=True)
    ]
    for block in blocks:
        refuse_names(block, form, target)
    # Outlines that are laid on sheets are needed themselves, not only their sums.
    before = [None if sheets is not None else known(block, form, kept) for block in blocks]
    before = [None if one is None or one.missing(target) else one for one in before]
    todo = [block for block, one in zip(blocks, before, strict=True) if one is None]
    files: dict[str, bytes] = {}
    rows: list[Sequence[object]] = [_HEAD]
    solid: list[tuple[str, str]] = []
    flats: list[FlatPart] = []
    there = 0
    with closing(outcomes(todo, form, kept, workers, job.scene.models)) as made:
        for number, (seats, block, one) in enumerate(zip(groups.values(), blocks, before, strict=True), start=1):
            if one is None:
                done = next(made)
                if done.fault:
                    raise RuntimeError(f"{block.title}: {done.fault}")
                if done.files is None:
                    raise FixtureError(done.wrong)
                keep(block, form, known_of(done.files), kept)
                files |= done.files.files
                flats += [FlatPart(name=f.name, plate=f.plate, count=len(seats)) for f in done.files.flats]
                own, why = list(done.files.files), done.files.solid
            else:
                own, why = list(one.sums), one.solid
                there += len(own)
            progress("block", number, len(blocks))
            solid += why
            names, part = ", ".join(seat.name for seat in seats), block.part
            rows.append(
                [block.title, len(seats), names, part.model, size_in_words(part, units), part.made, "; ".join(own)]
            )
    if "dxf" in form.formats:
        for flat, names in _plates(job, form.kerf, units):
            file = output.file_name(f"{flat.name}.dxf")
            files[file] = flat_dxf(flat.plate, cut_words(flat, form.kerf, units))
            flats.append(flat)
            thick = f"{show(flat.plate.thickness, units)} thick"
            rows.append([flat.name, flat.count, names, "", thick, "cut from plate", file])
    if len(rows) == 1 or not (files or there):
        raise OutputRefused("; ".join(no_outline(solid)) or "the setup has no block to write; expected at least one")
    drawn, left_out = _sheets(flats, sheets, form.kerf, units) if sheets is not None else ({}, ())
    files["parts.csv"] = _csv(rows)
    files |= drawn
    now = known_of(BlockFiles(files=files)).missing(target)
    refuse_others(target, now, force)
    paths = output.write_many({target / name: data for name, data in files.items() if name in now}, force)
    return PartsWritten(paths=paths, there=there + len(files) - len(paths), notes=no_outline(solid), left_out=left_out)


def _made_alike(part: Part) -> object:
    """What two blocks share that a machine shop would make alike: sizes to a thousandth of a millimetre."""
    values = tuple(round(float(getattr(part, name)), 3) for name in parameters(type(part)))
    return part.model, part.pattern, values


_HEAD: list[object] = ["part", "quantity", "places", "model", "size", "made", "files"]


def _plates(job: Job, kerf: float, units: Units) -> list[tuple[FlatPart, str]]:
    """Plates of the weldment, those that are alike once, with the names of all."""
    weldment = job.weldment
    if weldment is None:
        return []
    out = []
    for row in cut_rows(weldment.pieces, weldment.mirrored):
        plate = row.piece.plate
        if plate is not None:
            name = f"{row.mark} plate {show_plain(plate.thickness, units)}"
            flat = FlatPart(name=name, plate=with_kerf(name, plate, kerf), count=row.count)
            out.append((flat, ", ".join(one.name for one in row.pieces)))
    return out


def _sheets(
    flats: Sequence[FlatPart], asked: Sheets, kerf: float, units: Units
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    files: dict[str, bytes] = {}
    left_out: list[str] = []
    for one in nested(flats, asked.size, asked.gap, units):
        left_out += one.left_out
        thick = show_plain(one.thickness, units)
        for number, laid in enumerate(one.sheets, start=1):
            title = (
                f"plate {show(one.thickness, units)}, sheet {number} of {len(one.sheets)}, "
                f"{show(asked.size[0], units)} x {show(asked.size[1], units)}; mm; {kerf_words(kerf)}"
            )
            files[output.file_name(f"sheet {number} of plate {thick}.dxf")] = sheet_dxf(laid, asked.size, title)
    return files, tuple(left_out)


def _unlike(names: Sequence[str]) -> list[str]:
    return [name.removesuffix(" (mm).stl") for name in stl_names(names)]


def _csv(rows: Sequence[Sequence[object]]) -> bytes:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    for row in rows:
        writer.writerow([plain_cell(str(cell)) for cell in row])
    return stream.getvalue().encode("utf-8-sig")
