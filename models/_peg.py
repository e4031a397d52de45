"""Pegs that stand in a hole of the work: a pin with a pointed nose over a collar, and its shank in the table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import NORMALS, Face, Pad

from ._profiles import round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True)
class Peg:
    """The pin above the collar.

    Attributes:
        diameter: of the pin, mm.
        foot: height of the collar's upper side, on which the work lies, mm.
        top: height of the end of its nose, mm.
    """

    diameter: float
    foot: float
    top: float

    @property
    def nose(self) -> float:
        """Height of the nose: it leads the hole on, mm."""
        return min(0.3 * self.diameter, 0.4 * (self.top - self.foot))

    def line(self, face: Face) -> Pad:
        """The line by which the pin touches the wall of a hole on one side."""
        r, end = self.diameter / 2.0, self.top - self.nose
        at = (NORMALS[face][0] * r, NORMALS[face][1] * r, (self.foot + end) / 2.0)
        return Pad(name=face, at=at, normal=NORMALS[face], along=UP, length=end - self.foot, width=0.0)

    def solid(self) -> cq.Solid:
        """The pin with its nose, from the collar up."""
        import cadquery as cq

        r, n = self.diameter / 2.0, self.nose
        body = round_bar((0.0, 0.0, self.foot), UP, self.diameter, self.top - n - self.foot)
        cone = cq.Solid.makeCone(r, r - 0.4 * n, n, cq.Vector(0.0, 0.0, self.top - n), cq.Vector(*UP))
        joint: cq.Solid = body.fuse(cone).clean()
        return joint


def shank(diameter: float, depth: float, ease: float) -> cq.Solid:
    """What stands in the table's hole, with a broken end."""
    bar = round_bar((0.0, 0.0, -depth), UP, diameter, depth)
    return bar.chamfer(ease, None, bar.edges("<Z").Edges())


def circle(radius: float, corners: int = 24) -> tuple[tuple[float, float], ...]:
    """A polygon within a circle about the origin, counter-clockwise."""
    turns = [2.0 * math.pi * i / corners for i in range(corners)]
    return tuple((radius * math.cos(a), radius * math.sin(a)) for a in turns)
