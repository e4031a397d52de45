"""The solid of a bent length of stock, leg by leg. ``OCP`` is imported inside functions only."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from fixture3d.errors import BadSolid
from fixture3d.job.bent import Bent
from fixture3d.job.prism import flat_face
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC


def bent_bar(section: Section, made: Bent, before: float, after: float) -> Any:
    """The bent length with square ends, as a ``TopoDS_Shape`` in the frame of its piece.

    Legs are prisms and bends bodies of revolution, so that a round tube has cylinders and tori. Each begins on the
    face on which the one before ends; what lies between them is left out.

    Args:
        section: the stock.
        made: its centre line.
        before: mm that the first leg is longer at its start.
        after: mm that the last leg is longer at its end.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Vec

    face = flat_face(section.outline(), lambda y, z: gp_Pnt(-before, y, z), gp_Vec(1.0, 0.0, 0.0))
    skin = [face]
    for k, part in enumerate(made.parts):
        if part.angle:
            axis = gp_Ax1(gp_Pnt(*map(float, part.centre)), gp_Dir(*map(float, part.axis)))
            maker = BRepPrimAPI_MakeRevol(face, axis, math.radians(part.angle))
        else:
            long = part.length + (before if k == 0 else 0.0) + (after if part is made.parts[-1] else 0.0)
            if long < NUMERIC.merge:
                continue
            maker = BRepPrimAPI_MakePrism(face, gp_Vec(*(float(v) for v in part.to_piece[:3, 0] * long)))
        ends = (maker.FirstShape(), maker.LastShape())
        skin += [side for side in _faces(maker.Shape()) if not any(side.IsSame(end) for end in ends)]
        face = maker.LastShape()
    return _closed([*skin, face], section.designation)


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
