"""How two solids in one frame relate: the decision of one pair.

Coarse meshes settle what is clear, fine ones what is near; the CAD kernel only gives exact figures, each checked
against what the meshes allow, so that a boolean or a distance that went wrong is never believed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import inverse
from fixture3d.solid.depth import Mover, deeper, local_depth, split_halves, thickness, way_out
from fixture3d.solid.mesh import Mesh, require_good
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import NUMERIC

Array = NDArray[np.float64]

_ROUNDING = 1e-6  # mm, what distances of exact solids may differ by


@dataclass(frozen=True)
class Relation:
    """How two solids stand to one another.

    Attributes:
        kind: "clear", "touching" or "overlapping".
        gap: least distance, mm; 0 unless clear. None when it is beyond the range that was asked for.
        depth: local depth, mm: greatest distance of the two surfaces from one another within the overlap;
            0 unless overlapping.
        volume: of the overlap, mm3; 0 unless overlapping.
        way_out: shortest straight move of b found that ends the overlap, 3 numbers, mm; None unless overlapping.
    """

    kind: str
    gap: float | None
    depth: float
    volume: float
    way_out: tuple[float, float, float] | None


_THICK: Final = 4.0
"""Volume over surface of a layer is half its thickness at the most: eight times the thickness that counts as none."""

TOUCHING = Relation("touching", 0.0, 0.0, 0.0, None)
BEYOND = Relation("clear", None, 0.0, 0.0, None)


def relation_of(a: Shape, b: Shape, b_to_a: Array, contact: float, reach: float, want_way_out: bool) -> Relation:
    """The relation of two shapes, in a's frame.

    Args:
        a: first shape.
        b: second shape.
        b_to_a: (4, 4) rigid.
        contact: mm; nearer than this is touching, overlap of less depth is touching.
        reach: mm; larger gaps are given as None. May be infinite.
        want_way_out: whether to look for the way out of an overlap.

    Raises:
        BadSolid: one of the two is not a usable solid.
    """
    one = _Meshes(a.mesh, b.mesh, b_to_a, contact)
    span = math.nan
    if not one.boxes_meet(contact) or one.common.is_empty():
        span = one.gap(contact + one.slack, reach + one.slack)
        if span > contact + one.slack:
            return _clear(a, b, b_to_a, one, span, contact, reach)
    near = one if one.slack == 0.0 else _Meshes(a.fine, b.fine, b_to_a, contact)
    depth = 0.0
    if near.boxes_meet(contact) and near.common.volume() > NUMERIC.volume:
        # Two meshes of coincident curved faces cross within their chords.
        floor = max(contact, 1.5 * near.slack)
        depth = near.depth(floor)
        if depth > floor:
            return _overlapping(a, b, b_to_a, one, near, depth, want_way_out)
    if depth > 0.0:
        return TOUCHING
    if near is not one or math.isnan(span):
        span = near.gap(contact + near.slack, contact + near.slack)
    return _near(a, b, b_to_a, near, span, contact, reach)


def deep_in(a: Shape, b: Shape, b_to_a: Array, contact: float) -> bool:
    """Whether two shapes plainly overlap: so much volume for its surface that it cannot be a layer ``contact`` thin.

    Where not, they may overlap all the same: `relation_of` says. This takes a small part of its time.
    """
    meshes = _Meshes(a.mesh, b.mesh, b_to_a, contact)
    floor = max(contact, 1.5 * meshes.slack)
    return bool(meshes.common.volume() > _THICK * floor * meshes.common.surface_area())


class _Meshes:
    """Two meshes in a's frame and what they have in common."""

    def __init__(self, a: Mesh, b: Mesh, b_to_a: Array, contact: float) -> None:
        self.a, self.b, self.b_to_a = a, b, b_to_a
        self.slack = a.chord + b.chord
        if self.slack > 0.0 and not curves_near(a, b, b_to_a, contact + 2.0 * self.slack):
            self.slack = 0.0
        self.solid_a = a.manifold
        # Faces are told apart by the number of the mesh they come from, so one mesh may not play both parts.
        other = Mesh(b.vertices, b.faces, b.planar, b.chord) if b is a else b
        self.solid_b = other.manifold.transform(np.ascontiguousarray(b_to_a[:3]))

    @cached_property
    def common(self) -> Any:
        """The overlap as ``manifold3d.Manifold``, perhaps empty."""
        found = self.solid_a ^ self.solid_b
        require_good(found)
        return found

    def boxes_meet(self, contact: float) -> bool:
        """Whether the boxes, in either's frame, run into one another by more than ``contact``.

        Where they do not, all that the solids can share is a layer thinner than that: they do not overlap.
        """
        for mesh, other, pose in ((self.a, self.b, self.b_to_a), (self.b, self.a, inverse(self.b_to_a))):
            points = other.vertices @ pose[:3, :3].T + pose[:3, 3]
            low, high = points.min(axis=0), points.max(axis=0)
            shared = np.minimum(mesh.box[1], high) - np.maximum(mesh.box[0], low)
            # A foil wholly inside a block shares no more than its own thickness, and overlaps all the same.
            own = np.minimum(mesh.box[1] - mesh.box[0], high - low)
            if ((shared + self.slack <= contact) & (shared < 0.5 * own)).any():
                return False
        return True

    def gap(self, near: float, far: float) -> float:
        """Least distance of the surfaces, infinite when beyond ``far``; ``near`` is searched first."""
        length = max(near, self._box_gap() + near)
        while True:
            length = min(length, far)
            found = float(self.solid_a.min_gap(self.solid_b, length * (1.0 + 1e-9)))
            if found <= length:
                return found
            if length >= far:
                return math.inf
            length = 4.0 * length + 1.0

    def _box_gap(self) -> float:
        low_a, high_a = self.a.box
        box = np.asarray(self.solid_b.bounding_box()).reshape(2, 3)
        away = np.maximum(np.maximum(low_a - box[1], box[0] - high_a), 0.0)
        return float(np.linalg.norm(away))

    def halves(self) -> tuple[Array, Array]:
        return split_halves(self.common, self.a.manifold_id)

    def depth(self, floor: float) -> float:
        """Local depth, mm; below ``floor`` it is only known to be so."""
        half_a, half_b = self.halves()
        placed = self.b.triangles @ self.b_to_a[:3, :3].T + self.b_to_a[:3, 3]
        found = local_depth(half_a, half_b, self.a.triangles, placed, floor)
        # Meshes of faces that fit all round, as those of a cope, cross in many slivers, and the other half of a sliver
        # may be missing. Where no point lies deeper than ``floor`` under the other's surface the two only touch.
        if found > floor and not (deeper(half_a, placed, floor) or deeper(half_b, self.a.triangles, floor)):
            found = floor
        # Where faces of the two coincide neither lies inside the other, as when one solid is given twice.
        return max(found, thickness(self.common))


def _clear(a: Shape, b: Shape, b_to_a: Array, meshes: _Meshes, span: float, contact: float, reach: float) -> Relation:
    """Apart for certain; ``span`` is the meshes' gap, true to their slack."""
    if span > reach + meshes.slack:
        return BEYOND
    exact: float | None = span
    # Further off, curved faces may come into play that were out of range of contact.
    slack = meshes.a.chord + meshes.b.chord
    if slack > 0.0 and curves_near(meshes.a, meshes.b, b_to_a, span + 2.0 * slack):
        exact = _kernel_gap(a, b, b_to_a, span, slack)
    if exact is None:
        exact = _Meshes(a.fine, b.fine, b_to_a, contact).gap(span + slack, math.inf)
    return BEYOND if exact > reach else Relation("clear", exact, 0.0, 0.0, None)


def _near(a: Shape, b: Shape, b_to_a: Array, meshes: _Meshes, span: float, contact: float, reach: float) -> Relation:
    """Apart or touching, within the contact tolerance and the slack of the coarse meshes."""
    if meshes.slack == 0.0:
        exact: float | None = span if math.isfinite(span) else meshes.gap(contact, math.inf)
    elif span <= contact - meshes.slack:
        return TOUCHING
    else:
        if not math.isfinite(span):
            span = meshes.gap(contact, math.inf)
        exact = _kernel_gap(a, b, b_to_a, span, meshes.slack)
    if exact is None:
        exact = span
    if exact <= contact:
        return TOUCHING
    return BEYOND if exact > reach else Relation("clear", exact, 0.0, 0.0, None)


def _overlapping(
    a: Shape, b: Shape, b_to_a: Array, coarse: _Meshes, meshes: _Meshes, depth: float, want_way_out: bool
) -> Relation:
    volume = float(meshes.common.volume())
    if meshes.slack > 0.0:
        allowed = float(meshes.common.surface_area()) * 2.0 * meshes.slack
        exact = _kernel_volume(a, b, b_to_a)
        if exact is not None and abs(exact - volume) <= allowed:
            volume = exact
    way = _way_out(coarse, meshes, depth, b_to_a) if want_way_out else None
    return Relation("overlapping", 0.0, depth, volume, way)


def _way_out(coarse: _Meshes, fine: _Meshes, depth: float, b_to_a: Array) -> tuple[float, float, float] | None:
    """The shortest way out found."""
    axes = np.concatenate([np.eye(3), b_to_a[:3, :3].T])
    # Coarse meshes may only say that it is certainly not free, fine ones that it is.
    thin = min(1.5 * fine.slack, 0.25 * thickness(fine.common))
    last = (fine.solid_a, fine.solid_b, thin)
    first = (coarse.solid_a, coarse.solid_b, 1.5 * coarse.slack)
    mover = Mover(last, None) if coarse is fine else Mover(first, last)
    move = way_out(mover, fine.halves(), axes, depth)
    return None if move is None else (float(move[0]), float(move[1]), float(move[2]))


def curves_near(a: Mesh, b: Mesh, b_to_a: Array, margin: float) -> bool:
    """Whether a triangle that only approximates its solid comes within ``margin`` of the other solid's box.

    Where none does, the two meshes are as good as exact to one another.
    """
    for mesh, other, pose in ((a, b, inverse(b_to_a)), (b, a, b_to_a)):
        corners = mesh.curved_triangles
        if len(corners):
            corners = corners @ pose[:3, :3].T + pose[:3, 3]
            low, high = other.box[0] - margin, other.box[1] + margin
            if ((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)).all(axis=1).any():
                return True
    return False


def _kernel_gap(a: Shape, b: Shape, b_to_a: Array, span: float, slack: float) -> float | None:
    """The kernel's distance, when both solids have one and it agrees with the meshes; else None."""
    if a.brep is None or b.brep is None:
        return None
    from fixture3d.solid import kernel

    found = kernel.distance(a.brep, kernel.moved(b.brep, b_to_a))
    return found if found is not None and abs(found - span) <= slack + _ROUNDING else None


def _kernel_volume(a: Shape, b: Shape, b_to_a: Array) -> float | None:
    """The volume of the kernel's common solid, when both have one."""
    if a.brep is None or b.brep is None:
        return None
    from fixture3d.solid import kernel

    found: Any = kernel.common(a.brep, kernel.moved(b.brep, b_to_a))
    return None if found is None else kernel.volume(found)
