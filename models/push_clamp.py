"""A push clamp: a level plunger in a guide on a pinned base, worked by a handle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Part, PartBody, Pin, Point, Step, Tip, part
from fixture3d.part import length as a_length

from ._profiles import EASE, bored, bottom_pins, brick, cut, edge, joined, region, round_bar, straight, third_bore
from ._swing import HANDLE_OPENS, handle_swing

if TYPE_CHECKING:
    import cadquery as cq

PLAY = 0.5  # mm between plunger and guide
FORWARD = (1.0, 0.0, 0.0)


@part("push_clamp", made="base milled from bar; plunger and handle bought or made to suit")
@dataclass(frozen=True, kw_only=True)
class PushClamp(Part):
    """Pushes work level against a stop; shown shut, with the space that plunger and handle need to open.

    ``work_height`` is that of the plunger's axis, ``reach`` how far its face stands before the base. The handle is
    upright when shut and goes 85 degrees back, which draws the plunger in by two bores; that is its throat. Nothing
    may stand in either space. Force and stroke are common practice, no source; a given clamp's own figures go before
    them.

    ::

                    |H|                          origin: under bore 1, on the table
                    |H| handle
                    |H|
                  +-(o)---------+                              -
               ===|   guide     |=============[| tip  ->       | work_height
                  |             |<-- reach --->                |
         +--------+-------------+                              |
         |  (1)           (2)   |                              -

    >>> from fixture3d.part import Pattern, build
    >>> build(PushClamp, Pattern(pitch=50.0, bore=16.0), {}).tip().direction
    (1.0, 0.0, 0.0)
    """

    work_height: float = a_length(
        lambda p: p.neat(max(p.pitch, 2.5 * p.bore)),
        low=lambda p: 2.5 * p.bore,
        high=250.0,
        help="table to the plunger's axis",
    )
    reach: float = a_length(
        lambda p: p.neat(max(p.pitch, 3.0 * p.bore)),
        low=lambda p: 2.75 * p.bore,
        high=lambda p: max(4.0 * p.pitch, 4.0 * p.bore),
        help="base to the face that pushes",
    )

    def pins(self) -> tuple[Pin, ...]:
        """A row of two through the base, and one for 45 degrees where it leaves enough steel."""
        return bottom_pins(straight(self.pattern, 2) + third_bore(self.pattern), self._plate())

    def box(self) -> tuple[Point, Point]:
        """Base, plunger and handle, shut."""
        (x0, y0, _), (_, y1, _) = self._base()
        return (x0, y0, 0.0), (self._tip_x(), y1, self._pivot()[1] + self._handle()[1])

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The base plate."""
        (x0, y0, _), (x1, y1, _) = self._base()
        return ((x0, y0), (x1, y0), (x1, y1), (x0, y1)) if face == "bottom" else super().foot(face)

    def tip(self) -> Tip:
        """Straight ahead, by hand."""
        return Tip(
            at=(self._tip_x(), 0.0, self.work_height),
            direction=FORWARD,
            radius=self._pad(),
            force=(300.0, 1500.0) if self.pattern.bore < 22.0 else (600.0, 3000.0),
            stroke=self.pattern.neat(0.5 * self.pattern.bore),
            throat=self._travel(),
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Base with guide, plunger, handle, and what the last two sweep."""
        x, z = self._pivot()
        back = Step(shift=(-self._travel(), 0.0, 0.0))
        turn = Step(degrees=HANDLE_OPENS, about=(0.0, -1.0, 0.0), at=(x, 0.0, z))
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="plunger", build=self.plunger, opens=(back,)),
            PartBody(name="handle", build=self.handle, opens=(turn,)),
            PartBody(name="plunger sweep", build=self.plunger_sweep, role="sweep"),
            PartBody(name="handle sweep", build=self.handle_sweep, role="sweep"),
        )

    def solid(self) -> cq.Solid:
        """Base plate, guide, and the lug of the handle."""
        (x0, x1), half, (x, z), d = self._guide(), self.pattern.bore, self._pivot(), self.pattern.bore
        low, high = self._base()
        guide = brick((x0, -half, 0.0), (x1, half, self.work_height + 0.75 * d))
        lug = brick((x - 0.5 * d, -0.5 * d, 0.5 * self.work_height), (x + 0.5 * d, 0.5 * d, z + 0.5 * d))
        bore = round_bar((x0 - 1.0, 0.0, self.work_height), FORWARD, self._rod() + 2.0 * PLAY, x1 - x0 + 2.0)
        return bored(cut(joined(brick(low, high, ease=EASE), guide, lug), bore), self.pins(), d)

    def plunger(self) -> cq.Solid:
        """Rod through the guide, and its round face."""
        x0, z = self._guide()[0], self.work_height
        rod = round_bar((x0, 0.0, z), FORWARD, self._rod(), self._tip_x() - x0)
        return joined(
            rod, round_bar((self._tip_x() - self._thick(), 0.0, z), FORWARD, 2.0 * self._pad(), self._thick())
        )

    def handle(self) -> cq.Solid:
        """Upright bar with a round grip."""
        d, (x, z), (start, end) = self.pattern.bore, self._pivot(), self._handle()
        thin, run = 0.3 * d, end - start
        bar = brick((x - thin, -thin, z + start), (x + thin, thin, z + start + 0.5 * run))
        return joined(bar, round_bar((x, 0.0, z + start + 0.4 * run), (0.0, 0.0, 1.0), d, 0.6 * run))

    def plunger_sweep(self) -> cq.Solid:
        """Space of rod and face on the way back."""
        x0, z, off, face = self._guide()[0], self.work_height, self._travel(), self._tip_x() - self._thick()
        rod = round_bar((x0 - off, 0.0, z), FORWARD, self._rod(), face - x0 + off)
        return joined(rod, round_bar((face - off, 0.0, z), FORWARD, 2.0 * self._pad(), off + self._thick()))

    def handle_sweep(self) -> cq.Solid:
        """Space of the handle from shut to open."""
        half = self.pattern.bore / 2.0
        return region(handle_swing(self._pivot(), *self._handle(), half), -half, half)

    def _plate(self) -> float:
        return self.pattern.neat(self.pattern.bore)

    def _rod(self) -> float:
        return 0.6 * self.pattern.bore

    def _pad(self) -> float:
        """Radius of the face."""
        return 0.5 * self.pattern.bore

    def _thick(self) -> float:
        """Thickness of the face."""
        return 0.5 * self.pattern.bore

    def _travel(self) -> float:
        return 2.0 * self.pattern.bore

    def _pivot(self) -> tuple[float, float]:
        """Axis of the handle, (x, z)."""
        x0, x1 = self._guide()
        return (x0 + x1) / 2.0, self.work_height + 1.5 * self.pattern.bore

    def _handle(self) -> tuple[float, float]:
        """Its lower and upper end above the pivot."""
        return 0.5 * self.pattern.bore, 7.0 * self.pattern.bore

    def _guide(self) -> tuple[float, float]:
        """From end to end: over the whole of the second bore, whose dowel then ends under it."""
        return self.pattern.pitch - self.pattern.bore, self._base()[1][0]

    def _base(self) -> tuple[Point, Point]:
        half = self.pattern.neat(max(edge(self.pattern), self.pattern.bore + EASE))
        end = max(x for x, _ in straight(self.pattern, 2) + third_bore(self.pattern))
        return (-edge(self.pattern), -half, 0.0), (end + edge(self.pattern), half, self._plate())

    def _tip_x(self) -> float:
        return self._base()[1][0] + self.reach
