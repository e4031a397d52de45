"""A V-block: holds round tube on its centre line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part
from fixture3d.part import angle as an_angle
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import (
    EASE,
    ROOT2,
    blind,
    bored,
    bottom_pins,
    brick,
    cut,
    diagonal,
    eased_foot,
    edge,
    row_gap,
    side_pads,
    straight,
)
from ._vee import Groove

if TYPE_CHECKING:
    import cadquery as cq


def _diameter(pattern: Pattern) -> float:
    return 50.8 if pattern.inch else 48.3  # 2 in tube; pipe of 1-1/2 in nominal size in the metric tables


def _centre_height(pattern: Pattern) -> float:
    groove = Groove(_diameter(pattern), 90.0)
    return pattern.neat(_least_height(pattern, groove, 2) - groove.deep + groove.centre)


def _least_height(pattern: Pattern, groove: Groove, bores: int) -> float:
    """Seat to the lips of the V, mm, with steel round the bores below it and round those of the sides."""
    d = pattern.bore
    below = blind(pattern) + d / 4.0 + groove.slot
    beside = 0.75 * d - (bores - 1) * pattern.pitch / 2.0 * groove.cos
    floor = max(below, _side_row(pattern) + beside / groove.sin)
    return max(groove.deep + floor, _side_row(pattern) + d)


def _side_row(pattern: Pattern) -> float:
    """Height of the bores through the sides: clear of the upright ones, mm."""
    return blind(pattern) + 0.75 * pattern.bore


@part("vee_block", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class VeeBlock(Part):
    r"""A V across a bar, for round tube that lies along Y.

    It stands on its dowels with the V up, or lies on its front or back with the V upright. A slot at the bottom
    of the V clears the tube's mill seam and scale. With ``bores = 2`` the tube runs midway between two holes, with 3
    over the middle one. A block of more ``depth`` has a second row of bores, for 45 degrees. ``second`` is the angle
    of another V, in the right side, for use lying down. Other tubes lie on the flats as well, as told below.

    ::

                   ( diameter )           -
              +----\            /----+  -  |                    +-----+
              |     \  angle   /     |  |  | centre_height      |     |
              |  (3) \        / (4)  |  |  |                    | - - |  bores 3 and 4 go
              |       \_    _/       |  |                       | - - |  from front to back
              |   :     |__|     :   |  |  |                    |     |
              +---1--------------2---+  -  -                    +-----+
                  |<-- pitch --->|                               depth

    >>> from fixture3d.part import build
    >>> vee = build(VeeBlock, Pattern(pitch=50.0, bore=16.0), {"diameter": 48.3, "centre_height": 75})
    >>> vee.pins()[1].at, round(vee.height, 3)
    ((50.0, 0.0, 0.0), 63.607)
    """

    diameter: float = a_length(_diameter, low=15.0, high=115.0, help="outside diameter of the tube")
    angle: float = an_angle(90.0, low=60.0, high=150.0, help="between the flats of the V; 90 or 120 is usual")
    centre_height: float = a_length(
        _centre_height, low=lambda p: 2.0 * p.bore, high=300.0, help="table to the middle of the tube"
    )
    depth: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="length of the V"
    )
    bores: int = a_count(2, low=2, high=3, help="dowels below: 2, tube between two holes; 3, tube over a hole")
    second: float = an_angle(0.0, low=0.0, high=150.0, help="angle of a V in the right side, 60 to 150; 0 for none")

    @property
    def groove(self) -> Groove:
        """The V itself."""
        return Groove(self.diameter, self.angle)

    @property
    def floor(self) -> float:
        """Seat to the sharp bottom of the V, mm."""
        return self.centre_height - self.groove.centre

    @property
    def height(self) -> float:
        """Seat to the top of the arms, mm."""
        return self.floor + self.groove.deep

    @property
    def middle(self) -> float:
        """X of the tube's axis, mm."""
        return (self.bores - 1) * self.pattern.pitch / 2.0

    @property
    def takes(self) -> tuple[float, float]:
        """The thinnest and the thickest tube that still lies on both flats, mm."""
        return self.groove.takes

    def pins(self) -> tuple[Pin, ...]:
        """The row below, a row for 45 degrees where there is room, then the two through the sides."""
        p = self.pattern
        places = straight(p, self.bores)
        if self._turns():
            places += diagonal(p, self.middle, row_gap(p))
        out = bottom_pins(places, blind(p))
        (_, front, _), (_, back, _) = self.box()
        z = _side_row(p)
        for i, x in enumerate((0.0, 2.0 * self.middle), start=len(places) + 1):
            out += (
                Pin(name=str(i), at=(x, front, z), face="front", depth=self.depth),
                Pin(name=str(i), at=(x, back, z), face="back", depth=self.depth),
            )
        return out

    def pads(self) -> tuple[Pad, ...]:
        """The two flats of each V, and the sides."""
        (_, front, _), (right, back, _) = self.box()
        y = (front + back) / 2.0
        run = self.depth - 2.0 * EASE
        out = self.groove.pads("vee", ("left", "right"), (self.middle, y, self.floor), run, opens=(0.0, 1.0))
        if not self._second():
            return out + side_pads(*self.box(), faces=("left", "right"))
        second = self._second_groove()
        vertex = (right - second.deep, y, self.height / 2.0)
        return (
            out
            + second.pads("second vee", ("top", "bottom"), vertex, run, opens=(1.0, 0.0))
            + side_pads(*self.box(), faces=("left",))
        )

    def box(self) -> tuple[Point, Point]:
        """Wide enough for bores and V; the second V stands outside of that, to the right."""
        p = self.pattern
        half = max(self.middle + edge(p), self.groove.opening + p.neat(p.bore / 2.0))
        if self._turns():
            half = max(half, ROOT2 * p.pitch / 2.0 + p.bore)
        right = self.middle + half + (self._second_groove().deep if self._second() else 0.0)
        front = (self.depth - row_gap(p)) / 2.0 if self._turns() else self.depth / 2.0
        return (self.middle - half, -front, 0.0), (right, self.depth - front, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The side that is down, less its broken edges."""
        return eased_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """The V must leave enough of the block, and a second one must fit in the side."""
        show = self.pattern.show
        least = _least_height(self.pattern, self.groove, self.bores)
        if self.height < least - 1e-6:
            yield (
                f"centre_height = {show(self.centre_height)} is too low: the bores need steel below the V; expected "
                f"at least {show(self.pattern.neat(least + self.centre_height - self.height))}"
            )
        if self.second and not self._second():
            yield f"second = {self.second:g} degrees is too sharp; expected 60 to 150 degrees, or 0 for none"
        if self._second():
            least = 2.0 * (self._second_groove().opening + EASE + self.pattern.bore / 4.0)
            if self.height < least - 1e-6:
                yield (
                    f"centre_height = {show(self.centre_height)} is too low for the second V; expected at least "
                    f"{show(least + self.centre_height - self.height)}"
                )

    def solid(self) -> cq.Solid:
        """The block with its grooves and bores."""
        low, high = self.box()
        y = (low[1] - 1.0, high[1] + 1.0)
        tools = [self.groove.cutter((self.middle, self.floor), y, opens=(0.0, 1.0))]
        if self._second():
            second = self._second_groove()
            tools.append(second.cutter((high[0] - second.deep, self.height / 2.0), y, opens=(1.0, 0.0)))
        return bored(cut(brick(low, high, ease=EASE), *tools), self.pins(), self.pattern.bore)

    def _second(self) -> bool:
        return self.second >= 60.0

    def _second_groove(self) -> Groove:
        return Groove(self.diameter, self.second)

    def _turns(self) -> bool:
        return self.bores == 2 and self.depth >= row_gap(self.pattern) + 2.0 * self.pattern.bore - 1e-6
