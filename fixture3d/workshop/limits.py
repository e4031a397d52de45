"""Limits of a gauge, beside the sizes that they belong to; always rounded to the inside."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from fixture3d.part import Limit, Part
from fixture3d.units import Units, from_mm
from fixture3d.workshop.solid_facts import AXES, Facts, Teeth, others

if TYPE_CHECKING:
    from fixture3d.workshop.dimensions import Dimensions

_KEPT = 1.0 / 8.0  # of the space between the limits: the most that rounding to the inside may take on either side


def made_to(part: Part, of: str, value: float) -> Limit | None:
    """The limits of that size of a gauge; its bodies are at the middle of them."""
    gauge = part.gauge()
    found = (one for one in gauge.limits if one.of == of) if gauge is not None else iter(())
    return next((one for one in found if abs((one.low + one.high) / 2.0 - value) < 1e-5), None)


def as_limits(limit: Limit, units: Units) -> str:
    """Both limits, and GO or NO-GO behind them.

    >>> as_limits(Limit(name="NO-GO", low=16.0171, high=16.018, of="diameter"), "mm")
    '16.0171 to 16.0180 NO-GO'
    >>> as_limits(Limit(name="pins", low=15.905, high=15.915, of="diameter"), "in")
    '0.62619 to 0.62657'
    """
    low, high = (from_mm(one, units) for one in (limit.low, limit.high))
    places = _places(high - low, 3 if units == "mm" else 4)
    step = 10.0**places
    low, high = math.ceil(low * step - 1e-6) / step, math.floor(high * step + 1e-6) / step
    name = f" {limit.name}" if limit.name in ("GO", "NO-GO") else ""
    return f"{low:.{places}f} to {high:.{places}f}{name}"


def as_deviation(limit: Limit, units: Units) -> str:
    """The middle and what it may be off.

    >>> as_deviation(Limit(name="distance", low=49.995, high=50.005, of="X"), "mm")
    '50 ±0.005'
    """
    angle = limit.kind == "angle"
    low, high = (one if angle else from_mm(one, units) for one in (limit.low, limit.high))
    places = _places((high - low) / 2.0, 2)
    step, middle = 10.0**places, (low + high) / 2.0
    shown = round(middle, places)
    off = math.floor(((high - low) / 2.0 - abs(shown - middle)) * step + 1e-6) / step
    sign = "°" if angle else ""
    text = f"{shown:.{places}f}"
    if units == "mm" or angle:
        text = text.rstrip("0").rstrip(".")
    return f"{text}{sign} ±{off:.{places}f}".rstrip("0") + sign


def _places(room: float, least: int) -> int:
    """Decimals that keep the rounding small; no more than two past the usual ones while there is room between them."""
    wanted = max(least, math.ceil(-math.log10(room * _KEPT) - 1e-9))
    return min(wanted, least + 2) if room > 2.0 * 10.0 ** -(least + 2) else wanted


def homeless(part: Part, facts: Facts, d: Dimensions) -> Iterator[Limit]:
    """Limits that are of a size of the body, and no dimension of its sheet has that size."""
    gauge = part.gauge()
    for one in gauge.limits if gauge is not None else ():
        if one.of and not any(made_to(part, one.of, value) == one for value in _sizes(one.of, facts, d)):
            yield one


def _sizes(of: str, facts: Facts, d: Dimensions) -> Iterator[float]:
    if of == "angle":
        yield from (slope.degrees for slope in d.slopes if slope.limit is not None)
    elif of == "teeth":
        yield from map(first_to_last, facts.teeth)
    elif of in ("diameter", "radius"):
        share = 2.0 if of == "diameter" else 1.0
        yield from (share * r.radius for r in facts.rounds)
    else:
        k = AXES.index(of)
        yield from (v - d.datum[k] for v in d.levels[k])
        yield from (r.at[others(r.axis).index(k)] - d.datum[k] for r in facts.rounds if r.axis != k)


def first_to_last(teeth: Teeth) -> float:
    """From the first tooth of a serration to the last, mm."""
    a, b = teeth.start
    return round((b - a) / teeth.pitch - 1.0) * teeth.pitch
