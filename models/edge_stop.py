"""A stop that hooks over the table's edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Point, Thread, part
from fixture3d.part import length as a_length

from ._profiles import EASE, brick, joined, round_bar, side_pads

if TYPE_CHECKING:
    import cadquery as cq


@part("edge_stop", made="milled from bar; screw bought", stands="edge")
@dataclass(frozen=True, kw_only=True)
class EdgeStop(Part):
    """A stop that hooks over the table's edge: the edge locates it across, and it is measured along.

    It is placed with ``edge = "front", along = 400`` and looks inward, ``depth`` from the edge. Its lip lies against
    the edge; a screw from below holds it by friction, so it is for light work and for stops that work is set to, not
    for stops that work is driven against. ``plate`` is the thickness of the table, the scene's own when it is left
    out.

    ::

                 |<--- depth --->|                    |<- length ->|
             +-------------------+  -                 +------------+
             |                   |  | height          |            |
             |   +===================  -              |            |  origin: on the table's edge,
         lip |   |   table             | plate        +--+      +--+  X inward
             |   +===================  -                 |      |
             |   +--|=|--+                               |      |
             +------| |--+                               +------+
                    |_| screw

    >>> from fixture3d.part import Pattern, build
    >>> build(EdgeStop, Pattern(pitch=50.0, bore=16.0), {}).pads()[0].at[0]
    75.0
    """

    length: float = a_length(
        lambda p: p.neat(1.5 * p.pitch), low=lambda p: 2.0 * p.bore, high=lambda p: 8.0 * p.pitch, help="along the edge"
    )
    depth: float = a_length(
        lambda p: p.neat(max(1.5 * p.pitch, 2.5 * p.bore)),
        low=lambda p: 2.25 * p.bore,
        high=lambda p: max(4.0 * p.pitch, 3.0 * p.bore),
        help="table's edge to the face that stops",
    )
    height: float = a_length(lambda p: p.neat(p.pitch), low=10.0, high=200.0, help="table to top")
    plate: float = a_length(
        lambda p: p.neat(0.75 * p.bore), low=2.0, high=200.0, help="thickness of the table; left out, the scene's own"
    )

    def pads(self) -> tuple[Pad, ...]:
        """The face inward, both sides, and the top."""
        return side_pads(*self._block(), faces=("right", "front", "back", "top"))

    def box(self) -> tuple[Point, Point]:
        """Block, lip and screw."""
        low, high = self._block()
        return (low[0], low[1], self._jaw()[0][2] - self._head()), high

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """What of the block lies on the table."""
        if face != "bottom":
            return super().foot(face)
        half, x, e = self.length / 2.0, self.depth, EASE
        return (0.0, -half), (x - e, -half), (x, e - half), (x, half - e), (x - e, half), (0.0, half)

    def threads(self) -> tuple[Thread, ...]:
        """Of the screw."""
        d = 0.75 * self.pattern.bore
        told = "The screw is one of its own, bought; the jaw under the plate is tapped through for it."
        return (Thread(body="", drawn=d, size=d, tapped=False, told=told),)

    def solid(self) -> cq.Solid:
        """Block, lip, jaw and screw."""
        jaw = self._jaw()
        lip = brick(jaw[0], (0.0, jaw[1][1], 1.0))
        low = jaw[0][2] - self._head()
        screw = round_bar((self._screw_at(), 0.0, low), (0.0, 0.0, 1.0), 0.75 * self.pattern.bore, -self.plate - low)
        return joined(brick(*self._block(), ease=EASE), lip, brick(*jaw), screw)

    def _lip(self) -> float:
        """Thickness of the lip and of the jaw."""
        return self.pattern.neat(0.75 * self.pattern.bore)

    def _head(self) -> float:
        """How far the screw stands out below."""
        return self.pattern.bore

    def _screw_at(self) -> float:
        return 1.25 * self.pattern.bore

    def _block(self) -> tuple[Point, Point]:
        half = self.length / 2.0
        return (-self._lip(), -half, 0.0), (self.depth, half, self.height)

    def _jaw(self) -> tuple[Point, Point]:
        """The arm under the plate that carries the screw, with room for a hand between."""
        half, top = min(self.pattern.bore, self.length / 2.0 - EASE - 1.0), -self.plate - 0.75 * self.pattern.bore
        return (-self._lip(), -half, top - self._lip()), (2.0 * self.pattern.bore, half, top)
