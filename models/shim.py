"""A shim: a plate that goes under a block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Pad, Part, Pin, Point, Socket, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import bored, brick, checked, cut, edge, round_bar, sockets, straight

if TYPE_CHECKING:
    import cadquery as cq


@part("shim", made="cut from plate or shim stock")
@dataclass(frozen=True, kw_only=True)
class Shim(Part):
    """Lifts the block above it by its thickness; the dowels of that block go through it.

    With ``slot = 1`` one slot, open to the right, lets it be pushed under a block that stands already; with
    ``slot = 0`` it has two bores one pitch apart and cannot creep out.

    ::

        +-----------------------+       +-----------------------+  -
        |    .--------------------      |                       |  |
        |   ( 1         2               |   (1)         (2)     |  | width
        |    '--------------------      |                       |  |
        +-----------------------+       +-----------------------+  -
        slot = 1                        |<------ length ------->|

    >>> from fixture3d.part import Pattern, build
    >>> build(Shim, Pattern(pitch=50.0, bore=16.0), {}).pins()[2].at
    (50.0, 0.0, 0.0)
    """

    thickness: float = a_length(1.0, low=0.02, high=25.0, help="what it lifts")
    width: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="front to back"
    )
    length: float = a_length(
        lambda p: p.pitch + 2.0 * edge(p),
        low=lambda p: p.pitch + 2.0 * p.bore,
        high=lambda p: 8.0 * p.pitch,
        help="end to end",
    )
    slot: int = a_count(0, low=0, high=1, help="1: a slot open to the right; 0: two bores")

    def pins(self) -> tuple[Pin, ...]:
        """Two places for dowels, one pitch apart, through."""
        places = straight(self.pattern, 2)
        return tuple(p for i, (x, y) in enumerate(places, 1) for p in through(str(i), x, y, self.thickness))

    def pads(self) -> tuple[Pad, ...]:
        """The top; with a slot, the strips in front of it and behind it."""
        (x0, y0, _), (x1, y1, z) = self.box()
        if self.slot:
            half = self.pattern.bore / 2.0
            strips = [("top front", y0, -half), ("top back", half, y1)]
        else:
            strips = [("top", y0, y1)]
        middle, up, x = (x0 + x1) / 2.0, (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
        return tuple(
            Pad(name=name, at=(middle, (a + b) / 2.0, z), normal=up, along=x, length=self.length, width=b - a)
            for name, a, b in strips
        )

    def sockets(self) -> tuple[Socket, ...]:
        """The same places from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """Symmetric about its two bores."""
        middle = self.pattern.pitch / 2.0
        half, side = self.length / 2.0, self.width / 2.0
        return (middle - half, -side, 0.0), (middle + half, side, self.thickness)

    def solid(self) -> cq.Solid:
        """The plate."""
        low, high = self.box()
        d, below, up = self.pattern.bore, (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)
        plate = brick(low, high)
        if not self.slot:
            return bored(plate, self.pins(), d)
        end = round_bar(below, up, d, self.thickness + 2.0)
        way = brick((0.0, -d / 2.0, -1.0), (high[0] + 1.0, d / 2.0, self.thickness + 1.0))
        return cut(plate, checked(end.fuse(way).clean()))
