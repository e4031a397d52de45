"""A diamond dowel: a relieved pin that locates in one direction only."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, box_foot, part, through
from fixture3d.part import length as a_length

from ._peg import UP, Peg, shank
from ._profiles import EASE, bored, brick, checked, eased_foot, edge, joined

if TYPE_CHECKING:
    import cadquery as cq

WAIST = 0.75  # of the radius: how far the relieved sides reach out in the middle; common practice, no source


def _diameter(pattern: Pattern) -> float:
    return max(6.0, pattern.neat(0.75 * pattern.bore, step_mm=1.0, step_in=0.0625))


@part("diamond_dowel", made="turned, then relieved on four sides; foot milled from flat bar")
@dataclass(frozen=True, kw_only=True)
class DiamondDowel(Part):
    r"""The second pin of a pair: it holds work by a hole in it, along X only, and lets it shift along Y.

    Its sides are cut back to two narrow lands, left and right, so that it turns the work true about the first pin (a
    headed_dowel) without fighting it over the distance between the two holes. So the line to the first pin must run
    along its Y: turn = 90 where the first pin stands to the left or right of it, 0 where it stands in front or behind.
    It stands by its own shank; a loose dowel in bore 2, one pitch to the right, keeps the direction. The work lies on
    the foot. ``diameter`` and ``land`` are those of the pin.

    ::

              from above                                  from the front
                     free                                   _
               +------^------------------------+           / \          -
               |    / | \                      |          |   |         |
               |   <  1  > holds     (2)       |       +--+   +-------------------+  -
               |    \ | /                      |       |  |   |    foot   : (2) : |  | rest
               +------v------------------------+       +--+---+-----------:-----:-+  -
                   |<-|->| diameter                       |   | shank   height: table to the tip
             land: width of each of the two points        +---+

    >>> from fixture3d.part import build
    >>> pin = build(DiamondDowel, Pattern(pitch=50.0, bore=16.0), {})
    >>> [pad.name for pad in pin.pads()], pin.pins()[1].at
    (['left', 'right', 'rest'], (50.0, 0.0, 0.0))
    """

    diameter: float = a_length(_diameter, low=6.0, high=lambda p: p.pitch / 2.0, help="of the pin over its lands")
    land: float = a_length(
        lambda p: p.neat(max(0.25 * _diameter(p), 2.0), step_mm=1.0, step_in=0.0625),
        low=1.5,
        high=lambda p: p.pitch / 5.0,
        help="width of each land: a third of the diameter at most",
    )
    height: float = a_length(lambda p: p.neat(1.75 * p.bore), low=8.0, high=150.0, help="table to the tip of the pin")
    rest: float = a_length(
        lambda p: p.neat(0.6 * p.bore), low=5.0, high=120.0, help="table to the top of the foot that the work lies on"
    )
    shank: float = a_length(
        lambda p: p.neat(p.bore), low=5.0, high=lambda p: max(60.0, 1.5 * p.bore), help="table down to its end"
    )

    def pins(self) -> tuple[Pin, ...]:
        """Its own shank, then the bore that keeps its direction."""
        first = Pin(name="1", at=(0.0, 0.0, 0.0), depth=self.shank, integral=True)
        return (first, *(p for p in through("2", self.pattern.pitch, 0.0, self.rest) if p.face == "bottom"))

    def pads(self) -> tuple[Pad, ...]:
        """The two lands, as lines: nothing holds along Y. And the foot beside the pin."""
        (_, y0, _), (_, y1, _) = self.box()
        x0, x1 = self.diameter / 2.0 + 0.5, self.pattern.pitch - self.pattern.bore / 2.0
        at, wide = ((x0 + x1) / 2.0, (y0 + y1) / 2.0, self.rest), y1 - y0 - 2.0 * EASE
        foot = Pad(name="rest", at=at, normal=UP, along=(1.0, 0.0, 0.0), length=x1 - x0, width=wide)
        return (self._peg.line("left"), self._peg.line("right"), foot)

    def box(self) -> tuple[Point, Point]:
        """Foot, pin and shank."""
        low, high = self._foot()
        return (low[0], low[1], -self.shank), (high[0], high[1], self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The underside of the foot; it stands on nothing but that."""
        return eased_foot(*self._foot(), face) if face == "bottom" else box_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """The lands must be narrow, and the pin must reach into its hole."""
        show, most = self.pattern.show, self.diameter / 3.0
        if self.land > most + 1e-6:
            yield (
                f"land = {show(self.land)} is too wide for a pin of {show(self.diameter)}: it would not be free along "
                f"Y; expected at most {show(most)}"
            )
        if self.height < self.rest + 4.0 - 1e-6:
            yield (
                f"height = {show(self.height)} leaves no pin above rest = {show(self.rest)}; "
                f"expected at least {show(self.rest + 4.0)}"
            )

    def solid(self) -> cq.Solid:
        """Relieved pin, foot and shank in one, bored."""
        import cadquery as cq

        r, w = self.diameter / 2.0, self.land / 2.0
        x, b = math.sqrt(r**2 - w**2), WAIST * r
        around = [(r + 1.0, -w), (r + 1.0, w), (x, w), (0.0, b), (-x, w), (-r - 1.0, w), (-r - 1.0, -w), (-x, -w)]
        around += [(0.0, -b), (x, -w)]
        wire = cq.Wire.makePolygon([cq.Vector(u, v, self.rest) for u, v in around], close=True)
        prism = cq.Solid.extrudeLinear(wire, [], cq.Vector(0.0, 0.0, self.height))
        pin = checked(self._peg.solid().intersect(prism))
        body = joined(brick(*self._foot(), ease=EASE), pin, shank(self.pattern.bore, self.shank, EASE / 2.0))
        return bored(body, [p for p in self.pins() if not p.integral], self.pattern.bore)

    @property
    def _peg(self) -> Peg:
        return Peg(self.diameter, self.rest, self.height)

    def _foot(self) -> tuple[Point, Point]:
        """The bar from the pin to bore 2."""
        end = max(edge(self.pattern), self.pattern.neat(self.diameter / 2.0 + 4.0))
        return (-end, -end, 0.0), (self.pattern.pitch + edge(self.pattern), end, self.rest)
