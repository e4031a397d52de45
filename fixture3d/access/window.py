"""The window of positions in which a technique lets a torch be held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.access.arrays import Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The torch positions that are tried at every point of a weld.

    A position is a work angle, a lean and a roll. The lean is the travel angle of a torch that moves along the
    path; one that moves back along it has the travel angle ``-lean``. Roll turns the torch about its own axis;
    at 0 the neck bends towards the end of the path.

    Attributes:
        works: (W,) work angles, rising, degrees.
        leans: (L,) leans, rising, degrees.
        rolls: (R,) rolls, rising from 0, degrees.
        runs: for each direction in which the technique lets the weld be run, +1 along the path or -1 back along
            it, and the indices of the leans that belong to it, rising.
        cost: (W, L) degrees away from the nominal angles, in the better of the directions.
        nominal_travel: nominal travel angle, degrees, push positive.
    """

    works: Array
    leans: Array
    rolls: Array
    runs: tuple[tuple[int, NDArray[np.int64]], ...]
    cost: Array
    nominal_travel: float

    @property
    def shape(self) -> tuple[int, int, int]:
        """(W, L, R)."""
        return len(self.works), len(self.leans), len(self.rolls)

    @property
    def positions(self) -> int:
        """Number of torch positions at one point."""
        return len(self.works) * len(self.leans) * len(self.rolls)

    def travel(self, lean: int) -> tuple[int, float]:
        """Way of travel (+1 along the path, -1 back) and travel angle of one lean, nearest to nominal."""
        ways = [(sense, float(sense * self.leans[lean]) + 0.0) for sense, leans in self.runs if lean in leans]
        return min(ways, key=lambda way: (abs(way[1] - self.nominal_travel), -way[0]))

    def nominal_first(self) -> NDArray[np.int64]:
        """(W * L,) flat indices of the directions, nominal first, ties by work angle and then lean."""
        return np.argsort(self.cost.ravel(), kind="stable").astype(np.int64)

    def local_axes(self) -> tuple[Array, Array]:
        """Torch axes and roll-zero X axes of all directions, each (W * L, 3), in the weld's own frame.

        The weld's own frame has the tangent t, the sideways direction b along the non-butting face into the open
        and the perpendicular n of that face as its axes 0, 1, 2. The torch axis is
        ``cos(lean) (cos(work) n + sin(work) b) - sin(lean) t``.
        """
        work, lean = np.meshgrid(np.deg2rad(self.works), np.deg2rad(self.leans), indexing="ij")
        axes = np.stack([-np.sin(lean), np.cos(lean) * np.sin(work), np.cos(lean) * np.cos(work)], axis=-1)
        axes = axes.reshape(-1, 3)
        xs = np.array([1.0, 0.0, 0.0]) - axes[:, :1] * axes
        xs /= np.linalg.norm(xs, axis=1)[:, None]
        return axes, xs
