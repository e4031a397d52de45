"""The ends of a weld: a bead ends where it ends, and a short stretch that is missing there is no gap in it.

Lengths in mm along the path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.access.arrays import Array
from fixture3d.access.runs import Run
from fixture3d.tolerance import NUMERIC, SHOP


@dataclass(frozen=True, kw_only=True)
class ShortEnd:
    """A stretch at an end of a weld so short that the bead may as well begin or stop beside it.

    Attributes:
        first: it is at the path's first end.
        length: mm.
        reached: the torch reaches it, but not in one run with what lies beside it.
    """

    first: bool
    length: float
    reached: bool


def end_limit(length: float) -> float:
    """The longest stretch that may be missing at each end of a weld, mm."""
    return min(SHOP.end_most, SHOP.end_share * length)


def short_ends(length: float, runs: Sequence[Run], closed: bool) -> tuple[ShortEnd, ...]:
    """The ends of a weld that are not reached, or only in a run of their own, and are short enough for it.

    Args:
        length: of the weld.
        runs: the fewest that cover what is reached, in order along the path.
        closed: its path comes back to where it began, so that it has no ends.
    """
    most = end_limit(length) + NUMERIC.merge
    if closed or not runs:
        return ()
    out = []
    for first, ordered in ((True, list(runs)), (False, list(runs)[::-1])):
        missing = [run.start if first else length - run.end for run in ordered]
        # What lies before the last run that still begins within the limit; that run itself stays.
        last = max((k for k, far in enumerate(missing) if far <= most), default=None)
        if last is not None and missing[last] > NUMERIC.merge:
            covered = sum(run.end - run.start for run in ordered[:last])
            reached = covered >= missing[last] - NUMERIC.merge
            out.append(ShortEnd(first=first, length=round(missing[last], 6), reached=reached))
    return tuple(out)


def is_closed(path: Array) -> bool:
    """Whether a path (n, 3) comes back to where it began."""
    return len(path) > 2 and bool(abs(path[0] - path[-1]).max() <= SHOP.contact)


def end_in_words(path: Array, first: bool) -> str:
    """Which end of a path (n, 3), world, as one sees it on the table: lower, upper, left, right, front or back."""
    way = path[0] - path[-1] if first else path[-1] - path[0]
    axis = int(np.argmax(np.round(np.abs(way), 3)))
    return (("left", "right"), ("front", "back"), ("lower", "upper"))[axis][int(way[axis] > 0.0)]


def lacking(unreached: Sequence[tuple[float, float]], length: float, ends: Sequence[ShortEnd]) -> bool:
    """Whether more than short ends is not reached of a weld.

    Args:
        unreached: from and to of each stretch that is not reached.
        length: of the weld.
        ends: its short ends.
    """
    low = next((end.length for end in ends if end.first), 0.0)
    high = length - next((end.length for end in ends if not end.first), 0.0)
    return any(end > low + NUMERIC.merge and start < high - NUMERIC.merge for start, end in unreached)


def main_runs(runs: Sequence[Run], length: float, ends: Sequence[ShortEnd]) -> tuple[Run, ...]:
    """The runs without those that cover nothing but a short end."""
    low = next((end.length for end in ends if end.first), 0.0)
    high = length - next((end.length for end in ends if not end.first), 0.0)
    return tuple(run for run in runs if run.end > low + NUMERIC.merge and run.start < high - NUMERIC.merge)
