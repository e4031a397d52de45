"""The surface of a solid face by face, for a viewer that measures: triangles sorted by face, and each face described.

Lengths in mm, the frame of the shape. A distance between two faces that is measured from the triangles, and then from
the true surfaces where the nearest points lie inside a face, is right within 0.02 mm, rims included. Coordinates are
rounded to `STEP`, which packs well and is far below any meaning.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.frame import Array
from fixture3d.solid.bend_mesh import Torus, bend

if TYPE_CHECKING:
    from fixture3d.solid.mesh import Mesh

Ints = NDArray[np.int32]

# mm; the kernel keeps edges within half of the chord that it is asked for, so that two rims and the rounding stay
# under 0.02. Inside a face that is described its numbers are the truth; inside any other face the triangles are.
CHORD: Final = 0.018
FREE_CHORD: Final = 0.009
INSIDE: Final = 0.05  # of a face that is described: this close its triangles lead to the true surface
STEP: Final = 1.0 / 1024.0  # mm; a power of two, so that a float32 has empty digits at its end
PLANE, CYLINDER, SPHERE, CONE, TORUS, OTHER = 0, 1, 2, 3, 4, 9
_SHARP: Final = float(np.cos(np.deg2rad(25.0)))  # as in the picture: flatter edges are not drawn
_FLAT: Final = float(np.cos(np.deg2rad(0.05)))  # neighbours of a mesh that bend less lie in one face
_ROUNDING: Final = 1e-4  # mm; of a corner of a mesh: a float32 at 1000 mm has 3e-5, four decimals in a text 5e-5
_WHOLE: Final = 0.02  # mm; what is flat within this from end to end, with no edge inside, is one face
_OFF_PLANE: Final = 0.002  # mm; nor may a vertex be further off the plane of its face
_ONE_WAY: Final = 0.5  # of the area: the side of a rod looks all round, and what is left of its normals is rounding
_SHARE: Final = 1.0 / 24.0  # of a smooth stretch of a mesh: a smaller flat is a facet of something round
STORED: Final = "facets-6"  # raise the number when the method changes its digits
_WELD: Final = 1e-4  # mm; corners of neighbouring faces nearer than this are one corner


@dataclass(frozen=True, eq=False)
class Facets:
    """A closed surface, told apart by faces.

    Attributes:
        vertices: (n, 3) mm, repeated from face to face.
        faces: (m, 3) indices, outward, sorted by face.
        surfaces: one row a face: number of triangles, kind, and the numbers that describe it: a plane by its outward
            unit normal and its distance along it; a cylinder by a point and the unit direction of its axis, its radius
            and 1 when the material is outside it; a sphere by its centre and radius; a cone by its apex, the
            unit direction from the apex into it and half its angle in degrees; a torus by its centre, the unit
            direction of its axis, the radius of its centre line and that of its tube; anything else by nothing.
        edges: (k, 2) indices of the vertices between which a line is drawn.
    """

    vertices: Array
    faces: Ints
    surfaces: tuple[tuple[float, ...], ...]
    edges: Ints

    def to_bytes(self) -> bytes:
        """The same as an npz file, the same bytes for the same facets."""
        out = io.BytesIO()
        sizes = np.array([len(s) for s in self.surfaces], dtype=np.int64)
        flat = np.array([v for s in self.surfaces for v in s], dtype=np.float64)
        np.savez(out, vertices=self.vertices, faces=self.faces, edges=self.edges, sizes=sizes, flat=flat)
        return out.getvalue()

    @classmethod
    def from_bytes(cls, data: bytes) -> Facets:
        """The facets that `to_bytes` wrote.

        Raises:
            BadSolid: the bytes are not such facets.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as found:
                vertices = np.asarray(found["vertices"], dtype=np.float64).reshape(-1, 3)
                faces = np.asarray(found["faces"], dtype=np.int32).reshape(-1, 3)
                edges = np.asarray(found["edges"], dtype=np.int32).reshape(-1, 2)
                rows = np.split(np.asarray(found["flat"], dtype=np.float64), np.cumsum(found["sizes"])[:-1])
        except Exception as fault:  # zip, format and value errors alike
            raise BadSolid("the stored facets cannot be read") from fault
        surfaces = tuple(tuple(float(v) for v in row) for row in rows)
        for indices in (faces, edges):
            if len(indices) and (indices.min() < 0 or indices.max() >= len(vertices)):
                raise BadSolid("the stored facets are damaged")
        if any(len(s) < 2 for s in surfaces) or sum(int(s[0]) for s in surfaces) != len(faces):
            raise BadSolid("the stored facets are damaged")
        return cls(vertices, faces, surfaces, edges)


def of_brep(solid: Any, sparse: bool = False, volume: float | None = None) -> Facets:
    """The facets of a ``TopoDS_Shape``; as near as they come where a solid's own faces do not reach their edges.

    Args:
        solid: what to draw.
        sparse: not to be looked at: without lines to draw, and free forms within `CHORD` with few triangles where that
            can be done, many times faster, but uneven.
        volume: of the solid, mm3, where it is known; it takes a tenth of the time.

    Raises:
        BadSolid: it does not mesh.
    """
    from fixture3d.solid import kernel

    free = kernel.has_free_faces(solid)
    chord, inside = (FREE_CHORD, FREE_CHORD) if free and not sparse else (CHORD, CHORD if free else INSIDE)
    if free and sparse:
        try:
            off, found = _drawn(solid, chord, inside, delabella=True, inner=False, lines=False, volume=volume)
        except BadSolid:
            off = float("inf")
        if off <= inside:
            return found
    best: tuple[float, Facets] | None = None
    for delabella, share in kernel.TRIES:
        if share < 1.0 and best is None:
            break  # finer edges mend no fault of the solid
        try:
            off, found = _drawn(solid, chord * share, inside, delabella, inner=True, lines=not sparse, volume=volume)
        except BadSolid:
            continue
        if best is None or off < best[0]:
            best = off, found
        if best[0] <= inside:
            break
    if best is None:
        raise BadSolid("the solid's faces cannot be drawn; mend the solid where it was drawn")
    return best[1]


def _drawn(
    solid: Any, chord: float, inside: float, delabella: bool, inner: bool, lines: bool, volume: float | None
) -> tuple[float, Facets]:
    """How far triangles lie off their surface at most, mm, and the facets, by one of the kernel's meshers.

    Raises:
        BadSolid: a face without triangles, or the wrong volume.
    """
    from fixture3d.solid import kernel

    blocks: list[Array] = []
    parts: list[Ints] = []
    surfaces: list[tuple[float, ...]] = []
    start, off = 0, 0.0
    for found in kernel.face_meshes(kernel.meshed(solid, chord, delabella=delabella, inside=inside, inner=inner)):
        if not len(found.faces):
            continue
        face, far = found.followed(inside)
        off = max(off, far)
        told = _described(face.surface, face.vertices, face.faces)
        block, part = _coarser(told, face.vertices, face.faces, inside)
        blocks.append(block)
        parts.append(part + start)
        surfaces.append((float(len(part)), *told))
        start += len(block)
    if not parts:
        raise BadSolid("no face has triangles")
    vertices, faces = np.concatenate(blocks), np.concatenate(parts).astype(np.int32)
    true_volume, true_area = kernel.volume(solid) if volume is None else volume, kernel.surface(solid)
    if abs(_volume(vertices, faces) - true_volume) > 2.0 * max(inside, off) * true_area + 1e-6 * true_volume:
        raise BadSolid("the triangles hold the wrong volume")
    return off, _finished(vertices, faces, surfaces, lines)


def _coarser(told: tuple[float, ...], block: Array, part: Ints, inside: float) -> tuple[Array, Ints]:
    """A face as it is meshed, or a bend of a tube with fewer triangles."""
    if told[0] != TORUS:
        return block, part
    corner = _corners(block)
    _, first = np.unique(corner, return_index=True)
    sides = np.sort(corner[np.concatenate([part[:, [0, 1]], part[:, [1, 2]], part[:, [2, 0]]])], axis=1)
    pairs, counts = np.unique(sides, axis=0, return_counts=True)
    border = pairs[(counts == 1) & (pairs[:, 0] != pairs[:, 1])].astype(np.int64)
    label = _components(len(first), border)
    loops = [first[loop] for k in np.unique(label[border]) if len(loop := np.flatnonzero(label == k)) > 1]
    torus = Torus(np.array(told[1:4]), np.array(told[4:7]), told[7], told[8])
    made = bend(block, part, loops, torus, inside)
    return (block, part) if made is None else made


def of_mesh(mesh: Mesh) -> Facets:
    """The facets of a piece that is a mesh: its faces are its flat regions, and what is round, stretch by stretch."""
    label = _regions(mesh.vertices, mesh.faces)
    order = np.argsort(label, kind="stable")
    triangles, label = mesh.faces[order], label[order]
    blocks: list[Array] = []
    parts: list[Ints] = []
    surfaces: list[tuple[float, ...]] = []
    start = 0
    for part in np.split(triangles, np.flatnonzero(np.diff(label)) + 1):
        used, inverse = np.unique(part, return_inverse=True)
        block = mesh.vertices[used]
        local: Ints = inverse.reshape(-1, 3).astype(np.int32)
        normal, distance = _plane(block, local)
        flat = bool(normal.any() and np.abs(block @ normal - distance).max() <= _OFF_PLANE)
        surfaces.append((float(len(part)), PLANE, *normal, distance) if flat else (float(len(part)), OTHER))
        blocks.append(block)
        parts.append(local + start)
        start += len(block)
    return _finished(np.concatenate(blocks), np.concatenate(parts).astype(np.int32), surfaces)


def _described(surface: Any, block: Array, part: Ints) -> tuple[float, ...]:
    """Kind and numbers of one face of a solid."""
    from OCP.GeomAbs import GeomAbs_Cone, GeomAbs_Cylinder, GeomAbs_Plane, GeomAbs_Sphere, GeomAbs_Torus

    kind = surface.GetType()
    if kind == GeomAbs_Plane:
        normal, distance = _plane(block, part)
        return (PLANE, *normal, distance)
    if kind == GeomAbs_Cylinder:
        cylinder = surface.Cylinder()
        at, axis = _xyz(cylinder.Axis().Location()), _xyz(cylinder.Axis().Direction())
        # The point of the axis that is nearest to the face, so that the numbers stay small.
        at = at + axis * float((block.mean(axis=0) - at) @ axis)
        return (CYLINDER, *at, *axis, float(cylinder.Radius()), float(_looks_at_axis(block, part, at, axis)))
    if kind == GeomAbs_Sphere:
        sphere = surface.Sphere()
        return (SPHERE, *_xyz(sphere.Location()), float(sphere.Radius()))
    if kind == GeomAbs_Cone:
        cone = surface.Cone()
        apex, axis = _xyz(cone.Apex()), _xyz(cone.Axis().Direction())
        along = (block - apex) @ axis
        if float(along.min()) < -_OFF_PLANE and float(along.max()) > _OFF_PLANE:
            return (OTHER,)  # both sides of the apex: not one cone
        axis = axis if float(along.mean()) >= 0.0 else -axis
        return (CONE, *apex, *axis, abs(float(np.rad2deg(cone.SemiAngle()))))
    if kind == GeomAbs_Torus:
        torus = surface.Torus()
        at, axis = _xyz(torus.Axis().Location()), _xyz(torus.Axis().Direction())
        return (TORUS, *at, *axis, float(torus.MajorRadius()), float(torus.MinorRadius()))
    return (OTHER,)


def _xyz(p: Any) -> Array:
    return np.array([p.X(), p.Y(), p.Z()], dtype=np.float64)


def _plane(block: Array, part: Ints) -> tuple[Array, float]:
    """Outward unit normal (3,) of flat triangles, 0 of what looks all round, and its distance from the origin."""
    a, b, c = (block[part[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    normal = cross.sum(axis=0)
    size = float(np.linalg.norm(normal))
    one_way = size > _ONE_WAY * float(np.linalg.norm(cross, axis=1).sum())
    normal = normal / size + 0.0 if one_way else np.zeros(3)
    along = block @ normal
    return normal, float((along.min() + along.max()) / 2.0) + 0.0


def _looks_at_axis(block: Array, part: Ints, at: Array, axis: Array) -> bool:
    """Whether the triangles of a cylinder look at its axis, as those of a bore do."""
    a, b, c = (block[part[:, k]] for k in range(3))
    middle = (a + b + c) / 3.0 - at
    away = middle - (middle @ axis)[:, None] * axis
    return float(np.einsum("ij,ij->", np.cross(b - a, c - a), away)) < 0.0


def _finished(vertices: Array, faces: Ints, surfaces: list[tuple[float, ...]], lines: bool = True) -> Facets:
    """Facets, with their lines where these are wanted; coordinates rounded, numbers without noise."""
    rounded = np.round(vertices / STEP) * STEP + 0.0
    neat = tuple(tuple(round(v, 9) + 0.0 for v in row) for row in surfaces)
    if not lines:
        return Facets(rounded, faces, neat, np.zeros((0, 2), dtype=np.int32))
    face = np.repeat(np.arange(len(surfaces)), [int(s[0]) for s in surfaces])
    return Facets(rounded, faces, neat, _lines(vertices, faces, face))


def _volume(vertices: Array, faces: Ints) -> float:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0


def _normals(vertices: Array, faces: Ints) -> tuple[Array, Array]:
    """Unit normals (m, 3) and areas (m,) of triangles."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    double = np.linalg.norm(cross, axis=1)
    return cross / np.maximum(double, 1e-300)[:, None], double / 2.0


def _neighbours(corner: NDArray[np.int64], faces: Ints) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs (k, 2) of triangles with an edge in common, and for each the edge's place (k,) among the 3 m edges.

    Args:
        corner: for each vertex the number of its corner; vertices of one corner lie in one place.
        faces: (m, 3).
    """
    named = corner[faces]
    pairs = np.sort(np.concatenate([named[:, [0, 1]], named[:, [1, 2]], named[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    same = np.flatnonzero((pairs[order][:-1] == pairs[order][1:]).all(axis=1))
    first, second = order[same], order[same + 1]
    return np.stack([owner[first], owner[second]], axis=1), first


def _lines(vertices: Array, faces: Ints, face: NDArray[np.int64]) -> Ints:
    """Edges (k, 2) between two faces at which the surface bends by more than 25 degrees."""
    corner = _corners(vertices)
    pairs, where = _neighbours(corner, faces)
    normals, _ = _normals(vertices, faces)
    bend = np.einsum("ij,ij->i", normals[pairs[:, 0]], normals[pairs[:, 1]])
    drawn = where[(bend < _SHARP) & (face[pairs[:, 0]] != face[pairs[:, 1]])]
    ends: Ints = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])[np.sort(drawn)].astype(np.int32)
    return ends


def _regions(vertices: Array, faces: Ints) -> NDArray[np.int64]:
    """A number for each triangle (m,): of its flat region, or of the smooth stretch in which it is a small facet."""
    pairs, where = _neighbours(np.arange(len(vertices), dtype=np.int64), faces)
    normals, areas = _normals(vertices, faces)
    bend = np.einsum("ij,ij->i", normals[pairs[:, 0]], normals[pairs[:, 1]])
    flat = _components(len(faces), pairs[bend > _FLAT])
    smooth = _components(len(faces), pairs[bend > _SHARP])
    # A narrow triangle's normal is as wrong as the rounding of its corners is large beside its height, and the small
    # triangles of an end face then look like facets: what is flat as a whole is one face, whatever its triangles say.
    for wide in (_components(len(faces), _alike(vertices, faces, pairs, where, bend)), smooth):
        whole = _flat_parts(vertices, faces, wide)[wide]
        _, flat = np.unique(np.where(whole, len(faces) + wide, flat), return_inverse=True)
    flat_area, smooth_area = np.bincount(flat, areas), np.bincount(smooth, areas)
    small = (np.bincount(flat) <= 2)[flat] & (flat_area[flat] < _SHARE * smooth_area[smooth])
    # Numbers of regions in the order of their first triangle, so that the same mesh gives the same faces.
    mixed = np.where(small, len(faces) + smooth, flat)
    _, first, label = np.unique(mixed, return_index=True, return_inverse=True)
    rank = np.argsort(np.argsort(first, kind="stable"), kind="stable")
    numbers: NDArray[np.int64] = rank[label.reshape(-1)]
    return numbers


def _alike(
    vertices: Array, faces: Ints, pairs: NDArray[np.int64], where: NDArray[np.int64], bend: Array
) -> NDArray[np.int64]:
    """The pairs of neighbours that bend no more than rounded corners can make flat ones bend.

    A triangle lower than the rounding has no normal; it goes with its neighbour across its longest side.
    """
    sides = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    lengths = np.linalg.norm(vertices[sides[:, 0]] - vertices[sides[:, 1]], axis=1)
    _, areas = _normals(vertices, faces)
    longest = lengths.reshape(3, -1).max(axis=0)
    line = lengths[where]
    height = 2.0 * areas[pairs] / np.maximum(line, 1e-300)[:, None]
    least = 2.0 * areas / np.maximum(longest, 1e-300)
    needle = least[pairs] < 4.0 * _ROUNDING
    across = line[:, None] >= longest[pairs] * (1.0 - 1e-9)
    allowed = np.arccos(_FLAT) + _ROUNDING * (1.0 / np.maximum(height, 1e-12)).sum(axis=1)
    alike = ~needle.any(axis=1) & (np.arccos(np.clip(bend, -1.0, 1.0)) < allowed)
    found: NDArray[np.int64] = pairs[alike | (needle & across).any(axis=1)]
    return found


def _flat_parts(vertices: Array, faces: Ints, part: NDArray[np.int64]) -> NDArray[np.bool_]:
    """For each part (k,), of which ``part`` (m,) are the triangles' numbers, whether all of it lies in one plane."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    normal = np.stack([np.bincount(part, cross[:, k]) for k in range(3)], axis=1)
    sizes = np.linalg.norm(normal, axis=1)
    one_way = sizes > _ONE_WAY * np.bincount(part, np.linalg.norm(cross, axis=1))
    normal = normal / np.maximum(sizes, 1e-300)[:, None]
    off = np.einsum("mij,mj->mi", vertices[faces], normal[part])
    low, high = np.full(len(normal), np.inf), np.full(len(normal), -np.inf)
    np.minimum.at(low, part, off.min(axis=1))
    np.maximum.at(high, part, off.max(axis=1))
    found: NDArray[np.bool_] = one_way & (high - low <= _WHOLE)
    return found


def _corners(vertices: Array) -> NDArray[np.int64]:
    """For each vertex (n,) the number of the place where it lies."""
    from scipy.spatial import cKDTree

    return _components(len(vertices), cKDTree(vertices).query_pairs(_WELD, output_type="ndarray"))


def _components(count: int, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    labels: NDArray[np.int64] = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels
