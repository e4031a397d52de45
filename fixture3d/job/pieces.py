"""The solids of the weldment's pieces, each in the frame of its piece.

A member is made long, as an extrusion of its outline, and both ends are cut off by half spaces; a plate is an
extrusion with its holes. ``OCP`` is imported inside functions only.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from fixture3d.cache import content_key
from fixture3d.errors import BadSolid
from fixture3d.job.cuts import CutPlane
from fixture3d.job.prism import prism
from fixture3d.job.weldment import Piece, PlateShape
from fixture3d.solid.shape import Shape
from fixture3d.stock.section import Section

if TYPE_CHECKING:
    from fixture3d.cache import Store

_VERSION = "1"  # part of every key: raise it when the same numbers make another solid


def piece_shape(piece: Piece, store: Store | None = None) -> Shape:
    """The solid of a piece in its own frame, made when it is first needed.

    The key holds every number that decides the solid and nothing of its name or place, so that equal pieces
    share one solid.

    Args:
        piece: of a weldment.
        store: cache of meshes and solids.

    Returns:
        A lazy shape. Asking for its solid raises ``BadSolid`` when the kernel cannot make it, and
        ``ImportFailed`` when it is from a file that is gone.
    """
    if piece.solid is not None:
        return piece.solid.shape(store)
    if piece.plate is not None:
        key = content_key(["plate", _VERSION, repr(piece.plate)])
        return Shape(key, partial(plate_solid, piece.plate), store)
    assert piece.section is not None
    assert piece.ends is not None
    numbers = [
        piece.section.key(),
        [(tuple(map(float, end.point)), tuple(map(float, end.normal))) for end in piece.ends],
    ]
    key = content_key(["member", _VERSION, repr(numbers)])
    return Shape(key, partial(member_solid, piece.section, *piece.ends), store)


def member_solid(section: Section, first: CutPlane, last: CutPlane) -> Any:
    """A length of stock between two cuts, as a ``TopoDS_Shape``; X along its centre line.

    Square ends need no cutting: the extrusion is then made to length.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopTools import TopTools_ListOfShape

    start, stop = _reach(section, first, -1.0), _reach(section, last, 1.0)
    solid = prism(
        section.outline(),
        lambda y, z: gp_Pnt(start, y, z),
        gp_Vec(stop - start, 0.0, 0.0),
    )
    sloped = [plane for plane in (first, last) if plane.slope != (0.0, 0.0)]
    if not sloped:
        return solid
    bar, saws = TopTools_ListOfShape(), TopTools_ListOfShape()
    bar.Append(solid)
    for plane in sloped:
        saws.Append(_half_space(plane))
    operation = BRepAlgoAPI_Cut()
    operation.SetArguments(bar)
    operation.SetTools(saws)
    operation.Build()
    if not operation.IsDone():
        angles = " and ".join(f"{plane.mitre:.1f}" for plane in sloped)
        raise BadSolid(f"{section.designation} cannot be cut at {angles} degrees by the kernel")
    return operation.Shape()


def plate_solid(plate: PlateShape) -> Any:
    """A plate with its holes, as a ``TopoDS_Shape``; its outline in XY, its thickness along Z from 0.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    from OCP.gp import gp_Pnt, gp_Vec

    return prism(plate.loops, lambda x, y: gp_Pnt(x, y, 0.0), gp_Vec(0.0, 0.0, plate.thickness))


def _reach(section: Section, plane: CutPlane, side: float) -> float:
    """X of the outermost tip of an end, mm; ``side`` is -1 at the start, 1 at the end."""
    y, z = plane.slope
    tip = float(plane.point[0]) + side * section.reach(side * y, side * z)
    # A sloped cut must leave no skin of the square end, so it starts from a longer bar.
    return tip if plane.slope == (0.0, 0.0) else tip + side


def _half_space(plane: CutPlane) -> Any:
    """Everything outside a cut, as a solid without end."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeHalfSpace
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt

    point, normal = plane.point, plane.normal
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(*map(float, point)), gp_Dir(*map(float, normal)))).Face()
    outside = point + normal
    return BRepPrimAPI_MakeHalfSpace(face, gp_Pnt(*map(float, outside))).Solid()
