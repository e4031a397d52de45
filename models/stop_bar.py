"""A stop bar: a long, low stop with its row of bores off the centre line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, Socket, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import EASE, bored, brick, eased_foot, edge, side_pads, sockets, straight, third_bore

if TYPE_CHECKING:
    import cadquery as cq


def _width(pattern: Pattern) -> float:
    """One pitch, so that bars on neighbouring rows close up; more where the bores need it."""
    return max(pattern.pitch, 2.0 * edge(pattern))


@part("stop_bar", made="milled from flat bar")
@dataclass(frozen=True, kw_only=True)
class StopBar(Part):
    """A straight edge to push work against, on a row of dowels that is nearer to the front than to the back.

    Turned end for end or turned over it stands at another distance from the same holes. The ends reach as far past
    the last bore as the front of the row, so two bars in a corner, or two rows apart, close up without meeting.
    ``bores`` sets the length. A last bore, for a bar turned by 45 degrees, is added where it leaves enough steel.

    ::

        back  +------------------------------------+  -
              |                                    |  |
              | - - - - - - centre line - - - - - -|  | width
              |    (1)         (2)    (4)    (3)   |  |     offset: centre line to row
        front +------------------------------------+  -
        side  |____________________________________|  height

    >>> from fixture3d.part import build
    >>> build(StopBar, Pattern(pitch=50.0, bore=16.0), {}).pins()[2].at
    (50.0, 0.0, 0.0)
    """

    bores: int = a_count(3, low=2, high=12, help="dowels in the row; sets the length")
    width: float = a_length(_width, low=lambda p: 2.0 * p.bore, high=lambda p: 2.0 * _width(p), help="front to back")
    height: float = a_length(lambda p: p.neat(0.6 * p.pitch), low=8.0, high=150.0, help="table to top")
    offset: float = a_length(
        lambda p: _width(p) / 2.0 - edge(p),
        low=0.0,
        high=lambda p: _width(p) - p.bore,
        help="centre line to the row of dowels",
    )

    @property
    def length(self) -> float:
        """End to end, mm."""
        return (self.bores - 1) * self.pattern.pitch + 2.0 * edge(self.pattern)

    def pins(self) -> tuple[Pin, ...]:
        """The row, then one for 45 degrees together with bore 1."""
        places = straight(self.pattern, self.bores)
        if self.bores >= 3:
            places += third_bore(self.pattern)
        return tuple(p for i, (x, y) in enumerate(places, 1) for p in through(str(i), x, y, self.height))

    def pads(self) -> tuple[Pad, ...]:
        """The four sides and the top."""
        return side_pads(*self.box())

    def sockets(self) -> tuple[Socket, ...]:
        """The bores from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """The whole bar."""
        end, half = edge(self.pattern), self.width / 2.0
        return (-end, self.offset - half, 0.0), (self.length - end, self.offset + half, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """The row must keep its steel in front of it."""
        most = self.width / 2.0 - self.pattern.bore
        if self.offset > most + 1e-6:
            show = self.pattern.show
            yield f"offset = {show(self.offset)} puts the bores too near the front; expected at most {show(most)}"

    def solid(self) -> cq.Solid:
        """The bored bar."""
        return bored(brick(*self.box(), ease=EASE), self.pins(), self.pattern.bore)
