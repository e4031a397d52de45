"""Bodies for the blind interference set: each is described once and made on demand as a B-rep or as a mesh.

A mesh is only offered where it is exactly the same solid as the B-rep (flat faces); a body that is a mesh by nature
(a cylinder of n flats, a faceted ball) has no B-rep. Nothing here comes from the package under test.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Points = Sequence[tuple[float, float]]


def shift(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Floats:
    """4x4 translation, mm."""
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix


def turn(axis: Sequence[float] | Floats, degrees: float) -> Floats:
    """4x4 rotation about an axis through the origin (Rodrigues)."""
    unit = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    cross = np.array([[0.0, -unit[2], unit[1]], [unit[2], 0.0, -unit[0]], [-unit[1], unit[0], 0.0]])
    angle = math.radians(degrees)
    matrix = np.eye(4)
    matrix[:3, :3] = np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * np.matmul(cross, cross)
    return matrix


def random_pose(rng: np.random.Generator, reach: float) -> Floats:
    """Random rotation, and a shift of length `reach` in a random direction."""
    axis, away = rng.normal(size=3), rng.normal(size=3)
    return shift(*(reach * away / np.linalg.norm(away))) @ turn(axis, float(rng.uniform(0.0, 360.0)))


@dataclass(frozen=True)
class Body:
    """A solid in its own frame with a placement; `brep` and `mesh` make it, `None` where that form does not exist."""

    brep: Callable[[], Any] | None
    mesh: Callable[[], Any] | None
    place: Floats = field(default_factory=lambda: np.eye(4))

    def moved(self, *matrices: Floats) -> Body:
        """The same body moved by the matrices, the last one first, as in a product."""
        total = np.eye(4)
        for matrix in matrices:
            total = total @ matrix
        return replace(self, place=total @ self.place)

    def as_brep(self, baked: bool) -> Any:
        """CadQuery shape; baked writes the placement into the geometry, otherwise it stays a location."""
        import cadquery as cq
        from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
        from OCP.gp import gp_Trsf

        assert self.brep is not None
        move = gp_Trsf()
        move.SetValues(*(float(number) for number in self.place[:3].ravel()))
        return cq.Shape.cast(BRepBuilderAPI_Transform(self.brep().wrapped, move, baked).Shape())

    def as_mesh(self) -> Any:
        """Closed welded trimesh."""
        assert self.mesh is not None
        mesh = self.mesh()
        mesh.apply_transform(self.place)
        return mesh


def split_mesh(mesh: Any) -> Any:
    """Every triangle in four: many coplanar triangles, same solid."""
    return mesh.subdivide()


def soup_mesh(mesh: Any, noise: np.random.Generator | None) -> Any:
    """What an STL file gives: float32 corners, none shared; with noise each is off by up to one float32 step."""
    import trimesh

    corners = np.asarray(mesh.triangles, dtype=np.float32)
    if noise is not None:
        step = noise.integers(-1, 2, size=corners.shape)
        toward = np.where(step > 0, np.float32(np.inf), np.float32(-np.inf))
        corners = np.where(step == 0, corners, np.nextafter(corners, toward))
    faces = np.arange(3 * len(corners)).reshape(-1, 3)
    return trimesh.Trimesh(corners.reshape(-1, 3).astype(float), faces, process=False)


# --- outlines ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Poly:
    """Closed polygon, counter-clockwise."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Ring:
    """Circle; `spin` turns the start point, which becomes the seam of the cylinder."""

    radius: float
    x: float = 0.0
    y: float = 0.0
    spin: float = 0.0


@dataclass(frozen=True)
class Rounded:
    """Rectangle about the origin with rounded corners."""

    width: float
    height: float
    radius: float


Outline = Poly | Ring | Rounded


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Poly:
    return Poly(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def regular(count: int, radius: float, flat_down: bool = False) -> Poly:
    """Regular polygon on a circle; a vertex at -y, or with `flat_down` the middle of a side."""
    first = -math.pi / 2 + (math.pi / count if flat_down else 0.0)
    angles = [first + 2 * math.pi * k / count for k in range(count)]
    return Poly(tuple((radius * math.cos(a), radius * math.sin(a)) for a in angles))


def _wire(outline: Outline, z: float) -> Any:
    import cadquery as cq

    if isinstance(outline, Poly):
        return cq.Wire.makePolygon([cq.Vector(x, y, z) for x, y in outline.points], close=True)
    if isinstance(outline, Ring):
        centre = cq.Vector(outline.x, outline.y, z)
        wire = cq.Wire.makeCircle(outline.radius, centre, cq.Vector(0, 0, 1))
        return wire.rotate(centre, centre + cq.Vector(0, 0, 1), outline.spin)
    half_w, half_h, r = outline.width / 2, outline.height / 2, outline.radius
    edges, mid = [], r * (1 - math.sqrt(0.5))
    corners = [(half_w, half_h, 0), (-half_w, half_h, 1), (-half_w, -half_h, 2), (half_w, -half_h, 3)]
    ends: list[tuple[Any, Any]] = []
    for x, y, quarter in corners:
        sx, sy = math.copysign(1, x), math.copysign(1, y)
        on_x, on_y = cq.Vector(x, y - sy * r, z), cq.Vector(x - sx * r, y, z)
        start, end = (on_x, on_y) if quarter % 2 == 0 else (on_y, on_x)
        edges.append(cq.Edge.makeThreePointArc(start, cq.Vector(x - sx * mid, y - sy * mid, z), end))
        ends.append((start, end))
    for k in range(4):
        edges.append(cq.Edge.makeLine(ends[k][1], ends[(k + 1) % 4][0]))
    return cq.Wire.assembleEdges([edges[k // 2 + 4 * (k % 2)] for k in range(8)])


def _prism_mesh(outlines: Sequence[Poly], z0: float, z1: float) -> Any:
    """Caps by triangulation of the given points (none are moved), walls from the sides; holes wind clockwise."""
    import trimesh
    from manifold3d import triangulate

    loops = [np.array(outlines[0].points)] + [np.array(hole.points)[::-1] for hole in outlines[1:]]
    flat = np.vstack(loops)
    caps = np.asarray(triangulate([np.ascontiguousarray(loop) for loop in loops]), dtype=np.int64)
    count, faces, base = len(flat), [caps + len(flat), caps[:, ::-1]], 0
    for loop in loops:
        low = base + np.arange(len(loop))
        following = base + (np.arange(len(loop)) + 1) % len(loop)
        faces.append(np.column_stack([low, following, following + count]))
        faces.append(np.column_stack([low, following + count, low + count]))
        base += len(loop)
    vertices = np.vstack([np.column_stack([flat, np.full(count, z)]) for z in (z0, z1)])
    return trimesh.Trimesh(vertices, np.vstack(faces), process=False)


# --- bodies -----------------------------------------------------------------------------------------------------


def prism(outer: Outline, z0: float, z1: float, *holes: Outline) -> Body:
    """Outline with holes, swept along z."""

    def brep() -> Any:
        import cadquery as cq

        height = cq.Vector(0, 0, z1 - z0)
        return cq.Solid.extrudeLinear(_wire(outer, z0), [_wire(hole, z0) for hole in holes], height)

    polygons = [line for line in (outer, *holes) if isinstance(line, Poly)]
    if len(polygons) < 1 + len(holes):
        return Body(brep, None)
    many = max(len(line.points) for line in polygons) > 16
    return Body(None if many else brep, lambda: _prism_mesh(polygons, z0, z1))


def box(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> Body:
    return prism(rectangle(x0, y0, x1, y1), z0, z1)


def rod(radius: float, z0: float, z1: float) -> Body:
    """Cylinder about z, as the kernel's primitive (seam at +x)."""

    def brep() -> Any:
        import cadquery as cq

        return cq.Solid.makeCylinder(radius, z1 - z0, cq.Vector(0, 0, z0))

    return Body(brep, None)


def along_x(body: Body) -> Body:
    """Profile seen along x: the profile's x becomes y, its y becomes z, and z becomes x."""
    cycle = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    return body.moved(cycle)


def revolved(profile: Points) -> Body:
    """Closed (radius, z) polygon turned round the z axis."""

    def brep() -> Any:
        import cadquery as cq

        wire = cq.Wire.makePolygon([cq.Vector(r, 0, z) for r, z in profile], close=True)
        return cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1))

    return Body(brep, None)


def _ball(radius: float) -> Any:
    import cadquery as cq

    return cq.Solid.makeSphere(radius, cq.Vector(), cq.Vector(0, 0, 1), -90, 90, 360)


def ball(radius: float) -> Body:
    return Body(lambda: _ball(radius), None)


def torus(ring: float, tube: float) -> Body:
    """Torus about z: `ring` to the middle of the tube."""

    def brep() -> Any:
        import cadquery as cq

        return cq.Solid.makeTorus(ring, tube)

    return Body(brep, None)


def hollow_ball(outer: float, inner: float) -> Body:
    """Ball with a closed spherical void."""
    return Body(lambda: _ball(outer).cut(_ball(inner)).Solids()[0], None)


def hollow_box(outer: float, inner: float) -> Body:
    """Cube about the origin with a closed cubical void; half sizes."""
    case, void = (box(-h, h, -h, h, -h, h) for h in (outer, inner))

    def brep() -> Any:
        assert case.brep is not None
        assert void.brep is not None
        return case.brep().cut(void.brep()).Solids()[0]

    def mesh() -> Any:
        import trimesh

        skin, hole = case.as_mesh(), void.as_mesh()
        faces = np.vstack([skin.faces, hole.faces[:, ::-1] + len(skin.vertices)])
        return trimesh.Trimesh(np.vstack([skin.vertices, hole.vertices]), faces, process=False)

    return Body(brep, mesh)


def studded(half: float, top: float, radius: float, reach: float, spots: Points) -> Body:
    """Square plate with studs that stand on it, one solid; plate from top - 8 to top, studs up by `reach`."""

    def brep() -> Any:
        import cadquery as cq

        plate = prism(rectangle(-half, -half, half, half), top - 8, top).brep
        assert plate is not None
        studs = [cq.Solid.makeCylinder(radius, reach + 4, cq.Vector(x, y, top - 4)) for x, y in spots]
        return plate().fuse(*studs).Solids()[0]

    return Body(brep, None)


def pyramid(half: float, height: float) -> Body:
    """Tip down at the origin, square base (half side) at z = height."""
    corners = [(0.0, 0.0, 0.0)] + [(half * x, half * y, height) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    sides = [(0, 2, 1), (0, 3, 2), (0, 4, 3), (0, 1, 4)]

    def brep() -> Any:
        import cadquery as cq

        loops = [*sides, (1, 2, 3, 4)]
        wires = [cq.Wire.makePolygon([cq.Vector(*corners[k]) for k in loop], close=True) for loop in loops]
        faces = [cq.Face.makeFromWires(wire) for wire in wires]
        return cq.Solid.makeSolid(cq.Shell.makeShell(faces)).fix()

    def mesh() -> Any:
        import trimesh

        return trimesh.Trimesh(corners, [*sides, (1, 2, 3), (1, 3, 4)], process=False)

    return Body(brep, mesh)


def faceted_ball(radius: float) -> Body:
    """Icosphere with all vertices on the radius, one of them exactly at the lowest point."""

    def mesh() -> Any:
        import trimesh

        made = trimesh.creation.icosphere(subdivisions=3, radius=radius)
        lowest: Floats = np.array(made.vertices[100]) / radius
        down = np.array([0.0, 0.0, -1.0])
        angle = math.degrees(math.acos(float(lowest @ down)))
        made.apply_transform(turn(np.cross(lowest, down), angle))
        return made

    return Body(None, mesh)
