"""Coarse screw threads by their diameter: ISO 261 and ASME B1.1 (``threads.csv``)."""

from __future__ import annotations

from dataclasses import dataclass

from fixture3d.stock.shipped import rows
from fixture3d.units import length


@dataclass(frozen=True, kw_only=True)
class Screw:
    """A thread of a coarse series.

    Attributes:
        name: as on a drawing, ``"M12"`` or ``"1/2-13 UNC"``.
        diameter: nominal, mm.
        series: standard and pitch in words.
        inside: class of a tapped bore; 6H of ISO 965-1, 2B of ASME B1.1: the usual ones.
        outside: class of a screw; 6g and 2A.
    """

    name: str
    diameter: float
    series: str
    inside: str
    outside: str


def coarse(diameter: float, inch: bool) -> Screw:
    """The coarse thread nearest to a diameter, the smaller one of two that are as near.

    >>> coarse(12.0, False).series, coarse(12.7, True).name, coarse(21.0, False).name
    ('ISO 261 coarse, pitch 1.75', '1/2-13 UNC', 'M20')
    """
    unit = float(length(1, "in")) if inch else 1.0
    known = [row for row in rows("threads.csv") if row["series"] == ("unc" if inch else "iso")]
    row = min(known, key=lambda one: round(abs(float(one["diameter"]) * unit - diameter), 6))
    told = f"ASME B1.1, {row['pitch']} to the inch" if inch else f"ISO 261 coarse, pitch {row['pitch']}"
    inside, outside = ("2B", "2A") if inch else ("6H", "6g")
    return Screw(name=row["name"], diameter=float(row["diameter"]) * unit, series=told, inside=inside, outside=outside)
