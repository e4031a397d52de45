"""A drilling template: a plate that repeats the grid of the table from two of its holes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Limit, Part, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._gauge import PRINTED, middle, reamed
from ._profiles import brick, cut, edge, round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)


@part("drill_template", made="cut and reamed from plate; or printed", stands="hand")
@dataclass(frozen=True, kw_only=True)
class DrillTemplate(Part):
    """Repeats the grid: two dowels in the first column hold it in two holes, and it guides a drill at all other places.

    Moved on by a column at a time it lengthens a grid, or gives a plate the holes of the table. Its holes are drill
    wide, those of the first column as wide as the table's.

    ::

        (o)  o   o   o     rows
        (o)  o   o   o
          columns             thickness: the longer a hole, the straighter the drill

    >>> from fixture3d.part import Pattern, build
    >>> build(DrillTemplate, Pattern(pitch=50.0, bore=16.0), {"columns": 3, "rows": 2}).holes()[-1]
    (100.0, 50.0)
    """

    columns: int = a_count(3, low=2, high=8, help="along X, that of the dowels counted")
    rows: int = a_count(2, low=2, high=6, help="along Y")
    drill: float = a_length(
        lambda p: p.neat(p.bore / 3.0, 1.0, 1 / 16), low=2.0, high=lambda p: p.bore, help="pilot hole"
    )
    thickness: float = a_length(lambda p: p.neat(p.bore / 2.0), low=3.0, high=50.0, help="of the plate")

    def dowels(self) -> list[tuple[float, float]]:
        """Middles of the holes that dowels go through, mm."""
        pitch = self.pattern.pitch
        return [(0.0, j * pitch) for j in range(self.rows)]

    def holes(self) -> list[tuple[float, float]]:
        """Middles of the holes that guide the drill, mm."""
        pitch = self.pattern.pitch
        return [(i * pitch, j * pitch) for i in range(1, self.columns) for j in range(self.rows)]

    def gauge(self) -> Gauge:
        """What it repeats, and how truly."""
        return Gauge(
            limits=(
                self._bore(),
                Limit(name="drill holes", low=self.drill + 0.02, high=self.drill + 0.1, of="diameter"),
            ),
            convention=(
                "Convention: holes for dowels as reamed in the table, H7 or the LC5 hole; drill holes 0.02 to 0.1 mm "
                "wider than the drill, common practice, no source."
            ),
            sees=(
                "two holes of the table that its dowels do not both enter: they are off by more than the clearances",
            ),
            misses=(
                "its own errors, which it repeats, and adds up when it is moved on from holes that it made itself",
                "the play of the drill in its hole, and of the dowels in theirs",
                "holes that it guided a drill to: check them with the pitch gauge",
                PRINTED,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """The plate."""
        side, pitch = edge(self.pattern), self.pattern.pitch
        far = ((self.columns - 1) * pitch + side, (self.rows - 1) * pitch + side, self.thickness)
        return (-side, -side, 0.0), far

    def rules(self) -> Iterator[str]:
        """A hole longer than it is wide guides."""
        if self.thickness < self.drill:
            show = self.pattern.show
            yield f"thickness = {show(self.thickness)} guides no drill of {show(self.drill)}; expected at least that"

    def solid(self) -> cq.Solid:
        """The plate with its holes at the middle of their limits."""
        drill = self.drill + 0.06
        sizes = [(at, middle(self._bore())) for at in self.dowels()] + [(at, drill) for at in self.holes()]
        tools = [round_bar((x, y, 0.0), UP, size, self.thickness) for (x, y), size in sizes]
        return cut(brick(*self.box()), *tools)

    def _bore(self) -> Limit:
        low, high = reamed(self.pattern)
        return Limit(name="dowel holes", low=low, high=high, of="diameter")
