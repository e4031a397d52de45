"""What a block stands on: its foot, the area that carries it, and where its weight acts. Lengths in mm.

All of it is flat work in the seat plane, taken from what the models say of their feet; only the weight needs meshes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.part import NORMALS, Face, Part, face_down
from fixture3d.scene.table import Grid, Table
from fixture3d.tolerance import SHOP

if TYPE_CHECKING:
    from shapely import Geometry, Polygon

OPPOSITE: dict[Face, Face] = {
    "bottom": "top",
    "top": "bottom",
    "front": "back",
    "back": "front",
    "left": "right",
    "right": "left",
}
_LEVEL = 1.0 - 1e-9  # of the cosine: planes that look the same way


@dataclass(frozen=True, kw_only=True)
class Support:
    """What carries one block, seen along the normal of its seat plane.

    Attributes:
        foot: the area it stands on.
        area: everything at the height of its foot that carries: plates and the sides of other blocks that look the
            same way; may be empty.
        gap: from the foot down to the nearest plate below when nothing carries it at its own height; 0 otherwise.
    """

    foot: Polygon
    area: Geometry
    gap: float

    @property
    def on(self) -> Geometry:
        """The part of the foot that is carried."""
        return self.foot.intersection(self.area)

    @property
    def out(self) -> float:
        """How far the foot reaches beyond what carries it."""
        from shapely import Point

        return max(float(self.area.distance(Point(xy))) for xy in self.foot.exterior.coords)


def support(job: Job, item: Seat) -> Support | None:
    """What carries a block; None where the table's outline is not known."""
    from shapely import Polygon, unary_union

    to_plane = frame.inverse(item.plane_to_world)
    foot = Polygon(face_corners(item, item.face, to_plane)[:, :2])
    own = job.table.grid("" if item.stacked else item.stands_on)
    under = None if item.stacked else _plate(own, to_plane, foot)
    if under is None and not item.stacked:
        return None
    if under is not None and under[1] <= SHOP.contact and under[0].covers(foot):
        return Support(foot=foot, area=under[0], gap=0.0)  # the usual block, wholly on its own plate
    carrying = [plate for grid in job.table.grids if (plate := _level_plate(grid, to_plane, foot)) is not None]
    if under is not None and under[1] < 0.0:
        carrying.append(under[0])  # it runs into its plate: the interference check has the figure
    for other in job.seats.values():
        below = item.stacked and other.name == item.stands_on
        if other.name == item.name or other.clamp or (other.complaint and not below):
            continue
        if not below and _apart(item, other):
            continue
        top = _carrying_side(other, to_plane, must=below)
        if top is not None and top.intersects(foot):
            carrying.append(top)
    if under is None or under[1] <= SHOP.contact or any(area.intersects(foot) for area in carrying):
        return Support(foot=foot, area=unary_union(carrying), gap=0.0)
    return Support(foot=foot, area=under[0], gap=under[1])


def _apart(a: Seat, b: Seat) -> bool:
    """Whether two blocks are so far apart that no face of one can lie on one of the other: by balls round them."""
    way = (a.model_to_world[:3, 3] - b.model_to_world[:3, 3]).tolist()
    return math.hypot(*way) > _ball(a.part) + _ball(b.part) + SHOP.contact


@lru_cache(maxsize=4096)
def _ball(part: Part) -> float:
    """Radius round the model's origin of a ball that holds the block, its feet and its seat heights, mm."""
    reach = float(np.linalg.norm(np.abs(np.asarray(part.box())).max(axis=0)))
    feet = [math.hypot(x, y, part.seat_height(face)) for face in OPPOSITE for x, y in part.foot(face)]
    return max([reach, *feet])


def face_corners(item: Seat, face: Face, world_to_plane: Array) -> Array:
    """Corners of the flat area of one of its faces, in a plane's frame, (n, 3)."""
    flat = item.part.foot(face)
    upright = np.array([[x, y, -item.part.seat_height(face)] for x, y in flat])
    pose = frame.chain(world_to_plane, item.model_to_world, frame.inverse(face_down(face)))
    result: Array = frame.points(pose, upright)
    return result


def round_about_pin(item: Seat) -> bool:
    """Whether it stands by one shank of its own and is round about it, so that a turn changes nothing.

    Judged by the foot: it fills the circle about the pin through its furthest corner, but for the corners of the
    polygon that stands for the circle.
    """
    from shapely import Polygon

    pins = [p for p in item.pins if p.state == "seated"]
    if len(pins) != 1 or not pins[0].pin.integral or item.part.tip() is not None:  # a clamp's arm points somewhere
        return False
    to_plane = frame.inverse(item.plane_to_world)
    corners = face_corners(item, item.face, to_plane)[:, :2]
    reach = float(np.linalg.norm(corners - frame.points(to_plane, pins[0].at)[:2], axis=1).max())
    return float(Polygon(corners).area) > 0.95 * np.pi * reach**2


def weight_point(job: Job, item: Seat) -> tuple[float, float]:
    """Where the block's weight acts, in its seat plane, from the solids themselves."""
    total, moment = 0.0, np.zeros(3)
    for body in job.of_item(item.name):
        if body.role in ("block", "clamp"):
            volume, centre = centroid(body.shape.mesh.vertices, body.shape.mesh.faces)
            total += volume
            moment += volume * frame.points(body.body_to_world, centre)
    local = frame.points(frame.inverse(item.plane_to_world), moment / total)
    return float(local[0]), float(local[1])


def centroid(vertices: Array, faces: NDArray[np.int32]) -> tuple[float, Array]:
    """Volume (mm3) and centre (3,) of a closed mesh: the sum of the tetrahedra from the first vertex."""
    a, b, c = (vertices[faces[:, k]] - vertices[0] for k in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    volume = float(six.sum()) / 6.0
    centre: Array = vertices[0] + (six[:, None] * (a + b + c)).sum(axis=0) / 24.0 / volume
    return volume, centre


def _plate(grid: Grid, world_to_plane: Array, foot: Polygon) -> tuple[Polygon, float] | None:
    """Outline of a plate and how far below the seat plane it lies, mm; None when it looks another way.

    Where a foot stands in slots of the plate, and not on both sides of them, they are taken out of it.
    """
    from shapely import LineString, Polygon

    if grid.size is None:
        return None
    pose = frame.chain(world_to_plane, grid.grid_to_world)
    if float(pose[2, 2]) < _LEVEL:
        return None
    x0, y0, x1, y1 = grid.size
    corners = frame.points(pose, [(x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0)])
    outline = Polygon(corners[:, :2])
    for slot in grid.slots if isinstance(grid, Table) else ():
        ends = frame.points(pose, [(*slot.start, 0.0), (*slot.end, 0.0)])
        beside = outline.difference(LineString(ends[:, :2]).buffer(slot.width / 2.0))
        if not beside.intersection(foot).convex_hull.buffer(SHOP.contact).covers(outline.intersection(foot)):
            outline = beside
    return outline, -float(corners[0, 2])


def _level_plate(grid: Grid, world_to_plane: Array, foot: Polygon) -> Polygon | None:
    """Outline of a plate that lies in the seat plane."""
    found = _plate(grid, world_to_plane, foot)
    return found[0] if found is not None and abs(found[1]) <= SHOP.contact else None


def _carrying_side(lower: Seat, world_to_plane: Array, must: bool) -> Polygon | None:
    """The side of a block that lies in the seat plane of another and looks the same way.

    Args:
        lower: the block that may carry.
        world_to_plane: of the seat plane.
        must: it does carry, by a socket below its top (a ledge): then the whole block counts, seen from the side
            of the block that it carries.
    """
    from shapely import MultiPoint, Polygon

    out = world_to_plane[2, :3] @ lower.model_to_world[:3, :3]
    face = next((f for f in NORMALS if f != lower.face and float(out @ NORMALS[f]) >= _LEVEL), None)
    if face is not None:
        corners = face_corners(lower, face, world_to_plane)
        if float(np.abs(corners[:, 2]).max()) <= SHOP.contact:
            return Polygon(corners[:, :2])
    if not must:
        return None
    low, high = lower.part.box()
    box = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    pose = frame.chain(world_to_plane, lower.model_to_world)
    hull: Polygon = MultiPoint(frame.points(pose, box)[:, :2]).convex_hull
    return hull
