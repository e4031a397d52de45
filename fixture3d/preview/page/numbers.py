"""Numbers of the page's data: rounded far below any meaning, and short in the file."""

from __future__ import annotations

import numpy as np

from fixture3d.frame import Array


def mm(values: Array) -> list[float]:
    """Lengths to a ten-thousandth of a mm."""
    return [_short(round(float(v), 4)) for v in np.asarray(values).ravel()]


def unit(values: Array) -> list[float]:
    """Numbers of unit vectors."""
    return [_short(round(float(v), 7)) for v in np.asarray(values).ravel()]


def _short(value: float) -> float:
    """A whole number without its point."""
    return int(value) if value == int(value) else value
