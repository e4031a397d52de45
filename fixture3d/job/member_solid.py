"""The solid of a member: an extrusion of its outline, cut with exact surfaces. ``OCP`` is imported inside functions.

The tool of a cope is the space that the other member takes, grown by the gap, with all that lies beyond it: one prism
whose front is the outline that the closed form uses too. Each solid with more than flat cuts is held against the volume
that the closed form gives before it is used.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from fixture3d.errors import BadSolid
from fixture3d.job.cope import Saddle
from fixture3d.job.cuts import CutPlane
from fixture3d.job.endcut import OUTWARD, EndCut, HoleCut, NotchCut, SlotCut
from fixture3d.job.member_volume import volume
from fixture3d.job.prism import prism
from fixture3d.solid import kernel
from fixture3d.stock.section import Edge, Loop, Section, circle

# mm by which the widest place of a cope's tool is drawn in when the kernel fails: two rounds of one size touch there
# along a line, which booleans do not like. The end then stops short of its tip by a hundredth at most.
_DRAWN_IN = (0.0, 1e-6, 1e-5, 1e-4)
TRUE = 2e-6  # of the volume, how far a solid may be off the closed form


def member_solid(section: Section, ends: tuple[EndCut, EndCut], holes: Sequence[HoleCut] = ()) -> Any:
    """A length of stock between two cuts, as a ``TopoDS_Shape``; X along its centre line.

    Square ends need no cutting: the extrusion is then made to length.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    plain = not holes and not any(end.saddle or end.openings for end in ends)
    bar = _bar(section, ends)
    sloped = [end.plane for end in ends if end.saddle is None and end.plane.slope != (0.0, 0.0)]
    if plain:
        return _cut(section, bar, [_half_space(plane) for plane in sloped]) if sloped else bar
    exact = volume(section, ends, holes)
    for drawn_in in _DRAWN_IN:
        tools = [_half_space(plane) for plane in sloped]
        tools += [_saddle_tool(section, end.saddle, drawn_in) for end in ends if end.saddle is not None]
        tools += [_opening(section, ends, one) for end in ends for one in end.openings]
        tools += [_drill(section, hole) for hole in holes]
        lumps = kernel.split_solids(_cut(section, bar, tools))
        if len(lumps) == 1 and kernel.is_valid(lumps[0]) and abs(kernel.volume(lumps[0]) / exact - 1.0) <= TRUE:
            return lumps[0]
        if not any(end.saddle for end in ends):
            break
    if len(lumps) > 1:
        raise BadSolid(f"{section.designation} falls into {len(lumps)} pieces at its cuts; expected one piece")
    raise BadSolid(_why_untrue(section, ends, holes))


def _why_untrue(section: Section, ends: tuple[EndCut, EndCut], holes: Sequence[HoleCut]) -> str:
    """The sentence for cuts that the kernel does not make, with those that may be to blame."""
    cuts = []
    for end, name in zip(ends, ("start", "end"), strict=True):
        has = [f"cope onto {end.onto or end.to}"] if end.saddle is not None else []
        has += ["slot"] if end.slot is not None else []
        has += ["notch"] if end.notch is not None else []
        if has:
            cuts.append(f"{' and '.join(has)} at its {name}")
    if holes:
        cuts.append(f"holes at x = {', '.join(f'{hole.x:g}' for hole in holes)}")
    return (
        f"the kernel cannot make the cuts of {section.designation} true to their closed form ({'; '.join(cuts)}); "
        "where two of these just touch, a gap, depth, length or place changed by 0.1 mm parts them"
    )


def _bar(section: Section, ends: tuple[EndCut, EndCut]) -> Any:
    """The stock before it is cut: to length where an end is square, longer elsewhere."""
    from OCP.gp import gp_Pnt, gp_Vec

    tips = []
    for end in ends:
        square = end.saddle is None and end.plane.slope == (0.0, 0.0)
        # A sloped cut must leave no skin of the square end, so it starts from a longer bar.
        tips.append(end.tip(section) + (0.0 if square else end.side))
    start, stop = tips
    return prism(section.outline(), lambda y, z: gp_Pnt(start, y, z), gp_Vec(stop - start, 0.0, 0.0))


def _cut(section: Section, bar: Any, tools: Iterable[Any]) -> Any:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.TopTools import TopTools_ListOfShape

    stock, saws = TopTools_ListOfShape(), TopTools_ListOfShape()
    stock.Append(bar)
    for tool in tools:
        saws.Append(tool)
    operation = BRepAlgoAPI_Cut()
    operation.SetArguments(stock)
    operation.SetTools(saws)
    operation.Build()
    if not operation.IsDone():
        raise BadSolid(f"{section.designation} cannot be cut by the kernel")
    return operation.Shape()


def _half_space(plane: CutPlane) -> Any:
    """Everything outside a cut, as a solid without end."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeHalfSpace
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt

    point, normal = plane.point, plane.normal
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(*map(float, point)), gp_Dir(*map(float, normal)))).Face()
    outside = point + normal
    return BRepPrimAPI_MakeHalfSpace(face, gp_Pnt(*map(float, outside))).Solid()


def _saddle_tool(section: Section, saddle: Saddle, drawn_in: float) -> Any:
    """The other member's front and all that lies beyond it, as long as the cut needs."""
    from OCP.gp import gp_Pnt, gp_Vec

    ny, nz = saddle.across
    across = np.array([0.0, ny, nz])
    toward = np.array([1.0, -saddle.slope[0], -saddle.slope[1]]) * saddle.side
    toward /= float(np.linalg.norm(toward))
    along = np.cross(across, toward)
    origin = np.array([saddle.at, -saddle.offset * ny, -saddle.offset * nz])
    low, high = saddle.reach
    size = 2.0 * math.hypot(section.width, section.height)
    deep = max(-low, high, *(abs(e) for edge in saddle.front for _, e in (edge.start, edge.end))) + high - low
    wide, far = abs(saddle.offset) + size + deep, size + deep
    long = (size + deep) / saddle.sine * 2.0 + abs(saddle.offset)
    front = _trimmed(saddle.front, drawn_in)
    (left, e0), (right, e1) = front[0].start, front[-1].end
    corners = [(right, e1), (wide, e1), (wide, far), (-wide, far), (-wide, e0), (left, e0)]
    outline: Loop = (*front, *(Edge(a, b) for a, b in pairwise(corners)))
    begin = origin - long * along

    def place(d: float, e: float) -> Any:
        return gp_Pnt(*map(float, begin + d * across + e * toward))

    return prism((outline,), place, gp_Vec(*map(float, 2.0 * long * along)))


def _trimmed(front: Loop, by: float) -> Loop:
    """A front without its outermost strips of that width."""
    if by == 0.0:
        return front
    low, high = front[0].start[0] + by, front[-1].end[0] - by
    return tuple(_clipped(edge, low, high) for edge in front if edge.end[0] > low and edge.start[0] < high)


def _clipped(edge: Edge, low: float, high: float) -> Edge:
    ends = []
    for point in (edge.start, edge.end):
        d = min(max(point[0], low), high)
        if d == point[0]:
            ends.append(point)
        elif edge.centre is None:
            share = (d - edge.start[0]) / (edge.end[0] - edge.start[0])
            ends.append((d, edge.start[1] + share * (edge.end[1] - edge.start[1])))
        else:
            ends.append((d, edge.centre[1] - math.sqrt(max(edge.radius**2 - (d - edge.centre[0]) ** 2, 0.0))))
    return Edge(ends[0], ends[1], edge.centre)


def _opening(section: Section, ends: tuple[EndCut, EndCut], one: SlotCut | NotchCut) -> Any:
    """A slot or notch from its bottom to beyond the end."""
    from OCP.gp import gp_Pnt, gp_Vec

    size = 2.0 * math.hypot(section.width, section.height)
    end = ends[1] if one.side > 0 else ends[0]
    long = abs(end.tip(section) - one.bottom) + 2.0
    if isinstance(one, SlotCut):
        u, low, high = np.array(one.across), one.offset - one.width / 2.0, one.offset + one.width / 2.0
        v, near, far = np.array([-u[1], u[0]]), -size, size
    else:
        (way, low), *rest = one.faces
        u, high = np.array(way), size
        v, near, far = (np.array([-u[1], u[0]]), -size, size) if not rest else (np.array(rest[0][0]), rest[0][1], size)
    corners = [low * u + near * v, high * u + near * v, high * u + far * v, low * u + far * v]
    loop = tuple(
        Edge((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    )
    return prism((loop,), lambda y, z: gp_Pnt(one.bottom, y, z), gp_Vec(one.side * long, 0.0, 0.0))


def _drill(section: Section, hole: HoleCut) -> Any:
    """A round bar where a hole is, from outside its side to beyond the other one, or to the middle."""
    from OCP.gp import gp_Pnt, gp_Vec

    half = section.half_extents[1 if hole.upright else 0] + 1.0
    sign = max(OUTWARD[hole.side], key=abs)
    depth = 2.0 * half if hole.through else half
    loop = circle(hole.diameter / 2.0)
    if hole.upright:
        return prism(
            (loop,),
            lambda d, e: gp_Pnt(hole.x + d, hole.offset + e, sign * half),
            gp_Vec(0.0, 0.0, -sign * depth),
        )
    return prism(
        (loop,),
        lambda d, e: gp_Pnt(hole.x + d, sign * half, hole.offset + e),
        gp_Vec(0.0, -sign * depth, 0.0),
    )
