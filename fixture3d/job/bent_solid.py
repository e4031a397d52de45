"""The solid of a bent member, leg by leg. ``OCP`` is imported inside functions only.

Each straight leg is a member of its own with the cuts and holes that are on it; each bend is a body of revolution, so
that a round tube has cylinders and tori. Their skins meet edge on edge in the planes between them and are sewn to one
solid, which is held against the volume that the closed form gives.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from fixture3d.errors import BadSolid
from fixture3d.job.bent import Bent, Part
from fixture3d.job.cuts import CutPlane
from fixture3d.job.endcut import EndCut, HoleCut
from fixture3d.job.member_solid import TRUE, member_solid
from fixture3d.job.member_volume import volume
from fixture3d.job.prism import flat_face
from fixture3d.solid import kernel
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC


def bent_solid(section: Section, made: Bent, ends: tuple[EndCut, EndCut], holes: Sequence[HoleCut] = ()) -> Any:
    """A bent member as a ``TopoDS_Shape`` in the frame of its piece.

    Args:
        section: the stock.
        made: its centre line.
        ends: its cuts on the straight length.
        holes: across its legs, on the straight length.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    skin: list[Any] = []
    parts = made.parts
    for k, part in enumerate(parts):
        borders = (k > 0, k < len(parts) - 1)
        if part.angle:
            skin += _arc(section, part)
            continue
        cuts = (_square(part.start, -1) if borders[0] else ends[0], _square(part.start + part.length, 1))
        cuts = cuts if borders[1] else (cuts[0], ends[1])
        if part.length < NUMERIC.merge and all(borders):
            continue
        if _nothing(section, cuts):  # a bend right up to a square end
            skin.append(kernel.moved(_ring(section), part.to_piece))
            continue
        here = [hole for hole in holes if part.start <= hole.x <= part.start + part.length]
        leg = member_solid(section, cuts, here)
        planes = [x for x, border in zip((part.start, part.start + part.length), borders, strict=True) if border]
        skin += [kernel.moved(face, made.straight(part)) for face in _faces(leg) if not _lies_in(face, planes)]
    solid = _closed(skin, section.designation)
    exact = volume(section, ends, holes)
    if not kernel.is_valid(solid) or abs(kernel.volume(solid) / exact - 1.0) > TRUE:
        raise BadSolid(f"the kernel cannot join the legs and bends of {section.designation} true to their closed form")
    return solid


def _square(x: float, side: int) -> EndCut:
    plane = CutPlane(point=np.array([x, 0.0, 0.0]), normal=np.array([float(side), 0.0, 0.0]))
    return EndCut(kind="square", side=side, plane=plane)


def _nothing(section: Section, cuts: tuple[EndCut, EndCut]) -> bool:
    return cuts[1].tip(section) - cuts[0].tip(section) < NUMERIC.merge


def _ring(section: Section) -> Any:
    """The section as a face across X."""
    from OCP.gp import gp_Pnt, gp_Vec

    return flat_face(section.outline(), lambda y, z: gp_Pnt(0.0, y, z), gp_Vec(1.0, 0.0, 0.0))


def _arc(section: Section, part: Part) -> list[Any]:
    """The skin of a bend without the faces across its ends."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    y, z = part.toward
    # In the frame of the section and then moved, so that the seam of a round tube runs on along the legs.
    axis = gp_Ax1(gp_Pnt(0.0, part.radius * y, part.radius * z), gp_Dir(0.0, -z, y))
    maker = BRepPrimAPI_MakeRevol(_ring(section), axis, math.radians(part.angle))
    ends = (maker.FirstShape(), maker.LastShape())
    sides = [face for face in _faces(maker.Shape()) if not any(face.IsSame(end) for end in ends)]
    return [kernel.moved(face, part.to_piece) for face in sides]


def _lies_in(face: Any, planes: Sequence[float]) -> bool:
    """Whether a face of a straight leg lies across it at one of these X: a flat one, however short the leg is."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane

    if BRepAdaptor_Surface(face).GetType() != GeomAbs_Plane:
        return False
    low, high = kernel.box(face)[:, 0]
    return any(abs(low - x) < NUMERIC.chord and abs(high - x) < NUMERIC.chord for x in planes)


def _faces(shape: Any) -> Iterator[Any]:
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        yield TopoDS.Face_s(explorer.Current())
        explorer.Next()


def _closed(skin: list[Any], designation: str) -> Any:
    """One solid inside faces that meet edge on edge."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
    from OCP.BRepLib import BRepLib
    from OCP.TopAbs import TopAbs_SHELL
    from OCP.TopoDS import TopoDS

    sewing = BRepBuilderAPI_Sewing(NUMERIC.merge)
    for face in skin:
        sewing.Add(face)
    sewing.Perform()
    shell = sewing.SewedShape()
    if shell is None or shell.IsNull() or shell.ShapeType() != TopAbs_SHELL:
        raise BadSolid(f"the kernel cannot join the legs and bends of {designation}")
    solid = BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(shell)).Solid()
    BRepLib.OrientClosedSolid_s(solid)
    return solid
