"""What a block can stand on: a plane with holes, be it the table, an extra grid, the top of a block, or nothing.

One small interface, so that seating is written once: where a point of the plane is in the world, and which hole is
nearest to it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.part import Face, Point
from fixture3d.scene.table import Grid, Table

ALONG: dict[Face, Point] = {
    "bottom": (1.0, 0.0, 0.0),
    "top": (1.0, 0.0, 0.0),
    "front": (1.0, 0.0, 0.0),
    "back": (-1.0, 0.0, 0.0),
    "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0),
}
"""The X axis of a face that carries other blocks: to the right of someone who looks at it."""


@dataclass(frozen=True, kw_only=True)
class Under:
    """One hole or socket of a plane.

    Attributes:
        name: as a scene writes it: ``"C4"``, ``"side:B2"``, ``"S1:2"``.
        xy: its centre in the plane, mm.
        blocked: it may not be used.
    """

    name: str
    xy: tuple[float, float]
    blocked: bool = False


class Plane(Protocol):
    """A plane that blocks stand on."""

    @property
    def name(self) -> str:
        """The grid or block that it belongs to; empty for the table top."""
        ...

    @property
    def to_world(self) -> Array:
        """(4, 4): z = 0 is the plane, Z points away from what carries it."""
        ...

    @property
    def bore(self) -> float:
        """Nominal diameter of its holes, mm."""
        ...

    def nearest(self, xy: tuple[float, float]) -> Under | None:
        """The hole nearest to a point of the plane."""
        ...

    def around(self, xy: tuple[float, float], n: int) -> Sequence[Under]:
        """The ``n`` nearest holes, nearest first."""
        ...


@dataclass(frozen=True)
class GridPlane:
    """The holes of the table or of an extra grid."""

    table: Table
    grid: Grid

    @property
    def name(self) -> str:
        """The grid's name."""
        return self.grid.name

    @property
    def to_world(self) -> Array:
        """The grid's frame."""
        return self.grid.grid_to_world

    @property
    def bore(self) -> float:
        """The grid's bore, mm."""
        return self.grid.bore

    def nearest(self, xy: tuple[float, float]) -> Under | None:
        """The nearest hole of the grid; of equal ones that in the lowest row, then column.

        Asked for every pin of every seat that is tried, so the few holes round the point are reckoned directly.
        """
        grid = self.grid
        best: tuple[float, int, int, bool] | None = None
        for plus in (False, True) if grid.stagger else (False,):
            for i, j in itertools.product(*(self._either_side(xy, k, plus) for k in range(2))):
                found = (round(math.dist(grid.xy(i, j, plus), xy), 9), j, i, plus)
                best = min(best, found) if best is not None else found
        if best is None:
            return None
        hole = grid.at(best[2], best[1], best[3])
        return Under(name=hole.name, xy=hole.xy, blocked=self.table.is_blocked(hole))

    def _either_side(self, xy: tuple[float, float], k: int, plus: bool) -> set[int]:
        """Columns (k = 0) or rows (1) on either side of a point, those that the grid has."""
        count = (self.grid.columns, self.grid.rows)[k] - (1 if plus else 0)
        low = math.floor(self.grid.naming.signs[k] * xy[k] / self.grid.pitch[k] - (0.5 if plus else 0.0))
        return {min(max(n, 0), count - 1) for n in (low, low + 1)} if count > 0 else set()

    def around(self, xy: tuple[float, float], n: int) -> Sequence[Under]:
        """The nearest holes of the grid."""
        return [Under(name=h.name, xy=h.xy, blocked=self.table.is_blocked(h)) for h in self.grid.nearest_holes(xy, n)]


@dataclass(frozen=True)
class BlockPlane:
    """The sockets on one side of a placed block: its upper side, or an upright face.

    Attributes:
        block: its name.
        frame_to_world: at the mouth of one of the sockets, Z out of the block.
        bore: nominal diameter of the sockets, mm.
        sockets: socket name and place in that frame; only those that open in this plane.
        row: direction of the rows of sockets in the plane, degrees.
    """

    block: str
    frame_to_world: Array
    bore: float
    sockets: tuple[tuple[str, tuple[float, float]], ...]
    row: float = 0.0

    @property
    def name(self) -> str:
        """The block's name."""
        return self.block

    @property
    def to_world(self) -> Array:
        """The plane of the socket mouths."""
        return self.frame_to_world

    def nearest(self, xy: tuple[float, float]) -> Under | None:
        """The nearest socket."""
        found = self.around(xy, 1)
        return found[0] if found else None

    def around(self, xy: tuple[float, float], n: int) -> Sequence[Under]:
        """The nearest sockets."""
        near = sorted(self.sockets, key=lambda s: (round(math.dist(s[1], xy), 9), s[0]))
        return [Under(name=f"{self.block}:{name}", xy=at) for name, at in near[:n]]


@dataclass(frozen=True)
class FreePlane:
    """A plane without holes: a block that is placed by measuring, at an edge, or held by a magnet."""

    frame_to_world: Array
    bore: float
    name: str = ""

    @property
    def to_world(self) -> Array:
        """The plane."""
        return self.frame_to_world

    def nearest(self, xy: tuple[float, float]) -> Under | None:
        """There is none."""
        return None

    def around(self, xy: tuple[float, float], n: int) -> Sequence[Under]:
        """There are none."""
        return []


def lifted(plane_to_world: Array, height: float) -> Array:
    """The same plane ``height`` mm further from what carries it, (4, 4)."""
    return frame.chain(plane_to_world, frame.translation((0.0, 0.0, height)))


def up_axis(plane_to_world: Array) -> Array:
    """The unit vector that points away from the plane, world, (3,)."""
    return np.asarray(plane_to_world[:3, 2], dtype=np.float64)
