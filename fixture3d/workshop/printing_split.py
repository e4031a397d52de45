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
        for place, holed in _places(mesh.manifold, axis, counts[axis], bed[axis] - margin):
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
                joint += "; it goes through a hole, for which there is no other place on this bed" if holed else ""
                said.append(f"{name}: cut at {show(place - float(low[axis]), units)} along {'XYZ'[axis]}: {joint}")
    pieces = [one for solid in solids for one in solid.decompose()]
    return [(f"{name} piece {k}", from_manifold(one, mesh)) for k, one in enumerate(pieces, start=1)], said


def fits_bed(size: Any, bed: tuple[float, float, float]) -> bool:
    """Whether a part of such a size (3,) goes on the bed, as it lies or turned by a right angle."""
    across = (size[0] <= bed[0] and size[1] <= bed[1]) or (size[0] <= bed[1] and size[1] <= bed[0])
    return bool(across and size[2] <= bed[2])


def _places(solid: Any, axis: int, count: int, most: float) -> list[tuple[float, bool]]:
    """Where a solid is cut along an axis into so many pieces, none longer than ``most``, and whether through a hole.

    Of all ways that one through the fewest holes; of these with the most and largest keys, and of these the most even.
    A cut goes through a hole or a hollow where its section is smaller than those beside it.
    """
    if count == 1:
        return []
    box = solid.bounding_box()
    low, high = float(box[axis]), float(box[axis + 3])
    even = [low + (high - low) * k / count for k in range(1, count)]
    step = PRINTING.cut_step
    spots = sorted({*even, *(low + step * k for k in range(1, math.ceil((high - low) / step)))})
    turned = solid.transform(_upright(axis)[:3])
    # Beside a hole stays a wall that can be printed.
    near = (-PRINTING.wall, 0.0, PRINTING.wall)
    areas = {spot: min(float(turned.slice(spot + off).area()) for off in near) for spot in spots}
    lost, room = {}, {}
    for spot in spots:
        beside = max(areas[other] for other in spots if abs(other - spot) <= PRINTING.beside)
        lost[spot] = max(0, round((1.0 - areas[spot] / beside) / PRINTING.hollow))
        keys, side = _spots(turned, spot)
        room[spot] = len(keys) * side
    # For each place of the last cut so far: the best score and the cuts that lead there.
    ways: dict[float, tuple[int, float, float, list[float]]] = {low: (0, 0.0, 0.0, [])}
    for k in range(1, count):
        after: dict[float, tuple[int, float, float, list[float]]] = {}
        for spot in spots:
            fits = [way for last, way in ways.items() if 0.0 < spot - last <= most + 1e-9]
            if fits and high - spot <= most * (count - k) + 1e-9:
                holes, keyed, uneven, cuts = min(fits)
                uneven += abs(spot - even[k - 1])
                after[spot] = (holes + lost[spot], keyed - room[spot], uneven, [*cuts, spot])
        ways = after
    return [(spot, lost[spot] > 0) for spot in min(ways.values())[3]]


def _cut(solid: Any, axis: int, place: float) -> tuple[Any, Any, int]:
    """The piece beyond the plane with its sockets, the one before it with its keys, and how many."""
    import manifold3d

    normal = [0.0, 0.0, 0.0]
    normal[axis] = 1.0
    beyond, before = solid.split_by_plane(normal, place)
    turned = _upright(axis)
    spots, side = _spots(solid.transform(turned[:3]), place)
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


def _spots(upright: Any, place: float) -> tuple[list[tuple[float, float]], float]:
    """Middles of one or two keys from a height on, as far apart as they go, and their side; the largest with room.

    There is room where the sections over the whole length of the socket, and a wall beyond it, have it: a bore that
    begins behind the cut takes it away.
    """
    import shapely

    at_cut = area_of(upright.slice(place))
    for side in PRINTING.key:
        deep = side + PRINTING.key_play + PRINTING.key_wall
        steps = math.ceil(deep / PRINTING.cut_step)
        area = at_cut
        for k in range(1, steps + 1):
            area = area.intersection(area_of(upright.slice(place + deep * k / steps)))
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
