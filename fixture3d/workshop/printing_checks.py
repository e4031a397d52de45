"""What a print may come to grief by: walls too thin, undersides too steep, gaps too wide to bridge."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.export.laying import support
from fixture3d.frame import Array
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import MAKING, PRINTING
from fixture3d.units import Units, show, show_sizes
from fixture3d.workshop.printing_size import area_of


def checked_lines(name: str, mesh: Mesh, units: Units) -> list[str]:
    """Sentences about a part that lies on z = 0 as it is printed; the last one says how large it is."""
    out = []
    under = support(mesh, frame.identity())
    if under > 0.0:
        gap, free = flat_undersides(mesh)
        if gap > PRINTING.wall:
            clean = (
                "bridged clean" if gap <= PRINTING.bridge else "too wide to bridge clean: support it, or turn the part"
            )
            out.append(f"{name}: a flat underside spans {show(gap, units)}, {clean} (public guides: 10 to 30 mm)")
        if free > PRINTING.wall:
            out.append(
                f"{name}: a flat underside of {show(free, units)} stands out with nothing at its other side: support it"
            )
        if steep_area(mesh) > 0.0:
            out.append(
                f"{name}: {steep_area(mesh):.0f} mm2 look down more steeply than {MAKING.overhang:g} degrees from the "
                "upright and need support, in the way it lies that needs least"
            )
    size = np.ptp(mesh.vertices, axis=0)
    out.append(f"{name}: {show_sizes([float(v) for v in size], units)} as it lies, {_needs(under)}")
    return out


def wall_lines(name: str, mesh: Mesh, units: Units) -> list[str]:
    """A sentence where walls are too thin. For a part as it is before it is cut: keys taper to an edge."""
    thin = thin_walls(mesh)
    if thin <= 0.0:
        return []
    return [
        f"{name}: walls thinner than {show(PRINTING.wall, units)} (public guides), {thin:.0f} mm2 of them in the worst "
        "section: make them thicker, or print them for the look only"
    ]


def _needs(under: float) -> str:
    return "no support" if under <= 0.0 else f"{under / 1000.0:.1f} cm3 under steep and flat undersides"


def thin_walls(mesh: Mesh, least: float = PRINTING.wall) -> float:
    """Area of walls thinner than ``least`` in the worst section, mm2; 0 where there is none.

    Sections square to each of the three axes, `Printing.slices` of them. A section is opened by half the least wall:
    what does not come back is thin, but for the tips of sharp corners, which are smaller than ``least`` squared. A wall
    is thin in sections of two directions at least; what is so in one alone is a ridge that was cut near its top.
    """
    import manifold3d

    worst: list[float] = []
    for turn in (frame.identity(), frame.rotation((0, 1, 0), 90.0), frame.rotation((1, 0, 0), 90.0)):
        solid = mesh.moved(turn).manifold
        worst.append(0.0)
        low, high = solid.bounding_box()[2], solid.bounding_box()[5]
        for z in np.linspace(low, high, PRINTING.slices + 1)[:-1] + (high - low) / (2.0 * PRINTING.slices):
            section = solid.slice(float(z))
            miter = manifold3d.JoinType.Miter
            kept = section.offset(-least / 2.0, miter, 4.0).offset(least / 2.0 * 1.001, miter, 4.0)
            for piece in (section - kept).decompose():
                if piece.area() > least * least:
                    worst[-1] = max(worst[-1], float(piece.area()))
    return sorted(worst)[1]


def _undersides(mesh: Mesh) -> tuple[Array, Array, Array]:
    """Triangles off the bed, their unit normals and their areas."""
    t = mesh.triangles
    cross = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    doubled = np.linalg.norm(cross, axis=1)
    low = mesh.vertices[:, 2].min() + MAKING.on_bed
    chosen = (doubled > 1e-12) & (t[:, :, 2].max(axis=1) > low)
    return t[chosen], cross[chosen] / doubled[chosen, None], doubled[chosen] / 2.0


def steep_area(mesh: Mesh) -> float:
    """Area of slanting undersides that are steeper than `Making.overhang`, mm2; flat ones are bridges."""
    _, normals, areas = _undersides(mesh)
    steep = normals[:, 2] < -math.sin(math.radians(MAKING.overhang)) - 1e-6
    return round(float(areas[steep & (normals[:, 2] > -1.0 + 1e-6)].sum()), 2)


def flat_undersides(mesh: Mesh) -> tuple[float, float]:
    """Width of the widest bridge and of the widest flat underside that stands out freely, mm; 0 where there is none.

    A width is the diameter of the largest circle. What lies between the material just below it, within its convex hull,
    is bridged; the rest has nothing at its other side.
    """
    import shapely

    t, normals, _ = _undersides(mesh)
    flat = t[normals[:, 2] <= -1.0 + 1e-6]
    bridge = free = 0.0
    for z in np.unique(np.round(flat[:, 0, 2], 3)):
        level: Any = [shapely.Polygon(one[:, :2]) for one in flat[np.abs(flat[:, 0, 2] - z) < 2e-3]]
        below = shapely.convex_hull(area_of(mesh.manifold.slice(float(z) - 0.01)))
        for region in shapely.get_parts(shapely.union_all(level)):
            bridge = max(bridge, _widest(region.intersection(below)))
            free = max(free, _widest(region.difference(below)))
    return bridge, free


def _widest(area: Any) -> float:
    import shapely

    parts = [one for one in shapely.get_parts(area) if one.area > 1e-6]
    return max((2.0 * float(shapely.maximum_inscribed_circle(one, 0.01).length) for one in parts), default=0.0)
