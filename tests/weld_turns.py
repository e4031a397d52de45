"""The joints of `weld_cases` in other clothes: turned, as STEP, a little out of place, as free forms, as meshes."""

from __future__ import annotations

import tempfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.solid import kernel
from tests.weld_cases import Case

Turn = Callable[[Case], Case]
JITTER = 0.1  # mm


def _each(found: Case, make: Callable[[str, Any], Any]) -> Case:
    return replace(found, pieces={name: make(name, kernel.one_solid(s)) for name, s in found.pieces.items()})


def _random(name: str) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32(name.encode()))


def turned(found: Case) -> Case:
    """The whole pair by an axis, an angle and a way of its own."""
    random = _random(found.name)
    pose = frame.chain(
        frame.translation(random.uniform(-900.0, 900.0, 3)),
        frame.rotation(random.normal(size=3), float(random.uniform(20.0, 340.0))),
    )
    return _each(found, lambda _, solid: kernel.moved(solid, pose))


def unnamed(found: Case) -> Case:
    """In the other order, under names that say nothing."""
    pieces = list(found.pieces.values())[::-1]
    return replace(found, pieces={f"body {k}": solid for k, solid in enumerate(pieces, 1)})


def through_step(found: Case) -> Case:
    """Written to a STEP file and read again, by the kernel's own writer and reader."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Reader, STEPControl_Writer

    def again(name: str, solid: Any) -> Any:
        with tempfile.TemporaryDirectory() as folder, kernel.quiet():
            path = str(Path(folder) / "piece.step")
            writer = STEPControl_Writer()
            writer.Transfer(solid, STEPControl_AsIs)
            assert writer.Write(path) == IFSelect_RetDone, name
            reader = STEPControl_Reader()
            assert reader.ReadFile(path) == IFSelect_RetDone, name
            reader.TransferRoots()
            return reader.OneShape()

    return _each(found, again)


def jittered(found: Case) -> Case:
    """The last piece out of place by up to 0.1 mm; pieces with the gap at its limit come nearer, not further off."""
    random = _random(found.name)
    way = random.normal(size=3)
    way *= JITTER * random.uniform(0.5, 1.0) / float(np.linalg.norm(way))
    if found.rim is not None:
        way = -np.abs(way) * np.asarray(found.rim)
    last = list(found.pieces)[-1]
    return _each(found, lambda name, s: kernel.moved(s, frame.translation(way)) if name == last else s)


def free_forms(found: Case) -> Case:
    """Every face and edge as a B-spline."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    return _each(found, lambda _, solid: BRepBuilderAPI_NurbsConvert(solid, True).Shape())


def meshes(found: Case) -> Case:
    """As triangles within 0.02 mm."""
    return _each(found, lambda _, solid: kernel.tessellate(solid))


TURNS: dict[str, Turn] = {
    "turned": turned,
    "unnamed": unnamed,
    "through STEP": through_step,
    "jittered": jittered,
    "free forms": free_forms,
    "meshes": meshes,
}
