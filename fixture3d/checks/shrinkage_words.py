"""Bands in words: in the file's units, never finer than they are wide."""

from __future__ import annotations

import math

from fixture3d.shrinkage.band import Band
from fixture3d.units import Units, from_mm

_INCH = round(1.0 / from_mm(1.0, "in"), 9)


def rounded(band: Band, units: Units = "mm") -> Band:
    """A band of lengths, mm, with its ends where they are shown in the file's units."""
    return band.rounded(_INCH if units == "in" else 1.0)


def shown(band: Band, units: Units) -> str:
    """A band of lengths in words.

    >>> shown(Band(0.51, 1.53), "mm"), shown(Band(0.51, 1.53), "in"), shown(Band(0.0, 0.0), "mm")
    ('0.4 to 1.6 mm', '0.02 to 0.065 in', '0 mm')
    """
    low, high = _ends(band, units)
    return f"{low} {units}" if low == high else f"{low} to {high} {units}"


def _ends(band: Band, units: Units) -> tuple[str, str]:
    unit = _INCH if units == "in" else 1.0
    step = band.step(unit)
    places = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0.0 else 2
    ends = rounded(band, units)
    low, high = (
        f"{end / unit:.{places}f}".rstrip("0").rstrip(".") if places else f"{end / unit:.0f}"
        for end in (ends.low, ends.high)
    )
    return low if low not in ("-0", "") else "0", high if high not in ("-0", "") else "0"


def change(band: Band, units: Units) -> str:
    """A change of a length in words; positive is longer."""
    if band.high <= 0.0:
        return f"{shown(-band, units)} shorter"
    if band.low >= 0.0:
        return f"{shown(band, units)} longer"
    low, high = _ends(band, units)
    return f"{low.lstrip('-')} {units} shorter to {high} {units} longer"


def degrees(band: Band) -> str:
    """A band of angles in words."""
    ends = band.rounded()
    return f"{ends.low:g} to {ends.high:g} degrees" if ends.low != ends.high else f"{ends.low:g} degrees"
