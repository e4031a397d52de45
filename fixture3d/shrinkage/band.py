"""An estimate as a band: from low to high, never a single figure, never shown finer than the band itself."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Band", "band_of"]

_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class Band:
    """An estimate.

    Attributes:
        low: least.
        high: greatest; both in one unit, mm or degrees as the maker of the band says.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low <= self.high):
            raise ValueError(f"band from {self.low} to {self.high}; expected two numbers in order")

    @property
    def middle(self) -> float:
        """Half way; for sorting and drawing, not to be shown as the estimate."""
        return (self.low + self.high) / 2.0

    def __add__(self, other: Band) -> Band:
        """Both together at worst: handbook rules err to the same side on every weld, so nothing is averaged out."""
        return Band(self.low + other.low, self.high + other.high)

    def __neg__(self) -> Band:
        return Band(-self.high + 0.0, -self.low + 0.0)

    def scaled(self, factor: float) -> Band:
        """The band times a number, which may be negative."""
        ends = sorted((self.low * factor + 0.0, self.high * factor + 0.0))
        return Band(*ends)

    def hull(self, other: Band) -> Band:
        """The least band that holds both."""
        return Band(min(self.low, other.low), max(self.high, other.high))

    def rounded(self, unit: float = 1.0) -> Band:
        """Ends rounded outwards to a step of 1, 2 or 5 that is a fifth of the band's width or less.

        Args:
            unit: length of the unit shown, in the band's own (25.4 to show mm as inches): the step is round there,
                the result stays in the band's own unit.

        >>> Band(0.29, 0.871).rounded()
        Band(low=0.2, high=0.9)
        """
        step = self.step(unit)
        if step == 0.0:
            return self
        low, high = self.low / unit / step, self.high / unit / step
        # What lies on a step but for rounding stays there.
        low, high = math.floor(low + 1e-9), math.ceil(high - 1e-9)
        digits = max(0, -math.floor(math.log10(step)))
        return Band(round(low * step, digits) * unit, round(high * step, digits) * unit)

    def step(self, unit: float = 1.0) -> float:
        """The step that `rounded` rounds to, in units of ``unit``; 0 for a band without width."""
        width = (self.high - self.low) / unit
        if not width > 0.0:
            return 0.0
        power = 10.0 ** math.floor(math.log10(width / 5.0))
        return max(s * power for s in _STEPS if s * power <= width / 5.0 * (1.0 + 1e-9))


def band_of(values: Iterable[float], spread: float) -> Band:
    """The band that rules give together: what lies between them, and at least the spread about their middle.

    Args:
        values: one figure a rule, or the two ends where a rule gives a range; 0 or more, at least one.
        spread: share of the middle by which an estimate is off at least, 0.5 for half.

    >>> band_of([1.0], 0.5)
    Band(low=0.5, high=1.5)
    """
    figures = sorted(values)
    middle = (figures[0] + figures[-1]) / 2.0
    return Band(min(figures[0], middle * (1.0 - spread)), max(figures[-1], middle * (1.0 + spread)))
