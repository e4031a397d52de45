"""A dowel with a head: a round stop that stands in one hole."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import NORMALS, Face, Pad, Part, Pin, Point, part
from fixture3d.part import length as a_length

from ._profiles import EASE, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq


@part("dowel", made="turned")
@dataclass(frozen=True, kw_only=True)
class Dowel(Part):
    """A round stop on its own shank. It locates by lines, at any angle, and needs no turn.

    ::

                 |<- diameter ->|
               - +--------------+        origin: centre of the shoulder, on the table
        height | |              |
               | |              |
               - +---+      +---+  table
                     |      |
               shank |      |            the shank is as thick as the hole
                     +------+

    >>> from fixture3d.part import Pattern, build
    >>> build(Dowel, Pattern(pitch=50.0, bore=16.0), {}).pins()[0].at
    (0.0, 0.0, 0.0)
    """

    height: float = a_length(lambda p: p.neat(p.pitch / 2.0), low=10.0, high=200.0, help="table to top")
    diameter: float = a_length(
        lambda p: p.neat(1.4 * p.bore), low=lambda p: p.bore + 2.0, high=lambda p: p.pitch, help="of the head"
    )
    shank: float = a_length(
        lambda p: p.neat(p.bore), low=5.0, high=lambda p: max(60.0, 1.5 * p.bore), help="table down to its end"
    )

    def pins(self) -> tuple[Pin, ...]:
        """Its own shank."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=self.shank, integral=True),)

    def pads(self) -> tuple[Pad, ...]:
        """The four lines towards the sides; any other line of the head holds just as well. And the top."""
        r, run = self.diameter / 2.0, self.height - EASE
        lines = [
            Pad(
                name=face,
                at=(NORMALS[face][0] * r, NORMALS[face][1] * r, run / 2.0),
                normal=NORMALS[face],
                along=(0.0, 0.0, 1.0),
                length=run,
                width=0.0,
            )
            for face in ("front", "back", "left", "right")
        ]
        flat = (self.diameter - 2.0 * EASE) / math.sqrt(2.0)  # the square within the round top
        at = (0.0, 0.0, self.height)
        return (*lines, Pad(name="top", at=at, normal=(0.0, 0.0, 1.0), along=(1.0, 0.0, 0.0), length=flat, width=flat))

    def box(self) -> tuple[Point, Point]:
        """Head and shank."""
        r = self.diameter / 2.0
        return (-r, -r, -self.shank), (r, r, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """A polygon of 24 corners within the shoulder; it stands on nothing but that."""
        r = self.diameter / 2.0
        turns = [math.radians(15.0 * i) for i in range(24)]
        return tuple((r * math.cos(a), r * math.sin(a)) for a in turns)

    def solid(self) -> cq.Solid:
        """Head and shank, both with a broken end."""
        up = (0.0, 0.0, 1.0)
        head = round_bar((0.0, 0.0, 0.0), up, self.diameter, self.height)
        head = head.chamfer(EASE, None, head.edges(">Z").Edges())
        shank = round_bar((0.0, 0.0, -self.shank), up, self.pattern.bore, self.shank)
        shank = shank.chamfer(EASE / 2.0, None, shank.edges("<Z").Edges())
        return joined(head, shank)
