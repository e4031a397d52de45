"""A gauge over two holes of the grid: two pins on a bar."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._gauge import PRINTED, middle, reamed
from ._profiles import brick, edge, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)


@part("pitch_gauge", made="bar with two ground pins; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class PitchGauge(Part):
    """Tells whether two holes of the grid are as far apart as they should be, by two pins that go in or do not.

    Holes of least to most diameter, pitches apart, may be off their distance by error either way. material = 1 is the
    GO for the most material: pins thinner than the least hole by the error, at the true distance; it must go in. 2 and
    3 are the NO-GO for the least material, too long and too short: pins that just go into the least hole, so far off
    that they meet two of the largest holes only when these are off by more than the error; they must not go in.

    ::

             |<- pitches ->|
             _             _        pins up, as it is printed; width is the bar's
            | |           | |  reach
        +---+-+-----------+-+---+
        |                       |
        +-----------------------+

    >>> from fixture3d.part import Pattern, build
    >>> build(PitchGauge, Pattern(pitch=50.0, bore=16.0), {"error": 0.1}).distance
    50.0
    """

    pitches: int = a_count(1, low=1, high=6, help="from pin to pin")
    material: int = a_count(
        1,
        low=1,
        high=3,
        help="1 GO, most material; 2 NO-GO long, 3 NO-GO short, least material",
        words=("GO for the most material", "NO-GO long, least material", "NO-GO short, least material"),
    )
    error: float = a_length(0.1, low=0.02, high=1.0, help="of the distance of two holes, allowed either way")
    least: float = a_length(
        lambda p: reamed(p)[0], low=lambda p: 0.9 * p.bore, high=lambda p: 1.1 * p.bore, help="smallest good hole"
    )
    most: float = a_length(
        lambda p: reamed(p)[1], low=lambda p: 0.9 * p.bore, high=lambda p: 1.2 * p.bore, help="largest good hole"
    )
    reach: float = a_length(lambda p: min(p.neat(p.bore), 60.0), low=3.0, high=60.0, help="of the pins above the bar")
    width: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 1.5 * p.bore, high=lambda p: 2.0 * p.pitch, help="of the bar"
    )

    @property
    def share(self) -> float:
        """What the pins or their distance may be off, mm: 5 % of the tolerance, on the side that passes nothing bad."""
        return 0.05 * 2.0 * self.error

    @property
    def pins_to(self) -> Limit:
        """Limits of both pins."""
        if self.material == 1:
            thin = self.least - self.error + self.share / 2.0  # makes up for the least and the greatest distance
            return Limit(name="pins", low=thin, high=thin + self.share, of="diameter")
        return Limit(name="pins", low=self.least - 0.05 * self.slack, high=self.least, of="diameter")

    @property
    def slack(self) -> float:
        """By how much holes differ, mm; no less than a micrometre."""
        return max(self.most - self.least, 0.001)

    @property
    def apart(self) -> Limit:
        """Limits of their distance."""
        true = self.pitches * self.pattern.pitch
        if self.material == 1:
            half = self.share / 2.0
            return Limit(name="distance", low=true - half, high=true + half, of="X")
        off = self.error + self.most - self.pins_to.low
        low, high = (off, off + self.share) if self.material == 2 else (-off - self.share, -off)
        return Limit(name="distance", low=true + low, high=true + high, of="X")

    @property
    def distance(self) -> float:
        """Of the pins, as they are made, mm."""
        return round(middle(self.apart), 9)

    def gauge(self) -> Gauge:
        """GO for the most material, NO-GO for the least."""
        error = self.pattern.show(self.error)
        if self.material == 1:
            sees = f"two holes that are off their distance by more than {error} when both are of the least size"
            misses = "an error of the distance that larger holes make up for: the GO lets that pass"
        else:
            way = "far apart" if self.material == 2 else "close together"
            sees = f"two holes that are too {way} by more than {error}, whatever their size: it goes in"
            misses = "an error of the distance that smaller holes hide: it stays out though the error is there"
        return Gauge(
            limits=(self.pins_to, self.apart),
            convention=(
                "Convention: two pins go into two holes when the distance is off by no more than half the sum of the "
                "clearances. The gauge uses 5 % of the tolerance of the distance for each of its sizes."
            ),
            sees=(sees,),
            misses=(
                misses,
                "which of the two holes is off, and any error square to the line between them",
                "errors that add up over more pitches: try it over several as well",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """Bar and pins."""
        end, half = edge(self.pattern), self.width / 2.0
        return (-end, -half, 0.0), (self.distance + end, half, self._thick() + self.reach)

    def rules(self) -> Iterator[str]:
        """Limits in their order, and pins that are pins."""
        show = self.pattern.show
        if self.most < self.least:
            yield f"most = {show(self.most)} is smaller than least = {show(self.least)}; expected a larger one"
        elif self.error + self.most - self.least > self.pattern.bore / 4.0:
            yield f"error = {show(self.error)} and the holes are too coarse; expected a quarter bore at most"

    def solid(self) -> cq.Solid:
        """The bar with its pins, each at the middle of its limits."""
        (x0, y0, _), (x1, y1, _) = self.box()
        thick, size = self._thick(), middle(self.pins_to)
        pins = []
        for x in (0.0, self.distance):
            pin = round_bar((x, 0.0, thick), UP, size, self.reach)
            pins.append(pin.chamfer(0.5, None, pin.edges(">Z").Edges()))
        return joined(brick((x0, y0, 0.0), (x1, y1, thick)), *pins)

    def _thick(self) -> float:
        return self.pattern.neat(self.pattern.bore / 2.0)
