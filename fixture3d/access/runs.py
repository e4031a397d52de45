"""What can be welded in one go: chains of free torch positions along a weld, and the fewest that cover it.

A run goes from a point to the next with free positions that differ by at most one step in each of work angle, lean
and roll. The roll goes round, so that 330 and 0 degrees are neighbours, but the wrist must not flip from one side to
the other between two points. One run keeps to one way of travel and ends at a corner of the path.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fixture3d.access.arrays import Array, Bools, Bytes
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.tolerance import NUMERIC


@dataclass(frozen=True, kw_only=True)
class Run:
    """A stretch that is welded without a stop.

    Attributes:
        first: index of its first point along the path.
        last: index of its last point.
        start: mm along the path.
        end: mm along the path; ``end - start`` is the length that its points stand for.
        direction: "forward" or "back" along the path.
    """

    first: int
    last: int
    start: float
    end: float
    direction: Literal["forward", "back"]


def borders(weld: WeldPoints) -> Array:
    """Where along the path the stretch begins that each point stands for, and where the last one ends, (k + 1,) mm."""
    return np.concatenate([[0.0], np.cumsum(weld.lengths)])


def unreached(reached: Bools, weld: WeldPoints) -> tuple[tuple[float, float], ...]:
    """The stretches, from and to in mm along the path, at whose points no position is free; corners do not part them.

    Args:
        reached: (k,) whether some position is free.
        weld: its points.
    """
    ends = borders(weld)
    edge = np.flatnonzero(np.diff(np.concatenate([[False], ~reached, [False]]).astype(np.int8)))
    return tuple((_mm(ends[a]), _mm(ends[b])) for a, b in edge.reshape(-1, 2))


def least_runs(free: Bytes, weld: WeldPoints, window: Window) -> tuple[Run, ...]:
    """The fewest runs that cover all points with a free position, in order along the path.

    Each run begins at the first point not yet covered and goes as far as any chain from there does. That is optimal:
    a part of a run is a run, so in any cover the run that covers the same first point ends no later, and the rest of
    that cover, cut to what is left, covers the rest.

    Args:
        free: (k, W, L, R) verdicts.
        weld: its points.
        window: whose ``runs`` say which leans belong to one way of travel.
    """
    ends = borders(weld)
    found: list[Run] = []
    alive: dict[int, Bools] = {}
    first = 0
    for point in range(len(free) + 1):
        after: dict[int, Bools] = {}
        if point < len(free) and alive and weld.joined[point - 1]:
            for way, (_, leans) in enumerate(window.runs):
                if way in alive:
                    after[way] = around(alive[way], np.maximum) & (free[point][:, leans] != 0)
        after = {way: reach for way, reach in after.items() if reach.any()}
        if alive and not after:
            sense = window.runs[min(alive)][0]
            found.append(
                Run(
                    first=first,
                    last=point - 1,
                    start=_mm(ends[first]),
                    end=_mm(ends[point]),
                    direction="forward" if sense > 0 else "back",
                )
            )
        if point < len(free) and not after:
            first = point
            after = {way: free[point][:, leans] != 0 for way, (_, leans) in enumerate(window.runs)}
            after = {way: reach for way, reach in after.items() if reach.any()}
        alive = after
    return tuple(found)


def longest_run(free: Bytes, weld: WeldPoints, window: Window) -> tuple[float, tuple[int, int] | None]:
    """Length of the longest stretch without a stop, mm, and its first and last point.

    For every free position at a point, the earliest point from which a chain leads to it: the least over itself and
    its neighbours, one step in work angle, lean and roll (which goes round), at the point before.

    Args:
        free: (k, W, L, R) verdicts.
        weld: its points.
        window: whose ``runs`` say which leans belong to one way of travel.
    """
    count = len(free)
    ends = borders(weld)
    best: tuple[float, tuple[int, int] | None] = (0.0, None)
    for _, leans in window.runs:
        since = np.full((free.shape[1], len(leans), free.shape[3]), count, np.int32)
        for point in range(count):
            near = around(since, np.minimum) if point and weld.joined[point - 1] else np.full_like(since, count)
            since = np.where(free[point][:, leans], np.minimum(near, point), count).astype(np.int32)
            first = int(since.min())
            if first < count:
                length = weld.length if (first, point) == (0, count - 1) else float(ends[point + 1] - ends[first])
                if length > best[0] + NUMERIC.merge:
                    best = (length, (first, point))
    return best


def around(values: NDArray[Any], pick: Callable[..., NDArray[Any]]) -> NDArray[Any]:
    """The least or greatest (``pick``) value among each cell and its neighbours, along all three axes.

    The last axis, the roll, goes round.
    """
    out = values.copy()
    pick(out[1:], values[:-1], out=out[1:])
    pick(out[:-1], values[1:], out=out[:-1])
    second = out.copy()
    pick(second[:, 1:], out[:, :-1], out=second[:, 1:])
    pick(second[:, :-1], out[:, 1:], out=second[:, :-1])
    return pick(second, pick(np.roll(second, 1, axis=2), np.roll(second, -1, axis=2)))


def _mm(value: float) -> float:
    """A place along a path without digits that mean nothing."""
    return round(float(value), 6) + 0.0
