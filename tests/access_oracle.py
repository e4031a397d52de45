"""What the torch kernel is compared with: python-fcl for surfaces, solid angles for insides, meshes to try.

Nothing here uses the kernel's code. Meshes are (vertices (n, 3), faces (m, 3)), closed, outward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.access.torch_space import TorchBody

Array = NDArray[np.float64]
Faces = NDArray[np.int32]
Mesh = tuple[Array, Faces]
Body = tuple[str, Array, Faces, bool]


# --- meshes ----------------------------------------------------------------------------------------------------


def prism(outline: Array, low: float, high: float, hole: Array | None = None) -> Mesh:
    """A straight prism along Z over a convex outline (n, 2), counter-clockwise, with a hole of as many points."""
    n = len(outline)
    ring = np.arange(n)
    after = np.roll(ring, -1)
    rings = [outline] if hole is None else [outline, hole]
    vertices = np.vstack([np.column_stack([r, np.full(n, z)]) for r in rings for z in (low, high)])

    def wall(bottom: int, top: int) -> Faces:
        quads = [(bottom + i, bottom + j, top + j, top + i) for i, j in zip(ring, after, strict=True)]
        return np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))], dtype=np.int32)

    if hole is None:
        fan = np.array([(0, i, i + 1) for i in range(1, n - 1)], dtype=np.int32)
        faces = np.vstack([wall(0, n), fan[:, ::-1], fan + n])
    else:
        # Outer rings at 0 and n, inner at 2n and 3n.
        faces = np.vstack([wall(0, n), wall(3 * n, 2 * n), wall(2 * n, 0), wall(n, 3 * n)])
    return vertices, faces


def box(low: ArrayLike, high: ArrayLike) -> Mesh:
    a, b = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    outline = np.array([[a[0], a[1]], [b[0], a[1]], [b[0], b[1]], [a[0], b[1]]])
    return prism(outline, a[2], b[2])


def circle(radius: float, sides: int) -> Array:
    turn = np.arange(sides) * 2.0 * np.pi / sides
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


def rounded(width: float, height: float, radius: float, steps: int = 6) -> Array:
    """Outline of a rectangle with rounded corners about the origin, counter-clockwise."""
    turn = np.linspace(0.0, np.pi / 2.0, steps + 1)
    centres = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    arcs = [
        np.column_stack(
            [
                sx * (width / 2.0 - radius) + radius * np.cos(turn + k * np.pi / 2.0),
                sy * (height / 2.0 - radius) + radius * np.sin(turn + k * np.pi / 2.0),
            ]
        )
        for k, (sx, sy) in enumerate(centres)
    ]
    return np.vstack(arcs)


def tube(width: float, height: float, wall: float, length: float, steps: int = 6) -> Mesh:
    """A hollow section along Z from 0 to ``length``, outside corner radius twice the wall."""
    return prism(
        rounded(width, height, 2.0 * wall, steps),
        0.0,
        length,
        rounded(width - 2 * wall, height - 2 * wall, wall, steps),
    )


def moved(mesh: Mesh, turn: Array, offset: ArrayLike) -> Mesh:
    return mesh[0] @ turn.T + np.asarray(offset, dtype=np.float64), mesh[1]


def turned(rng: np.random.Generator) -> Array:
    """A random rotation, (3, 3)."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0.0:
        q[:, 0] = -q[:, 0]
    return np.asarray(q)


# --- insides -----------------------------------------------------------------------------------------------------


def within(mesh: Mesh, points: Array) -> NDArray[np.bool_]:
    """Which points lie within a closed mesh: the solid angle that it fills, over 4 pi (van Oosterom and Strackee)."""
    corners = mesh[0][mesh[1]]
    out = np.zeros(len(points), dtype=bool)
    low, high = mesh[0].min(axis=0), mesh[0].max(axis=0)
    for i in np.flatnonzero(((points > low) & (points < high)).all(axis=1)):
        a, b, c = (corners[:, k] - points[i] for k in range(3))
        la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
        above = np.einsum("ij,ij->i", a, np.cross(b, c))
        below = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
        out[i] = abs(2.0 * np.arctan2(above, below).sum()) > 2.0 * np.pi
    return out


# --- surfaces ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """One primitive of the torch for fcl, and its place in the torch frame."""

    shape: Any
    turn: Array
    centre: Array


class FclTorch:
    """A torch of fcl primitives, grown by ``margin``, against one tree of all triangles: nozzle first, early out."""

    def __init__(self, bodies: Sequence[Body], torch: TorchBody, margin: float) -> None:
        import fcl

        self.fcl = fcl
        self.bodies = bodies
        self.torch = torch
        model = fcl.BVHModel()
        vertices = np.vstack([b[1] for b in bodies])
        starts = np.cumsum([0] + [len(b[1]) for b in bodies[:-1]])
        faces = np.vstack([b[2] + s for b, s in zip(bodies, starts, strict=True)])
        model.beginModel(len(vertices), len(faces))
        model.addSubModel(vertices, faces)
        model.endModel()
        self.scene = fcl.CollisionObject(model, fcl.Transform())
        middle = torch.stand_off + torch.nozzle_length / 2.0
        self.parts = [
            Part(
                fcl.Cylinder(torch.nozzle_radius + margin, torch.nozzle_length + 2.0 * margin),
                np.eye(3),
                np.array([0.0, 0.0, middle]),
            )
        ]
        for a, b, r in zip(torch.starts, torch.ends, torch.radii, strict=True):
            length = float(np.linalg.norm(b - a))
            z = (b - a) / length if length > 0.0 else np.array([0.0, 0.0, 1.0])
            x = np.cross([0.0, 1.0, 0.0], z)
            x = x / np.linalg.norm(x) if np.linalg.norm(x) > 1e-6 else np.array([1.0, 0.0, 0.0])
            turn = np.column_stack([x, np.cross(z, x), z])
            shape = fcl.Capsule(float(r) + margin, length) if length > 0.0 else fcl.Sphere(float(r) + margin)
            self.parts.append(Part(shape, turn, (a + b) / 2.0))
        # The hand and the handle after the nozzle, the neck last: the order that ends soonest.
        self.parts = [self.parts[0], *self.parts[:0:-1]]
        self.objects = [fcl.CollisionObject(part.shape, fcl.Transform()) for part in self.parts]
        self.request = fcl.CollisionRequest(num_max_contacts=1, enable_contact=False)

    def touches(self, point: Array, turn: Array) -> bool:
        """Whether any part meets any triangle."""
        for part, thing in zip(self.parts, self.objects, strict=True):
            thing.setTransform(self.fcl.Transform(turn @ part.turn, turn @ part.centre + point))
            if self.fcl.collide(thing, self.scene, self.request, self.fcl.CollisionResult()):
                return True
        return False

    def inside(self, points: Array, turns: Array) -> NDArray[np.bool_]:
        """For torches that touch nothing: which lie wholly within a closed body."""
        middle = self.torch.stand_off + self.torch.nozzle_length / 2.0
        probes = points + middle * turns[:, :, 2]
        out = np.zeros(len(points), dtype=bool)
        for _, vertices, faces, closed in self.bodies:
            if closed:
                out |= within((vertices, faces), probes)
        return out
