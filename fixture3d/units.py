"""Lengths in and out: the only place that knows how many millimetres an inch has.

Inside, every length is a float64 in mm. A length in a file is a number in the file's units, or a string that may
carry its own unit and its fractions. What is shown goes back to the file's units.

Source of the inch: the international yard and pound agreement of 1959, 1 in = 25.4 mm exactly (also ISO
80000-3:2019, annex), and of the pound, 1 lb = 0.453 592 37 kg exactly. Source of the pound-force: NIST SP 811 (2008),
appendix B.8, 1 lbf = 4.448 222 N.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable
from fractions import Fraction
from typing import Final, Literal

from fixture3d.errors import UnitError, one_line

Units = Literal["mm", "in"]
UNITS: Final[tuple[Units, ...]] = ("mm", "in")

_MM_PER_INCH: Final = Fraction(127, 5)
NEWTONS_PER_POUND_FORCE: Final = 4.448222
KG_PER_POUND: Final = 0.45359237
_FACTORS: Final[dict[str, Fraction]] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": _MM_PER_INCH,
    "ft": 12 * _MM_PER_INCH,
}
_SPELLINGS: Final[dict[str, str]] = {
    '"': "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
}
_PRIMES: Final = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "−": "-", "–": "-", "⁄": "/"})
_LONGEST: Final = 60  # characters; no length that a person writes is longer

_NUMBER: Final = r"(?:\d+[ -]+\d+/\d+|\d+/\d+|\d+\.\d*|\.\d+|\d+)"
_UNIT: Final = r"(?:mm|cm|m|inches|inch|in|feet|foot|ft|\"|')"
_LENGTH: Final = re.compile(
    rf"(?P<sign>[+-]?)\s*(?:(?P<feet>{_NUMBER})\s*(?P<foot>feet|foot|ft|')\s*-?\s*)?"
    rf"(?:(?P<value>{_NUMBER})\s*(?P<unit>{_UNIT})?)?"
    rf"(?:\s*(?P<tail_sign>[+-]|plus|less)\s+(?P<tail>\d*\.?\d+)\s*(?P<tail_unit>in|mm))?",
    re.ASCII,
)


def length(value: object, units: Units = "mm") -> float:
    """Read one length.

    Decimals are taken as they are written, so that ``0.75`` and ``"3/4"`` inches are the same float.

    Args:
        value: a number in ``units``, or a string such as ``"3/4"``, ``"1-1/2 in"``, ``"2 ft 3 1/8 in"``,
            ``"19.05 mm"``; a unit in the string wins over ``units``.
        units: unit of bare numbers, ``"mm"`` or ``"in"``.

    Returns:
        The length in mm.

    Raises:
        UnitError: it is not a length; the message is one line and says what would work.

    >>> length("1-1/2 in"), length(0.75, "in"), length("2 ft 3 1/8 in"), length("19.05 mm", "in")
    (38.1, 19.05, 688.975, 19.05)
    """
    return _to_float(length_exactly(value, units), value)


def length_exactly(value: object, units: Units = "mm") -> Fraction:
    """As ``length``, as an exact number of mm: for sums that must not gather rounding.

    Raises:
        UnitError: as ``length``.

    >>> length_exactly("1/3 in") * 3 == length_exactly("1 in")
    True
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise UnitError(f"{describe(value)} is not a length; write a number or a string like {_example(units)}")
    if isinstance(value, str):
        return _read(value, units)
    if isinstance(value, float) and not math.isfinite(value):
        raise UnitError(f"{value} is not a length; write a number like {_example(units)}")
    if abs(value) > 1e12:
        raise UnitError(f"{describe(value)} is too large for a length; write a number like {_example(units)}")
    return Fraction(repr(float(value) if isinstance(value, float) else value)) * _FACTORS[units]


def _read(text: str, units: Units) -> Fraction:
    """The length in ``text`` as an exact number of mm."""
    if len(text) > _LONGEST:
        raise UnitError(f'"{one_line(text[:20])}..." is too long for a length; write {_example(units)}')
    match = _LENGTH.fullmatch(_plain(text))
    if match is None or (match["feet"] is None and match["value"] is None):
        raise UnitError(_unread(text, units))
    unit = _SPELLINGS.get(match["unit"] or "", match["unit"] or "")
    total = Fraction(0)
    if match["feet"] is not None:
        if match["value"] is not None and unit != "in":
            raise UnitError(f'"{one_line(text)}" mixes feet with no inches; write "2 ft 3 in"')
        total += _number(match["feet"], text) * _FACTORS["ft"]
    if match["value"] is not None:
        total += _number(match["value"], text) * _FACTORS[unit or units]
    if match["tail"] is not None:
        sign = -1 if (match["tail_sign"] in ("-", "less")) != (match["sign"] == "-") else 1
        total += sign * Fraction(match["tail"]) * _FACTORS[match["tail_unit"]]
    return -total if match["sign"] == "-" else total


def _plain(text: str) -> str:
    """``text`` in lower case with unicode fractions, primes and dashes spelled in ASCII."""
    out = []
    for c in text:
        if unicodedata.category(c) == "No" and "⁄" in (spelled := unicodedata.normalize("NFKC", c)):
            out.append(" " + spelled)
        else:
            out.append(c)
    return re.sub(r"\s+", " ", "".join(out).translate(_PRIMES)).strip().lower()


def _number(text: str, whole: str) -> Fraction:
    """A decimal, a fraction or a mixed number."""
    parts = re.split(r"[ -]+", text)
    try:
        return sum((Fraction(part.rstrip(".") if "/" not in part else part) for part in parts), Fraction(0))
    except ZeroDivisionError:
        raise UnitError(f'"{one_line(whole)}" divides by zero; write a fraction like 3/4') from None


def _to_float(mm: Fraction, value: object) -> float:
    try:
        return float(mm)
    except OverflowError:
        raise UnitError(f"{describe(value)} is too large for a length") from None


def _unread(text: str, units: Units) -> str:
    plain = _plain(text)
    hint = f"write {_example(units)}"
    if re.search(r"\d,\d", plain):
        hint = f"write a decimal point, {plain.replace(',', '.')!r}"
    elif re.fullmatch(rf"{_NUMBER}\s*[a-z]+", plain):
        hint = 'the units are mm, cm, m, in and ft, as in "19.05 mm" or "3/4 in"'
    return f'"{one_line(text)}" is not a length; {hint}'


def _example(units: Units) -> str:
    return '12.5 or "12.5 mm"' if units == "mm" else '0.75, "3/4" or "1-1/2 in"'


def describe(value: object) -> str:
    """A short text of any value from a file, for error messages: one line, never long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table of keys"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, int) and value.bit_length() > 200:
        return "a number of more than 60 digits"
    if isinstance(value, str):
        value = value[: _LONGEST + 1]
    text = one_line(f'"{value}"' if isinstance(value, str) else repr(value))
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "..."


def from_mm(mm: float, units: Units) -> float:
    """``mm`` as a plain number of ``units``, for files and for arithmetic that the user sees."""
    _finite(mm)
    return mm if units == "mm" else float(Fraction(mm) / _MM_PER_INCH)


def show(mm: float, units: Units = "mm") -> str:
    """A length as the user reads it on a rule.

    Millimetres to 0.01 with trailing zeros cut; inches as a fraction to 1/64, and what is left over in
    thousandths when it is half a thousandth or more, in a word: a sign would read as a tolerance.

    Raises:
        UnitError: ``mm`` is not finite.

    >>> show(12.7), show(38.1, "in"), show(38.5763, "in")
    ('12.7 mm', '1-1/2 in', '1-33/64 in plus 0.003 in')
    """
    _finite(mm)
    if units == "mm":
        return f"{_trimmed(mm)} mm"
    inches = abs(Fraction(mm)) / _MM_PER_INCH
    steps = round(inches * 64)
    thousandths = round((inches - Fraction(steps, 64)) * 1000)
    sign = "-" if mm < 0 and (steps or thousandths) else ""
    if thousandths and not steps:
        return f"{sign}{thousandths / 1000:.3f} in"
    text = f"{sign}{_mixed(Fraction(steps, 64))} in"
    if thousandths:
        over = (thousandths > 0) == (sign == "")
        text += f" {'plus' if over else 'less'} {abs(thousandths) / 1000:.3f} in"
    return text


def show_rough(mm: float, units: Units = "mm") -> str:
    """A length that is not known, or not needed, to better than 1 mm or 1/16 in, such as that of a weld.

    Raises:
        UnitError: ``mm`` is not finite.

    >>> show_rough(52.78), show_rough(52.78, "in")
    ('53 mm', '2-1/16 in')
    """
    _finite(mm)
    if units == "mm":
        return f"{round(mm)} mm"
    sixteenths = Fraction(round(Fraction(mm) / _MM_PER_INCH * 16), 16)
    return f"{'-' if sixteenths < 0 else ''}{_mixed(abs(sixteenths))} in"


def in_units(text: str, units: Units) -> str:
    """A sentence that was made in mm, with its lengths in the units of the file.

    What looks at shapes knows no file and says lengths as a number and ``mm``; here they become what is shown: from a
    quarter of an inch on to 1/16 in, below to a thousandth.

    >>> in_units("near miss 1.6 mm: 152 mm of line lie beyond the root gap of 1 mm", "in")
    'near miss 0.063 in: 6 in of line lie beyond the root gap of 0.039 in'
    """
    if units == "mm":
        return text

    def shown(match: re.Match[str]) -> str:
        mm = float(match[1])
        if match[2]:
            return f"{float(f'{mm / float(_MM_PER_INCH) ** 3:.3g}'):g} in3"
        return show_rough(mm, units) if mm >= 0.25 * float(_MM_PER_INCH) else show_fine(mm, units)

    return re.sub(r"(?<![\w.])(\d+(?:\.\d+)?) mm(3?)\b", shown, text)


def show_fine(mm: float, units: Units = "mm") -> str:
    """A clearance or deviation: to 0.01 mm, or to a thousandth of an inch.

    Raises:
        UnitError: ``mm`` is not finite.

    >>> show_fine(0.3048, "in"), show_fine(0.304)
    ('0.012 in', '0.30 mm')
    """
    _finite(mm)
    places, value = (2, mm) if units == "mm" else (3, from_mm(mm, units))
    text = f"{value:.{places}f}"
    return f"{text.lstrip('-') if float(text) == 0.0 else text} {units}"


def show_plain(mm: float, units: Units = "mm") -> str:
    """A size in a row of sizes: inches as a fraction where one fits to 0.0005 in, else to a thousandth.

    Raises:
        UnitError: ``mm`` is not finite.

    >>> show_plain(38.1, "in"), show_plain(38.5763, "in"), show_plain(38.576)
    ('1-1/2 in', '1.519 in', '38.58 mm')
    """
    _finite(mm)
    if units == "mm":
        return show(mm, units)
    inches = Fraction(mm) / _MM_PER_INCH
    steps = round(inches * 64)
    if abs(inches - Fraction(steps, 64)) <= Fraction(5, 10_000):
        return show(float(Fraction(steps, 64) * _MM_PER_INCH), units)
    return f"{float(inches):.3f} in"


def show_shim(mm: float, units: Units = "mm") -> str:
    """A thickness of shim stock: to 0.01 mm or a thousandth of an inch; a plate of an inch fraction by that fraction.

    Raises:
        UnitError: ``mm`` is not finite.

    >>> show_shim(1.5875, "in"), show_shim(0.254, "in"), show_shim(0.4064, "in"), show_shim(0.5)
    ('1/16 in', '0.010 in', '0.016 in', '0.50 mm')
    """
    _finite(mm)
    steps = Fraction(mm) / _MM_PER_INCH * 64
    if units == "in" and round(steps) and abs(steps - round(steps)) < Fraction(1, 1000):
        return show(mm, units)
    return show_fine(mm, units)


def show_sizes(sizes: Iterable[float], units: Units = "mm") -> str:
    """Several sizes with one unit behind them.

    >>> show_sizes((105, 65.5, 50)), show_sizes((101.6, 50.8), "in")
    ('105 × 65.5 × 50 mm', '4 × 2 in')
    """
    return " × ".join(show_plain(mm, units).removesuffix(f" {units}") for mm in sizes) + f" {units}"


def show_force(newtons: float, units: Units = "mm") -> str:
    """A force in newtons, and in pound-force as well where lengths are in inches.

    >>> show_force(500), show_force(500, "in")
    ('500 N', '500 N (112 lbf)')
    """
    _finite(newtons)
    pounds = f" ({newtons / NEWTONS_PER_POUND_FORCE:.0f} lbf)" if units == "in" else ""
    return f"{newtons:g} N{pounds}"


def show_mass(kg: float, units: Units = "mm", places: int = 2) -> str:
    """A mass in kg, or in pounds where lengths are in inches.

    >>> show_mass(2.268), show_mass(2.268, "in")
    ('2.27 kg', '5.00 lb')
    """
    _finite(kg)
    return f"{kg:.{places}f} kg" if units == "mm" else f"{kg / KG_PER_POUND:.{places}f} lb"


def _mixed(value: Fraction) -> str:
    """A fraction as a person writes it: 0, 3/4, 1-1/2."""
    whole, rest = divmod(value, 1)
    if not rest:
        return str(whole)
    return f"{whole}-{rest}" if whole else str(rest)


def _trimmed(mm: float) -> str:
    text = f"{mm:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _finite(mm: float) -> None:
    if not math.isfinite(mm):
        raise UnitError(f"{mm} is not a length that can be shown")
