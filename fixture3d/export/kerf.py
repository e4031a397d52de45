"""An outline made larger by half a kerf, and its holes smaller, so that the part that falls out has its size.

The kernel draws the line at a distance: an arc of half a kerf round an outer corner, so that the corner itself stays
sharp; an inner corner comes out with the radius of the cut, as it does on any machine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fixture3d.errors import FixtureError
from fixture3d.export.flat import read_wire
from fixture3d.job import polygon
from fixture3d.job.weldment import PlateShape
from fixture3d.stock.section import Edge, Loop, backwards
from fixture3d.tolerance import MAKING


def with_kerf(name: str, plate: PlateShape, kerf: float) -> PlateShape:
    """The line that the middle of the cut follows.

    Args:
        name: of the part, for messages.
        plate: at its true size.
        kerf: width of the cut, mm; 0 leaves the plate as it is.

    Raises:
        FixtureError: the kerf is not a width of a cut, or a hole or the outline does not allow it.
    """
    if not 0.0 <= kerf <= MAKING.most_kerf:
        raise FixtureError(f"kerf {kerf:g} mm: expected 0 to {MAKING.most_kerf:g} mm, such as 1.5")
    if kerf == 0.0:
        return plate
    for k, (_, _, diameter) in enumerate(plate.holes, start=1):
        if diameter <= kerf:
            raise FixtureError(
                f"{name}: hole {k} of {diameter:g} mm is no wider than the kerf of {kerf:g} mm; drill it, or cut finer"
            )
    openings = []
    for k, loop in enumerate(plate.openings, start=1):
        drawn = _offset(backwards(loop), -kerf / 2.0)
        if drawn is None:
            raise FixtureError(f"{name}: opening {k} is too narrow for a kerf of {kerf:g} mm; cut finer")
        openings.append(backwards(drawn))
    outline = _offset(plate.outline, kerf / 2.0)
    if outline is None:
        raise FixtureError(f"{name}: its outline has a slit too narrow for a kerf of {kerf:g} mm; cut finer")
    return replace(
        plate, outline=outline, openings=tuple(openings), holes=tuple((x, y, d - kerf) for x, y, d in plate.holes)
    )


def _offset(loop: Loop, by: float) -> Loop | None:
    """A loop that turns left, so much further out, mm; None where it does not stay one loop."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepOffsetAPI import BRepOffsetAPI_MakeOffset
    from OCP.GeomAbs import GeomAbs_Arc

    if len(loop) == 1:
        (one,) = loop
        assert one.centre is not None
        radius = one.radius + by
        return backwards(polygon.ring((*one.centre, 2.0 * radius))) if radius > 0.0 else None
    try:
        tool = BRepOffsetAPI_MakeOffset(BRepBuilderAPI_MakeFace(_wire(loop), True).Face(), GeomAbs_Arc)
        tool.Perform(by)
        wires = read_wire(tool.Shape()) if tool.IsDone() else []
    except Exception:  # the kernel raises its own tree of failures
        return None
    if len(wires) != 1:
        return None
    return polygon.left_turning(wires[0])


def _wire(loop: Loop) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeWire

    maker = BRepBuilderAPI_MakeWire()
    for edge in loop:
        maker.Add(_edge(edge))
    return maker.Wire()


def _edge(edge: Edge) -> Any:
    import numpy as np
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Pnt

    def point(p: tuple[float, float]) -> Any:
        return gp_Pnt(p[0], p[1], 0.0)

    if edge.centre is None:
        return BRepBuilderAPI_MakeEdge(point(edge.start), point(edge.end)).Edge()
    middle = edge.at(np.array([0.5]))[0][0]
    arc = GC_MakeArcOfCircle(point(edge.start), point((float(middle[0]), float(middle[1]))), point(edge.end)).Value()
    return BRepBuilderAPI_MakeEdge(arc).Edge()
