"""An angle gauge: a plate with one angle, laid into a corner or against it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import angle as an_angle
from fixture3d.part import length as a_length

from ._gauge import PRINTED
from ._profiles import checked

if TYPE_CHECKING:
    import cadquery as cq


@part("angle_gauge", made="cut from plate and ground; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class AngleGauge(Part):
    r"""Tells whether two pieces meet at an angle: laid into the corner, light shows at the tip or at the ends.

    Its two sides, arm long, enclose angle. The corner is cut off by relief along each side, so that a tube's radius or
    a tack is not touched. What a gap at the end of a side means is told from tolerance: the gap that a wire of that
    thickness just fills.

    ::

              ___
             /   \
            /     \ _ arm        lies flat; as thick as thickness
           /       \
          /__ angle _\___
           relief

    >>> from fixture3d.part import Pattern, build
    >>> gauge = build(AngleGauge, Pattern(pitch=50.0, bore=16.0), {"angle": 60, "arm": 100, "tolerance": 0.5})
    >>> round(gauge.gap, 3)
    0.785
    """

    angle: float = an_angle(90.0, low=20.0, high=160.0, help="between its sides")
    tolerance: float = an_angle(0.5, low=0.1, high=5.0, help="of the work's angle, either way")
    arm: float = a_length(
        lambda p: p.neat(2.0 * p.pitch), low=30.0, high=400.0, help="of each side, from the sharp corner"
    )
    relief: float = a_length(10.0, low=1.0, high=12.0, help="cut off the corner, along each side")
    thickness: float = a_length(lambda p: p.neat(p.bore / 4.0), low=3.0, high=25.0, help="of the plate")

    @property
    def gap(self) -> float:
        """At the end of a side, pushed home, when the angle is off by the tolerance, mm: it turns about its tip."""
        return (self.arm - self.relief) * math.sin(math.radians(self.tolerance))

    def gauge(self) -> Gauge:
        """One angle."""
        share = 0.05 * 2.0 * self.tolerance
        return Gauge(
            limits=(
                Limit(
                    name="angle",
                    low=self.angle - share / 2.0,
                    high=self.angle + share / 2.0,
                    kind="angle",
                    of="angle",
                ),
                Limit(name="gap at the end of a side at the tolerance", low=0.95 * self.gap, high=self.gap),
            ),
            convention=(
                "Convention: the gauge uses 5 % of the tolerance of the angle; (arm - relief) x sin(tolerance) is the "
                "gap when it is pushed home."
            ),
            sees=(
                "a corner that is too wide: it rocks on its tip, with a gap at the end of one side",
                "a corner that is too narrow: both ends touch, with a gap towards the tip",
            ),
            misses=(
                "which of the two pieces is off, and twist: it lies in one plane",
                "a side that is bent between the places where it touches",
                "the corner itself, within its relief",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Of its four corners."""
        points = self._corners()
        xs, ys = [x for x, _ in points], [y for _, y in points]
        return (min(xs), min(ys), 0.0), (max(xs), max(ys), self.thickness)

    def solid(self) -> cq.Solid:
        """The plate."""
        import cadquery as cq

        wire = cq.Wire.makePolygon([cq.Vector(x, y, 0.0) for x, y in self._corners()], close=True)
        return checked(cq.Solid.extrudeLinear(wire, [], cq.Vector(0.0, 0.0, self.thickness)))

    def _corners(self) -> list[tuple[float, float]]:
        turn = math.radians(self.angle)
        c, s = math.cos(turn), math.sin(turn)
        return [(self.relief, 0.0), (self.arm, 0.0), (self.arm * c, self.arm * s), (self.relief * c, self.relief * s)]
