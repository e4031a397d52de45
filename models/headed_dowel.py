"""A headed dowel: a pin for a hole in the work, over a collar that the work lies on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, box_foot, part
from fixture3d.part import length as a_length

from ._peg import UP, Peg, circle, shank
from ._profiles import EASE, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq

LEDGE = 3.0  # mm; least width of the ring that the work lies on


def _diameter(pattern: Pattern) -> float:
    return max(6.0, pattern.neat(0.75 * pattern.bore, step_mm=1.0, step_in=0.0625))


def _collar(pattern: Pattern) -> float:
    return pattern.neat(max(1.75 * pattern.bore, _diameter(pattern) + 2.0 * (LEDGE + EASE)))


@part("headed_dowel", made="turned; hardened, then shank and pin ground")
@dataclass(frozen=True, kw_only=True)
class HeadedDowel(Part):
    r"""Locates work by a hole in it: the pin goes into the hole, the work lies on the collar.

    It stands in one hole of the table by its own shank, and its collar, the head, keeps it from falling through.
    ``diameter`` is that of the pin: a little less than the hole in the work. It holds the work in every direction, so
    use one of these and, in a second hole, a diamond_dowel: two round pins in two holes jam when the distance is off.

    ::

                     ___
                    /   \            -
                   |     |           |
                   |     |           |   pin: diameter
             +-----+     +-----+  -  |
             |      collar     |  |  |  rest: table to the collar, height: table to the tip
             +---+         +---+  -  -
                 |  shank  |            as thick as the hole in the table
                 +---------+

    >>> from fixture3d.part import build
    >>> pin = build(HeadedDowel, Pattern(pitch=50.0, bore=16.0), {"diameter": 10, "rest": 12})
    >>> [pad.at[:2] for pad in pin.pads()][:2]
    [(0.0, -5.0), (0.0, 5.0)]
    """

    diameter: float = a_length(_diameter, low=4.0, high=lambda p: p.pitch / 2.0, help="of the pin")
    height: float = a_length(lambda p: p.neat(1.75 * p.bore), low=8.0, high=150.0, help="table to the tip of the pin")
    rest: float = a_length(
        lambda p: p.neat(0.6 * p.bore), low=4.0, high=120.0, help="table to the collar that the work lies on"
    )
    collar: float = a_length(_collar, low=lambda p: p.bore + 4.0, high=lambda p: p.pitch, help="diameter of the collar")
    shank: float = a_length(
        lambda p: p.neat(p.bore), low=5.0, high=lambda p: max(60.0, 1.5 * p.bore), help="table down to its end"
    )

    def pins(self) -> tuple[Pin, ...]:
        """Its own shank."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=self.shank, integral=True),)

    def pads(self) -> tuple[Pad, ...]:
        """Four lines of the pin; any other line holds as well. And two flats of the collar."""
        faces: tuple[Face, ...] = ("front", "back", "left", "right")
        inner, rim = self.diameter / 2.0 + 0.5, self.collar / 2.0 - EASE
        outer = (inner + rim) / 2.0
        run, y = 2.0 * math.sqrt(rim**2 - outer**2), (inner + outer) / 2.0
        rests = (
            Pad(
                name=f"rest {name}",
                at=(0.0, side * y, self.rest),
                normal=UP,
                along=(1.0, 0.0, 0.0),
                length=run,
                width=outer - inner,
            )
            for name, side in (("front", -1.0), ("back", 1.0))
        )
        return (*(self._peg.line(face) for face in faces), *rests)

    def box(self) -> tuple[Point, Point]:
        """Collar, pin and shank."""
        r = max(self.collar, self.diameter) / 2.0
        return (-r, -r, -self.shank), (r, r, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The shoulder of the collar; it stands on nothing but that."""
        return circle(self.collar / 2.0) if face in ("bottom", "top") else box_foot(*self.box(), face)

    def rules(self) -> Iterator[str]:
        """The work needs a ring to lie on, and the pin must reach into its hole."""
        show, least = self.pattern.show, self.diameter + 2.0 * (LEDGE + EASE)
        if self.collar < least - 1e-6:
            yield (
                f"collar = {show(self.collar)} leaves no ring round a pin of {show(self.diameter)}; "
                f"expected at least {show(least)}"
            )
        if self.height < self.rest + 4.0 - 1e-6:
            yield (
                f"height = {show(self.height)} leaves no pin above rest = {show(self.rest)}; "
                f"expected at least {show(self.rest + 4.0)}"
            )

    def solid(self) -> cq.Solid:
        """Pin, collar and shank in one."""
        collar = round_bar((0.0, 0.0, 0.0), UP, self.collar, self.rest)
        collar = collar.chamfer(EASE, None, collar.edges(">Z").Edges())
        return joined(collar, self._peg.solid(), shank(self.pattern.bore, self.shank, EASE / 2.0))

    @property
    def _peg(self) -> Peg:
        return Peg(self.diameter, self.rest, self.height)
