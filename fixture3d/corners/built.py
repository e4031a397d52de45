"""One block with its solids, made once, and questions that several proofs ask of it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.part import NORMALS, Part, Pin, Socket
from fixture3d.solid import kernel
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import NUMERIC

SAME: Final = 1e-6  # mm
EMPTY: Final = 1e-6  # mm3


@dataclass(frozen=True)
class Built:
    """A block and its solids by the names of its bodies.

    Attributes:
        part: the block.
        solids: cadquery solids, as the model makes them.
        roles: of the bodies.
        moves: whether a body goes with the move.
        meshes: made when they are asked for.
    """

    part: Part
    solids: dict[str, Any]
    roles: dict[str, str]
    moves: dict[str, bool]
    meshes: dict[str, Mesh] = field(default_factory=dict)

    @classmethod
    def of(cls, part: Part) -> Built:
        """All solids of a block, made now."""
        bodies = part.bodies()
        return cls(
            part=part,
            solids={b.name: b.build() for b in bodies},
            roles={b.name: b.role for b in bodies},
            moves={b.name: b.moves for b in bodies},
        )

    def blocks(self) -> dict[str, Any]:
        """The solids that are steel and not space to be kept free."""
        return {name: s for name, s in self.solids.items() if self.roles[name] == "block"}

    def mesh(self, name: str) -> Mesh:
        """The mesh of a body, with the usual chord."""
        if name not in self.meshes:
            self.meshes[name] = kernel.tessellate(self.solids[name].wrapped, NUMERIC.chord)
        return self.meshes[name]

    def meet(self, a: str, b: str, offset: Any) -> bool:
        """Whether two bodies overlap, the first one moved: by their meshes, exact where they meet in flat faces."""
        overlap = self.mesh(a).manifold.translate(tuple(map(float, offset))) ^ self.mesh(b).manifold
        return overlap.volume() > EMPTY and common(shifted(self.solids[a], offset), self.solids[b]) > EMPTY


class Inside:
    """Which of several solids holds a point."""

    def __init__(self, solids: Iterable[Any]) -> None:
        from OCP.BRepClass3d import BRepClass3d_SolidClassifier

        self.classifiers = [BRepClass3d_SolidClassifier(s.wrapped) for s in solids]

    def __call__(self, point: Any) -> bool:
        """Whether one of them does."""
        from OCP.gp import gp_Pnt
        from OCP.TopAbs import TopAbs_IN

        at = gp_Pnt(*(float(c) for c in point))
        for classifier in self.classifiers:
            classifier.Perform(at, 1e-7)
            if classifier.State() == TopAbs_IN:
                return True
        return False


def common(a: Any, b: Any) -> float:
    """Volume that two cadquery solids share, mm3."""
    shape = kernel.common(a.wrapped, b.wrapped)
    return 0.0 if shape is None else kernel.volume(shape)


def shifted(solid: Any, offset: Any) -> Any:
    """A cadquery solid moved by (3,) mm."""
    import cadquery as cq

    return solid.moved(cq.Location(cq.Vector(*(float(c) for c in offset))))


def inward(pin: Pin | Socket) -> Array:
    """The way a bore goes into the block, (3,)."""
    return -np.asarray(NORMALS[pin.face])


def ring(way: Array, radius: float) -> list[Array]:
    """Eight points on a circle round an axis through the origin."""
    side = np.roll(np.abs(way), 1)
    other = np.cross(way, side)
    return [radius * (math.cos(a) * side + math.sin(a) * other) for a in np.linspace(0.0, 2.0 * math.pi, 9)[:-1]]


def bores(part: Part) -> list[Pin]:
    """The pins that are bores for loose dowels."""
    return [pin for pin in part.pins() if not pin.integral]


def in_a_bore(part: Part, point: Array, normal: Array) -> bool:
    """Whether a bore or socket opens at this point of a face."""
    mouths: list[Pin | Socket] = [*bores(part), *part.sockets()]
    for pin in mouths:
        off = point - np.asarray(pin.at)
        way = inward(pin)
        depth = float(off @ way)
        opens_here = abs(float(normal @ way)) > 0.9 and -SAME <= depth <= pin.depth + SAME
        if opens_here and np.linalg.norm(off - way * depth) <= part.pattern.bore / 2.0 + 2e-3:
            return True
    return False
