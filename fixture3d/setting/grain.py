"""Lengths as whole numbers, so that sums of shims, notches and pitches are exact.

A grain is 1e-7 mm. Every decimal of a millimetre to seven places is a whole number of grains, and so is every multiple
of 1/128 in (0.1984375 mm), of 1/64 in and of a millionth of an inch (0.0000254 mm): all that is written on blocks,
shims and drawings. What is none (a third of an inch, a diagonal) is rounded to the nearest grain, by 0.00000005 mm at
most, which nothing in a shop can measure. Whole numbers of 64 bits hold 900,000 km of them.
"""

from __future__ import annotations

from typing import Final

GRAIN: Final = 1e-7
"""mm."""

_A_MM: Final = 10_000_000


def grains(length: float) -> int:
    """A length in mm as a whole number of grains.

    >>> grains(25.4 / 64), grains(0.1 + 0.2) == grains(0.3)
    (3968750, True)
    """
    return round(length * _A_MM)


def mm(count: int) -> float:
    """Grains as mm.

    >>> mm(3968750)
    0.396875
    """
    return int(count) / _A_MM
