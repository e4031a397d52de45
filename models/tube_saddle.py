"""A tube saddle: half a ring that sits on a round tube, with a flat on top and a hole to its middle."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import length as a_length
from fixture3d.units import Units, show_fine

from ._gauge import PRINTED, middle
from ._profiles import brick, cut, round_bar

if TYPE_CHECKING:
    import cadquery as cq


@part("tube_saddle", made="milled and bored; or printed, flat side down", stands="hand")
@dataclass(frozen=True, kw_only=True)
class TubeSaddle(Part):
    r"""Sits on a round tube and finds its top, for a punch mark, a level or a square; it refuses a tube too thick.

    Half a bore, a little wider than the thickest good tube of the diameter and its tolerance, so that it rests by its
    top line. The flat is parallel to that line; a hole of drill leads to it. It is drawn flat side down.

    ::

        ---.       .---      wall beside the hollow, length along the tube
        |   \     /   |
        |    `-.-'    |      height from the flat to the tube's top: wall
        |      : drill|
        +-------------+  flat

    >>> from fixture3d.part import Pattern, build
    >>> saddle = build(TubeSaddle, Pattern(pitch=50.0, bore=16.0), {"diameter": 48.3, "tolerance": 0.5})
    >>> round(saddle.gauge().limits[0].low, 3)
    48.8
    """

    diameter: float = a_length(lambda p: 50.8 if p.inch else 48.3, low=10.0, high=150.0, help="of the tube, outside")
    tolerance: float = a_length(0.5, low=0.1, high=3.0, help="of that diameter, either way")
    length: float = a_length(lambda p: p.neat(p.pitch), low=15.0, high=200.0, help="along the tube")
    wall: float = a_length(10.0, low=4.0, high=40.0, help="from hollow to flat, and beside it")
    drill: float = a_length(4.0, low=1.0, high=12.0, help="of the hole to the tube's top")

    @property
    def hollow(self) -> Limit:
        """Limits of the hollow's diameter: what any good tube goes into."""
        most = self.diameter + self.tolerance
        return Limit(name="hollow", low=most, high=most + 0.05 * 2.0 * self.tolerance, of="diameter")

    @property
    def play(self) -> float:
        """How far the hollow may stand beside the middle of the thinnest good tube that touches it, mm, rounded up."""
        return math.ceil(50.0 * (self.hollow.high - self.diameter + self.tolerance) - 1e-6) / 100.0

    def gauge(self) -> Gauge:
        """The hollow."""
        units: Units = "in" if self.pattern.inch else "mm"

        def fine(mm: float) -> str:
            return show_fine(mm, units)

        return Gauge(
            limits=(self.hollow,),
            convention=(
                "Convention: the hollow begins at the thickest good tube and is wider by up to 5 % of the tolerance: "
                "no good tube is refused and one that thick may pass."
            ),
            sees=(
                "a tube that is thicker than its greatest diameter across the hollow: it does not go down",
                f"where the top of a tube is, at the hole: off by up to {fine(self.play)} on the thinnest good tube "
                f"pushed to a side, and by {fine(middle(self.hollow) * math.pi / 360.0)} more for each degree that the "
                "flat is off level",
            ),
            misses=(
                "a tube that is too thin: it rests by its top line all the same",
                "an oval tube whose long axis stands upright",
                "how the tube is turned about its axis: a seam or a hole elsewhere",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Flat side down, the tube along Y."""
        r = middle(self.hollow) / 2.0
        half = self.length / 2.0
        return (-r - self.wall, -half, 0.0), (r + self.wall, half, self.wall + r)

    def rules(self) -> Iterator[str]:
        """A tolerance that leaves a diameter."""
        if self.tolerance > self.diameter / 10.0:
            show = self.pattern.show
            yield f"tolerance = {show(self.tolerance)} is too wide; expected at most {show(self.diameter / 10.0)}"

    def solid(self) -> cq.Solid:
        """The hollow at the middle of its limits."""
        (_, y0, _), (_, y1, top) = self.box()
        r = middle(self.hollow) / 2.0
        bar = round_bar((0.0, y0, top), (0.0, 1.0, 0.0), 2.0 * r, y1 - y0)
        hole = round_bar((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), self.drill, top)
        return cut(brick(*self.box()), bar, hole)
