"""A shim stack: a plate and shims that make up a height."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from fixture3d.part import Pad, Part, PartBody, Pin, Point, Socket, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import brick, cut, edge, round_bar, sockets, straight

if TYPE_CHECKING:
    import cadquery as cq


@part("shim_stack", made="plate ground, shims cut from shim stock; all bored together")
@dataclass(frozen=True, kw_only=True)
class ShimStack(Part):
    """Makes up an odd height from a plate and two kinds of shims that are listed by count and thickness.

    Its height is ``plate`` + ``count`` x ``thickness`` + ``fine_count`` x ``fine``, and is told with its face. Two
    dowels go through all of it; a block that stands on it with on = "SS", socket = "1" is lifted by that height. Few
    thick shims lie flatter than many thin ones.

    ::

                +-----------------------+  -
                |  fine_count of fine   |  |
                |-----------------------|  |
                |  count of thickness   |  |  height, the sum
                |-----------------------|  |
                |        plate          |  |
                +---:1:--------:2:------+  -      width: front to back

    >>> from fixture3d.part import Pattern, build
    >>> given = {"plate": 20, "count": 3, "thickness": 1, "fine_count": 2, "fine": 0.1}
    >>> round(build(ShimStack, Pattern(pitch=50.0, bore=16.0), given).height, 3)
    23.2
    """

    plate: float = a_length(lambda p: p.neat(p.bore), low=3.0, high=150.0, help="thickness of the plate below")
    count: int = a_count(2, low=0, high=10, help="how many shims of the first kind")
    thickness: float = a_length(1.0, low=0.05, high=10.0, help="of one shim of the first kind")
    fine_count: int = a_count(0, low=0, high=10, help="how many shims of the second kind")
    fine: float = a_length(0.1, low=0.02, high=10.0, help="thickness of one shim of the second kind")
    width: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="front to back"
    )

    @property
    def height(self) -> float:
        """Of the whole stack, mm."""
        return self._levels()[-1]

    def pins(self) -> tuple[Pin, ...]:
        """Two, through all."""
        places = straight(self.pattern, 2)
        return tuple(p for i, (x, y) in enumerate(places, 1) for p in through(str(i), x, y, self.height))

    def pads(self) -> tuple[Pad, ...]:
        """The top of the uppermost shim."""
        (x0, y0, _), (x1, y1, z) = self.box()
        at = ((x0 + x1) / 2.0, (y0 + y1) / 2.0, z)
        return (Pad(name="top", at=at, normal=(0.0, 0.0, 1.0), along=(1.0, 0.0, 0.0), length=x1 - x0, width=y1 - y0),)

    def sockets(self) -> tuple[Socket, ...]:
        """The bores from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """All plates are as large as each other."""
        end, half = edge(self.pattern), self.width / 2.0
        return (-end, -half, 0.0), (self.pattern.pitch + end, half, self.height)

    def bodies(self) -> tuple[PartBody, ...]:
        """The plate, and each kind of shims as one pack."""
        out = [PartBody(name="", build=self.solid)]
        levels = self._levels()
        for name, number, k in (("shims", self.count, 1), ("fine shims", self.fine_count, 2)):
            if number:
                out.append(PartBody(name=name, build=partial(self._layer, levels[k - 1], levels[k])))
        return tuple(out)

    def solid(self) -> cq.Solid:
        """The plate."""
        return self._layer(0.0, self.plate)

    def _levels(self) -> tuple[float, float, float]:
        """Top of the plate, of the first kind of shims and of the second, mm."""
        first = self.plate + self.count * self.thickness
        return self.plate, first, first + self.fine_count * self.fine

    def _layer(self, low: float, high: float) -> cq.Solid:
        (x0, y0, _), (x1, y1, _) = self.box()
        way, d = (0.0, 0.0, 1.0), self.pattern.bore
        tools = [round_bar((x, y, low - 1.0), way, d, high - low + 2.0) for x, y in straight(self.pattern, 2)]
        return cut(brick((x0, y0, low), (x1, y1, high)), *tools)
