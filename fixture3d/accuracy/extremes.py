"""Figures that are the greatest of many distances: overall lengths and flatness, by the pairs of spots that make them.

Each pair of spots is linear in the errors, so worst case and root of the sum of squares hold for it; the figure is the
greatest of them all. Which pairs count is found from the mean square of both senses, for all pairs at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.accuracy.figures import Figure

__all__ = ["Bounds", "is_paired", "pairs_that_count", "starts_of"]

Array = NDArray[np.float64]

_MOST = 32  # pairs that are worked out exactly, of those that may come to most
_LEAST = 8  # and of those that keep it from coming to less


def is_paired(figure: Figure) -> bool:
    """Whether a figure is the greatest distance of pairs of its spots along one way."""
    return figure.kind in ("overall", "flatness")


def starts_of(figure: Figure, pairs: NDArray[np.int64]) -> Array:
    """What pairs (m, 2) of spots lack of the figure as drawn, zero or less, (m,) mm."""
    if figure.kind == "flatness":
        return np.zeros(len(pairs))
    along = figure.points @ figure.axis
    result: Array = along[pairs[:, 1]] - along[pairs[:, 0]] - figure.nominal
    return result


def pairs_that_count(figure: Figure, heights: Array) -> NDArray[np.int64]:
    """The pairs of spots (m, 2) that may make a figure, by how far their errors move them apart.

    Args:
        figure: an overall length or a flatness.
        heights: (2 k, n) mm, how each error moves each spot along the way that counts, in both senses.
    """
    n = len(figure.spots)
    first, second = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    fits = (first < figure.low) & (second >= figure.low) if figure.kind == "overall" else first != second
    pairs = np.stack([first[fits], second[fits]], axis=1)
    square = heights.T @ heights
    size = np.diag(square)
    apart = size[pairs[:, 0]] + size[pairs[:, 1]] - 2.0 * square[pairs[:, 0], pairs[:, 1]]
    spread, starts = np.sqrt(np.maximum(apart, 0.0) / 2.0), starts_of(figure, pairs)
    most = np.argsort(-np.round(starts + spread, 9), kind="stable")[:_MOST]
    least = np.argsort(-np.round(starts - spread, 9), kind="stable")[:_LEAST]
    result: NDArray[np.int64] = pairs[np.unique(np.concatenate([most, least]))]
    return result


@dataclass(frozen=True)
class Bounds:
    """What follows for the figure.

    Attributes:
        governing: index of the pair that is likely to come to most.
        low: the figure is never less than this at worst, from nominal.
        floor: nor likely less than this.
    """

    governing: int
    low: float
    floor: float

    @classmethod
    def of(cls, starts: Array, up: Array, down: Array) -> Bounds:
        """From where pairs lie in the middle (m,), and what each error adds and takes away, (k, m) each."""
        if len(starts) == 1:
            return cls(0, -np.inf, -np.inf)
        most, least = starts + np.sqrt((up**2).sum(axis=0)), starts - np.sqrt((down**2).sum(axis=0))
        return cls(int(np.argmax(np.round(most, 9))), float((starts + down.sum(axis=0)).max()), float(least.max()))
