"""A corner-radius gauge: two hollow corners that a tube's edge is laid into."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import length as a_length

from ._gauge import PRINTED, entering, middle
from ._profiles import region

if TYPE_CHECKING:
    import cadquery as cq

ROOT_HALF = 0.7071067811865476


@part("radius_gauge", made="cut from plate; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class RadiusGauge(Part):
    """Tells whether the outside corner of a square tube is round enough, and not too round, for a relief or a fit-up.

    A hollow corner with a fillet touches both sides of the tube only where the tube's radius is no smaller than the
    fillet. The left corner has the least radius and must lie on both sides; the right one has the most and must not.
    flank is the side of each hollow, thickness that of the plate.

    ::

              +--------+
         GO   |        |  NO-GO       a tube's corner goes into each hollow
              |        |
        +----_)        (_----+  flank
        |                    |
        +--------------------+

    >>> from fixture3d.part import Pattern, build
    >>> gauge = build(RadiusGauge, Pattern(pitch=50.0, bore=16.0), {"least": 4.8, "most": 7.2})
    >>> [round(limit.low, 2) for limit in gauge.gauge().limits]
    [4.8, 7.08]
    """

    least: float = a_length(4.0, low=0.5, high=30.0, help="smallest good radius outside")
    most: float = a_length(8.0, low=1.0, high=40.0, help="largest good radius outside")
    flank: float = a_length(25.0, low=10.0, high=80.0, help="of each hollow corner")
    thickness: float = a_length(lambda p: p.neat(p.bore / 4.0), low=2.0, high=20.0, help="of the plate")

    @property
    def radii(self) -> tuple[Limit, Limit]:
        """Limits of the two fillets."""
        return entering(self.least, self.most, "radius")

    def gauge(self) -> Gauge:
        """Two fillets."""
        return Gauge(
            limits=self.radii,
            convention=(
                "Convention: each fillet uses 5 % of the difference of the two radii, inside of them (ten per cent "
                "rule; texts differ)."
            ),
            sees=(
                "a corner sharper than the least radius: light at the sides in the GO hollow",
                "a corner rounder than the most: it lies on both sides of the NO-GO hollow as well",
            ),
            misses=(
                "a corner that is not a circle: it is judged by where it first touches",
                "sides of the tube that are not square to each other, which look like a wrong radius",
                "the radius inside the tube",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Base and stem; Y is its thickness, Z up the stem."""
        f, half = self.flank, self._stem() / 2.0
        return (-half - f, 0.0, 0.0), (half + f, self.thickness, self._base() + f)

    def rules(self) -> Iterator[str]:
        """Radii in their order, and flanks that are longer."""
        show = self.pattern.show
        if self.most < self.least + 0.1:
            yield f"most = {show(self.most)} is not larger than least; expected at least {show(self.least + 0.1)}"
        if self.flank < 1.5 * self.most:
            yield f"flank = {show(self.flank)} is too short; expected at least {show(1.5 * self.most)}"

    def solid(self) -> cq.Solid:
        """The plate, each fillet at the middle of its limits."""
        go, no_go = (middle(one) for one in self.radii)
        half, base, f = self._stem() / 2.0, self._base(), self.flank
        x, top = half + f, base + f
        edges = [
            ((-x, 0.0), (x, 0.0)),
            ((x, 0.0), (x, base)),
            ((x, base), (half + no_go, base)),
            _fillet(half, base, no_go, 1.0),
            ((half, base + no_go), (half, top)),
            ((half, top), (-half, top)),
            ((-half, top), (-half, base + go)),
            tuple(reversed(_fillet(-half, base, go, -1.0))),
            ((-half - go, base), (-x, base)),
            ((-x, base), (-x, 0.0)),
        ]
        return region(edges, 0.0, self.thickness)

    def _stem(self) -> float:
        return max(10.0, self.flank / 2.0)

    def _base(self) -> float:
        return max(8.0, self.flank / 3.0)


def _fillet(x: float, z: float, radius: float, way: float) -> tuple[tuple[float, float], ...]:
    """A hollow corner from its level side to its upright one: start, through, end."""
    near = radius * (1.0 - ROOT_HALF)
    return (x + way * radius, z), (x + way * near, z + near), (x, z + radius)
