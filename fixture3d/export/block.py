"""One block of a model as files to make it from: a STEP file with its named bodies, and an STL file a body."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from fixture3d import frame, output
from fixture3d.export.step import Solid, step_bytes
from fixture3d.export.stl import stl_bytes, stl_names
from fixture3d.part import Part
from fixture3d.shape import Shape


def write_block(
    part: Part, folder: str | os.PathLike[str] = ".", stem: str = "", slide: float = 0.0, force: bool = False
) -> tuple[Path, ...]:
    """Write one block: ``STEM.step`` with all its bodies, and ``STEM BODY (mm).stl`` for each.

    Args:
        part: made by ``library.make``.
        folder: must exist.
        stem: of the file names; empty for the model's name.
        slide: mm from fully in, for the bodies that move; in the STEP file only: each STL is a part to be made.
        force: existing files may be replaced.

    Raises:
        OutputRefused: one of the files may not be written; then none is.
        BadSolid: the model makes no valid solid with these parameters.
    """
    stem = stem or part.model
    target = Path(folder) / f"{stem}.step"
    output.check_target(target, force)
    bodies = [b for b in part.bodies() if b.role == "block"]
    move = part.move()
    moved = frame.translation(np.asarray(move.axis) * slide) if move is not None else frame.identity()
    shapes = [Shape.of(b.build()) for b in bodies]
    solids = [
        Solid(b.name or stem, s.brep, moved if b.moves else frame.identity())
        for b, s in zip(bodies, shapes, strict=True)
    ]
    names = stl_names(f"{stem} {b.name}".strip() for b in bodies)
    files = {target: step_bytes(stem, solids)}
    files |= {
        Path(folder) / n: stl_bytes(s.mesh, b.name or stem) for n, s, b in zip(names, shapes, bodies, strict=True)
    }
    return output.write_many(files, force)
