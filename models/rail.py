"""A rail: a long straight edge over many holes that carries other blocks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pin, Point, Socket, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import EASE, blind, bored, brick, cut, eased_foot, edge, round_bar, side_pads

if TYPE_CHECKING:
    import cadquery as cq


@part("rail", made="milled from bar, top and front ground; dowel bores at the ends reamed in one setting")
@dataclass(frozen=True, kw_only=True)
class Rail(Part):
    """One straight front and one level top over a long run, with a socket in the top at every pitch.

    It stands on two dowels only, in its first and its last bore, so that the pitch errors of the table between them do
    not matter; bolt one of them. ``pitches`` sets the length from dowel to dowel. Bores and sockets are numbered along
    the rail from the left, so the last one is ``pitches`` + 1; other blocks stand on them with on = "RAIL",
    socket = "4". Those between the ends do not go through. Blocks that stand on it line up by the rail, not by the
    table.

    ::

        back  +----------------------------------------------+  -
              |  (1)     o      o      o      o      o   (7) |  | width
        front +----------------------------------------------+  -
        side  |   :      :      :      :      :      :    :  |  - height
              |___:_______________________________________:__|  -
                  |<- pitch ->|
                  |<------------- pitches --------------->|

    >>> from fixture3d.part import Pattern, build
    >>> [pin.name for pin in build(Rail, Pattern(pitch=50.0, bore=16.0), {"pitches": 6}).pins()]
    ['1', '1', '7', '7']
    """

    pitches: int = a_count(8, low=2, high=20, help="from the first bore to the last; sets the length")
    width: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="front to back"
    )
    height: float = a_length(
        lambda p: p.neat(p.pitch), low=lambda p: blind(p) + p.bore / 4.0, high=200.0, help="table to top"
    )

    def pins(self) -> tuple[Pin, ...]:
        """The first bore and the last, through."""
        last = self.pitches
        return (
            *through("1", 0.0, 0.0, self.height),
            *through(str(last + 1), last * self.pattern.pitch, 0.0, self.height),
        )

    def pads(self) -> tuple[Pad, ...]:
        """The four sides and the top."""
        return side_pads(*self.box())

    def sockets(self) -> tuple[Socket, ...]:
        """One at every pitch; those at the ends go through."""
        pitch, last = self.pattern.pitch, self.pitches
        depths = [self.height, *[blind(self.pattern)] * (last - 1), self.height]
        return tuple(
            Socket(name=str(k), at=((k - 1) * pitch, 0.0, self.height), depth=depth)
            for k, depth in enumerate(depths, start=1)
        )

    def box(self) -> tuple[Point, Point]:
        """The whole bar, its row of bores in the middle."""
        end, half = edge(self.pattern), self.width / 2.0
        return (-end, -half, 0.0), (self.pitches * self.pattern.pitch + end, half, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face)

    def solid(self) -> cq.Solid:
        """The bar with its bores and sockets."""
        d = self.pattern.bore
        between = [round_bar(s.at, (0.0, 0.0, -1.0), d, s.depth) for s in self.sockets()[1:-1]]
        return bored(cut(brick(*self.box(), ease=EASE), *between), self.pins(), d)
