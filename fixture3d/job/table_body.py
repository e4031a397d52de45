"""The table as a body: what any other body does to the plate, its holes and its slots.

The plate stays analytic: a rectangle, a thickness, slots, and holes that are found by arithmetic. Only where a body
dips below the plane is a local patch of plate and holes made as a solid. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from fixture3d import frame
from fixture3d.cache import Store, content_key
from fixture3d.frame import Array
from fixture3d.solid.mesh import Mesh, require_good
from fixture3d.tolerance import NUMERIC, SHOP

if TYPE_CHECKING:
    from fixture3d.scene.slots import TableSlot
    from fixture3d.scene.table import Grid, Table
    from fixture3d.solid.shape import Shape

_KIND = "plate-1"  # raise the number when the method changes its digits
Kind = Literal["clear", "touching", "overlapping"]

DEEP = 1000.0
"""What a plate of unknown thickness is taken to be: nothing may go through it."""
ROUND = 128
"""Sides of a hole's polygon. They lie outside the true circle, by 0.005 mm for a 16 mm hole, so a shank of nominal
size in a hole of nominal size never reads as an overlap."""


@dataclass(frozen=True, kw_only=True)
class Plate:
    """One plate with holes, as a body.

    Attributes:
        name: ``"table"`` or the name of the extra grid.
        grid: its holes.
        low: (x, y) least corner of the plate in the grid's own plane.
        high: (x, y) greatest corner.
        slots: straight slots through it.
        thickness: of the material behind the plane.
        assumed: ``"edge"`` and ``"thickness"`` when the scene does not give them.
    """

    name: str
    grid: Grid
    low: tuple[float, float]
    high: tuple[float, float]
    thickness: float
    slots: tuple[TableSlot, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def to_world(self) -> Array:
        """Plate frame to world, (4, 4): Z out of the plate, its face at z = 0."""
        return self.grid.grid_to_world

    def depth_at(self, points: Array) -> Array:
        """How deep points lie in the material, (n,), 0 outside it, in the holes and in the slots.

        Args:
            points: (n, 3) in the plate's frame.
        """
        x, y, z = points.T
        inside = np.minimum.reduce(
            [-z, z + self.thickness, x - self.low[0], self.high[0] - x, y - self.low[1], self.high[1] - y]
        )
        near = self.hole_distance(points[:, :2]) - self.grid.bore / 2.0
        for slot in self.slots:
            near = np.minimum(near, _beside(slot, points[:, :2]))
        result: Array = np.maximum(np.minimum(inside, near), 0.0)
        return result

    def hole_distance(self, xy: Array) -> Array:
        """Distance of points (n, 2) from the centre of the nearest hole, (n,); infinite when there is none."""
        centre = self.hole_centre(xy)
        result: Array = np.where(
            np.isfinite(centre[:, 0]), np.hypot(*(xy - np.nan_to_num(centre, posinf=0.0)).T), np.inf
        )
        return result

    def hole_centre(self, xy: Array) -> Array:
        """Centre of the hole nearest to each of (n, 2) points, (n, 2); infinite when there is none."""
        best = np.full(xy.shape, np.inf)
        reach = np.full(len(xy), np.inf)
        for half, less in ((0.0, 0), (0.5, 1)) if self.grid.stagger else ((0.0, 0),):
            counts = np.array([self.grid.columns - less, self.grid.rows - less])
            if counts.min() < 1:
                continue
            step = np.array(self.grid.naming.signs) * np.array(self.grid.pitch)
            index = np.clip(np.round(xy / step - half), 0, counts - 1)
            centre = (index + half) * step
            far = np.hypot(*(xy - centre).T)
            closer = far < reach
            best[closer], reach[closer] = centre[closer], far[closer]
        return best

    def box(self, low: Array | None = None, high: Array | None = None) -> tuple[Array, Array]:
        """The plate without its holes: vertices (8, 3) in the world and faces (12, 3), wound outwards.

        Args:
            low: (2,) in the plate's frame, least corner of a part of it.
            high: (2,) greatest corner.
        """
        x0, y0 = self.low if low is None else np.maximum(low, self.low)
        x1, y1 = self.high if high is None else np.minimum(high, self.high)
        corners = np.array([[x, y, z] for z in (-self.thickness, 0.0) for y in (y0, y1) for x in (x0, x1)])
        faces = [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4]]
        faces += [[2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]
        return frame.points(self.to_world, corners), np.array(faces)


@dataclass(frozen=True, kw_only=True)
class PlateRelation:
    """A body and a plate.

    Attributes:
        kind: clear, touching or overlapping.
        gap: between the two, 0 unless clear.
        depth: of the body's deepest point in the material.
        volume: of body and material in common, mm3.
        way_out: (3,) in the world: how to move the body so that it is clear of the plate; None unless overlapping.
        at: (3,) in the world: the middle of what overlaps, at its lowest, or the lowest point of the body.
    """

    kind: Kind
    gap: float
    depth: float
    volume: float
    way_out: tuple[float, float, float] | None
    at: tuple[float, float, float]


def plates(table: Table) -> tuple[Plate, ...]:
    """The table, and every extra grid whose thickness is known.

    What the scene does not give was filled in by the table itself or is filled in here, and is named in ``assumed``.
    """
    out = []
    for grid in table.grids:
        if grid.name and grid.thickness is None:
            continue
        assumed = list(table.assumed) if not grid.name else []
        size = grid.size
        if size is None:
            ex, ey = grid.pitch[0] / 2.0, grid.pitch[1] / 2.0
            x0, y0, x1, y1 = grid.box
            size = (x0 - ex, y0 - ey, x1 + ex, y1 + ey)
            assumed.append("edge")
        if grid.thickness is None:
            assumed.append("thickness")
        out.append(
            Plate(
                name=grid.name or "table",
                grid=grid,
                low=size[:2],
                high=size[2:],
                thickness=grid.thickness or DEEP,
                slots=table.slots if grid is table else (),
                assumed=tuple(sorted({"edge", "thickness"} & set(assumed))),
            )
        )
    return tuple(out)


def relate_plate(
    plate: Plate,
    mesh: Mesh,
    mesh_to_world: Array,
    contact: float = SHOP.contact,
    reach: float = SHOP.report_gap,
) -> PlateRelation | None:
    """How a body stands to a plate; None when they are further apart than ``reach``.

    Curved faces are read from the mesh, so the depth of a round body is short by up to the mesh's chord.

    Args:
        plate: the plate.
        mesh: the body, in its own frame.
        mesh_to_world: (4, 4).
        contact: overlap no deeper than this, and gaps no wider, are touching.
        reach: the greatest gap of interest.
    """
    local = mesh.moved(frame.chain(frame.inverse(plate.to_world), mesh_to_world))
    return _by_arithmetic(plate, local.vertices, contact, reach) or _by_patch(plate, local, contact, reach)


def relate_stored(plate: Plate, shape: Shape, shape_to_world: Array, store: Store | None) -> PlateRelation | None:
    """`relate_plate` for a shape: with its fine mesh where that decides, and answers kept that take a solid patch.

    Args:
        plate: the plate.
        shape: the body.
        shape_to_world: (4, 4).
        store: the cache; None computes everything.
    """
    local = frame.chain(frame.inverse(plate.to_world), shape_to_world)
    middle = frame.points(local, shape.box.mean(axis=0))
    half = np.abs(local[:3, :3]) @ (np.ptp(shape.box, axis=0) / 2.0)
    if _out_of_reach(plate, middle - half, middle + half, SHOP.report_gap):
        return None
    mesh = shape.mesh
    points = frame.points(local, mesh.vertices)
    low = float(points[:, 2].min())
    if not mesh.planar and NUMERIC.merge < abs(low) < SHOP.contact + mesh.chord:
        # A round side may be lower than its mesh, by enough to matter here.
        mesh = shape.fine
        points = frame.points(local, mesh.vertices)
    found = _by_arithmetic(plate, points, SHOP.contact, SHOP.report_gap)
    if found is not None or _out_of_reach(plate, points.min(axis=0), points.max(axis=0), SHOP.report_gap):
        return found
    if store is None:
        return _by_patch(plate, mesh.moved(local), SHOP.contact, SHOP.report_gap)
    pose = np.round(shape_to_world / NUMERIC.key) * NUMERIC.key + 0.0
    key = content_key([shape.key, pose.tobytes(), repr((plate.low, plate.high, plate.thickness, plate.grid))])
    kept = store.get_json(key, _KIND)
    if isinstance(kept, dict) and "relation" in kept:
        found = _from_json(kept["relation"])
        if found is not None or kept["relation"] is None:
            return found
    found = _by_patch(plate, mesh.moved(local), SHOP.contact, SHOP.report_gap)
    store.put_json(key, _KIND, {"relation": None if found is None else asdict(found)})
    return found


def _from_json(value: Any) -> PlateRelation | None:
    """A kept relation, or None when it is not one."""
    try:
        way = value["way_out"]
        return PlateRelation(
            kind=value["kind"],
            gap=float(value["gap"]),
            depth=float(value["depth"]),
            volume=float(value["volume"]),
            way_out=None if way is None else _triple(np.array(way)),
            at=_triple(np.array(value["at"])),
        )
    except (TypeError, KeyError, ValueError, IndexError):
        return None


def _by_arithmetic(plate: Plate, points: Array, contact: float, reach: float) -> PlateRelation | None:
    """The relation of a body that stands on or above the plate; None when only a solid patch can tell.

    That is when it dips in, when it hangs over an edge or a hole, and when it is out of reach.

    Args:
        plate: the plate.
        points: (n, 3) corners of the body's mesh in the plate's frame.
        contact: as in `relate_plate`.
        reach: as in `relate_plate`.
    """
    low = float(points[:, 2].min())
    if low < -contact or _out_of_reach(plate, points.min(axis=0), points.max(axis=0), reach):
        return None
    gap = _gap_above(plate, points, low)
    return None if gap is None else _apart(plate, gap, contact, points[int(points[:, 2].argmin())])


def _out_of_reach(plate: Plate, low: Array, high: Array, reach: float) -> bool:
    apart = max(plate.low[0] - high[0], low[0] - plate.high[0], plate.low[1] - high[1], low[1] - plate.high[1], low[2])
    return max(float(apart), -plate.thickness - float(high[2])) > reach


def _gap_above(plate: Plate, points: Array, low: float) -> float | None:
    """The gap when a lowest vertex stands over material; None when only a solid patch can tell."""
    lowest = points[points[:, 2] <= low + NUMERIC.merge].copy()
    lowest[:, 2] = -plate.thickness / 2.0
    return max(low, 0.0) if bool((plate.depth_at(lowest) > 0.0).any()) else None


def _by_patch(plate: Plate, local: Mesh, contact: float, reach: float) -> PlateRelation | None:
    """The relation by a solid patch of plate and holes under the body; None when it is out of reach."""
    if _out_of_reach(plate, local.box[0], local.box[1], reach):
        return None
    body = local.manifold
    patch = _patch(plate, local.box, reach, plate.thickness)
    if patch is None:
        return None
    points, depths, volume = _in_material(plate, body, patch, float(np.ptp(local.box, axis=0).max()))
    if volume > 0.0:
        depth = float(depths.max())
        low, high = points.min(axis=0), points.max(axis=0)
        spot = np.array([*((low + high)[:2] / 2.0), low[2]])
        if depth > contact:
            way = _sideways(plate, local, points, depths, patch, contact)
            out = frame.directions(plate.to_world, way if way is not None else _upwards(plate, local, depth))
            return PlateRelation(
                kind="overlapping",
                gap=0.0,
                depth=depth,
                volume=volume,
                way_out=_triple(out),
                at=_triple(frame.points(plate.to_world, spot)),
            )
        return _apart(plate, 0.0, contact, spot)
    gap = float(body.min_gap(patch, reach + 1.0))
    if gap > reach:
        return None
    return _apart(plate, gap, contact, local.vertices[int(local.vertices[:, 2].argmin())])


def _apart(plate: Plate, gap: float, contact: float, at: Array) -> PlateRelation:
    touching = gap <= contact
    return PlateRelation(
        kind="touching" if touching else "clear",
        gap=0.0 if touching else gap,
        depth=0.0,
        volume=0.0,
        way_out=None,
        at=_triple(frame.points(plate.to_world, at)),
    )


def _in_material(plate: Plate, body: Any, patch: Any, size: float) -> tuple[Array, Array, float]:
    """Points (n, 3) all over what body and plate have in common, their depths (n,), and its volume."""
    common = body ^ patch
    require_good(common)
    volume = 0.0 if common.is_empty() else float(common.volume())
    if volume <= NUMERIC.volume:
        return np.zeros((0, 3)), np.zeros(0), 0.0
    dense = common.refine_to_length(max(0.5, size / 60.0))
    points = np.asarray(dense.to_mesh64().vert_properties)[:, :3]
    return points, plate.depth_at(points), volume


def _sideways(plate: Plate, local: Mesh, points: Array, depths: Array, patch: Any, contact: float) -> Array | None:
    """The move towards the middle of the hole that a shank has missed a little; None when that does not free it."""
    worst = np.average(points[:, :2], axis=0, weights=depths)
    towards = plate.hole_centre(worst[None])[0] - worst
    far = float(np.hypot(*towards))
    depth = float(depths.max())
    if not (math.isfinite(far) and plate.grid.bore / 4.0 < far < plate.grid.bore):
        return None
    way = np.array([*(towards / far * depth), 0.0])
    after = _in_material(plate, local.manifold.translate(way.tolist()), patch, float(np.ptp(local.box, axis=0).max()))
    return way if float(after[1].max(initial=0.0)) <= contact else None


def _upwards(plate: Plate, local: Mesh, depth: float) -> Array:
    """The lift that frees the body: whatever is below the face over material, also what is below the plate."""
    column = _patch(plate, local.box, 0.0, plate.thickness - min(0.0, float(local.box[0, 2])))
    caught = local.manifold ^ column if column is not None else None
    lift = depth if caught is None or caught.is_empty() else -float(caught.bounding_box()[2])
    return np.array([0.0, 0.0, lift])


def _patch(plate: Plate, box: Array, margin: float, thickness: float) -> Any | None:
    """Plate and holes under ``box`` (2, 3) as a ``manifold3d.Manifold``; None when there is no plate."""
    import manifold3d

    pad = margin + plate.grid.bore
    low = np.maximum(box[0, :2] - pad, plate.low)
    high = np.minimum(box[1, :2] + pad, plate.high)
    if bool((high <= low).any()):
        return None
    radius = plate.grid.bore / 2.0 / math.cos(math.pi / ROUND)
    turn = np.arange(ROUND) * (2.0 * math.pi / ROUND)
    circle = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    outline = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    face = manifold3d.CrossSection([outline])
    holes = [circle + centre for centre in _holes_in(plate, low - radius, high + radius)]
    if holes:
        face = face - manifold3d.CrossSection(holes)
    for slot in plate.slots:
        x0, y0, x1, y1 = slot.box
        if x0 < high[0] and y0 < high[1] and x1 > low[0] and y1 > low[1]:
            face = face - _opening(slot)
    solid = face.extrude(thickness).translate([0.0, 0.0, -thickness])
    require_good(solid)
    return None if solid.is_empty() else solid


def _opening(slot: TableSlot) -> Any:
    """A slot as a ``manifold3d.CrossSection``: its sides exact, the polygons of its ends outside the circles."""
    import manifold3d

    x, y = slot.way
    # Sides of the polygon, not its corners, lie along the sides of the slot.
    turn = math.atan2(y, x) + (np.arange(ROUND) + 0.5) * (2.0 * math.pi / ROUND)
    ring = slot.width / 2.0 / math.cos(math.pi / ROUND) * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return manifold3d.CrossSection.hull_points(np.concatenate([ring + slot.start, ring + slot.end]))


def _beside(slot: TableSlot, xy: Array) -> Array:
    """How far points (n, 2) are from the side of a slot, (n,); less than 0 in it."""
    from_start = xy - np.array(slot.start)
    along = np.clip(from_start @ np.array(slot.way), 0.0, slot.length)
    result: Array = np.hypot(*(from_start - along[:, None] * np.array(slot.way)).T) - slot.width / 2.0
    return result


def _holes_in(plate: Plate, low: Array, high: Array) -> Iterator[Array]:
    """Centres of the holes whose centre lies in a rectangle of the plate's plane."""
    grid = plate.grid
    for half, less in ((0.0, 0), (0.5, 1)) if grid.stagger else ((0.0, 0),):
        ranges = []
        for k, count in enumerate((grid.columns - less, grid.rows - less)):
            step = grid.naming.signs[k] * grid.pitch[k]
            ends = sorted((low[k] / step - half, high[k] / step - half))
            ranges.append(range(max(0, math.ceil(ends[0])), min(count - 1, math.floor(ends[1])) + 1))
        for j in ranges[1]:
            for i in ranges[0]:
                yield np.array(grid.xy(i, j, half > 0.0))


def _triple(vector: Array) -> tuple[float, float, float]:
    return float(vector[0]) + 0.0, float(vector[1]) + 0.0, float(vector[2]) + 0.0
