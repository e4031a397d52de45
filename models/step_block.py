"""A step block: a ledge to lie on and a shoulder to push against."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part, through
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
    diagonal_fits,
    eased_foot,
    edge,
    round_bar,
    row_gap,
    side_pads,
    sockets,
    straight,
)

if TYPE_CHECKING:
    import cadquery as cq

    from fixture3d.part import Socket

RELIEF = 2.0  # mm; usual radius of the groove in the inside corner, so that a square edge seats on both flats
CUTTER = 0.5  # mm; the smallest groove that is drilled or milled over such a length
SKIN = 4.0  # mm; steel below the groove, and flat of the ledge before it


def _most_relief(pattern: Pattern) -> float:
    """A quarter bore of steel is left between the groove and the bores of the shoulder, mm."""
    return edge(pattern) - 0.75 * pattern.bore


@part("step_block", made="milled from bar; a relief is drilled before the step is milled")
@dataclass(frozen=True, kw_only=True)
class StepBlock(Part):
    """Lifts work on a ledge and stops it with the shoulder behind.

    Two of them at a right angle make a corner; the lower front is a stop, and the top a second, higher riser. Bores 1
    and 2 go through the shoulder, so that it can be turned over; 3 and 4, for 45 degrees, end below the ledge.

    The inside corner has a round groove of radius ``relief`` about the line in which ledge and shoulder meet, for the
    outside corner of the work with its burr, scale or weld bead. Drill it through before the step is milled, or mill
    it with a ball nose afterwards. Both flats begin beside it: a square tube whose corners are round by as much loses
    no contact. ``relief = 0`` leaves the corner sharp, for work with a broken edge.

    ::

                                        +-----------+  -
        back  +---------------------+   |           |  |
              |    (1)       (2)    |   |  shoulder |  | height
              +---------------------+   |           |  |
              |  (3)  ledge    (4)  |   o relief ---+  |  -
        front +---------------------+   |   ledge   :  |  | ledge
              |<----- length ------>|   +-----------+  -  -
                                        |<- ledge_width

    >>> from fixture3d.part import Pattern, build
    >>> build(StepBlock, Pattern(pitch=50.0, bore=16.0), {}).pins()[2].at
    (50.0, 0.0, 0.0)
    """

    length: float = a_length(
        lambda p: p.neat(ROOT2 * p.pitch + 2.0 * p.bore),
        low=lambda p: p.pitch + 2.0 * p.bore,
        high=lambda p: 8.0 * p.pitch,
        help="end to end",
    )
    height: float = a_length(lambda p: p.neat(1.2 * p.pitch), low=15.0, high=200.0, help="table to the top")
    ledge: float = a_length(lambda p: p.neat(0.6 * p.pitch), low=6.0, high=180.0, help="table to the ledge")
    ledge_width: float = a_length(row_gap, low=10.0, high=lambda p: 2.0 * p.pitch, help="front to the shoulder")
    relief: float = a_length(
        lambda p: min(RELIEF, _most_relief(p)),
        low=0.0,
        high=_most_relief,
        help="radius of the groove in the inside corner; 0 for none",
    )

    def pins(self) -> tuple[Pin, ...]:
        """The grid row through the shoulder, then the row for 45 degrees, if there is room below the ledge."""
        p = self.pattern
        grid = [pin for i, (x, y) in enumerate(straight(p, 2), 1) for pin in through(str(i), x, y, self.height)]
        deep = min(blind(p), self.ledge - self.relief - p.bore / 4.0)
        depth = row_gap(p) + p.bore + min(p.bore, edge(p) + self.ledge_width - row_gap(p))
        if deep < 0.75 * p.bore or not diagonal_fits(p, self.length, depth):
            return tuple(grid)
        return (*grid, *bottom_pins(diagonal(p, p.pitch / 2.0, -row_gap(p)), deep, first=3))

    def pads(self) -> tuple[Pad, ...]:
        """Ledge, shoulder, the front below the ledge, and the other sides of the tall part."""
        low, high, shoulder = *self.box(), self._shoulder()
        x = (low[0] + high[0]) / 2.0
        front, inner = low[1] + EASE, shoulder - self.relief
        foot, top = self.ledge + self.relief, self.height - EASE
        run = self.length - 2.0 * EASE
        along = (1.0, 0.0, 0.0)
        at, up = (x, (front + inner) / 2.0, self.ledge), (0.0, 0.0, 1.0)
        ledge = Pad(name="ledge", at=at, normal=up, along=along, length=run, width=inner - front)
        at, out = (x, shoulder, (foot + top) / 2.0), (0.0, -1.0, 0.0)
        return (
            ledge,
            Pad(name="shoulder", at=at, normal=out, along=along, length=run, width=top - foot),
            *side_pads(low, (high[0], high[1], self.ledge), faces=("front",)),
            *side_pads((low[0], shoulder, 0.0), high, faces=("back", "top")),
            *side_pads((low[0], shoulder + max(self.relief - EASE, 0.0), 0.0), high, faces=("left", "right")),
        )

    def sockets(self) -> tuple[Socket, ...]:
        """The bores through the shoulder, from above."""
        return sockets(self.pins())

    def box(self) -> tuple[Point, Point]:
        """The tall part is symmetric about the grid row; the ledge lies in front of it."""
        middle, half = self.pattern.pitch / 2.0, self.length / 2.0
        back = edge(self.pattern)
        return (middle - half, self._shoulder() - self.ledge_width, 0.0), (middle + half, back, self.height)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """Turned over it stands on the tall part alone, on its front or a side on the part below the ledge."""
        low, high = self.box()
        if face == "top":
            return eased_foot((low[0], self._shoulder(), 0.0), high, face)
        return eased_foot(low, (high[0], high[1], self.height if face in ("bottom", "back") else self.ledge), face)

    def rules(self) -> Iterator[str]:
        """There must be a shoulder above the ledge, and steel and a flat beside the groove."""
        show, groove = self.pattern.show, f"relief = {self.pattern.show(self.relief)}"
        least = self.ledge + self.relief + EASE + 5.0
        if self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} leaves no shoulder above ledge = {show(self.ledge)}; "
                f"expected at least {show(least)}"
            )
        if 0.0 < self.relief < CUTTER - 1e-6:
            yield f"{groove} is too small for a cutter; expected at least {show(CUTTER)}, or 0 for none"
        if self.ledge < self.relief + SKIN - 1e-6:
            yield f"{groove} cuts through ledge = {show(self.ledge)}; expected at most {show(self.ledge - SKIN)}"
        most = self.ledge_width - EASE - SKIN
        if self.relief > most + 1e-6:
            yield f"{groove} leaves no ledge of ledge_width = {show(self.ledge_width)}; expected at most {show(most)}"

    def solid(self) -> cq.Solid:
        """The stepped block with its corner groove and bores."""
        low, high = self.box()
        shoulder = self._shoulder()
        step = brick((low[0] - 1.0, low[1] - 1.0, self.ledge), (high[0] + 1.0, shoulder, self.height + 1.0))
        solid = cut(brick(low, high), step)
        upright = solid.edges("(<Y or >Y) and |Z").Edges()
        solid = solid.chamfer(EASE, None, [*upright, *solid.faces(">Z").edges().Edges()])
        if self.relief > 0.0:
            width = 2.0 * self.relief
            solid = cut(solid, round_bar((low[0] - 1.0, shoulder, self.ledge), (1.0, 0.0, 0.0), width, self.length + 2))
        return bored(solid, self.pins(), self.pattern.bore)

    def _shoulder(self) -> float:
        return -edge(self.pattern)
