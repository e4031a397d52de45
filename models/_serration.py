"""Straight teeth that mesh at every notch: the outlines of the lower and of the upper part."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

Points = list[tuple[float, float]]

_FLAT = 0.1  # of the notch; what is taken off each tip so that only the flanks touch


@dataclass(frozen=True)
class Serration:
    """Teeth of 90 degrees; a tip of the lower part lies at every multiple of the notch.

    Attributes:
        notch: tooth to tooth, mm.
        top: height of the sharp tips of the lower part, mm; they are cut off a little below.
    """

    notch: float
    top: float

    @property
    def height(self) -> float:
        """Of the sharp tooth, mm."""
        return self.notch / 2.0

    def body(self, start: float, end: float) -> Points:
        """Upper outline of the lower part from ``start`` to ``end``, (x, z): flat tips, sharp roots."""
        flat = _FLAT * self.notch
        return self._line(start, end, lambda x: min(self._sharp(x), self.top - flat), (-flat, flat, self.height))

    def washer(self, start: float, end: float) -> Points:
        """Lower outline of the upper part, (x, z): flat tips, sharp roots, the same flanks."""
        flat, low = _FLAT * self.notch, self.top - self.height
        breaks = (0.0, self.height - flat, self.height + flat)
        return self._line(start, end, lambda x: max(self._sharp(x), low + flat), breaks)

    def _sharp(self, x: float) -> float:
        """Height of the flanks at ``x``, mm."""
        off = abs(x - round(x / self.notch) * self.notch)
        return self.top - off

    def _line(self, start: float, end: float, at: Callable[[float], float], breaks: tuple[float, ...]) -> Points:
        """Straight pieces between ``start`` and ``end`` that break at ``breaks`` past every tip."""
        first, last = math.floor(start / self.notch) - 1, math.ceil(end / self.notch) + 1
        xs = [tooth * self.notch + b for tooth in range(first, last + 1) for b in breaks]
        inside = sorted(x for x in xs if start + 1e-6 < x < end - 1e-6)
        return [(x, at(x)) for x in (start, *inside, end)]
