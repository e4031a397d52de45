"""A height gauge: two steps that pass under the work, or do not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import length as a_length

from ._gauge import PRINTED, convention, entering, middle
from ._profiles import checked, outline

if TYPE_CHECKING:
    import cadquery as cq

    from fixture3d.part import Pattern


def _wide(pattern: Pattern) -> float:
    return min(pattern.neat(2.0 * pattern.bore), 100.0)


@part("height_gauge", made="milled and ground; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class HeightGauge(Part):
    """Tells how high above the table the underside of the work is: the low step passes under it, the high one does not.

    height is what it should be, tolerance what it may be off either way, width from front to back.

    ::

                    +--------+
          GO        | NO-GO  |
        +-----------+        |   height, less or plus the tolerance
        |                    |
        +--------------------+
          run         run

    >>> from fixture3d.part import Pattern, build
    >>> gauge = build(HeightGauge, Pattern(pitch=50.0, bore=16.0), {"height": 50, "tolerance": 0.2})
    >>> [round(limit.low, 3) for limit in gauge.gauge().limits]
    [49.8, 50.18]
    """

    height: float = a_length(lambda p: p.neat(p.pitch), low=10.0, high=300.0, help="table to the work's underside")
    tolerance: float = a_length(0.5, low=0.05, high=5.0, help="of the height, either way")
    run: float = a_length(_wide, low=10.0, high=100.0, help="of each step")
    width: float = a_length(_wide, low=10.0, high=100.0, help="front to back")

    @property
    def steps(self) -> tuple[Limit, Limit]:
        """Limits of the steps' heights."""
        return entering(self.height - self.tolerance, self.height + self.tolerance, "Z")

    def gauge(self) -> Gauge:
        """Two heights."""
        return Gauge(
            limits=self.steps,
            convention=convention(),
            sees=(
                "work that lies lower than height less tolerance where the gauge is pushed: the GO step stops",
                "work that lies higher than height plus tolerance there: the NO-GO step passes",
            ),
            misses=(
                "how far the height is off, and where between two places that were tried it is worst",
                "a table that is not flat: the gauge stands on it, and rises and falls with it",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Both steps."""
        half = self.width / 2.0
        return (0.0, -half, 0.0), (2.0 * self.run, half, middle(self.steps[1]))

    def rules(self) -> Iterator[str]:
        """A low step that is there."""
        if self.tolerance > self.height / 4.0:
            show = self.pattern.show
            yield f"tolerance = {show(self.tolerance)} is too wide; expected at most {show(self.height / 4.0)}"

    def solid(self) -> cq.Solid:
        """The profile, each step at the middle of its limits."""
        go, no_go = (middle(one) for one in self.steps)
        run, half = self.run, self.width / 2.0
        points = [(0.0, 0.0), (2.0 * run, 0.0), (2.0 * run, no_go), (run, no_go), (run, go), (0.0, go)]
        return checked(outline(points, -half, half))
