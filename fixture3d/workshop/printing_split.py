"""A print that is too large for the bed, in pieces that are keyed to each other."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError
from fixture3d.solid.mesh import Mesh, require_good
from fixture3d.tolerance import PRINTING
from fixture3d.units import Units, show, show_sizes
from fixture3d.workshop.printing_size import area_of, from_manifold


def split(
    mesh: Mesh, bed: tuple[float, float, float], name: str, units: Units
) -> tuple[list[tuple[str, Mesh]], list[str]]:
    """The pieces of a part that lies on z = 0, and a sentence for each cut.

    A part that fits, as it lies or turned by a right angle, stays whole. Else it is cut square to the axes into equal
    lengths; a square key on one piece goes into a socket of the other.

    Raises:
        FixtureError: more than `Printing.pieces` would come of it.
    """
    size = np.ptp(mesh.vertices, axis=0)
    margin = PRINTING.key[0]  # a key stands out of its piece
    if fits_bed(size, bed):
        return [(name, mesh)], []
    if size[1] > size[0] and bed[0] >= bed[1]:
        mesh = mesh.moved(frame.rotation((0, 0, 1), 90.0))
        size = np.ptp(mesh.vertices, axis=0)
    counts = [1 if size[k] <= bed[k] else math.ceil(size[k] / (bed[k] - margin)) for k in range(3)]
    if math.prod(counts) > PRINTING.pieces:
        raise FixtureError(
            f"{name}: {show_sizes([float(v) for v in size], units)} would take {math.prod(counts)} pieces on a bed "
            f"of {show_sizes(bed, units)}; expected at most {PRINTING.pieces}: a larger bed"
        )
    solids, said = [mesh.manifold], []
    low = mesh.vertices.min(axis=0)
    for axis in range(3):
        for k in range(1, counts[axis]):
            even = float(low[axis] + size[axis] * k / counts[axis])
            place = _best_place(mesh.manifold, axis, even, (bed[axis] - margin - size[axis] / counts[axis]) / 2.0)
            before = solids
            solids = []
            for solid in before:
                box = solid.bounding_box()
                if not box[axis] + 1e-6 < place < box[axis + 3] - 1e-6:
                    solids.append(solid)
                    continue
                *halves, keys = _cut(solid, axis, place)
                solids += halves
                joint = f"{keys} key{'s' * (keys != 1)}" if keys else "no room for a key, glue it butt to butt"
                said.append(f"{name}: cut at {show(place - float(low[axis]), units)} along {'XYZ'[axis]}: {joint}")
    pieces = [one for solid in solids for one in solid.decompose()]
    return [(f"{name} piece {k}", from_manifold(one, mesh)) for k, one in enumerate(pieces, start=1)], said


def fits_bed(size: Any, bed: tuple[float, float, float]) -> bool:
    """Whether a part of such a size (3,) goes on the bed, as it lies or turned by a right angle."""
    across = (size[0] <= bed[0] and size[1] <= bed[1]) or (size[0] <= bed[1] and size[1] <= bed[0])
    return bool(across and size[2] <= bed[2])


def _best_place(solid: Any, axis: int, even: float, slack: float) -> float:
    """Where the section has room for the most and largest keys, as near to the even parting as that goes.

    So a cut goes beside a row of holes and not through it. Either side may come nearer by half of the ``slack`` that a
    piece has on the bed.
    """
    turned = solid.transform(_upright(axis)[:3])

    def room(off: float) -> tuple[float, float]:
        spots, side = _spots(turned.slice(even + off))
        return -len(spots) * side, abs(off)

    steps = int(max(slack, 0.0) / PRINTING.cut_step)
    return even + min((PRINTING.cut_step * s for k in range(steps + 1) for s in {k, -k}), key=room)


def _cut(solid: Any, axis: int, place: float) -> tuple[Any, Any, int]:
    """The piece beyond the plane with its sockets, the one before it with its keys, and how many."""
    import manifold3d

    normal = [0.0, 0.0, 0.0]
    normal[axis] = 1.0
    beyond, before = solid.split_by_plane(normal, place)
    turned = _upright(axis)
    section = solid.transform(turned[:3]).slice(place)
    spots, side = _spots(section)
    back = np.linalg.inv(turned)
    for x, y in spots:
        key = _prism(manifold3d, x, y, side, place - 1.0, place + side, back) ^ solid
        # It begins before the plane: with a face in it the socket would stay shut.
        room = _prism(manifold3d, x, y, side + PRINTING.key_play, place - 1.0, place + side + PRINTING.key_play, back)
        before, beyond = before + key, beyond - room
    require_good(before)
    require_good(beyond)
    return beyond, before, len(spots)


def _upright(axis: int) -> Any:
    """The turn that brings an axis up."""
    return {
        0: frame.rotation((0, 1, 0), -90.0),
        1: frame.rotation((1, 0, 0), 90.0),
        2: frame.identity(),
    }[axis]


def _prism(manifold3d: Any, x: float, y: float, side: float, low: float, high: float, back: Any) -> Any:
    """A square key that stands on an edge: lying level, its undersides slant by 45 degrees and need no support."""
    box = manifold3d.Manifold.cube([side, side, high - low]).translate([-side / 2.0, -side / 2.0, 0.0])
    return box.rotate([0.0, 0.0, 45.0]).translate([x, y, low]).transform(back[:3])


def _spots(section: Any) -> tuple[list[tuple[float, float]], float]:
    """Middles of one or two keys in a section, as far apart as they go, and their side; the largest that has room."""
    import shapely

    area = area_of(section)
    for side in PRINTING.key:
        reach = math.sqrt(0.5) * (side + PRINTING.key_play) + PRINTING.key_wall
        room = area.buffer(-reach)
        if room.is_empty:
            continue
        corners = shapely.get_coordinates(room)
        first = min(map(tuple, corners.tolist()))
        far = max(map(tuple, corners.tolist()), key=lambda c: (math.dist(c, first), c))
        if math.dist(first, far) > 2.0 * reach:
            return [first, far], side
        return [first], side
    return [], 0.0
