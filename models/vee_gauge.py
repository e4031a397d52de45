"""A gauge for the height of a V-block: an arm that passes over a round in the V, or does not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import length as a_length

from ._gauge import PRINTED, around, convention, middle
from ._profiles import checked, outline

if TYPE_CHECKING:
    import cadquery as cq


@part("vee_gauge", made="milled and ground; or printed lying", stands="hand")
@dataclass(frozen=True, kw_only=True)
class VeeGauge(Part):
    r"""Tells how high a V-block holds its tube: a round bar of known diameter lies in it, and the arm passes over that.

    It stands on the table beside the block. The arm's outer step passes over the bar when the bar's top is no higher
    than centre_height plus half the diameter plus the tolerance; the inner step, which follows, must stop. width is
    from front to back, step the length of each step.

    ::

        +------------------------------+
        |        +---------------------+  GO: passes
        |   +----+ NO-GO: stops                       ( diameter )
        |   |                                          \        /   centre_height
        +---+                                           \______/
             step   step

    >>> from fixture3d.part import Pattern, build
    >>> given = {"diameter": 48.3, "centre_height": 75, "tolerance": 0.2}
    >>> [round(limit.high, 3) for limit in build(VeeGauge, Pattern(pitch=50.0, bore=16.0), given).gauge().limits]
    [99.35, 98.97]
    """

    diameter: float = a_length(
        lambda p: 50.8 if p.inch else 48.3, low=10.0, high=115.0, help="of the round bar in the V"
    )
    centre_height: float = a_length(
        lambda p: p.neat(1.5 * p.pitch), low=lambda p: 2.0 * p.bore, high=300.0, help="table to the middle of the bar"
    )
    tolerance: float = a_length(0.25, low=0.05, high=3.0, help="of that height, either way")
    step: float = a_length(lambda p: p.neat(p.pitch / 2.0), low=10.0, high=100.0, help="of each step under the arm")
    width: float = a_length(lambda p: min(max(p.neat(p.bore), 8.0), 60.0), low=8.0, high=60.0, help="front to back")

    @property
    def steps(self) -> tuple[Limit, Limit]:
        """Limits of the heights of the two steps' undersides."""
        crown = self.centre_height + self.diameter / 2.0
        return around(crown - self.tolerance, crown + self.tolerance, "Z")

    def gauge(self) -> Gauge:
        """Two heights over the top of a bar."""
        return Gauge(
            limits=self.steps,
            convention=convention() + " The bar's own diameter is taken as true.",
            sees=(
                "a V that holds the bar too high: the GO step stops",
                "a V that holds the bar too low: the NO-GO step passes as well",
            ),
            misses=(
                "a wrong angle of the V, which one diameter cannot tell from a wrong depth: try a second bar",
                "an error of the bar's diameter: its top rises by half of that error, and besides by half of it over "
                "the sine of half the V's angle",
                "where the V is across its block, and whether it runs level: try both ends",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Foot, post and arm."""
        half = self.width / 2.0
        return (-self._post(), -half, 0.0), (2.0 * self.step, half, self._top())

    def rules(self) -> Iterator[str]:
        """An arm that can be seen under."""
        if self.tolerance > self.diameter / 10.0:
            show = self.pattern.show
            yield f"tolerance = {show(self.tolerance)} is too wide; expected at most {show(self.diameter / 10.0)}"

    def solid(self) -> cq.Solid:
        """The profile, each step at the middle of its limits."""
        go, no_go = (middle(one) for one in self.steps)
        post, top, run, half = self._post(), self._top(), self.step, self.width / 2.0
        points = [
            (-post, 0.0), (0.0, 0.0), (0.0, no_go), (run, no_go), (run, go), (2.0 * run, go), (2.0 * run, top),
            (-post, top),
        ]  # fmt: skip
        return checked(outline(points, -half, half))

    def _post(self) -> float:
        return self.pattern.neat(max(20.0, self.step))

    def _top(self) -> float:
        return self.steps[0].high + self.pattern.neat(max(10.0, self.step / 3.0))
