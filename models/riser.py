"""A riser: lifts work, or other blocks, above the table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pin, Point, Socket, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import (
    EASE,
    ROOT2,
    blind,
    bored,
    brick,
    cut,
    diagonal,
    eased_foot,
    edge,
    row_gap,
    side_pads,
    sockets,
    straight,
)

if TYPE_CHECKING:
    import cadquery as cq


@part("riser", made="milled from bar; tall ones welded from plate, then milled top and bottom")
@dataclass(frozen=True, kw_only=True)
class Riser(Part):
    """A block with dowels below and the same bores as sockets on top.

    Low ones are solid and bored right through. Tall ones have a base and a top plate between two walls, open at
    both ends, so that a dowel can be pushed out from inside.

    ::

              _______________________                     +-----------------------+ -
        back |     (3)       (4)     |  rows = 2:     top |  o  o  o     o  o  o  | |
             |                       |  3 and 4 are       |---+               +---| | height
             | (5)               (6) |  another row       |   |    window     |   | |
             |                       |  of the grid;      |---+               +---| |
       front |_____(1)_______(2)_____|  5 and 6 for       |  o  o  o     o  o  o  | |
                                        45 degrees        +-----------------------+ -

    >>> from fixture3d.part import Pattern
    >>> Riser(pattern=Pattern(pitch=50, bore=16), height=100, rows=2).pins()[2].at
    (50, 0, 0.0)
    """

    height: float = a_length(lambda p: p.neat(p.pitch), low=lambda p: p.neat(p.bore), high=300.0, help="table to top")
    rows: int = a_count(2, low=1, high=2, help="rows of dowels: 2 for a base that stands by itself")

    @property
    def plate(self) -> float:
        """Thickness of base and top of a tall riser, and the depth of its bores, mm."""
        return blind(self.pattern)

    @property
    def hollow(self) -> bool:
        """Whether it is tall enough to be built of plates."""
        return self.rows == 2 and self.height >= 2.0 * self.plate + 2.0 * self.pattern.bore

    def pins(self) -> tuple[Pin, ...]:
        """The grid first, then two bores for 45 degrees; each from below and, turned over, from above."""
        places = [c for row in range(self.rows) for c in straight(self.pattern, 2, row * self.pattern.pitch)]
        places += diagonal(self.pattern, self.pattern.pitch / 2.0, self._diagonal_row())
        return tuple(pin for i, (x, y) in enumerate(places, 1) for pin in self._bore(str(i), x, y))

    def pads(self) -> tuple[Pad, ...]:
        """The top, and the sides that are whole."""
        return side_pads(*self.box(), faces=("top", "front", "back", *(() if self.hollow else ("left", "right"))))

    def sockets(self) -> tuple[Socket, ...]:
        """The bores from above, under the same names."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """A brick, symmetric about its bores along X."""
        p = self.pattern
        half = p.neat(ROOT2 * p.pitch + 2.0 * p.bore) / 2.0
        back = (p.pitch if self.rows == 2 else row_gap(p)) + edge(p)
        return (p.pitch / 2.0 - half, -edge(p), 0.0), (p.pitch / 2.0 + half, back, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """One row is not enough under a tall riser."""
        (_, y0, _), (_, y1, _) = self.box()
        most = 2.0 * (y1 - y0)
        if self.rows == 1 and self.height > most + 1e-6:
            show = self.pattern.show
            yield f"height = {show(self.height)} tips on 1 row of dowels; expected at most {show(most)}, or rows = 2"

    def solid(self) -> cq.Solid:
        """The bored block, with its window when it is tall."""
        (x0, y0, _), (x1, y1, top) = self.box()
        solid = brick(*self.box(), ease=EASE)
        if self.hollow:
            wall = 0.8 * (edge(self.pattern) - self.pattern.bore / 2.0)
            solid = cut(solid, brick((x0 - 1.0, y0 + wall, self.plate), (x1 + 1.0, y1 - wall, top - self.plate)))
        return bored(solid, self.pins(), self.pattern.bore)

    def _bore(self, name: str, x: float, y: float) -> tuple[Pin, Pin]:
        depth = self.plate if self.hollow else self.height
        above = Pin(name=name, at=(x, y, self.height), face="top", depth=depth)
        return Pin(name=name, at=(x, y, 0.0), depth=depth), above

    def _diagonal_row(self) -> float:
        return self.pattern.pitch / 2.0 if self.rows == 2 else row_gap(self.pattern)
