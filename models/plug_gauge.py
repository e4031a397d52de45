"""A plug gauge for the table's bores: GO and NO-GO on one handle."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._gauge import PRINTED, convention, entering, middle, reamed
from ._profiles import checked, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
LAND = 0.4  # width of the NO-GO between its flats, of its diameter: two lands across, one diameter at a time


@part("plug_gauge", made="turned, hardened and ground; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class PlugGauge(Part):
    """Tells whether a bore is neither too small nor too large: one end goes in, the other must not.

    By Taylor's rule the GO is a full cylinder as long as the bore (reach), and sees size, roundness and straightness at
    once; the NO-GO has two lands only, and is tried across several diameters. least and most are the limits of the
    bore; percent of their difference goes to each end, wear to the GO besides.

    ::

         NO-GO     handle            GO
        +-----+---------------+--------------+
        |-----|               |              |  two flats on the NO-GO leave its lands
        +-----+---------------+--------------+
                              |<-- reach --->|
        |<------------- length ------------->|

    >>> from fixture3d.part import Pattern, build
    >>> gauge = build(PlugGauge, Pattern(pitch=50.0, bore=16.0), {"percent": 10, "wear": 10})
    >>> [round(limit.low, 4) for limit in gauge.gauge().limits]
    [16.0018, 16.0162]
    """

    least: float = a_length(
        lambda p: reamed(p)[0], low=lambda p: 0.75 * p.bore, high=lambda p: 1.25 * p.bore, help="smallest good bore"
    )
    most: float = a_length(
        lambda p: reamed(p)[1], low=lambda p: 0.75 * p.bore, high=lambda p: 1.3 * p.bore, help="largest good bore"
    )
    percent: int = a_count(5, low=1, high=10, help="of the bore's tolerance, for each end")
    wear: int = a_count(0, low=0, high=10, help="of the bore's tolerance, for wear of the GO, in per cent")
    reach: float = a_length(
        lambda p: p.neat(1.5 * p.bore), low=3.0, high=lambda p: 3.0 * p.neat(p.bore), help="GO: as the bore is long"
    )

    @property
    def ends(self) -> tuple[Limit, Limit]:
        """Limits of GO and NO-GO."""
        return entering(self.least, self.most, "diameter", self.percent, self.wear)

    @property
    def stub(self) -> float:
        """Length of the NO-GO, mm."""
        return self.pattern.neat(self.pattern.bore / 2.0)

    @property
    def length(self) -> float:
        """Over all, mm."""
        return self.stub + self.pattern.neat(60.0) + self.reach

    def gauge(self) -> Gauge:
        """By Taylor's rule."""
        return Gauge(
            limits=self.ends,
            convention=convention(self.percent, self.wear),
            sees=(
                "a bore that is smaller than its least size anywhere along the GO, or bent, or out of round",
                "a bore that is larger than its greatest size across the NO-GO as it is turned, near its mouth",
            ),
            misses=(
                "where the bore is: that takes the pitch gauge",
                "whether the bore stands square to the table",
                "a bore that is wide only deep inside, below the NO-GO, or three-lobed: two lands do not see that",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """The handle is the thickest."""
        r = self._handle()
        return (-r, -r, 0.0), (r, r, self.length)

    def rules(self) -> Iterator[str]:
        """Limits in their order."""
        show = self.pattern.show
        if self.most - self.least < 1e-4:
            yield f"most = {show(self.most)} is not larger than least = {show(self.least)}; expected a larger one"

    def solid(self) -> cq.Solid:
        """Each end at the middle of its limits."""
        import cadquery as cq

        go, no_go = (middle(one) / 2.0 for one in self.ends)
        high, low = self.length - self.reach, self.stub
        width = 2.0 * LAND * no_go
        lands = round_bar((0.0, 0.0, 0.0), UP, 2.0 * no_go, low).intersect(
            cq.Solid.makeBox(4.0 * no_go, width, low, cq.Vector(-2.0 * no_go, -width / 2.0, 0.0))
        )
        handle = round_bar((0.0, 0.0, low), UP, 2.0 * self._handle(), high - low)
        end = round_bar((0.0, 0.0, high), UP, 2.0 * go, self.reach)
        ease = min(0.5, self.reach / 4.0)
        end = end.chamfer(ease, None, end.edges(">Z").Edges())
        return joined(checked(lands), handle, end)

    def _handle(self) -> float:
        return math.ceil(0.75 * max(self.pattern.bore, self.most))
