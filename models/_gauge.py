"""Limits of gauges: how much of the work's tolerance a gauge may use, and on which side.

The ten per cent rule, as texts on limit gauges give it with ASME B89.7.3.1 and B89.1.5 as their source: a tenth of the
work's tolerance goes to the two gauges, half each, and always inside the work's limits. So no bad piece is passed, and
up to a tenth of the good ones is refused. A wear allowance on the GO side alone, 5 to 10 per cent of the tolerance, is
usual from a tolerance of about 0.09 mm on (textbook practice after BS 969, from memory). Texts differ: state it.
"""

from __future__ import annotations

from typing import Literal

from fixture3d.part import Limit, Pattern
from fixture3d.stock.fits import Range, bore_limits

Of = Literal["diameter", "radius", "Z"]

INCH_FIT = (0.4 * 25.4, 1.19 * 25.4)
"""mm; between these sizes the shipped rows of ANSI B4.1 have the class LC5."""


def reamed(pattern: Pattern) -> Range:
    """Limits of a reamed bore of the table, mm: H7 of ISO 286, on an inch table the LC5 hole of ANSI B4.1 if tabled."""
    inch = pattern.inch and INCH_FIT[0] < pattern.bore <= INCH_FIT[1]
    return bore_limits("LC5" if inch else "H7", pattern.bore)


def entering(least: float, most: float, of: Of, percent: float = 5.0, wear: float = 0.0) -> tuple[Limit, Limit]:
    """GO and NO-GO of a gauge that goes into work: the GO is above the least size, the NO-GO below the greatest.

    Args:
        least: of the work, mm.
        most: of the work, mm.
        of: what of the gauge is made to them.
        percent: of the work's tolerance, for each of the two.
        wear: of the work's tolerance, in per cent, that the GO is larger still.

    >>> [(round(one.low, 4), round(one.high, 4)) for one in entering(16.0, 16.018, "diameter", 10.0, 10.0)]
    [(16.0018, 16.0036), (16.0162, 16.018)]
    """
    share, worn = (most - least) * percent / 100.0, (most - least) * wear / 100.0
    return (
        Limit(name="GO", low=least + worn, high=least + worn + share, of=of),
        Limit(name="NO-GO", low=most - share, high=most, of=of),
    )


def around(least: float, most: float, of: Of, percent: float = 5.0, wear: float = 0.0) -> tuple[Limit, Limit]:
    """GO and NO-GO of a gauge that goes over work: the sides of `entering` changed over.

    >>> [(round(one.low, 3), round(one.high, 3)) for one in around(49.8, 50.2, "Z")]
    [(50.18, 50.2), (49.8, 49.82)]
    """
    share, worn = (most - least) * percent / 100.0, (most - least) * wear / 100.0
    return (
        Limit(name="GO", low=most - worn - share, high=most - worn, of=of),
        Limit(name="NO-GO", low=least, high=least + share, of=of),
    )


def middle(limit: Limit) -> float:
    """The size that is made: midway between the limits."""
    return (limit.low + limit.high) / 2.0


def convention(percent: float = 5.0, wear: float = 0.0) -> str:
    """How limits follow from those of the work, in words."""
    worn = f", and {wear:g} % more on the GO side for wear" if wear else ", none for wear"
    return (
        f"Convention: GO and NO-GO each use {percent:g} % of the work's tolerance, both inside its limits{worn} "
        "(ten per cent rule; texts differ)."
    )


PRINTED = "when it is printed: what is finer than some 0.2 mm (common practice, no source)"
