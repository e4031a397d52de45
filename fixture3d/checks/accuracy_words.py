"""Small departures in words: never finer than they are known."""

from __future__ import annotations

import math

from fixture3d.units import Units, from_mm, length, show, show_rough

__all__ = ["departure", "size"]

_SIXTEENTH = length("1/16 in")
_FINEST = {"mm": 2, "in": 3, "degrees": 2}  # places that are shown at most


def departure(value: float, unit: str, units: Units) -> str:
    """A departure to two figures that count, and no finer than 0.01 mm, 0.001 in or 0.01 degrees.

    Args:
        value: mm or degrees.
        unit: of it, "mm" or "degrees".
        units: of the file.

    >>> departure(1.2345, "mm", "mm"), departure(12.345, "mm", "mm"), departure(1.27, "mm", "in")
    ('1.2 mm', '12 mm', '0.050 in')
    """
    shown = "degrees" if unit in ("degrees", "deg") else units
    number = value if shown == "degrees" else from_mm(value, units)
    places = _places(number, shown)
    text = f"{number:.{places}f}"
    return f"{text.lstrip('-') if float(text) == 0.0 else text} {shown}"


def size(value: float, unit: str, units: Units, spread: float) -> str:
    """A figure as it is drawn, no finer than what it is likely to be off: inches to 1/64, or 1/16 where that is enough.

    >>> size(1341.6408, "mm", "mm", 1.3), size(1341.6408, "mm", "in", 0.83), size(90.0, "degrees", "mm", 0.2)
    ('1342 mm', '52-13/16 in', '90 degrees')
    """
    if unit != "degrees" and units == "in":
        if spread >= _SIXTEENTH / 2.0:
            return show_rough(value, units)
        sixty_fourth = _SIXTEENTH / 4.0
        return show(round(value / sixty_fourth) * sixty_fourth, units)
    shown = "degrees" if unit == "degrees" else units
    text = f"{value:.{max(0, _places(spread, shown) - 1)}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {shown}"


def _places(number: float, shown: str) -> int:
    """How many places behind the point give two figures that count."""
    least = _FINEST[shown]
    if not (math.isfinite(number) and abs(number) > 10.0**-least):
        return least
    return min(max(1 - math.floor(math.log10(abs(number))), 0), least)
