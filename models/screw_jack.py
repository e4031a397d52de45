"""A screw jack: a support whose height is set by a screw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Move, Pad, Part, PartBody, Pattern, Pin, Point, Thread, part
from fixture3d.part import length as a_length

from ._profiles import EASE, ROOT2, blind, bored, bottom_pins, brick, cut, eased_foot, edge, joined, round_bar, straight

if TYPE_CHECKING:
    import cadquery as cq

PLAY = 0.25  # mm a side between the screw and what it is screwed into, drawn without a thread
UP = (0.0, 0.0, 1.0)


def _screw(pattern: Pattern) -> float:
    """Outside diameter of the screw, mm."""
    return pattern.neat(0.75 * pattern.bore, step_mm=2.0)


def _travel(pattern: Pattern) -> float:
    return pattern.neat(pattern.pitch / 2.0)


def _above(pattern: Pattern) -> float:
    """Lock nut and head over the base, fully in, mm."""
    return 0.5 * _screw(pattern) + pattern.neat(0.6 * pattern.bore)


def _least(pattern: Pattern, travel: float) -> float:
    """Least height, mm: fully out, one diameter of the screw is still in the base; and bores fit into it."""
    return max(travel + _screw(pattern), blind(pattern) + pattern.bore / 4.0) + _above(pattern)


@part("screw_jack", made="base milled from bar and tapped; screw turned, with a loose lock nut")
@dataclass(frozen=True, kw_only=True)
class ScrewJack(Part):
    """Supports work on a round head that is screwed up under it and locked, where the height is not known beforehand.

    ``height`` is the table to the head fully in; it comes up by as much as ``travel``, set with slide = 12.5 or the
    like and measured, because nothing meshes. Lock it with the nut. The screw stands midway between the two dowels. Set
    it after the work lies on its fixed supports: screwed up hard it lifts the work off them.

    ::

                  +--------+     -   -  up by slide
                  |  head  |     |   |
                  +--+  +--+     |   | height, fully in
                  [lock nut]     |   |
          +----------|  |----------+ |
          |          |  |          | |
          |   : :    |  |    : :   | |
          +---:1:------------:2:---+ -       travel: fully in to fully out

    >>> from fixture3d.part import build
    >>> jack = build(ScrewJack, Pattern(pitch=50.0, bore=16.0), {"height": 60})
    >>> jack.move().axis, jack.pads()[0].at
    ((0.0, 0.0, 1.0), (25.0, 0.0, 60.0))
    """

    height: float = a_length(
        lambda p: p.neat(_least(p, _travel(p))),
        low=lambda p: _least(p, 5.0),
        high=300.0,
        help="table to the head, fully in",
    )
    travel: float = a_length(_travel, low=5.0, high=lambda p: 2.0 * p.pitch, help="fully in to fully out")

    def pins(self) -> tuple[Pin, ...]:
        """Two blind bores in the underside."""
        return bottom_pins(straight(self.pattern, 2), blind(self.pattern))

    def pads(self) -> tuple[Pad, ...]:
        """The square within the round head."""
        size = (self._head() - 2.0 * EASE) / ROOT2
        at = (self.pattern.pitch / 2.0, 0.0, self.height)
        return (Pad(name="top", at=at, normal=UP, along=(1.0, 0.0, 0.0), length=size, width=size, moves=True),)

    def move(self) -> Move:
        """Up."""
        return Move(axis=UP, travel=self.travel)

    def box(self) -> tuple[Point, Point]:
        """Base, nut and head, fully in."""
        (x0, y0, _), (x1, y1, _) = self._base()
        return (x0, y0, 0.0), (x1, y1, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The base; turned over, nothing but the middle of the head."""
        low, high = self._base()
        if face == "top":
            x, r = self.pattern.pitch / 2.0, (self._head() - 2.0 * EASE) / ROOT2 / 2.0
            return eased_foot((x - r, -r, 0.0), (x + r, r, self.height), face, ease=0.0)
        return eased_foot(low, high, face)

    def bodies(self) -> tuple[PartBody, ...]:
        """Base and lock nut, which stay, and the screw with its head."""
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="lock nut", build=self.nut),
            PartBody(name="screw", build=self.screw, moves=True),
        )

    def threads(self) -> tuple[Thread, ...]:
        """Of the screw, and of what it is screwed into."""
        d = _screw(self.pattern)
        return (
            *(Thread(body=name, drawn=d + 2.0 * PLAY, size=d, tapped=True) for name in ("", "lock nut")),
            Thread(body="screw", drawn=d, size=d, tapped=False),
        )

    def rules(self) -> Iterator[str]:
        """The screw must stay in its thread."""
        least, show = _least(self.pattern, self.travel), self.pattern.show
        if self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} is too low for travel = {show(self.travel)}: the screw would leave its "
                f"thread; expected at least {show(self.pattern.neat(least))}"
            )

    def solid(self) -> cq.Solid:
        """The base, bored for dowels and screw."""
        low, high = self._base()
        hole = round_bar(self._axis(-1.0), UP, _screw(self.pattern) + 2.0 * PLAY, high[2] + 2.0)
        return bored(cut(brick(low, high, ease=EASE), hole), self.pins(), self.pattern.bore)

    def nut(self) -> cq.Solid:
        """Six-sided, on the base."""
        import cadquery as cq

        d, z = _screw(self.pattern), self._base()[1][2]
        (x, _, _), across = self._axis(z), 1.6 * d  # over the flats; common practice, no source
        hexagon = cq.Workplane("XY", origin=(x, 0.0, z)).polygon(6, across / 0.75**0.5).extrude(0.5 * d).val()
        return cut(hexagon, round_bar(self._axis(z - 1.0), UP, d + 2.0 * PLAY, d + 2.0))

    def screw(self) -> cq.Solid:
        """Shank and head, fully in."""
        d, base = _screw(self.pattern), self._base()[1][2]
        under = base + 0.5 * d
        head = round_bar(self._axis(under), UP, self._head(), self.height - under)
        head = head.chamfer(EASE, None, head.edges(">Z").Edges())
        low = max(base - self.travel - d, 1.0)
        return joined(head, round_bar(self._axis(low), UP, d, under - low))

    def _axis(self, z: float) -> Point:
        return (self.pattern.pitch / 2.0, 0.0, z)

    def _head(self) -> float:
        """Diameter, mm: within the base from above."""
        return min(self.pattern.neat(1.5 * self.pattern.bore), 2.0 * edge(self.pattern))

    def _base(self) -> tuple[Point, Point]:
        end = edge(self.pattern)
        return (-end, -end, 0.0), (self.pattern.pitch + end, end, self.height - _above(self.pattern))
