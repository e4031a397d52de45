"""A plain stop: a block of bar on one or two dowels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import (
    EASE,
    ROOT2,
    bored,
    brick,
    diagonal,
    diagonal_fits,
    eased_foot,
    edge,
    row_gap,
    side_pads,
    sockets,
    straight,
)

if TYPE_CHECKING:
    import cadquery as cq

    from fixture3d.part import Socket


def _length(pattern: Pattern) -> float:
    return pattern.neat(ROOT2 * pattern.pitch + 2.0 * pattern.bore)


def _depth(pattern: Pattern) -> float:
    return row_gap(pattern) + 2.0 * edge(pattern)


@part("stop_block", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class StopBlock(Part):
    """A block that work is pushed against, on all four sides; lying low it is a plain riser.

    Bores 1 and 2 stand on the grid. Where the block is long and deep enough, bores 3 and 4 are spaced for a block
    turned by 45 degrees. All go right through, so that it can be turned over: that brings the other side to
    another distance from the holes.

    ::

        back  +---------------------------+  -      side  +---------------------------+ -
              |  (3)                 (4)  |  |            |                           | | height
              |                           |  | depth      |                           | |
              |     (1)         (2)       |  |            +---------------------------+ -
        front +---------------------------+  -
              |<-------- length --------->|

    >>> StopBlock(pattern=Pattern(pitch=50, bore=16), length=105, depth=65, height=50, bores=2).pins()[2].at
    (50, 0.0, 0.0)
    """

    length: float = a_length(_length, low=lambda p: 2.0 * p.bore, high=lambda p: 8.0 * p.pitch, help="end to end")
    depth: float = a_length(_depth, low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="front to back")
    height: float = a_length(lambda p: p.neat(p.pitch), low=10.0, high=200.0, help="table to top")
    bores: int = a_count(2, low=1, high=2, help="dowels in the row: 1 can spin, 2 hold it square")

    def pins(self) -> tuple[Pin, ...]:
        """Bores 1 and 2 for the grid, then 3 and 4 for 45 degrees if there is room."""
        places = self._places()
        return tuple(p for i, (x, y) in enumerate(places, 1) for p in through(str(i), x, y, self.height))

    def pads(self) -> tuple[Pad, ...]:
        """The four sides and the top."""
        return side_pads(*self.box())

    def sockets(self) -> tuple[Socket, ...]:
        """The bores from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """Symmetric about its bores along X; the grid row is as far from the front as bore 3 from the back."""
        middle = (self.bores - 1) * self.pattern.pitch / 2.0
        front = self._front()
        half = self.length / 2.0
        return (middle - half, -front, 0.0), (middle + half, self.depth - front, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """A second bore needs a pitch more of length."""
        least = (self.bores - 1) * self.pattern.pitch + 2.0 * self.pattern.bore
        if self.length < least - 1e-6:
            show = self.pattern.show
            yield f"length = {show(self.length)} is too short for {self.bores} bores; expected at least {show(least)}"

    def solid(self) -> cq.Solid:
        """The bored block."""
        return bored(brick(*self.box(), ease=EASE), self.pins(), self.pattern.bore)

    def _diagonal_fits(self) -> bool:
        return self.bores == 2 and diagonal_fits(self.pattern, self.length, self.depth)

    def _front(self) -> float:
        return (self.depth - row_gap(self.pattern)) / 2.0 if self._diagonal_fits() else self.depth / 2.0

    def _places(self) -> list[tuple[float, float]]:
        grid = straight(self.pattern, self.bores)
        if not self._diagonal_fits():
            return grid
        return grid + diagonal(self.pattern, self.pattern.pitch / 2.0, row_gap(self.pattern))
