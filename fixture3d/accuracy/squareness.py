"""Is a frame square: its diagonals, its opposite sides, and the shear that follows. Lengths in mm, or any one unit.

Equal diagonals prove a frame square only if its opposite sides are equal: an isosceles trapezoid has equal diagonals.
Nothing here sees twist; check flatness at the four corners too. Elementary trigonometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Frame", "diagonals", "frame_of", "shear"]


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A flat four-sided frame from its tape measurements.

    Attributes:
        corners: degrees inside at the corners between sides (4, 1), (1, 2), (2, 3) and (3, 4).
        difference: first diagonal less the second.
        sides: greatest difference of two opposite sides.
        misfit: by how much the second diagonal, worked out from the sides and the first one, differs from the measured
            one: more than the tape's error says that a measurement is wrong, or that the frame is not flat.
    """

    corners: tuple[float, float, float, float]
    difference: float
    sides: float
    misfit: float

    @property
    def square(self) -> float:
        """Greatest difference of a corner from 90 degrees."""
        return max(abs(corner - 90.0) for corner in self.corners)

    def diagonals_tell(self, tape: float) -> bool:
        """Whether its diagonals say how square it is: opposite sides are equal to within the tape's error."""
        return self.sides <= tape


def diagonals(a: float, b: float, degrees: float) -> tuple[float, float]:
    """The diagonals of a rectangle a by b sheared by an angle, longer one first for a positive angle.

    >>> [round(d, 4) for d in diagonals(1000.0, 500.0, 0.1)]
    [1118.8143, 1117.2532]
    """
    twice = 2.0 * a * b * math.sin(math.radians(degrees))
    return math.sqrt(a * a + b * b + twice), math.sqrt(a * a + b * b - twice)


def shear(a: float, b: float, difference: float) -> float:
    """The angle by which corners of a parallelogram a by b are off, from the difference of its diagonals, degrees.

    Exact: with d1 - d2 = x, and d1^2 + d2^2 = 2 (a^2 + b^2), sine = x sqrt(4 (a^2 + b^2) - x^2) / (4 a b).

    Raises:
        ValueError: no such parallelogram has diagonals that differ by so much.

    >>> round(shear(1000.0, 500.0, 3.0), 4)
    0.1922
    """
    if not (a > 0.0 and b > 0.0):
        raise ValueError(f"Expected two sides above 0, got {a:g} and {b:g}")
    inside = 4.0 * (a * a + b * b) - difference * difference
    sine = difference * math.sqrt(inside) / (4.0 * a * b) if inside >= difference * difference else math.inf
    if not abs(sine) <= 1.0:
        raise ValueError(f"Expected diagonals of {a:g} by {b:g} that differ by less, got {difference:g}")
    return math.degrees(math.asin(sine))


def frame_of(sides: tuple[float, float, float, float], first: float, second: float) -> Frame:
    """A frame from four sides in order round it and its two diagonals.

    The first diagonal runs from the corner between sides 4 and 1 to that between 2 and 3.

    Raises:
        ValueError: the lengths close no four-sided frame.
    """
    one, two, three, four = sides
    at_start = (_angle(one, first, two), _angle(four, first, three))
    at_end = (_angle(two, first, one), _angle(three, first, four))
    corners = (sum(at_start), _angle(one, two, first), sum(at_end), _angle(three, four, first))
    across = one**2 + four**2 - 2.0 * one * four * math.cos(math.radians(corners[0]))
    return Frame(
        corners=corners,
        difference=first - second,
        sides=max(abs(one - three), abs(two - four)),
        misfit=abs(math.sqrt(max(0.0, across)) - second),
    )


def _angle(a: float, b: float, opposite: float) -> float:
    """Between two sides of a triangle, degrees."""
    cosine = (a * a + b * b - opposite * opposite) / (2.0 * a * b) if a > 0.0 and b > 0.0 else math.inf
    if not abs(cosine) <= 1.0:
        raise ValueError(f"Expected lengths that close a triangle, got {a:g}, {b:g} and {opposite:g}")
    return math.degrees(math.acos(cosine))
