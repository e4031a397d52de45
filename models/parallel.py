"""A parallel: a plain ground bar for work to lie on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import blind, bored, bottom_pins, brick, eased_foot, edge, side_pads

if TYPE_CHECKING:
    import cadquery as cq

BREAK = 1.0  # mm; broken edges of a ground bar


def _height(pattern: Pattern) -> float:
    return pattern.neat(blind(pattern) + pattern.bore / 4.0)


@part("parallel", made="ground flat bar; bored from below before grinding")
@dataclass(frozen=True, kw_only=True)
class Parallel(Part):
    """Lifts work on a narrow level top without a hole in it. Use them in pairs, ground together to one height.

    Two dowels from below hold it, ``pitches`` apart; the bores end under the top. Its sides are true as well, so that
    it may stop work or be measured from.

    ::

        back  +---------------------------+  -        side  +---------------------------+  -
              |   (1)             (2)     |  | width        |    .               .      |  | height
        front +---------------------------+  -              +----:1:-------------:2:----+  -
                   |<-- pitches -->|

    >>> from fixture3d.part import build
    >>> build(Parallel, Pattern(pitch=50.0, bore=16.0), {"pitches": 4}).pins()[1].at
    (200.0, 0.0, 0.0)
    """

    pitches: int = a_count(3, low=1, high=12, help="from bore 1 to bore 2; sets the length")
    height: float = a_length(_height, low=lambda p: p.bore, high=200.0, help="table to top")
    width: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 1.5 * p.bore, high=lambda p: 3.0 * p.pitch, help="front to back"
    )

    def pins(self) -> tuple[Pin, ...]:
        """Two blind bores in the underside."""
        deep = min(blind(self.pattern), self.height - self.pattern.bore / 4.0)
        return bottom_pins([(0.0, 0.0), (self.pitches * self.pattern.pitch, 0.0)], deep)

    def pads(self) -> tuple[Pad, ...]:
        """The top and the four sides."""
        return side_pads(*self.box(), ease=BREAK)

    def box(self) -> tuple[Point, Point]:
        """The bar, its bores on the middle line."""
        end, half = edge(self.pattern), self.width / 2.0
        return (-end, -half, 0.0), (self.pitches * self.pattern.pitch + end, half, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face, BREAK)

    def solid(self) -> cq.Solid:
        """The bored bar."""
        return bored(brick(*self.box(), ease=BREAK), self.pins(), self.pattern.bore)
