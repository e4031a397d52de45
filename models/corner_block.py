"""A corner block: two walls at a right angle, for the corner of a frame or for a post."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part, through
from fixture3d.part import length as a_length

from ._profiles import EASE, ROOT2, bored, brick, cut, eased_foot, edge, round_bar, side_pads, sockets
from ._sides import turned_down

if TYPE_CHECKING:
    import cadquery as cq

    from fixture3d.part import Socket

GROOVE = 2.0  # mm; radius of the grooves along the rest, so that a square edge seats on rest and wall
LEAST_REST = 6.0  # mm; a thinner plate would bend
UP = (0.0, 0.0, 1.0)


def _most_relief(pattern: Pattern) -> float:
    """A quarter bore of steel is left between the relief and bore 1, mm."""
    return ROOT2 * edge(pattern) - 0.75 * pattern.bore


@part("corner_block", made="milled from plate; the relief drilled first")
@dataclass(frozen=True, kw_only=True)
class CornerBlock(Part):
    """Stops work in two directions at once: a frame's corner, or a square post that stands upright.

    The walls run to the right and to the back of bore 1, the work lies in the corner between them; ``turn`` brings it
    to any of the four corners of a frame: 0 for the front left corner, 270 back left, 180 back right, 90 front right.
    A round ``relief`` in the corner leaves the walls flat only from there on, so that a tube's rounded corner, a burr
    or a bead never carries the work: make it no less than the tube's outside corner radius. ``rest`` is a floor between
    the walls to lie on; 0 leaves it out and the work goes down to the table. The outside of both walls stops work too.

    ::

              from above                          from the front, cut
          +--------+                     -        +------+              -
          |   (3)  |                     |        | wall |              | height
          |        |   work              | length |      |              |
          |  left  |                     |        |      o--------+  -  |
          |  wall  |                     |        |      :  rest  |  |  |
          |        O--------------+      |        +------+--------+  -  -
          |         front wall    |      |
          |   (1)           (2)   |      |     O: relief, round, down to the rest
          +-----------------------+      -

    >>> from fixture3d.part import build
    >>> corner = build(CornerBlock, Pattern(pitch=50.0, bore=16.0), {})
    >>> [pad.at[1] for pad in corner.pads() if pad.name == "front wall"]
    [20.0]
    """

    length: float = a_length(
        lambda p: p.neat(p.pitch + 2.0 * edge(p)),
        low=lambda p: p.pitch + 2.0 * edge(p),
        high=lambda p: 6.0 * p.pitch,
        help="of both walls, outside",
    )
    height: float = a_length(lambda p: p.neat(1.2 * p.pitch), low=12.0, high=200.0, help="table to top")
    relief: float = a_length(
        lambda p: min(p.neat(8.0, step_mm=1.0, step_in=0.0625), _most_relief(p)),
        low=2.0,
        high=_most_relief,
        help="radius of the groove in the corner: at least that of the tube's outside corners",
    )
    rest: float = a_length(0.0, low=0.0, high=150.0, help="table to the floor between the walls; 0: none")

    def pins(self) -> tuple[Pin, ...]:
        """One under the corner, one a pitch along each wall, all through."""
        pitch = self.pattern.pitch
        places = ((0.0, 0.0), (pitch, 0.0), (0.0, pitch))
        return tuple(p for i, (x, y) in enumerate(places, 1) for p in through(str(i), x, y, self.height))

    def pads(self) -> tuple[Pad, ...]:
        """Both walls inside and outside, and the rest."""
        inner, far = edge(self.pattern), self._far()
        low, high = (self.rest + GROOVE if self.rest else 0.0), self.height - EASE
        start, end = inner + self.relief, far - EASE
        middle, run, z = (start + end) / 2.0, end - start, (low + high) / 2.0
        x, y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
        walls = (
            Pad(name="front wall", at=(middle, inner, z), normal=y, along=x, length=run, width=high - low),
            Pad(name="left wall", at=(inner, middle, z), normal=x, along=y, length=run, width=high - low),
        )
        outside = side_pads(*self.box(), faces=("front", "left"))
        if not self.rest:
            return (*walls, *outside)
        a, b = inner + GROOVE, far - EASE
        at, size = ((a + b) / 2.0, (a + b) / 2.0, self.rest), b - a
        return (*walls, Pad(name="rest", at=at, normal=UP, along=x, length=size, width=size), *outside)

    def sockets(self) -> tuple[Socket, ...]:
        """The bores from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """As long to the right as to the back."""
        near, far = -edge(self.pattern), self._far()
        return (near, near, 0.0), (far, far, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The angle of both walls, filled in where there is a rest; on a side what is flat there."""
        (a, _, _), (b, _, top) = self.box()
        e, inner, rest, high = EASE, edge(self.pattern), self.rest, top - EASE
        if face == "bottom" and rest:
            return eased_foot(*self.box(), face)
        if face in ("bottom", "top"):
            near, out = inner - e, self.relief / math.cos(math.radians(7.5))  # corners round the relief, outside it
            turns = (math.radians(-7.5 - 15.0 * k) for k in range(18))
            round_it = [(inner + out * math.cos(t), inner + out * math.sin(t)) for t in turns]
            within = [c for c in round_it if min(c) <= near]
            notch = [(inner + out, near), *within, (near, inner + out)]
            flat = [(a + e, a + e), (b - e, a + e), (b - e, near), *notch, (near, b - e), (a + e, b - e)]
            return turned_down(((x, y, top) for x, y in flat), face)
        if face in ("front", "left"):
            side = [(a + e, 0.0), (b - e, 0.0), (b - e, high), (a + e, high)]
        else:
            side = [(a + e, 0.0), (inner - e, 0.0), (inner - e, high), (a + e, high)]
            if rest:
                side = [(a + e, 0.0), (b - e, 0.0), (b - e, rest), (inner - e, rest), *side[2:]]
        at = a if face in ("front", "left") else b
        return turned_down(((s, at, z) if face in ("front", "back") else (at, s, z) for s, z in side), face)

    def rules(self) -> Iterator[str]:
        """A rest needs thickness, and walls above it; the relief must leave flat walls."""
        show = self.pattern.show
        if 0.0 < self.rest < LEAST_REST:
            yield f"rest = {show(self.rest)} is too thin; expected at least {show(LEAST_REST)}, or 0 for none"
        least = self.rest + GROOVE + EASE + 5.0
        if self.rest and self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} leaves no walls above rest = {show(self.rest)}; "
                f"expected at least {show(least)}"
            )

    def solid(self) -> cq.Solid:
        """The block less its corner, its relief and grooves, bored."""
        low, high = self.box()
        inner, rest, tall = edge(self.pattern), self.rest, self.height + 2.0
        pocket = brick((inner, inner, rest if rest else -1.0), (high[0] + 1.0, high[1] + 1.0, self.height + 1.0))
        body = cut(brick(low, high), pocket)
        upright = [
            e for e in body.edges("|Z").Edges() if abs(e.Center().x - inner) > 1e-6 or abs(e.Center().y - inner) > 1e-6
        ]
        body = body.chamfer(EASE, None, [*upright, *body.faces(">Z").edges().Edges()])
        tools = [round_bar((inner, inner, rest if rest else -1.0), UP, 2.0 * self.relief, tall)]
        if rest:
            run = high[0] - inner + 1.0
            tools.append(round_bar((inner, inner, rest), (1.0, 0.0, 0.0), 2.0 * GROOVE, run))
            tools.append(round_bar((inner, inner, rest), (0.0, 1.0, 0.0), 2.0 * GROOVE, run))
        return bored(cut(body, *tools), self.pins(), self.pattern.bore)

    def _far(self) -> float:
        return self.length - edge(self.pattern)
