"""Faces and prisms of the CAD kernel from outlines of lines and arcs. ``OCP`` is imported inside functions only."""

from __future__ import annotations

from typing import Any

from fixture3d.errors import BadSolid
from fixture3d.stock.section import Loop


def prism(loops: tuple[Loop, ...], place: Any, along: Any) -> Any:
    """Extrude a face with holes.

    Args:
        loops: the outer one, which turns left seen against ``along``, then holes, which turn right.
        place: takes the outline's two coordinates to a kernel point.
        along: kernel vector, square to the outline's plane.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism

    return BRepPrimAPI_MakePrism(flat_face(loops, place, along), along).Shape()


def flat_face(loops: tuple[Loop, ...], place: Any, normal: Any) -> Any:
    """A plane face with holes; see :func:`prism`."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.gp import gp_Dir, gp_Pln

    origin = place(0.0, 0.0)
    plane = gp_Pln(origin, gp_Dir(normal))
    maker = BRepBuilderAPI_MakeFace(plane, _wire(loops[0], place, gp_Dir(normal)), True)
    for hole in loops[1:]:
        maker.Add(_wire(hole, place, gp_Dir(normal)))
    if not maker.IsDone():
        raise BadSolid("the kernel cannot make a face of the outline")
    return maker.Face()


def _wire(loop: Loop, place: Any, normal: Any) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeWire

    maker = BRepBuilderAPI_MakeWire()
    for edge in loop:
        maker.Add(_edge(edge, place, normal))
    if not maker.IsDone():
        raise BadSolid("the kernel cannot join the outline")
    return maker.Wire()


def _edge(edge: Any, place: Any, normal: Any) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.gp import gp_Ax2, gp_Circ

    if edge.centre is None:
        return BRepBuilderAPI_MakeEdge(place(*edge.start), place(*edge.end)).Edge()
    # Seen against the normal the arc turns left; a right turn is a left turn about the reversed axis.
    axis = normal if edge.left else normal.Reversed()
    circle = gp_Circ(gp_Ax2(place(*edge.centre), axis), edge.radius)
    if edge.start == edge.end:
        return BRepBuilderAPI_MakeEdge(circle).Edge()
    return BRepBuilderAPI_MakeEdge(circle, place(*edge.start), place(*edge.end)).Edge()
