"""ISO 13920: general tolerances for lengths, angles, straightness and flatness of welded work.

A range is over its lower end, up to and including its upper end; the first one includes its lower end. The tables are
data (``iso13920.csv``, whose first line says what was looked up and what is from memory). Lengths in mm.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from fixture3d.errors import FixtureError, one_line

if TYPE_CHECKING:
    from fixture3d.accuracy.figures import Figure

__all__ = [
    "ANGULAR_AND_LINEAR",
    "FORM",
    "AngleTolerance",
    "ToleranceError",
    "allowed",
    "angular",
    "call_out",
    "form",
    "linear",
]

ANGULAR_AND_LINEAR = "ABCD"
FORM = "EFGH"
_LEAST = {"linear": 2.0, "angular": 0.0, "form": 30.0}


class ToleranceError(FixtureError):
    """A class or size for which the standard has no tolerance."""


@dataclass(frozen=True, kw_only=True)
class AngleTolerance:
    """What an angle may be off.

    Attributes:
        degrees: plus or minus.
        mm_per_m: plus or minus, as the standard rounds it: it judges by either.
        leg: mm, the shorter leg that decided.
    """

    degrees: float
    mm_per_m: float
    leg: float

    @property
    def mm(self) -> float:
        """Plus or minus at the end of the shorter leg, from the angle, mm."""
        return self.leg * math.tan(math.radians(self.degrees))


def linear(size: float, class_: str) -> float:
    """Plus or minus mm on a length of ``size``, classes A to D (Table 1).

    Raises:
        ToleranceError: no such class, or a size below 2 mm.

    >>> linear(1200, "B"), linear(1000.0, "A"), linear(1000.1, "A")
    (4.0, 2.0, 3.0)
    """
    return _value("linear", size, _class(class_, ANGULAR_AND_LINEAR))


def angular(leg: float, class_: str) -> AngleTolerance:
    """What an angle may be off, by the length of its shorter leg, classes A to D (Table 2).

    Raises:
        ToleranceError: no such class, or a leg of no length.

    >>> angular(500, "B").degrees
    0.5
    """
    name = _class(class_, ANGULAR_AND_LINEAR)
    minutes = _value("angular", leg, name)
    return AngleTolerance(degrees=minutes / 60.0, mm_per_m=_find("slope", leg, name), leg=leg)


def form(side: float, class_: str) -> float:
    """Straightness, flatness or parallelism, mm in all, by the longer side, classes E to H (Table 3).

    Raises:
        ToleranceError: no such class, or a side of 30 mm or less.

    >>> form(1500, "F")
    4.5
    """
    return _value("form", side, _class(class_, FORM))


def call_out(text: str) -> tuple[str, str | None]:
    """The classes of a drawing's note, such as ``ISO 13920-BF``: the one of lengths and angles, and that of form.

    Raises:
        ToleranceError: it cannot be read.

    >>> call_out("ISO 13920-BF"), call_out("A")
    (('B', 'F'), ('A', None))
    """
    match = re.fullmatch(r"(?:(?:EN )?ISO 13920\s*-?\s*)?([A-D])\s*([E-H])?", " ".join(text.split()))
    if match is None:
        raise ToleranceError(
            f'"{one_line(text)}" is no class of ISO 13920; expected one of A to D, and one of E to H for flatness, '
            'such as "BF"'
        )
    return match[1], match[2]


def allowed(figure: Figure, class_: str, form_class: str | None = None) -> float | None:
    """What a class lets a figure be off: plus or minus mm or degrees, or mm in all for flatness.

    The standard has no line for diagonals: they are judged as lengths.

    Returns:
        None where the standard has no tolerance for it: too small, or flatness without a class of form.

    Raises:
        ToleranceError: no such class.
    """
    name = _class(class_, ANGULAR_AND_LINEAR)
    if figure.kind == "flatness":
        if form_class is None or not figure.size > _LEAST["form"]:
            return None
        return form(figure.size, form_class)
    if figure.kind == "angle":
        return angular(figure.size, name).degrees if figure.size > 0.0 else None
    return linear(figure.nominal, name) if figure.nominal >= _LEAST["linear"] else None


@cache
def _table() -> dict[str, list[tuple[float, dict[str, float]]]]:
    lines = (files(__package__) / "iso13920.csv").read_text(encoding="utf-8").splitlines()
    out: dict[str, list[tuple[float, dict[str, float]]]] = {}
    for row in csv.DictReader(lines[1:]):
        letters = FORM if row["table"] == "form" else ANGULAR_AND_LINEAR
        values = (float(row[column]) for column in "ABCD")
        out.setdefault(row["table"], []).append((float(row["up_to"]), dict(zip(letters, values, strict=True))))
    return out


def _class(name: str, letters: str) -> str:
    text = name.strip().upper()
    if len(text) != 1 or text not in letters:
        wanted = ", ".join(letters[:-1]) + f" or {letters[-1]}"
        raise ToleranceError(f'"{one_line(name)}" is no such class of ISO 13920; expected {wanted}')
    return text


def _value(table: str, size: float, name: str) -> float:
    least = _LEAST[table]
    in_table = size >= least if table == "linear" else size > least
    if not (math.isfinite(size) and in_table):
        words = f"of {least:g} mm and more" if table == "linear" else f"over {least:g} mm"
        raise ToleranceError(f"ISO 13920 has no {table} tolerance for {size:g} mm; expected a size {words}")
    return _find(table, size, name)


def _find(table: str, size: float, name: str) -> float:
    # A millionth of a mm is rounding of a length that was worked out, not a longer one.
    return next(values[name] for top, values in _table()[table] if round(size, 6) <= top)
