"""One block of a model as files to make it from: a STEP file with its named bodies, and an STL file a body."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from fixture3d import frame, output
from fixture3d.cache import Store, default_store
from fixture3d.export.step import Solid, step_bytes
from fixture3d.export.stl import stl_bytes, stl_names
from fixture3d.job.bodies import part_key, prove_bodies, shared_shape
from fixture3d.job.inventory import size_in_words
from fixture3d.library import Entry
from fixture3d.part import Part, PartBody
from fixture3d.solid.shape import Shape
from fixture3d.units import Units, show_plain


def write_block(
    part: Part,
    folder: str | os.PathLike[str] = ".",
    *,
    entry: Entry | None = None,
    units: Units = "mm",
    stem: str = "",
    slide: float = 0.0,
    force: bool = False,
    store: Store | None = None,
) -> tuple[Path, ...]:
    """Write one block: ``STEM.step`` with all its bodies, and ``STEM BODY (mm).stl`` for each.

    Args:
        part: made by ``library.make``.
        folder: must exist.
        entry: its model in the library, so that a solid made before is taken from the cache; None makes it anew.
        units: of the lengths in the file names; the files themselves are in mm.
        stem: of the file names; empty for the model, the sizes that differ from its defaults, and the holes.
        slide: mm from fully in, for the bodies that move; in the STEP file only: each STL is a part to be made.
        force: existing files may be replaced.
        store: the cache; None takes the user's own.

    Raises:
        OutputRefused: one of the files may not be written; then none is.
        BadSolid: the model makes no valid solid with these parameters.
        ModelError: a user's own model fails, or makes something else than it says.
    """
    holes = f"for {show_plain(part.pattern.bore, units)} on {show_plain(part.pattern.pitch, units)}"
    title = stem or f"{part.model} {size_in_words(part, units)}".removesuffix(" standard") + f" {holes}"
    stem = output.file_name(title)
    target = Path(folder) / f"{stem}.step"
    bodies = [b for b in part.bodies() if b.role == "block"]
    names = stl_names(f"{stem} {b.name}".strip() for b in bodies)
    for path in (target, *(Path(folder) / n for n in names)):
        output.check_target(path, force)
    move = part.move()
    moved = frame.translation(np.asarray(move.axis) * slide) if move is not None else frame.identity()
    shapes = [shape for _, shape in block_shapes(part, entry, store)]
    solids = [
        Solid(b.name or part.model, s.brep, moved if b.moves else frame.identity())
        for b, s in zip(bodies, shapes, strict=True)
    ]
    files = {target: step_bytes(title, solids)}
    for name, shape, body in zip(names, shapes, bodies, strict=True):
        files[Path(folder) / name] = stl_bytes(shape.mesh, f"{title} {body.name}")
    return output.write_many(files, force)


def block_shapes(part: Part, entry: Entry | None, store: Store | None = None) -> list[tuple[PartBody, Shape]]:
    """Every body of a block that is made, with its solid. Arguments and errors as for `write_block`."""
    bodies = [b for b in part.bodies() if b.role == "block"]
    kept = default_store() if store is None else store
    shapes = [
        Shape.of(b.build()) if entry is None else shared_shape(part_key(part, entry.digest, b.name), b.build, kept)
        for b in bodies
    ]
    if entry is not None:
        prove_bodies(part, entry, dict(zip((b.name for b in bodies), shapes, strict=True)))
    return list(zip(bodies, shapes, strict=True))
