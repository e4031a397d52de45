"""A notch checker: a comb that is laid onto the serration of a slide stop or its washer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._gauge import PRINTED
from ._profiles import checked, outline
from ._serration import Serration

if TYPE_CHECKING:
    import cadquery as cq


@part("notch_checker", made="wire-cut from plate; or printed lying", stands="hand")
@dataclass(frozen=True, kw_only=True)
class NotchChecker(Part):
    r"""Tells whether a serration has its pitch over many teeth: laid on, it sits down in all of them or shows light.

    Teeth of 90 degrees, notch apart, teeth of them; the smooth back is parallel to the teeth, so that height over both
    tells whether it sits. width is from front to back, back from the roots of the
    teeth to the other side. It shows an error over all its teeth.

    ::

          /\/\/\/\/\/\/\      teeth
         |              |    back
         +--------------+
           |-| notch

    >>> from fixture3d.part import Pattern, build
    >>> checker = build(NotchChecker, Pattern(pitch=50.0, bore=16.0), {})
    >>> checker.notch, checker.teeth, checker.length
    (3.0, 15, 45.0)
    """

    notch: float = a_length(lambda p: p.neat(3.0, step_mm=3.0), low=1.0, high=10.0, help="tooth to tooth")
    teeth: int = a_count(15, low=3, high=40, help="that it is laid over at once")
    error: float = a_length(0.1, low=0.02, high=0.5, help="over all teeth, that it is to show")
    back: float = a_length(10.0, low=4.0, high=40.0, help="from the roots to the smooth side")
    width: float = a_length(8.0, low=3.0, high=60.0, help="front to back")

    @property
    def length(self) -> float:
        """Of the comb, mm."""
        return self.notch * self.teeth

    @property
    def rise(self) -> float:
        """By how much the comb stands up when the serration is off by the error over all teeth, mm.

        The outermost teeth ride up both flanks of 45 degrees, each by half of the error.
        """
        return self.error / 2.0

    def gauge(self) -> Gauge:
        """A pitch over many teeth."""
        run, share = self.notch * (self.teeth - 1), 0.1 * self.error
        return Gauge(
            limits=(
                Limit(name="first tooth to last", low=run - share / 2.0, high=run + share / 2.0, of="teeth"),
                Limit(name="stands up at that error by", low=0.9 * self.rise, high=self.rise),
            ),
            convention=(
                "Convention: the comb uses 10 % of the error that it is to show; on flanks of 45 degrees it stands up "
                "by half of the error over all teeth."
            ),
            sees=(
                "a pitch that is off by more than the error over all teeth that it covers",
                "a tooth that is burred, bent or has spatter in its root: the comb rocks on it",
            ),
            misses=(
                "where the serration begins on its block: that is measured from bore 1",
                "teeth that are worn alike, flanks and all, and still have their pitch",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """From the smooth side to the cut tips."""
        half = self.width / 2.0
        return (0.0, -half, 0.0), (self.length, half, max(z for _, z in self._line()))

    def solid(self) -> cq.Solid:
        """The comb, teeth up."""
        half = self.width / 2.0
        points = [(0.0, 0.0), (self.length, 0.0), *reversed(self._line())]
        return checked(outline(points, -half, half))

    def _line(self) -> list[tuple[float, float]]:
        return Serration(self.notch, self.back + self.notch / 2.0).body(0.0, self.length)
