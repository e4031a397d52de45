"""Limits and fits: how big a bore or pin may be, and how far a block can shift and turn in its holes.

The tables are data (``iso286.csv``, ``b41.csv``): the standards' own rounding cannot be had from formulas.
Sizes and deviations are mm here and in every answer, whatever unit the table is printed in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from fixture3d.errors import FixtureError, nearest_name
from fixture3d.stock.shipped import rows
from fixture3d.units import length

Range = tuple[float, float]

_HOLES = "DEFGH"
_SHAFTS = "defghkmnp"
_GRADES = range(5, 14)
# ISO 286-1 gives k its value in grades 4 to 7 only, and none of m, n, p is in common use beyond grade 8.
_SPARSE = {"k": range(5, 8), "m": range(5, 9), "n": range(5, 9), "p": range(5, 9)}
_INCH = length(1, "in")


class FitError(FixtureError):
    """A fit class or a pair of limits that cannot be used."""


@dataclass(frozen=True, kw_only=True)
class Play:
    """How far a block on two pins is loose.

    Attributes:
        shift: mm each way that it moves without turning.
        turn: degrees each way that it turns.
    """

    shift: float
    turn: float


@cache
def _iso() -> tuple[tuple[float, ...], dict[str, tuple[int, ...]]]:
    table = {row.pop("name"): row for row in rows("iso286.csv")}
    tops = tuple(float(top) for top in table["IT6"])
    return tops, {name: tuple(int(v) for v in row.values()) for name, row in table.items()}


@cache
def _inch() -> dict[str, list[dict[str, float]]]:
    out: dict[str, list[dict[str, float]]] = {}
    for row in rows("b41.csv"):
        out.setdefault(row.pop("class"), []).append({key: float(v) for key, v in row.items()})
    return out


@cache
def known_classes() -> tuple[str, ...]:
    """Every class that :func:`limits` knows: ISO letters with grades, and inch fits with their side."""
    iso = [f"{letter}{grade}" for letter in _HOLES + _SHAFTS for grade in _SPARSE.get(letter, _GRADES)]
    inch = [f"{name} {side}" for name in _inch() for side in ("hole", "shaft")]
    return tuple(iso + inch)


def limits(class_: str, nominal: float) -> Range:
    """Lower and upper limit deviation of a tolerance class at a nominal size.

    Capital letters are holes and small letters shafts, so case counts. A nominal size on the edge of two
    ranges belongs to the lower one ("over, up to and including").

    Args:
        class_: ``"H7"``, ``"g6"``, or an inch fit with its side, ``"RC4 hole"``, ``"RC4 shaft"``.
        nominal: nominal size, mm.

    Returns:
        ``(low, high)`` deviations, mm.

    Raises:
        FitError: the class is not in the tables, or the size is outside its ranges.

    Source: ISO 286-1 and -2:2010; ANSI/ASME B4.1-1967 for the inch fits.

    >>> limits("H7", 16.0)
    (0.0, 0.018)
    >>> limits("g6", 16.0)
    (-0.017, -0.006)
    """
    _positive(nominal, "nominal size")
    name = " ".join(class_.split())
    inch = re.fullmatch(r"((?:RC|LC|LT|LN)\d) (hole|shaft)", name)
    if inch and inch[1] in _inch():
        return _inch_limits(inch[1], inch[2], nominal)
    iso = re.fullmatch(r"([A-Za-z]{1,2})(\d{1,2})", name)
    if not iso or name not in known_classes():
        raise FitError(_unknown(name))
    tops, table = _iso()
    if nominal > tops[-1]:
        raise FitError(f"{name} is tabled up to {tops[-1]:g} mm, got {nominal:g} mm")
    column = next(i for i, top in enumerate(tops) if nominal <= top)
    grade = table[f"IT{iso[2]}"][column]
    letter = iso[1]
    if letter.isupper():  # holes D to H mirror the shafts of the same letter: EI = -es
        low = -table[letter.lower()][column]
        return low / 1000, (low + grade) / 1000
    deviation = table[letter][column]
    if letter in "defgh":
        return (deviation - grade) / 1000, deviation / 1000
    return deviation / 1000, (deviation + grade) / 1000


def bore_limits(spec: str | Sequence[float], nominal: float) -> Range:
    """Smallest and largest diameter of a bore.

    Args:
        spec: a hole class (``"H7"``), an inch fit (``"RC4"``: its hole), or ``[low, high]`` mm: either both
            are diameters, or both are deviations from ``nominal`` (then they are under a quarter of it).
        nominal: nominal bore, mm.

    Returns:
        ``(low, high)`` diameters, mm.

    Raises:
        FitError: a class that is not a hole, limits in the wrong order, or limits far from the nominal size.

    >>> bore_limits("H7", 16.0)
    (16.0, 16.018)
    >>> bore_limits([0, 0.5], 16.0)
    (16.0, 16.5)
    """
    return _sizes(spec, nominal, hole=True)


def pin_limits(spec: str | Sequence[float], nominal: float) -> Range:
    """Smallest and largest diameter of a pin: as :func:`bore_limits`, for a shaft class or ``"RC4"``'s shaft.

    >>> pin_limits("g6", 16.0)
    (15.983, 15.994)
    """
    return _sizes(spec, nominal, hole=False)


def clearance(hole: Range, pin: Range) -> Range:
    """Least and most clearance on diameter, mm; negative is interference.

    Args:
        hole: ``(low, high)``, both diameters or both deviations, as in ``pin``.
        pin: ``(low, high)``.

    >>> clearance(limits("H7", 16), limits("g6", 16))
    (0.006, 0.035)
    """
    return _tidy(hole[0] - pin[1]), _tidy(hole[1] - pin[0])


def shift(clearance_on_diameter: float) -> float:
    """How far a pin moves each way in its hole, mm: half the clearance, none if it is a press fit."""
    return max(0.0, clearance_on_diameter) / 2


def play_turn(c1: float, c2: float, spacing: float) -> float:
    """How far a block on two pins turns each way, degrees: asin((c1 + c2) / 2L).

    Both pins are pushed opposite ways, each against the side of its hole.

    Args:
        c1: clearance on diameter of the first pin, mm.
        c2: of the second, mm.
        spacing: distance of the pins, mm.

    Returns:
        Degrees; 180 when the clearance is so large against the spacing that nothing stops the turn.

    Raises:
        FitError: ``spacing`` is not above zero.
    """
    _positive(spacing, "pin spacing")
    ratio = (max(0.0, c1) + max(0.0, c2)) / (2 * spacing)
    return math.degrees(math.asin(ratio)) if ratio <= 1.0 else 180.0


def pin_play(c1: float, c2: float, spacing: float) -> Play:
    """Shift and turn of a block on two pins with clearances ``c1``, ``c2`` on diameter, mm.

    The shift is that of the tighter pin: it is what the block can do without turning.
    """
    return Play(shift=shift(min(c1, c2)), turn=play_turn(c1, c2, spacing))


def assembles(c1: float, c2: float, spacing_error: float) -> bool:
    """Whether two pins enter two holes whose spacing differs by ``spacing_error`` mm from theirs.

    True when the error is at most half the sum of the clearances on diameter.
    """
    return c1 >= 0.0 and c2 >= 0.0 and abs(spacing_error) <= _tidy((c1 + c2) / 2)


def _inch_limits(name: str, side: str, nominal: float) -> Range:
    size = nominal / _INCH
    table = _inch()[name]
    for row in table:
        if row["over"] < _tidy(size) <= row["up_to"]:
            low, high = row[f"{side}_low"], row[f"{side}_high"]
            return _tidy(low * _INCH / 1000), _tidy(high * _INCH / 1000)
    raise FitError(
        f"{name} is tabled here over {table[0]['over']:g} to {table[-1]['up_to']:g} in, got {size:.4g} in; "
        "state the limits as two numbers"
    )


def _sizes(spec: str | Sequence[float], nominal: float, *, hole: bool) -> Range:
    _positive(nominal, "nominal size")
    what = "bore" if hole else "pin"
    if isinstance(spec, str):
        name = " ".join(spec.split())
        if name in _inch():
            name += " hole" if hole else " shaft"
        low, high = limits(name, nominal)
        is_hole = name[0].isupper() and not name.endswith("shaft")
        if is_hole is not hole:
            raise FitError(f'"{name}" is not a class of a {what}; nearest: {_other_side(name)}')
        return _tidy(nominal + low), _tidy(nominal + high)
    if len(spec) != 2 or not all(math.isfinite(v) for v in spec):
        raise FitError(f"the {what} limits {list(spec)} are not two numbers; expected [low, high] in mm")
    low, high = float(spec[0]), float(spec[1])
    if low > high:
        raise FitError(f"the {what} limits [{low:g}, {high:g}] are in the wrong order; nearest: [{high:g}, {low:g}]")
    if max(abs(low), abs(high)) < nominal / 4:
        low, high = nominal + low, nominal + high
    if not 0.75 * nominal <= low <= high <= 1.25 * nominal:
        raise FitError(f"the {what} limits [{low:g}, {high:g}] mm are far from its nominal {nominal:g} mm")
    return _tidy(low), _tidy(high)


def _other_side(name: str) -> str:
    if " " in name:
        base = name.split()[0]
        return f'"{base}"'
    swapped = name.swapcase()
    return f'"{swapped}"' if swapped in known_classes() else '"H7"'


def _unknown(name: str) -> str:
    if name in _inch():
        return f'the fit "{name}" is one of a hole and a shaft; expected "{name} hole" or "{name} shaft"'
    text = f'the fit class "{name}" is not in the tables'
    same_case = [known for known in known_classes() if known[:1].isupper() == name[:1].isupper()]
    near = nearest_name(name, same_case)
    if near:
        return f"{text}; nearest: {near}"
    letters = ", ".join(dict.fromkeys(known[0] for known in known_classes() if " " not in known))
    return f'{text}; expected one such as "H7" or "g6", with one of {letters}'


def _positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise FitError(f"the {what} must be a number above 0 mm, got {value:g}")


def _tidy(value: float) -> float:
    """Rounded to a picometre, so that limits from sums compare as the tables print them."""
    return round(value, 9) + 0.0
