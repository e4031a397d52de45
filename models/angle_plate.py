"""An angle plate: an upright face with its own grid of holes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, Socket, box_foot, part
from fixture3d.part import count as a_count

from ._profiles import EASE, ROOT2, bored, bottom_pins, brick, cut, edge, joined, straight
from ._sides import cross_section, turned_down

if TYPE_CHECKING:
    import cadquery as cq

HEAD = 0.9  # of the bore: half a bolt head or nut across its corners, with a little to spare
SLIM = 3.0  # a face higher than so many depths of its foot is too limp


def _plate(pattern: Pattern) -> float:
    """Thickness of foot and upright plate: a dowel has its own diameter of steel to stand in, mm."""
    return pattern.neat(pattern.bore)


def _gusset(pattern: Pattern) -> float:
    return pattern.neat(0.6 * pattern.bore)


def _lead(pattern: Pattern) -> float:
    """Table to the lowest row, and first foot bore to the upright face, mm: half pitches, with room for a nut."""
    half = pattern.pitch / 2.0
    return math.ceil((_plate(pattern) + HEAD * pattern.bore) / half - 1e-9) * half


@part("angle_plate", made="welded from plate, stress relieved, then milled and bored; the face square to the foot")
@dataclass(frozen=True, kw_only=True)
class AnglePlate(Part):
    """Holds blocks, or the work itself, on an upright face that has its own holes.

    The upright face is the front. Its holes are named as you look at it: letters from left to right, numbers from
    the lowest row up, so A1 is lower left. They stand over the columns of the foot, one pitch apart. Another block
    goes on with on = "AP", socket = "B2", bolt = true: its seat lies on the face, and its turn counts from the face's
    left-to-right line. Dowels alone would fall out, so it needs its bolt. ``columns`` and ``rows`` size the face,
    ``foot_rows`` the foot behind it; bolt the foot down as well. Gussets stand at both ends and, in wide ones, between
    columns, clear of nuts. It may also lie on its front.

    ::

          from the front                      from the right side
        - +-----------------------+           +--+
        | |  A3      B3      C3   |           |  |`.
        | |                       |           |  |  `.   gusset
        | |  A2      B2      C2   |           |  |    `.
        | |                       |           |  |      `.
     rows |  A1      B1      C1   |           |  |        `.
        | |                       |           |  +----------+  -
        - +-----------------------+           +------:----:-+  - plate
             :<------->: pitch               front   1    4
             columns                              ->|    |<- foot_rows, one pitch apart

    >>> from fixture3d.part import build
    >>> plate = build(AnglePlate, Pattern(pitch=50.0, bore=16.0), {})
    >>> [s.at for s in plate.sockets() if s.name == "B2"]
    [(50.0, -50.0, 100.0)]
    """

    columns: int = a_count(3, low=2, high=8, help="holes across the face, and across the foot")
    rows: int = a_count(3, low=1, high=6, help="holes up the face")
    foot_rows: int = a_count(2, low=1, high=4, help="rows of bores in the foot")

    @property
    def height(self) -> float:
        """Table to the top of the face, mm."""
        return _lead(self.pattern) + (self.rows - 1) * self.pattern.pitch + edge(self.pattern)

    def pins(self) -> tuple[Pin, ...]:
        """The foot row by row, then the face, for a plate that lies on it."""
        p, plate = self.pattern, _plate(self.pattern)
        foot = [c for row in range(self.foot_rows) for c in straight(p, self.columns, row * p.pitch)]
        face = [Pin(name=name, at=at, face="front", depth=plate) for name, at in self._grid()]
        return (*bottom_pins(foot, plate), *face)

    def pads(self) -> tuple[Pad, ...]:
        """The face, and the upper edge of its plate."""
        (x0, y0, _), (x1, _, top) = self.box()
        middle, run, plate = (x0 + x1) / 2.0, x1 - x0 - 2.0 * EASE, _plate(self.pattern)
        along, high = (1.0, 0.0, 0.0), top - EASE
        at, rim = (middle, y0, high / 2.0), (middle, y0 + (EASE + plate) / 2.0, top)
        return (
            Pad(name="front", at=at, normal=(0.0, -1.0, 0.0), along=along, length=run, width=high),
            Pad(name="top", at=rim, normal=(0.0, 0.0, 1.0), along=along, length=run, width=plate - EASE),
        )

    def sockets(self) -> tuple[Socket, ...]:
        """The holes of the face."""
        return tuple(Socket(name=name, at=at, face="front", depth=_plate(self.pattern)) for name, at in self._grid())

    def box(self) -> tuple[Point, Point]:
        """From the face to the back of the foot."""
        p, end = self.pattern, self._end()
        back = (self.foot_rows - 1) * p.pitch + edge(p)
        return (-end, -_lead(p), 0.0), ((self.columns - 1) * p.pitch + end, back, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """What is flat on that side: the foot, the face, an end with its gusset, or the edge of a plate."""
        (x0, y0, _), (x1, y1, top) = self.box()
        plate, e = _plate(self.pattern), EASE
        if face == "bottom":
            return (x0 + e, y0), (x1 - e, y0), (x1, y0 + e), (x1, y1), (x0, y1), (x0, y0 + e)
        if face in ("left", "right"):
            x = x0 if face == "left" else x1
            return turned_down(((x, max(y, y0 + e), z) for y, z in self._side(top - e)), face)
        low, high = {
            "front": ((x0 + e, y0, 0.0), (x1 - e, y0, top - e)),
            "top": ((x0 + e, y0 + e, top), (x1 - e, y0 + plate, top)),
            "back": ((x0, y1, 0.0), (x1, y1, plate)),
        }[face]
        return box_foot(low, high, face)

    def rules(self) -> Iterator[str]:
        """A high face needs a deep foot."""
        (_, front, _), (_, back, top) = self.box()
        most = SLIM * (back - front)
        if top > most + 1e-6:
            fits = self.rows - math.ceil((top - most) / self.pattern.pitch - 1e-9)
            yield (
                f"rows = {self.rows} is too high for foot_rows = {self.foot_rows}; expected at most {fits} rows, "
                "or more foot_rows"
            )

    def solid(self) -> cq.Solid:
        """Foot, upright plate and gussets in one, bored."""
        (x0, y0, _), (x1, y1, top) = self.box()
        plate, thick = _plate(self.pattern), _gusset(self.pattern)
        plates = [brick((x0, y0, 0.0), (x1, y1, plate)), brick((x0, y0, 0.0), (x1, y0 + plate, top))]
        starts = [x0, *(x - thick / 2.0 for x in self._between()), x1 - thick]
        body = joined(*plates, *(cross_section(self._side(top), x, x + thick) for x in starts))
        rim = [e for e in body.faces("<Y").edges().Edges() if e.Center().z > 1e-6]
        return bored(cut(body.chamfer(EASE, None, rim)), self.pins(), self.pattern.bore)

    def _grid(self) -> list[tuple[str, Point]]:
        """Name and mouth of every hole of the face, row by row from the lowest."""
        p, lead = self.pattern, _lead(self.pattern)
        return [
            (f"{chr(ord('A') + i)}{j + 1}", (i * p.pitch, -lead, lead + j * p.pitch))
            for j in range(self.rows)
            for i in range(self.columns)
        ]

    def _end(self) -> float:
        """Outer columns to the ends, mm: with room for a nut beside the gusset, and for the end of a stop block."""
        p = self.pattern
        stop = (p.neat(ROOT2 * p.pitch + 2.0 * p.bore) - p.pitch) / 2.0
        return p.neat(max(HEAD * p.bore + _gusset(p), stop + EASE))

    def _between(self) -> list[float]:
        """Middles of the gussets between columns: no more than three columns without one, where nuts leave room."""
        p = self.pattern
        if p.pitch / 2.0 - _gusset(p) / 2.0 < HEAD * p.bore:
            return []
        return [(k - 0.5) * p.pitch for k in range(2, self.columns - 1, 2)]

    def _side(self, top: float) -> list[tuple[float, float]]:
        """Outline of an end, (y, z), counter-clockwise from the right."""
        (_, y0, _), (_, y1, high) = self.box()
        plate, blunt = _plate(self.pattern), _gusset(self.pattern)
        slant = (y0 + plate + blunt, high)
        if top < high:  # where the slant passes the height of the broken edge
            share = (high - top) / (high - plate - blunt)
            slant = (slant[0] + share * (y1 - slant[0]), top)
        return [(y0, 0.0), (y1, 0.0), (y1, plate + blunt), slant, (y0, top)]
