"""Lines of holes across the direction in which a stop is set: all holes of one line are as far along it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fixture3d.frame import Array
from fixture3d.scene.table import Hole, Table
from fixture3d.tolerance import NUMERIC

_HALF = math.sqrt(0.5)


@dataclass(frozen=True, eq=False)
class HoleLines:
    """The lines of a table's holes across a direction along its rows, its columns or, on a square grid, a diagonal.

    Attributes:
        table: the table; only its top is looked at.
        way: (2,) unit, in its plane.
    """

    table: Table
    way: tuple[float, float]

    @staticmethod
    def fits(table: Table, way: tuple[float, float]) -> bool:
        """Whether holes stand in lines across this direction."""
        straight = max(abs(way[0]), abs(way[1])) > 1.0 - 1e-9
        diagonal = abs(abs(way[0]) - _HALF) < 1e-9 and abs(abs(way[1]) - _HALF) < 1e-9
        return straight or (diagonal and abs(table.pitch[0] - table.pitch[1]) < NUMERIC.zero)

    @cached_property
    def _steps(self) -> tuple[int, int]:
        """How many lines further the next column and the next row are: 0, 1 or -1."""
        signs = self.table.naming.signs
        return tuple(  # type: ignore[return-value]
            0 if abs(w) < 1e-9 else round(math.copysign(1.0, w)) * sign for w, sign in zip(self.way, signs, strict=True)
        )

    @property
    def step(self) -> float:
        """From one line to the next of the first grid, mm."""
        return self.table.pitch[0 if self._steps[0] else 1] * (_HALF if all(self._steps) else 1.0)

    @cached_property
    def numbers(self) -> Array:
        """Numbers of the lines in rising order; those of a second grid alone end in a half."""
        whole = self._span(self.table.columns, self.table.rows, 0.0)
        if not self.table.stagger:
            return whole
        half = self._span(self.table.columns - 1, self.table.rows - 1, sum(self._steps) / 2.0)
        numbers: Array = np.unique(np.concatenate([whole, half]))
        return numbers

    def _span(self, columns: int, rows: int, shift: float) -> Array:
        if columns < 1 or rows < 1:
            return np.zeros(0)
        ends = [s * (n - 1) for s, n in zip(self._steps, (columns, rows), strict=True)]
        return np.arange(sum(min(0, e) for e in ends), sum(max(0, e) for e in ends) + 1, dtype=np.float64) + shift

    @property
    def at(self) -> Array:
        """(n,) how far along the direction from hole A1 each line is, mm."""
        return np.asarray(self.numbers * self.step)

    def holes(self, number: float, aside: float) -> Iterator[Hole]:
        """The holes of one line, those nearest to a place across the direction first.

        Args:
            number: of the line.
            aside: mm to the left of the direction, from hole A1.
        """
        found = []
        for plus in (False, True) if self.table.stagger else (False,):
            wanted = number - (sum(self._steps) / 2.0 if plus else 0.0)
            if wanted == round(wanted):
                found += [(self._off(i, j, plus, aside), j, i, plus) for i, j in self._members(round(wanted), plus)]
        for _, j, i, plus in sorted(found):
            yield self.table.at(i, j, plus)

    def _off(self, i: int, j: int, plus: bool, aside: float) -> float:
        x, y = self.table.xy(i, j, plus)
        return round(abs(-self.way[1] * x + self.way[0] * y - aside), 6)

    def _members(self, number: int, plus: bool) -> Iterator[tuple[int, int]]:
        columns, rows = (n - (1 if plus else 0) for n in (self.table.columns, self.table.rows))
        a, b = self._steps
        if not b:
            yield from ((number * a, j) for j in range(rows) if 0 <= number * a < columns)
        else:
            for i in range(columns):
                if 0 <= (j := (number - a * i) * b) < rows:
                    yield i, j


def across(way: tuple[float, float]) -> tuple[float, float]:
    """To the left of a direction."""
    return -way[1], way[0]
