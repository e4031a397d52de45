"""Text on a drawing: numbers as the shop writes them, and the room that a line of type needs."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from fixture3d.units import Units, from_mm

_MEASURED = 100  # points; widths are measured at this size and scaled


def number(mm: float, units: Units, fine: bool = False) -> str:
    """A dimension: mm to 0.01 with trailing zeros cut; inches to 0.001, or to 0.0001 where that is exact.

    Where its tolerance is so narrow that this would use it up, ``fine``: to 0.001 mm or 0.0001 in.

    >>> number(63.6070001, "mm"), number(-20.0, "mm"), number(50.8, "in"), number(15.875 / 2, "in")
    ('63.61', '-20', '2.000', '0.3125')
    >>> number(-10.3553, "mm", fine=True), number(10.5207, "in", fine=True), number(50.8, "in", fine=True)
    ('-10.355', '0.4142', '2.000')
    """
    value = from_mm(mm, units)
    if units == "mm":
        text = f"{value:.{3 if fine else 2}f}".rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text
    rough, close = f"{value:.3f}", f"{value:.4f}"
    text = close if abs(float(rough) - value) > 5e-5 and (fine or abs(float(close) - value) < 2e-6) else rough
    return text.lstrip("-") if float(text) == 0.0 else text


def minus(text: str) -> str:
    """The same with a true minus sign, which is as wide as a plus, before its numbers.

    >>> minus("bore -10.36 to -2 of ISO 2768-mK, front-top"), minus("GO-1")
    ('bore −10.36 to −2 of ISO 2768-mK, front-top', 'GO-1')
    """
    return re.sub(r"(?<![\w)])-(?=\d)", "−", text)


def degrees(value: float) -> str:
    """An angle, to a hundredth of a degree where it is not whole.

    >>> degrees(90.0), degrees(22.5)
    ('90°', '22.5°')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".") + "°"


@cache
def _font(bold: bool) -> Any:
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    data = (files("fixture3d.sheet") / "fonts" / name).read_bytes()
    return ImageFont.truetype(io.BytesIO(data), _MEASURED, layout_engine=ImageFont.Layout.BASIC)


@cache
def width(text: str, height: float, bold: bool = False) -> float:
    """Length of a line of type whose capitals are ``height`` high, mm."""
    return float(_font(bold).getlength(text)) / _MEASURED * height / CAP


CAP = 0.729
"""Height of a capital over the size of the type, DejaVu Sans."""


def wrapped(text: str, height: float, room: float) -> list[str]:
    """Lines of at most ``room`` mm; a longer word stands alone."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, height) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Places as near as can be to the wanted ones, in the same order, ``gap`` apart at least.

    Args:
        wanted: in rising order.
        gap: least distance of two neighbours.

    >>> spread([0.0, 1.0, 20.0], 4.0)
    [-1.5, 2.5, 20.0]
    """
    groups: list[tuple[float, int]] = []  # sum of what each wants of the group's first place, and how many
    for place in wanted:
        total, count = place, 1
        while groups and _first(groups[-1]) + groups[-1][1] * gap > total / count - 1e-12:
            before, many = groups.pop()
            total, count = before + total - count * many * gap, count + many
        groups.append((total, count))
    return [_first(group) + k * gap for group in groups for k in range(group[1])]


def _first(group: tuple[float, int]) -> float:
    return group[0] / group[1]
