"""A centring pair: two V jaws on one base that centre an upright round over a hole."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Move, Pad, Part, PartBody, Pattern, Pin, Point, Thread, part
from fixture3d.part import length as a_length

from ._profiles import EASE, blind, bored, bottom_pins, brick, checked, cut, eased_foot, edge, joined
from ._vee import Groove

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
PLAY = 0.1  # mm a side between tongue and groove


def _diameter(pattern: Pattern) -> float:
    return 50.8 if pattern.inch else 48.3  # 2 in tube; pipe of 1-1/2 in nominal size in the metric tables


def _plate(pattern: Pattern) -> float:
    """Thickness of the base, with blind bores and the groove of the tongue, mm."""
    return pattern.neat(blind(pattern) + pattern.bore / 4.0)


def _wall(pattern: Pattern) -> float:
    """Behind the bottom of a V, where the tongue is, mm; half of it beside the V."""
    return pattern.neat(max(1.25 * pattern.bore, 12.0))


@part("centring_pair", made="base and jaws milled from bar; both Vs cut in one setting, clamped together")
@dataclass(frozen=True, kw_only=True)
class CentringPair(Part):
    """Holds a round tube or bar upright with its middle over a hole, between two V jaws.

    The left jaw is fixed. The right one slides along the base in a groove and is held by a screw (not drawn): fully
    in, slide = 0, it closes on ``diameter``; slide = 10 or the like opens it, up to ``travel``, to put the tube in and
    to take it out. The tube stands on the base, over the hole that is midway between bores 1 and 2; ``height`` is the
    table to the top of the jaws. Other sizes stand off the middle: make the jaws for the tube.

    ::

              from above                                     from the front
                                                            left            right
            +-------------------------------------+        +----+ diameter +----+    -
            |    +---.   .---.   .------+         |        |    | |      | |    |    |
            | (1)| V  > (     ) <  V  ==+=    (2) |        |    | |      | |    |==> | height
            |    +---'   '---'   '------+         |     +--+----+-+------+-+----+-+  |  -
            +-------------------------------------+     |  1     rest          2  |  |  | rest
                          middle, over a hole           +-------------------------+  -  -

    >>> from fixture3d.part import build
    >>> pair = build(CentringPair, Pattern(pitch=50.0, bore=16.0), {"diameter": 60.3})
    >>> pair.middle, pair.pins()[1].at
    (100.0, (200.0, 0.0, 0.0))
    """

    diameter: float = a_length(_diameter, low=15.0, high=115.0, help="outside diameter of the tube")
    height: float = a_length(
        lambda p: p.neat(_plate(p) + p.pitch),
        low=lambda p: _plate(p) + 15.0,
        high=lambda p: max(250.0, _plate(p) + 1.5 * p.pitch),
        help="table to the top of the jaws",
    )
    travel: float = a_length(lambda p: p.neat(0.3 * p.pitch), low=5.0, high=lambda p: p.pitch, help="of the right jaw")

    @property
    def rest(self) -> float:
        """Table to the base that the tube stands on, mm."""
        return _plate(self.pattern)

    @property
    def middle(self) -> float:
        """X of the tube's axis: a whole number of pitches from bore 1, mm."""
        p = self.pattern
        need = max(self._back() + p.bore / 2.0 + 2.0, self._back() + self.travel - p.bore / 2.0)
        return math.ceil(need / p.pitch - 1e-9) * p.pitch

    def pins(self) -> tuple[Pin, ...]:
        """One at each end of the base, both clear of the jaws."""
        return bottom_pins([(0.0, 0.0), (2.0 * self.middle, 0.0)], blind(self.pattern))

    def pads(self) -> tuple[Pad, ...]:
        """The two flats of each V, and the base between the jaws."""
        g, z = self._groove, (self.rest + self.height - EASE) / 2.0
        start = g.slot / g.sin
        reach, width = (start + g.flat) / 2.0, g.flat - start
        out = []
        for jaw, hand in (("left", 1.0), ("right", -1.0)):
            vertex = self.middle - hand * g.centre
            for side, way in (("front", -1.0), ("back", 1.0)):
                out.append(
                    Pad(
                        name=f"{jaw} vee {side}",
                        at=(vertex + hand * reach * g.cos, way * reach * g.sin, z),
                        normal=(hand * g.sin, -way * g.cos, 0.0),
                        along=UP,
                        length=self.height - EASE - self.rest,
                        width=width,
                        moves=jaw == "right",
                    )
                )
        at, size = (self.middle, 0.0, self.rest), (2.0 * self._lip(), 2.0 * (self._half() - EASE))
        out.append(Pad(name="rest", at=at, normal=UP, along=(1.0, 0.0, 0.0), length=size[0], width=size[1]))
        return tuple(out)

    def move(self) -> Move:
        """The right jaw opens to the right."""
        return Move(axis=(1.0, 0.0, 0.0), travel=self.travel)

    def box(self) -> tuple[Point, Point]:
        """Base and jaws."""
        (x0, y0, _), (x1, y1, _) = self._base()
        return (x0, y0, 0.0), (x1, y1, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The base; on its sides no more than its flats."""
        low, high = self._base()
        if face == "top":
            x = self.middle - self._back()
            return eased_foot((x, low[1], 0.0), (x + _wall(self.pattern), high[1], self.height), face)
        return eased_foot(low, high, face)

    def bodies(self) -> tuple[PartBody, ...]:
        """The base with the left jaw, and the right jaw."""
        return (PartBody(name="", build=self.solid), PartBody(name="jaw", build=self.jaw, moves=True))

    def threads(self) -> tuple[Thread, ...]:
        """The screw that holds the jaw."""
        told = "The screw that holds the jaw in its groove is not drawn: settle its place and thread before it is made."
        return tuple(Thread(body=name, drawn=0.0, size=0.0, tapped=True, told=told) for name in ("", "jaw"))

    def rules(self) -> Iterator[str]:
        """The jaws must reach up the tube."""
        least = self.rest + max(10.0, 0.25 * self.diameter)
        if self.height < least - 1e-6:
            show = self.pattern.show
            yield f"height = {show(self.height)} hardly reaches up the tube; expected at least {show(least)}"

    def solid(self) -> cq.Solid:
        """The base with its groove for the tongue, and the left jaw."""
        (x0, y0, _), (x1, y1, z) = self._base()
        base = brick((x0, y0, 0.0), (x1, y1, z), ease=EASE)
        groove = brick((self._slot(), -self._tongue(), z - self._tongue_deep()), (x1 + 1.0, self._tongue(), z + 1.0))
        jaw = self._block(self.middle - self._back(), self.middle - self._lip(), z - EASE)
        left = self._vee(jaw, self.middle - self._groove.centre, 1.0)
        return bored(joined(cut(base, groove), left), self.pins(), self.pattern.bore)

    def jaw(self) -> cq.Solid:
        """The right jaw, closed, with its tongue."""
        z, start, m = self.rest, self._slot(), self.middle
        block = self._block(m + self._lip(), m + self._back(), z)
        right = self._vee(block, m + self._groove.centre, -1.0)
        low = z - self._tongue_deep() + PLAY
        tongue = brick((start, PLAY - self._tongue(), low), (m + self._back(), self._tongue() - PLAY, z + 1.0))
        return checked(right.fuse(tongue).clean())

    def _block(self, x0: float, x1: float, z: float) -> cq.Solid:
        half = self._half()
        return brick((x0, -half, z), (x1, half, self.height), ease=EASE)

    def _vee(self, jaw: cq.Solid, vertex: float, hand: float) -> cq.Solid:
        """``jaw`` with the V milled upright through it, open to the right (``hand`` 1) or left."""
        import cadquery as cq

        g = self._groove
        s, top = g.slot, g.deep + 1.0
        mouth = top * g.sin / g.cos
        shape = [(-s, -s), (-s, s), (s * g.cos / g.sin, s), (top, mouth), (top, -mouth), (s * g.cos / g.sin, -s)]
        wire = cq.Wire.makePolygon([cq.Vector(vertex + hand * u, v, self.rest) for u, v in shape], close=True)
        return cut(jaw, cq.Solid.extrudeLinear(wire, [], cq.Vector(0.0, 0.0, self.height)))

    @property
    def _groove(self) -> Groove:
        return Groove(self.diameter, 90.0)

    def _lip(self) -> float:
        """Tube's axis to the lips of a V, mm."""
        return self._groove.centre - self._groove.deep

    def _back(self) -> float:
        """Tube's axis to the back of a jaw, mm."""
        return self._groove.centre + self._groove.slot + _wall(self.pattern)

    def _half(self) -> float:
        """Half the depth of the jaws, mm."""
        return self.pattern.neat(self._groove.opening + 0.5 * _wall(self.pattern))

    def _slot(self) -> float:
        """X where the tongue begins, mm: behind the V."""
        return self.middle + self._groove.centre + self._groove.slot + 2.0

    def _tongue(self) -> float:
        """Half the width of the groove for the tongue, mm."""
        return self.pattern.bore / 4.0

    def _tongue_deep(self) -> float:
        return self.pattern.bore / 8.0

    def _base(self) -> tuple[Point, Point]:
        end, half = edge(self.pattern), max(edge(self.pattern), self._half())
        return (-end, -half, 0.0), (2.0 * self.middle + end, half, self.rest)
