"""A slide stop: a slotted stop that is set by counting the notches of a serrated washer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fixture3d.part import Face, Move, Pad, Part, PartBody, Pattern, Pin, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import (
    EASE,
    ROOT2,
    blind,
    bored,
    bottom_pins,
    brick,
    checked,
    cut,
    eased_foot,
    edge,
    outline,
    round_bar,
    side_pads,
)
from ._serration import Serration

if TYPE_CHECKING:
    import cadquery as cq

GAP = 2.0  # mm between washer and nose when the stop is fully in


def _notch(pattern: Pattern) -> float:
    return pattern.neat(3.0, step_mm=3.0)


def _travel(pattern: Pattern) -> float:
    """Every position between two holes can be reached, mm."""
    notch = _notch(pattern)
    return math.ceil((pattern.pitch - notch) / notch - 1e-9) * notch


@part("slide_stop", made="body and washer milled from bar; both serrated with one cutter")
@dataclass(frozen=True, kw_only=True)
class SlideStop(Part):
    """A stop that slides along X over two fixed dowels or bolts and is held by a serrated washer.

    The dowels go through the washer and the slot. The teeth of the body and of the washer mesh at every notch; notch
    0 is fully in, and every notch brings the nose ``notch`` further out to the right. The washer stays with the
    dowels. It stops work on its nose, the right side. Between two notches the teeth do not seat.
    ``diagonal = 1`` spaces the dowels for a stop turned by 45 degrees.

    ::

                   washer            nose                 from above
              +-----------------+   +----+ -      +------------------------+----+
              |    :1:     :2:  |   |    | |      |    ____________________|    |
        +-----vvvvvvvvvvvvvvvvvvv---+    | height |   (  slot (1)   (2)  ) | ==>| travel
        |        slot :     : :          | |      |    --------------------|    |
        +--------------------------------+ -      +------------------------+----+

    >>> from fixture3d.part import build
    >>> build(SlideStop, Pattern(pitch=50.0, bore=16.0), {}).pins()[1].at
    (50.0, 0.0, 0.0)
    """

    notch: float = a_length(_notch, low=2.0, high=8.0, help="from tooth to tooth")
    travel: float = a_length(
        _travel, low=lambda p: p.pitch / 4.0, high=lambda p: 2.0 * p.pitch, help="fully in to fully out"
    )
    height: float = a_length(
        lambda p: p.neat(max(p.pitch, 2.5 * p.bore)),
        low=lambda p: p.neat(2.25 * p.bore),
        high=lambda p: max(150.0, 3.0 * p.bore),
        help="table to the top of the nose",
    )
    diagonal: int = a_count(0, low=0, high=1, help="1: dowels spaced for a stop that stands at 45 degrees")

    @property
    def span(self) -> float:
        """Dowel to dowel, mm."""
        return self.pattern.pitch * (ROOT2 if self.diagonal else 1.0)

    @property
    def serration(self) -> Serration:
        """The teeth, their tips at the height of the slotted base."""
        return Serration(self.notch, blind(self.pattern))

    @property
    def width(self) -> float:
        """Of body and washer, mm."""
        return self.pattern.neat(2.5 * self.pattern.bore)

    @property
    def washer_top(self) -> float:
        """Seat to the top of the washer, mm."""
        return blind(self.pattern) + self.pattern.neat(0.6 * self.pattern.bore)

    @property
    def reach(self) -> float:
        """Dowel 1 to the face of the nose when fully in, mm."""
        p = self.pattern
        return p.neat(self._nose() + p.bore)

    def pins(self) -> tuple[Pin, ...]:
        """Two, through washer and slot."""
        return bottom_pins([(0.0, 0.0), (self.span, 0.0)], self.washer_top)

    def pads(self) -> tuple[Pad, ...]:
        """The face of the nose."""
        y = self.width / 2.0
        face = side_pads((self._nose(), -y, 0.0), (self.reach, y, self.height), faces=("right",))[0]
        return (replace(face, moves=True),)

    def move(self) -> Move:
        """Out to the right."""
        return Move(axis=(1.0, 0.0, 0.0), travel=self.travel, notch=self.notch)

    def box(self) -> tuple[Point, Point]:
        """Body fully in, and washer."""
        y = self.width / 2.0
        return (self._tail(), -y, 0.0), (self.reach, y, max(self.height, self.washer_top))

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The body fully in."""
        return eased_foot(*self.box(), face)

    def bodies(self) -> tuple[PartBody, ...]:
        """The sliding body, and the washer that stays."""
        return (PartBody(name="", build=self.solid, moves=True), PartBody(name="washer", build=self.washer))

    def rules(self) -> Iterator[str]:
        """The nose is kept above the washer so that work meets the nose first."""
        if self.height < self.washer_top - 1e-6:
            show = self.pattern.show
            yield f"height = {show(self.height)} is lower than the washer; expected at least {show(self.washer_top)}"

    def solid(self) -> cq.Solid:
        """The sliding body: slotted, serrated base and nose."""
        tail, nose, y = self._tail(), self._nose(), self.width / 2.0
        teeth = self.serration.body(tail, nose)
        side = [(tail, 0.0), (self.reach, 0.0), (self.reach, self.height), (nose, self.height), *reversed(teeth)]
        body = outline(side, -y, y)
        edges = [*body.edges("|Z and >X").Edges(), *body.faces(">Z").edges().Edges()]
        body = body.chamfer(EASE, None, edges)
        return cut(body, self._slot())

    def washer(self) -> cq.Solid:
        """The serrated washer plate on the two dowels."""
        y, end = self.width / 2.0, edge(self.pattern)
        teeth = self.serration.washer(-end, self.span + end)
        side = [*teeth, (self.span + end, self.washer_top), (-end, self.washer_top)]
        return bored(outline(side, -y, y), self.pins(), self.pattern.bore)

    def _slot(self) -> cq.Solid:
        d, start, tall = self.pattern.bore, -self.travel, self.washer_top
        ends = [round_bar((x, 0.0, -1.0), (0.0, 0.0, 1.0), d, tall) for x in (start, self.span)]
        middle = brick((start, -d / 2.0, -1.0), (self.span, d / 2.0, tall - 1.0))
        return checked(middle.fuse(*ends).clean())

    def _tail(self) -> float:
        return -self.travel - edge(self.pattern)

    def _nose(self) -> float:
        return self.span + edge(self.pattern) + GAP
