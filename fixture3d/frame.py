"""Rigid transforms as (4, 4) float64 arrays, named ``a_to_b``: they take coordinates in frame a to frame b.

Turns are counter-clockwise seen from the tip of the axis; angles are degrees here and at every boundary.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def identity() -> Array:
    """The transform that changes nothing, (4, 4)."""
    return np.eye(4)


def translation(offset: ArrayLike) -> Array:
    """A shift by ``offset``, (3,) mm, as (4, 4)."""
    out = np.eye(4)
    out[:3, 3] = np.asarray(offset, dtype=np.float64)
    return out


def rotation(axis: ArrayLike, degrees: float) -> Array:
    """A turn about an axis through the origin, (4, 4).

    Multiples of 90 degrees about a coordinate axis come out exact, so that blocks turned by right angles stay
    on the grid to the last bit.

    Args:
        axis: (3,) direction, of any length but zero.
        degrees: angle, counter-clockwise seen from the tip of the axis.

    Raises:
        ValueError: the axis has no length.
    """
    a = np.asarray(axis, dtype=np.float64)
    length = float(np.linalg.norm(a))
    if not length > 0.0:
        raise ValueError("Expected an axis with a length, got (0, 0, 0)")
    x, y, z = a / length
    c, s = cos_sin(degrees)
    k = 1.0 - c
    out = np.eye(4)
    out[:3, :3] = [
        [c + x * x * k, x * y * k - z * s, x * z * k + y * s],
        [y * x * k + z * s, c + y * y * k, y * z * k - x * s],
        [z * x * k - y * s, z * y * k + x * s, c + z * z * k],
    ]
    return out


def cos_sin(degrees: float) -> tuple[float, float]:
    """Cosine and sine of an angle in degrees, exact at multiples of 90.

    >>> cos_sin(90.0)
    (0.0, 1.0)
    """
    turn = degrees % 360.0
    exact = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}.get(turn)
    if exact is not None:
        return exact
    rad = np.deg2rad(turn)
    return float(np.cos(rad)), float(np.sin(rad))


def from_axes(origin: ArrayLike, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
    """The frame with its origin and unit axes given in the outer frame: local_to_outer, (4, 4)."""
    out = np.eye(4)
    for column, axis in enumerate((x, y, z, origin)):
        out[:3, column] = np.asarray(axis, dtype=np.float64)
    return out


def along(origin: ArrayLike, z: ArrayLike, x_hint: ArrayLike) -> Array:
    """The right-handed frame at ``origin`` with Z along ``z`` and X as near ``x_hint`` as can be, (4, 4).

    Raises:
        ValueError: ``z`` has no length, or ``x_hint`` is parallel to it.
    """
    zu = unit(z)
    hint = np.asarray(x_hint, dtype=np.float64)
    xu = hint - zu * float(hint @ zu)
    if float(np.linalg.norm(xu)) <= 1e-9 * max(1.0, float(np.linalg.norm(hint))):
        raise ValueError("Expected a hint that is not parallel to the axis")
    xu = unit(xu)
    return from_axes(origin, xu, np.cross(zu, xu), zu)


def unit(vector: ArrayLike) -> Array:
    """``vector`` scaled to length 1, (3,).

    Raises:
        ValueError: it has no length.
    """
    v = np.asarray(vector, dtype=np.float64)
    length = float(np.linalg.norm(v))
    if not length > 0.0:
        raise ValueError("Expected a direction with a length, got (0, 0, 0)")
    result: Array = v / length
    return result


def chain(*transforms: Array) -> Array:
    """``chain(b_to_c, a_to_b)`` is a_to_c: read right to left, like function calls."""
    out = np.eye(4)
    for t in transforms:
        out = out @ t
    return out


def inverse(a_to_b: Array) -> Array:
    """b_to_a of a rigid transform, (4, 4)."""
    out = np.eye(4)
    r = a_to_b[:3, :3].T
    out[:3, :3] = r
    out[:3, 3] = -r @ a_to_b[:3, 3]
    return out


def points(a_to_b: Array, coordinates: ArrayLike) -> Array:
    """Points (n, 3) or one point (3,) in frame a, given in frame b."""
    p = np.asarray(coordinates, dtype=np.float64)
    result: Array = p @ a_to_b[:3, :3].T + a_to_b[:3, 3]
    return result


def directions(a_to_b: Array, vectors: ArrayLike) -> Array:
    """Directions (n, 3) or (3,) in frame a, given in frame b: turned, not shifted."""
    result: Array = np.asarray(vectors, dtype=np.float64) @ a_to_b[:3, :3].T
    return result


def turn_about_z(a_to_b: Array) -> float:
    """The angle of a's X axis in b's XY plane, degrees in [0, 360)."""
    angle = float(np.rad2deg(np.arctan2(a_to_b[1, 0], a_to_b[0, 0]))) % 360.0
    return 0.0 if angle >= 360.0 else angle


def as_vector(values: Sequence[float]) -> Array:
    """A (3,) float64 array from three numbers."""
    out = np.asarray(values, dtype=np.float64)
    if out.shape != (3,):
        raise ValueError(f"Expected 3 numbers, got array-like object with shape {out.shape}")
    return out
