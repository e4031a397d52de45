"""Where a picture is taken from: a parallel view from the front right and above, fitted to the setup."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.sheet import layout

# From the setup to the eye. Rows of holes and upright tubes never line up in this view.
TO_EYE: Final = frame.unit((0.42, -1.0, 0.86))
_WHOLE: Final = 1.7  # the table is shown whole when the view is then at most this many times as wide


@dataclass(frozen=True)
class View:
    """A parallel view.

    Attributes:
        right: unit vector of the picture's x axis, world.
        up: unit vector of the picture's upward axis, world.
        focal: world point in the middle of the picture.
        scale: pixels a mm.
        size: width and height, pixels.
        whole: the whole table is in the picture.
    """

    right: Array
    up: Array
    focal: Array
    scale: float
    size: tuple[int, int]
    whole: bool

    def pixels(self, points: Array) -> Array:
        """World points (n, 3) or (3,) as pixels, x to the right and y down."""
        away = np.asarray(points, dtype=np.float64) - self.focal
        x = away @ self.right * self.scale + self.size[0] / 2
        y = self.size[1] / 2 - away @ self.up * self.scale
        return np.stack([x, y], axis=-1)

    @property
    def eye(self) -> Array:
        """A point far enough off to see everything."""
        out: Array = self.focal + TO_EYE * 1e5
        return out


def _axes() -> tuple[Array, Array]:
    """What is to the right and upward in a picture, world."""
    right = frame.unit(np.cross((0.0, 0.0, 1.0), TO_EYE))
    up = np.cross(TO_EYE, right)
    return right, up


def around(points: Array, size: tuple[int, int], border: float) -> View:
    """The view in which some points fill a picture.

    Args:
        points: (n, 3) mm.
        size: of the picture, pixels.
        border: pixels that stay empty on every side.
    """
    right, up = _axes()
    flat = points @ np.stack([right, up], axis=1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    room = np.array(size) - 2.0 * border
    middle = (low + high) / 2.0
    return View(
        right=right,
        up=up,
        focal=right * middle[0] + up * middle[1],
        scale=float((room / np.maximum(high - low, 1.0)).min()),
        size=size,
        whole=False,
    )


def view(job: Job, size: tuple[int, int], top: float, bottom: float, side: float) -> View:
    """The view in which the setup is large and stays clear of the picture's borders.

    Args:
        job: the setup.
        size: of the picture, pixels.
        top: pixels at the top that are kept for text; likewise ``bottom``, and ``side`` left and right.
        bottom: see ``top``.
        side: see ``top``.
    """
    right, up = _axes()
    axes = np.stack([right, up], axis=1)
    work = _corners(job) @ axes
    whole = np.concatenate([work, _plate(job) @ axes])
    low, high = work.min(axis=0), work.max(axis=0)
    wide_low, wide_high = whole.min(axis=0), whole.max(axis=0)
    room = np.array([size[0] - 2 * side, size[1] - top - bottom])

    def fits(a: Array, b: Array) -> float:
        return float((room / np.maximum(b - a, 1.0)).min())

    scale = fits(low, high)
    whole_table = fits(wide_low, wide_high) * _WHOLE >= scale
    if whole_table:
        low, high, scale = wide_low, wide_high, fits(wide_low, wide_high)
    middle = (low + high) / 2
    # The middle of what is left free lies off the picture's middle.
    middle = middle + np.array([0.0, (top - bottom) / 2 / scale])
    focal = right * middle[0] + up * middle[1]
    return View(right=right, up=up, focal=focal, scale=scale, size=size, whole=whole_table)


def _corners(job: Job) -> Array:
    """Corners of everything that stands on the table, and of the holes round it that carry names; (n, 3)."""
    x0, y0, x1, y1 = layout.used_window(job)
    points = [np.array([[x, y, 0.0] for x in (x0, x1) for y in (y0, y1)])]
    for body in job.bodies:
        low, high = body.box
        points.append(
            np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
        )
    return np.concatenate(points)


def _plate(job: Job) -> Array:
    x0, y0, x1, y1 = layout.plate(job.table)
    below = -(job.table.thickness or 12.0)
    return np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (below, 0.0)])
