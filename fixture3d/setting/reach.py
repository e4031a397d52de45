"""Which places a face can be brought to, and which not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fixture3d.setting.search import Starts
from fixture3d.setting.sums import Ints, Sums


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """What can be reached between two places.

    Attributes:
        low: the first place that was looked at, grains.
        high: the last one.
        gaps: (n, 2) stretches whose inside no setting comes within the tolerance of, in order.
        within: the tolerance.
    """

    low: int
    high: int
    gaps: Ints
    within: int

    @property
    def share(self) -> float:
        """Share of the way that is out of reach."""
        return float((self.gaps[:, 1] - self.gaps[:, 0]).sum()) / max(self.high - self.low, 1)

    @property
    def worst(self) -> int:
        """How far the place that is hardest to reach is missed, grains; the tolerance or less counts as that.

        A gap at either end of the way may go on beyond it, and counts as wide as it is there.
        """
        if not len(self.gaps):
            return self.within
        sizes = self.gaps[:, 1] - self.gaps[:, 0]
        ends = (self.gaps[:, 0] == self.low) | (self.gaps[:, 1] == self.high)
        return int(np.where(ends, sizes, sizes // 2).max()) + self.within


def reach(groups: Iterable[tuple[Starts, Sums]], low: int, high: int, within: int) -> Reach:
    """Stretches that no setting comes near.

    Args:
        groups: starts as for the search, and the sums of the pieces to lay in front of these.
        low: where to begin, grains.
        high: where to end.
        within: a place is reached when a face can be set this near to it, grains.

    Raises:
        TooMany: the pieces have too many sums to list them.
    """
    parts = [np.zeros((0, 2), dtype=np.int64)]
    for starts, sums in groups:
        # Sums that follow each other by no more than twice the tolerance leave no gap: each run is one stretch.
        runs = sums.spread(2 * within)
        packed, bare = np.flatnonzero(starts.packed), starts.at[~starts.packed]
        ends = starts.at[packed][:, None, None] + starts.way[packed][:, None, None] * runs[None, :, :]
        parts += [np.sort(ends.reshape(-1, 2), axis=1), np.stack([bare, bare], axis=1)]
    stretches = np.concatenate(parts)
    stretches = stretches[(stretches[:, 1] + within > low) & (stretches[:, 0] - within < high)]
    stretches = stretches[np.argsort(stretches[:, 0], kind="stable")]
    firsts, lasts = stretches[:, 0] - within, np.maximum.accumulate(stretches[:, 1]) + within
    gaps = np.stack([np.r_[low, lasts], np.r_[firsts, high]], axis=1).clip(low, high)
    return Reach(low=low, high=high, gaps=gaps[gaps[:, 1] > gaps[:, 0]], within=within)
