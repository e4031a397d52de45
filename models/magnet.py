"""A switchable block magnet that stands on the table and holds the work that lies on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, PartBody, Point, Step, Tip, part
from fixture3d.part import length as a_length

from ._profiles import EASE, brick, checked, eased_foot, joined, round_bar, side_pads

if TYPE_CHECKING:
    import cadquery as cq

GAP = 1.0  # mm between the lever's path and the top and the table
MOST = 0.25  # N/mm2, pull on thick clean flat steel; common practice, from memory, no source
LEAST = 0.05  # N/mm2, on thin tube walls, rust or paint; common practice, from memory, no source
FRONT = (0.0, -1.0, 0.0)


@part("magnet", made="bought", stands="magnet")
@dataclass(frozen=True, kw_only=True)
class Magnet(Part):
    """A switchable block magnet: draws the steel that lies on it down, and itself to the table.

    It holds a piece in place and locates nothing: it stands where it is put, ``free = [x, y, 0, turn]`` with
    ``magnet = true``, and is always told as measured. ``height`` brings its top under the work. The lever turns half
    round to switch it off, within the height of the block. Pull from its top's area, common practice, no source: less
    over holes of the table, on thin walls and on paint. It holds nothing that is not steel, and it bends an arc that
    comes near.

    ::

             +-----------+  -      side  +-------+
             |           |  |            |       |
             |  (o)===   |  | height   =||       |   origin: under its middle, on the table
             |   lever   |  |            |       |
             +-----------+  -            +-------+
             |<- length >|               | depth |

    >>> from fixture3d.part import Pattern, build
    >>> build(Magnet, Pattern(pitch=50.0, bore=16.0), {}).tip().pulls
    True
    """

    length: float = a_length(
        lambda p: p.neat(1.25 * p.pitch), low=30.0, high=lambda p: 6.0 * p.pitch, help="end to end"
    )
    depth: float = a_length(lambda p: p.neat(p.pitch), low=20.0, high=lambda p: 4.0 * p.pitch, help="front to back")
    height: float = a_length(lambda p: p.neat(p.pitch), low=20.0, high=200.0, help="table to top")

    def pads(self) -> tuple[Pad, ...]:
        """The top."""
        return side_pads(*self._block(), faces=("top",))

    def box(self) -> tuple[Point, Point]:
        """Block and lever, switched on."""
        low, high = self._block()
        return (low[0], low[1] - self._out(), 0.0), (max(high[0], self._lever()), high[1], high[2])

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The block's underside."""
        return eased_foot(*self._block(), face)

    def tip(self) -> Tip:
        """Its top, which draws the work down."""
        area = (self.length - 2.0 * EASE) * (self.depth - 2.0 * EASE)
        return Tip(
            at=(0.0, 0.0, self.height),
            direction=(0.0, 0.0, -1.0),
            radius=min(self.length, self.depth) / 2.0 - EASE,
            force=(round(LEAST * area, -1), round(MOST * area, -1)),
            stroke=0.0,
            throat=0.0,
            pulls=True,
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Block, lever, and what the lever sweeps."""
        off = Step(degrees=180.0, about=FRONT, at=(0.0, 0.0, self.height / 2.0))
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="lever", build=self.lever, opens=(off,)),
            PartBody(name="lever sweep", build=self.lever_sweep, role="sweep"),
        )

    def solid(self) -> cq.Solid:
        """The block."""
        return checked(brick(*self._block(), ease=EASE))

    def lever(self) -> cq.Solid:
        """A hub on the front and a bar to the right: switched on."""
        thin, z, y = self._thin(), self.height / 2.0, -self.depth / 2.0
        hub = round_bar((0.0, y, z), FRONT, 4.0 * thin, self._out())
        return joined(hub, brick((0.0, y - self._out(), z - thin), (self._lever(), y, z + thin)))

    def lever_sweep(self) -> cq.Solid:
        """A whole round, so that it may be turned either way."""
        return round_bar((0.0, -self.depth / 2.0, self.height / 2.0), FRONT, self.height - 2.0 * GAP, self._out())

    def _block(self) -> tuple[Point, Point]:
        return (-self.length / 2.0, -self.depth / 2.0, 0.0), (self.length / 2.0, self.depth / 2.0, self.height)

    def _thin(self) -> float:
        """Half the thickness of the lever."""
        return self.height / 12.0

    def _lever(self) -> float:
        """From its axis to its end, so that its corners stay within the block's height."""
        return math.sqrt((self.height / 2.0 - GAP) ** 2 - self._thin() ** 2)

    def _out(self) -> float:
        """How far the lever stands out in front."""
        return 3.0 * self._thin()
