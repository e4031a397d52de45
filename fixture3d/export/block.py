"""One block of a model as files to make it from, in the formats that are asked for."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d import frame, output
from fixture3d.cache import Store, default_store
from fixture3d.errors import FixtureError, nearest_name, one_line, some_names
from fixture3d.export.step import Solid, step_bytes
from fixture3d.export.stl import stl_bytes, stl_names
from fixture3d.job.bodies import part_key, prove_bodies
from fixture3d.job.inventory import size_in_words
from fixture3d.library import Entry
from fixture3d.part import Part, PartBody
from fixture3d.solid.shape import Shape
from fixture3d.units import Units, show, show_plain

if TYPE_CHECKING:
    from fixture3d.export.nest import FlatPart

FORMATS: Final = ("step", "stl", "3mf", "glb", "dxf")
USUAL: Final = ("step", "stl")


def read_formats(text: str | None, usual: Sequence[str] = USUAL) -> tuple[str, ...]:
    """The formats of a list such as ``step,3mf``, each once, in the order of `FORMATS`.

    Raises:
        FixtureError: one of them is not known.
    """
    asked = list(usual) if text is None else [word.strip().casefold().lstrip(".") for word in text.split(",")]
    for word in asked:
        if word not in FORMATS:
            near = nearest_name(word, FORMATS)
            raise FixtureError(
                f'--format: "{one_line(word)}" is not a format; expected some of {",".join(FORMATS)}'
                + (f"; nearest: {near}" if near else "")
            )
    return tuple(name for name in FORMATS if name in asked)


@dataclass(frozen=True, kw_only=True)
class BlockFiles:
    """What one block makes.

    Attributes:
        files: contents by file name.
        flats: its parts that are cut from plate, at their true size; asked for with ``dxf``.
        solid: its parts that are not, each with why not.
    """

    files: dict[str, bytes]
    flats: tuple[FlatPart, ...] = ()
    solid: tuple[tuple[str, str], ...] = ()


def no_outline(parts: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """A sentence for each reason why parts have no outline, with the first of them.

    >>> no_outline([("stop_block", "it is not as thick everywhere")])
    ('no outline to cut from plate, since it is not as thick everywhere: "stop_block"',)
    """
    by_reason: dict[str, list[str]] = {}
    for name, why in parts:
        by_reason.setdefault(why, []).append(name)
    return tuple(
        f"no outline to cut from plate, since {why}: {some_names(names, 3 if len(names) <= 3 else 1)}"
        for why, names in by_reason.items()
    )


def block_title(part: Part, units: Units = "mm") -> str:
    """What a block's files are called: model, sizes that differ from its defaults, and the holes it is made for."""
    holes = f"for {show_plain(part.pattern.bore, units)} on {show_plain(part.pattern.pitch, units)}"
    return f"{part.model} {size_in_words(part, units)}".removesuffix(" standard") + f" {holes}"


def write_block(
    part: Part,
    folder: str | os.PathLike[str] = ".",
    *,
    entry: Entry | None = None,
    units: Units = "mm",
    stem: str = "",
    slide: float = 0.0,
    formats: Sequence[str] = USUAL,
    kerf: float = 0.0,
    force: bool = False,
    store: Store | None = None,
) -> tuple[Path, ...]:
    """Write one block.

    Args:
        part: made by ``library.make``.
        folder: must exist.
        entry: its model in the library, so that a solid made before is taken from the cache; None makes it anew.
        units: of the lengths in the file names; the files themselves are in mm.
        stem: of the file names; empty for `block_title`.
        slide: mm from fully in, for the bodies that move; in STEP and GLB only: the others are parts to be made.
        formats: some of `FORMATS`.
        kerf: width of the cut that the outlines of flat-cut parts make up for, mm.
        force: existing files may be replaced.
        store: the cache; None takes the user's own.

    Raises:
        OutputRefused: one of the files may not be written; then none is.
        BadSolid: the model makes no valid solid with these parameters.
        ModelError: a user's own model fails, or makes something else than it says.
        FixtureError: only outlines are asked for and nothing of it is cut from plate, or the kerf does not suit it.
    """
    title = stem or block_title(part, units)
    for name in sure_names(part, output.file_name(title), formats):
        output.check_target(Path(folder) / name, force)
    made = block_files(part, title, entry=entry, units=units, slide=slide, formats=formats, kerf=kerf, store=store)
    if not made.files:
        raise FixtureError("; ".join(no_outline(made.solid)))
    return output.write_many({Path(folder) / name: data for name, data in made.files.items()}, force)


def sure_names(part: Part, stem: str, formats: Sequence[str]) -> tuple[str, ...]:
    """The files that a block makes, without those of outlines: whether there are any, only its solids tell."""
    out = [f"{stem}.{name}" for name in formats if name in ("step", "3mf", "glb")]
    if "stl" in formats:
        out += stl_names(f"{stem} {b.name}".strip() for b in _blocks(part))
    return tuple(out)


def block_files(
    part: Part,
    title: str,
    *,
    entry: Entry | None = None,
    units: Units = "mm",
    slide: float = 0.0,
    formats: Sequence[str] = USUAL,
    kerf: float = 0.0,
    store: Store | None = None,
    solids: Sequence[tuple[PartBody, Shape]] | None = None,
) -> BlockFiles:
    """The files of one block: ``STEM.step``, ``STEM BODY (mm).stl``, ``STEM.3mf``, ``STEM.glb``, ``STEM BODY.dxf``.

    Arguments and errors: see `write_block`; ``title`` stands in the files and gives their names; ``solids`` are those
    of `block_shapes`, where they are there already.
    """
    from fixture3d.export.glb import glb_bytes

    stem = output.file_name(title)
    made = block_shapes(part, entry, store) if solids is None else solids
    bodies, shapes = [b for b, _ in made], [s for _, s in made]
    move = part.move()
    moved = frame.translation(np.asarray(move.axis) * slide) if move is not None else frame.identity()
    poses = [moved if b.moves else frame.identity() for b in bodies]
    names = [b.name or part.model for b in bodies]
    files: dict[str, bytes] = {}
    if "step" in formats:
        named = [Solid(n, s.brep, pose) for n, s, pose in zip(names, shapes, poses, strict=True)]
        files[f"{stem}.step"] = step_bytes(title, named)
    if "stl" in formats:
        for name, shape, body in zip(
            stl_names(f"{stem} {b.name}".strip() for b in bodies), shapes, bodies, strict=True
        ):
            files[name] = stl_bytes(shape.mesh, f"{title} {body.name}")
    if "3mf" in formats:
        files[f"{stem}.3mf"] = _printed(title, names, shapes)
    if "glb" in formats:
        files[f"{stem}.glb"] = glb_bytes(title, [(n, s.mesh, p) for n, s, p in zip(names, shapes, poses, strict=True)])
    if "dxf" not in formats:
        return BlockFiles(files=files)
    drawn, flats, solid = _outlines(title, stem, bodies, shapes, kerf, units)
    return BlockFiles(files=files | drawn, flats=flats, solid=solid)


def _blocks(part: Part) -> list[PartBody]:
    return [b for b in part.bodies() if b.role == "block"]


def _shapes(part: Part, bodies: Sequence[PartBody], entry: Entry | None, store: Store) -> list[Shape]:
    if entry is None:
        return [Shape.of(b.build()) for b in bodies]
    # Not shared within the run: a long list of blocks would keep every solid in memory.
    shapes = [Shape(part_key(part, entry.digest, b.name), b.build, store) for b in bodies]
    prove_bodies(part, entry, dict(zip((b.name for b in bodies), shapes, strict=True)))
    return shapes


def _printed(title: str, names: Sequence[str], shapes: Sequence[Shape]) -> bytes:
    from fixture3d.export.laying import beside, lying
    from fixture3d.export.threemf import Printed, threemf_bytes

    meshes = [shape.mesh for shape in shapes]
    poses = beside(meshes, [lying(mesh) for mesh in meshes])
    return threemf_bytes(title, [Printed(n, m, pose) for n, m, pose in zip(names, meshes, poses, strict=True)])


def _outlines(
    title: str, stem: str, bodies: Sequence[PartBody], shapes: Sequence[Shape], kerf: float, units: Units
) -> tuple[dict[str, bytes], tuple[FlatPart, ...], tuple[tuple[str, str], ...]]:
    from fixture3d.export.flat import flat_of
    from fixture3d.export.kerf import with_kerf
    from fixture3d.export.nest import FlatPart, flat_dxf

    flats, solid, titles = [], [], []
    for body, shape in zip(bodies, shapes, strict=True):
        name = f"{title} {body.name}".strip()
        found = flat_of(shape.brep) if shape.brep is not None else "it is only known as a mesh"
        if isinstance(found, str):
            solid.append((name, found))
            continue
        flats.append(FlatPart(name=name, plate=with_kerf(name, found, kerf)))
        titles.append(f"{stem} {body.name}".strip())
    files = {
        f"{file}.dxf": flat_dxf(flat.plate, cut_words(flat, kerf, units))
        for file, flat in zip(_unlike(titles), flats, strict=True)
    }
    return files, tuple(flats), tuple(solid)


def _unlike(names: Iterable[str]) -> list[str]:
    return [name.removesuffix(" (mm).stl") for name in stl_names(names)]


def cut_words(flat: FlatPart, kerf: float, units: Units) -> str:
    """What stands beside an outline: name, thickness, how many, and whether a kerf is in it."""
    count = f", {flat.count} pieces" if flat.count > 1 else ""
    return f"{flat.name}, {show(flat.plate.thickness, units)} thick{count}; mm; {kerf_words(kerf)}"


def kerf_words(kerf: float) -> str:
    """Whether outlines make up for a kerf.

    >>> kerf_words(0.0)
    'true size, no kerf added'
    """
    if kerf == 0.0:
        return "true size, no kerf added"
    return f"kerf {kerf:g} mm added: outside larger, holes smaller by {kerf / 2.0:g} mm a side"


def block_shapes(part: Part, entry: Entry | None, store: Store | None = None) -> list[tuple[PartBody, Shape]]:
    """Every body of a block that is made, with its solid. Arguments and errors as for `write_block`."""
    bodies = _blocks(part)
    kept = default_store() if store is None else store
    return list(zip(bodies, _shapes(part, bodies, entry, kept), strict=True))
