"""A tilt block: a slope at a stated angle, with a foot stop."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pin, Point, box_foot, part
from fixture3d.part import angle as an_angle
from fixture3d.part import length as a_length

from ._profiles import EASE, ROOT2, blind, bored, bottom_pins, cut, eased_foot, edge, round_bar, side_pads, straight
from ._sides import cross_section, turned_down

if TYPE_CHECKING:
    import cadquery as cq

GROOVE = 2.0  # mm; radius of the groove in the inside corner, so that a square edge seats on both flats
LAND = 4.0  # mm; level strip behind the slope, so that its upper edge is no knife
SLIM = 2.0  # a block higher than so many depths tips when it is leant on
STEEP = 45.0  # degrees; from here on more of the weight is on the stop than on the slope


@part("tilt_block", made="milled from bar on an inclined vice or sine plate")
@dataclass(frozen=True, kw_only=True)
class TiltBlock(Part):
    r"""Carries work on a slope at a stated angle, with a stop at its foot that keeps it from sliding.

    The slope rises to the back by ``angle``. The stop stands square to it, ``lip`` high along it, and has a groove in
    its inside corner. That corner is where the lower edge of the work comes to lie: ``height`` above the table, and
    half of ``depth`` in front of the bores; the stop itself stands further out to the front. Above 45 degrees more of
    the weight lies on the stop than on the slope, and the stop must be higher. Use two of them side by side for long
    work; bolt them down, since work that leans on a slope pushes them forward.

    ::

           from the right side                      from above
                              ._  -            back  +------------------+  -
                     slope  .' |  |                  |                  |  |
                  lip     .'   |  |                  |  (1)        (2)  |  | depth
                  / \   .'     |  |                  |                  |  |
                 /   \.' angle |  |                  |------------------|  -
                |     o - - - -|  | - - -      front |____ stop ________|
                |      :  :    |  |  | height        |<---- length ---->|
                +------:1-:----+  -  -
                      |<depth->|

    >>> from fixture3d.part import Pattern, build
    >>> tilt = build(TiltBlock, Pattern(pitch=50.0, bore=16.0), {"angle": 30})
    >>> [round(c, 3) for c in next(pad for pad in tilt.pads() if pad.name == "slope").normal]
    [0.0, -0.5, 0.866]
    """

    angle: float = an_angle(15.0, low=1.0, high=60.0, help="of the slope over the table")
    length: float = a_length(
        lambda p: p.neat(ROOT2 * p.pitch + 2.0 * p.bore),
        low=lambda p: p.pitch + 2.0 * edge(p),
        high=lambda p: 6.0 * p.pitch,
        help="left to right",
    )
    depth: float = a_length(
        lambda p: p.neat(max(1.6 * p.pitch, 4.0 * p.bore)),
        low=lambda p: max(2.5 * p.bore, 30.0),
        high=lambda p: 5.0 * p.pitch,
        help="level, from the corner at the stop to the back",
    )
    height: float = a_length(
        lambda p: p.neat(blind(p) + p.bore / 4.0 + GROOVE),
        low=lambda p: blind(p) + p.bore / 4.0 + GROOVE,
        high=200.0,
        help="table to the foot of the slope",
    )
    lip: float = a_length(
        lambda p: p.neat(max(10.0, 0.6 * p.bore)), low=8.0, high=60.0, help="height of the stop, square to the slope"
    )

    def pins(self) -> tuple[Pin, ...]:
        """Two blind bores in the underside, under the middle of the depth."""
        return bottom_pins(straight(self.pattern, 2), blind(self.pattern))

    def pads(self) -> tuple[Pad, ...]:
        """The slope, the stop at its foot, and the front and back."""
        c, s = self._cos_sin()
        (x0, y0, _), (x1, y1, _) = self.box()
        middle, run, along = (x0 + x1) / 2.0, x1 - x0 - 2.0 * EASE, (1.0, 0.0, 0.0)
        y, z = self._corner()
        end = (y1 - LAND - y) / c
        up, out = (GROOVE + end) / 2.0, (GROOVE + self.lip) / 2.0
        slope, stop = (middle, y + up * c, z + up * s), (middle, y - out * s, z + out * c)
        back = side_pads((x0, y0, 0.0), (x1, y1, self._top()), faces=("back",))
        front = side_pads((x0, y0, 0.0), (x1, y1, self._nose()), faces=("front",))
        return (
            Pad(name="slope", at=slope, normal=(0.0, -s, c), along=along, length=run, width=end - GROOVE),
            Pad(name="stop", at=stop, normal=(0.0, c, s), along=along, length=run, width=self.lip - GROOVE),
            *front,
            *back,
        )

    def box(self) -> tuple[Point, Point]:
        """Symmetric about its bores from left to right."""
        middle, half, side = self.pattern.pitch / 2.0, self.length / 2.0, self._side()
        return (middle - half, side[0][0], 0.0), (middle + half, self.depth / 2.0, max(z for _, z in side))

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The underside, the upright front or back, or the outline of an end; nothing level is on top."""
        (x0, y0, _), (x1, y1, top) = self.box()
        if face in ("left", "right"):
            x = x0 if face == "left" else x1
            side = ((min(max(y, y0 + EASE), y1 - EASE), z) for y, z in self._side())
            return turned_down(((x, y, z) for y, z in side), face)
        if face in ("front", "back"):
            high = self._nose() if face == "front" else self._top()
            return box_foot((x0 + EASE, y0, 0.0), (x1 - EASE, y1, high), face)
        if face == "top":
            strip = y1 - LAND if self._top() >= top - 1e-9 else y0  # of a stop that is higher than the slope, nothing
            return box_foot((x0 + EASE, strip, top), (x1 - EASE, strip + LAND - EASE, top), face)
        return eased_foot((x0, y0, 0.0), (x1, y1, top), face)

    def rules(self) -> Iterator[str]:
        """A steep slope must not make it tip, and needs a high stop."""
        show = self.pattern.show
        tallest, most = self.box()[1][2], SLIM * self.depth
        if tallest > most + 1e-6:
            yield (
                f"angle = {self.angle:g} degrees makes it {show(tallest)} high on a depth of {show(self.depth)}; "
                f"expected at most {show(most)}: more depth, less height, or a smaller angle"
            )
        least = 1.5 * max(10.0, 0.6 * self.pattern.bore)
        if self.angle > STEEP and self.lip < least - 1e-6:
            yield (
                f"lip = {show(self.lip)} is too low for {self.angle:g} degrees: above 45 degrees the stop carries more "
                f"than the slope; expected at least {show(least)}"
            )

    def solid(self) -> cq.Solid:
        """The profile with its groove, broken upright edges and bores."""
        (x0, _, _), (x1, _, _) = self.box()
        body = cross_section(self._side(), x0, x1)
        body = body.chamfer(EASE, None, [e for e in body.edges("|Z").Edges() if self._outer(e.Center().y)])
        y, z = self._corner()
        groove = round_bar((x0 - 1.0, y, z), (1.0, 0.0, 0.0), 2.0 * GROOVE, x1 - x0 + 2.0)
        return bored(cut(body, groove), self.pins(), self.pattern.bore)

    def _outer(self, y: float) -> bool:
        return min(abs(y - self.box()[k][1]) for k in range(2)) < 1e-6

    def _cos_sin(self) -> tuple[float, float]:
        turn = math.radians(self.angle)
        return math.cos(turn), math.sin(turn)

    def _thick(self) -> float:
        """Of the stop, along the slope, mm."""
        return max(8.0, self.pattern.neat(self.pattern.bore / 2.0))

    def _corner(self) -> tuple[float, float]:
        """(y, z) where slope and stop meet, mm."""
        return -self.depth / 2.0, self.height

    def _top(self) -> float:
        """Of the back, mm."""
        y, z = self._corner()
        return z + (self.depth / 2.0 - LAND - y) * math.tan(math.radians(self.angle))

    def _nose(self) -> float:
        """Of the front, mm: where the upper side of the stop meets it."""
        c, s = self._cos_sin()
        return self.height + self.lip * c - self._thick() * s

    def _side(self) -> list[tuple[float, float]]:
        """Outline of an end, (y, z), from the lower front corner on."""
        c, s = self._cos_sin()
        (y, z), half = self._corner(), self.depth / 2.0
        ridge = (y - self.lip * s, z + self.lip * c)
        front = ridge[0] - self._thick() * c
        back = [(half, 0.0), (half, self._top()), (half - LAND, self._top())]
        return [(front, 0.0), *back, (y, z), ridge, (front, self._nose())]
