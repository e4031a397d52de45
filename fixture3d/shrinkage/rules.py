"""Handbook rules of weld shrinkage, one function a rule, with source, mark and the range in which each holds.

Every figure is an estimate; half as much again either way is normal. Lengths are mm, areas mm2, angles degrees,
unless a docstring says that any consistent unit does. Coefficients are one table, `Handbook`; a shop that has
measured its own first article puts its own in: ``replace(HANDBOOK, tee=0.8)``.

A rule that is asked outside its range still answers, and `Estimate.outside` says what is wrong with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "HANDBOOK",
    "RULES",
    "Estimate",
    "Handbook",
    "Rule",
    "angular_fillet",
    "angular_vee",
    "camber",
    "fillet_area",
    "longitudinal_butt",
    "longitudinal_butt_current",
    "longitudinal_fillet",
    "transverse_butt_fifth",
    "transverse_butt_tenth",
    "transverse_butt_thumb",
    "transverse_butt_width",
    "transverse_fillet",
    "transverse_lap",
    "transverse_tee",
    "vee_area",
]

Mark = Literal["looked up", "from memory", "common practice"]


@dataclass(frozen=True, kw_only=True)
class Handbook:
    """The coefficients. Those that are pairs are a range that the source itself gives.

    Attributes:
        spread: share by which a single rule is off at least.
        butt_tenth: of weld area over thickness.
        butt_fifth: of weld area over thickness.
        butt_opening: of the root opening, added to `butt_fifth`.
        butt_thumb: mm a weld.
        butt_width: of the weld's mean width.
        fillet: mm a weld.
        fillet_leg: leg over plate thickness up to which `fillet` holds.
        tee: mm, times leg over bottom plate.
        lap: mm, times leg over bottom plate.
        ratio: leg over bottom plate up to which `tee` and `lap` hold.
        fillet_along: mm a mm of weld.
        butt_along: mm a mm of weld.
        butt_current: mm, times ampere times length over thickness.
        camber: times area, length squared and distance over moment of inertia.
        tee_angle: degrees, for a leg as large as the plate is thick.
        tee_angle_at: mm; the leg and thickness at which they are taken to hold, common practice, no source.
        tee_angle_leg: exponent of the leg.
        tee_angle_thickness: exponent of the thickness.
        vee_angle: degrees a pass.
        vee_angle_most: degrees in all.
    """

    spread: float = 0.5
    butt_tenth: float = 0.10
    butt_fifth: float = 0.2
    butt_opening: float = 0.05
    butt_thumb: tuple[float, float] = (1.5, 3.0)
    butt_width: float = 0.10
    fillet: float = 0.8
    fillet_leg: float = 0.75
    tee: float = 1.02
    lap: float = 1.52
    ratio: float = 1.0
    fillet_along: float = 0.8 / 3000.0
    butt_along: float = 3.0 / 3000.0
    butt_current: float = 3.17e-7
    camber: float = 0.005
    tee_angle: tuple[float, float] = (1.0, 3.0)
    tee_angle_at: float = 6.0
    tee_angle_leg: float = 1.3
    tee_angle_thickness: float = 2.0
    vee_angle: float = 1.0
    vee_angle_most: tuple[float, float] = (5.0, 6.0)


HANDBOOK = Handbook()


@dataclass(frozen=True)
class Rule:
    """Where a rule is from.

    Attributes:
        name: short, unique.
        formula: as the source gives it.
        source: who says so.
        mark: whether it was looked up, is from memory, or is common practice without a source.
        holds: the range in which it holds, in words.
    """

    name: str
    formula: str
    source: str
    mark: Mark
    holds: str


_TWI = 'TWI, "How much shall I allow for weld shrinkage?"'
_BLODGETT = "Blodgett, Design of Welded Structures 7.7; Procedure Handbook of Arc Welding"
_AWS = "AWS Welding Handbook, chapter on distortion"

RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule(
            "transverse_butt_tenth",
            "0.10 x weld area / thickness",
            f"{_BLODGETT} (formula looked up in a public method statement that cites both; section from memory)",
            "looked up",
            "butt welds, free to shrink",
        ),
        Rule(
            "transverse_butt_fifth",
            "0.2 x weld area / thickness + 0.05 x root opening",
            f"Spraragen and Ettinger, in {_AWS}",
            "from memory",
            "butt welds, free to shrink",
        ),
        Rule("transverse_butt_thumb", "1.5 to 3 mm a weld", _TWI, "looked up", "60 degree V butts"),
        Rule("transverse_butt_width", "a tenth of the mean width of the weld", _BLODGETT, "from memory", "butt welds"),
        Rule("transverse_fillet", "0.8 mm (1/32 in) a weld", _TWI, "looked up", "leg up to 3/4 of the plate thickness"),
        Rule(
            "transverse_tee",
            "1.02 mm x leg / bottom plate",
            _AWS,
            "from memory",
            "T-joints with two continuous fillets, leg up to about the bottom plate's thickness",
        ),
        Rule(
            "transverse_lap",
            "1.52 mm x leg / bottom plate",
            f"{_AWS} (constant seen on a public calculator page)",
            "from memory",
            "lap joints with two continuous fillets, leg up to about the bottom plate's thickness",
        ),
        Rule("longitudinal_fillet", "0.8 mm in 3 m of weld", _TWI, "looked up", "fillets along the member"),
        Rule("longitudinal_butt", "3 mm in 3 m of weld", _TWI, "looked up", "butts along the member"),
        Rule(
            "longitudinal_butt_current",
            "3.17e-7 x current x length / thickness",
            f"King, in {_AWS}",
            "from memory",
            "butts along the member; gives far less than the figure by length, the two are not mixed",
        ),
        Rule(
            "camber",
            "0.005 x weld area x length squared x distance / moment of inertia",
            _BLODGETT,
            "from memory",
            "steel, continuous full-length welds in one sequence, free to bend, elastic, no thin plate that buckles",
        ),
        Rule(
            "angular_fillet",
            "1 to 3 degrees for leg = thickness, growing as leg^1.3 / thickness^2",
            f"{_AWS}; IIW",
            "from memory",
            "one-sided fillets, unrestrained, until the plate is so thin that heat goes through",
        ),
        Rule(
            "angular_vee",
            "about 1 degree a pass, 5 to 6 in all",
            "common practice, no source",
            "common practice",
            "60 degree single V, 12 mm, unrestrained; a balanced double V: about none",
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Estimate:
    """What one rule says.

    Attributes:
        values: one figure, or the two ends of the range that the rule gives; mm or degrees.
        rule: which.
        outside: why the rule does not properly hold here; empty when it does.
    """

    values: tuple[float, ...]
    rule: Rule
    outside: str = ""

    @property
    def value(self) -> float:
        """The figure of a rule that gives one; the middle of its range otherwise."""
        return sum(self.values) / len(self.values)


def fillet_area(leg: float) -> float:
    """Area of an equal-legged fillet, flat faced: half the leg squared; any consistent unit."""
    _need(leg=leg)
    return leg * leg / 2.0


def vee_area(thickness: float, angle: float, opening: float, land: float = 0.0) -> float:
    """Area of a single V butt without its cap; any consistent unit.

    Args:
        thickness: of the plate.
        angle: included, degrees.
        opening: root opening.
        land: height of the root face; 0 or more, less than the thickness.
    """
    _need(thickness=thickness)
    _need_not_less(opening=opening, land=land, angle=angle)
    if land > thickness or angle >= 180.0:
        raise ValueError(f"land {land} of plate {thickness} at {angle} degrees; expected a land within the plate")
    return opening * thickness + (thickness - land) ** 2 * math.tan(math.radians(angle / 2.0))


def transverse_butt_tenth(area: float, thickness: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a butt; any consistent unit (the formula is homogeneous)."""
    _need(area=area, thickness=thickness)
    return _one(book.butt_tenth * area / thickness, "transverse_butt_tenth")


def transverse_butt_fifth(area: float, thickness: float, opening: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a butt; any consistent unit: coefficients do not change with it.

    A metric form with 5.08 and 1.27 goes round; that is 25.4 times too much.
    """
    _need(area=area, thickness=thickness)
    _need_not_less(opening=opening)
    return _one(book.butt_fifth * area / thickness + book.butt_opening * opening, "transverse_butt_fifth")


def transverse_butt_thumb(angle: float = 60.0, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a 60 degree V butt, mm; a range."""
    outside = "" if abs(angle - 60.0) <= 5.0 else f"the V is {angle:g} degrees, not 60"
    return Estimate(book.butt_thumb, RULES["transverse_butt_thumb"], outside)


def transverse_butt_width(width: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a butt from the mean width of its weld; any consistent unit."""
    _need(width=width)
    return _one(book.butt_width * width, "transverse_butt_width")


def transverse_fillet(leg: float, thickness: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a fillet, mm a weld."""
    _need(leg=leg, thickness=thickness)
    outside = ""
    if leg > book.fillet_leg * thickness * (1.0 + 1e-9):
        outside = f"the leg is {leg / thickness:.2g} of the plate's thickness, more than {book.fillet_leg:g}"
    return _one(book.fillet, "transverse_fillet", outside)


def transverse_tee(leg: float, bottom: float, fraction: float = 1.0, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage of the bottom plate across a T-joint with two fillets, mm.

    Args:
        leg: of the fillets.
        bottom: thickness of the plate that runs through.
        fraction: welded length by length of the joint, for intermittent welds.
        book: coefficients.
    """
    return _by_ratio("transverse_tee", book.tee, leg, bottom, fraction, book)


def transverse_lap(leg: float, bottom: float, fraction: float = 1.0, book: Handbook = HANDBOOK) -> Estimate:
    """Shrinkage across a lap with two fillets, mm; arguments as for `transverse_tee`."""
    return _by_ratio("transverse_lap", book.lap, leg, bottom, fraction, book)


def longitudinal_fillet(length: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shortening along a fillet, mm; any unit for the length, the result is in it."""
    _need_not_less(length=length)
    return _one(book.fillet_along * length, "longitudinal_fillet")


def longitudinal_butt(length: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shortening along a butt; the result is in the unit of the length."""
    _need_not_less(length=length)
    return _one(book.butt_along * length, "longitudinal_butt")


def longitudinal_butt_current(current: float, length: float, thickness: float, book: Handbook = HANDBOOK) -> Estimate:
    """Shortening along a butt by its current (A), mm. Some fifty times less than `longitudinal_butt`: do not mix."""
    _need(current=current, thickness=thickness)
    _need_not_less(length=length)
    return _one(book.butt_current * current * length / thickness, "longitudinal_butt_current")


def camber(
    area: float, length: float, distance: float, inertia: float, fraction: float = 1.0, book: Handbook = HANDBOOK
) -> Estimate:
    """How far a member bows over its welded length; the side of the weld becomes hollow. Any consistent unit.

    Args:
        area: of all its welds within the fusion line.
        length: that is welded.
        distance: of the welds' middle from the neutral axis.
        inertia: moment of inertia of the section.
        fraction: welded length by length, for intermittent welds.
        book: coefficients.
    """
    _need(area=area, inertia=inertia)
    _need_not_less(length=length, distance=distance)
    value = book.camber * area * _share(fraction) * length * length * distance / inertia
    return _one(value, "camber", "" if fraction == 1.0 else "the weld is intermittent; its area is scaled")


def angular_fillet(leg: float, thickness: float, book: Handbook = HANDBOOK) -> Estimate:
    """Degrees by which a one-sided fillet closes towards its weld; a range."""
    _need(leg=leg, thickness=thickness)
    scale = book.tee_angle_at
    growth = (leg / scale) ** book.tee_angle_leg / (thickness / scale) ** book.tee_angle_thickness
    outside = ""
    if not 0.5 <= leg / thickness <= 1.5:
        outside = f"the leg is {leg / thickness:.2g} of the plate's thickness, far from equal"
    elif thickness < 3.0:
        outside = f"the plate is {thickness:g} mm, so thin that heat goes through"
    return Estimate(tuple(v * growth for v in book.tee_angle), RULES["angular_fillet"], outside)


def angular_vee(passes: int, balanced: bool = False, book: Handbook = HANDBOOK) -> Estimate:
    """Degrees by which a single V butt closes towards its wide side.

    Args:
        passes: one or more.
        balanced: a double V welded in turns: none.
        book: coefficients.
    """
    if passes < 1:
        raise ValueError(f"passes is {passes}; expected 1 or more")
    if balanced:
        return _one(0.0, "angular_vee")
    low, high = (min(passes * book.vee_angle, most) for most in book.vee_angle_most)
    return Estimate((low,) if low == high else (low, high), RULES["angular_vee"])


def _by_ratio(name: str, factor: float, leg: float, bottom: float, fraction: float, book: Handbook) -> Estimate:
    _need(leg=leg, bottom=bottom)
    outside = []
    if leg > book.ratio * bottom * (1.0 + 1e-9):
        outside.append(f"the leg is {leg / bottom:.2g} of the bottom plate's thickness, more than {book.ratio:g}")
    if fraction < 1.0:
        outside.append("the weld is intermittent; the figure is scaled")
    return _one(factor * leg / bottom * _share(fraction), name, "; ".join(outside))


def _one(value: float, name: str, outside: str = "") -> Estimate:
    return Estimate((value,), RULES[name], outside)


def _share(fraction: float) -> float:
    if not 0.0 < fraction <= 1.0:
        raise ValueError(f"fraction is {fraction}; expected more than 0, up to 1")
    return fraction


def _need(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} is {value}; expected more than 0")


def _need_not_less(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise ValueError(f"{name} is {value}; expected 0 or more")


def figures(estimates: Sequence[Estimate]) -> list[float]:
    """All figures of some estimates, for `band.band_of`."""
    return [value for estimate in estimates for value in estimate.values]
