"""Stock by its designation: ``"SHS 40x40x3"``, ``"HSS 2x2x1/8"``, ``"L 50x50x5"``, ``"UPE 100"`` ...

The first number is the height, the second the width, the last the wall: ``"RHS 60x40x3"`` stands 60 high unless the
member is rolled over. Sizes in ``stock.csv`` carry their standard. Any other stated size is accepted, with
corner radii by the rule of the standard for its kind, and says so in its notes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from fixture3d.errors import StockError, UnitError, nearest_name, one_line
from fixture3d.stock.rules import radii_of, tolerances_of
from fixture3d.stock.section import Section, Shape2D
from fixture3d.stock.shipped import rows
from fixture3d.units import Units, length, show

LARGEST = 1000.0  # mm; no tube, flat or section on a welding table is larger: a larger one is a wrong unit
_LONGEST = 60  # characters; no designation is longer
THINNEST = 0.3  # mm; no stock that is welded with an arc is thinner

# Names that belong to one system of standards wherever they stand; the rest are read in the file's unit.
_HOME_UNIT: dict[str, Units] = {"SHS": "mm", "RHS": "mm", "CHS": "mm", "UPE": "mm", "HSS": "in"}
_KINDS = ("SHS", "RHS", "CHS", "HSS", "L", "U", "UPE", "FLAT", "BAR", "ROUND")
_EXAMPLES = {
    "SHS": "SHS 40x40x3",
    "RHS": "RHS 60x40x3",
    "CHS": "CHS 48.3x3.2",
    "HSS": "HSS 2x2x1/8",
    "L": "L 50x50x5",
    "U": "U 100x50x6",
    "UPE": "UPE 100",
    "FLAT": "FLAT 40x6",
    "BAR": "BAR 20",
    "ROUND": "ROUND 20",
}
_SHAPES: dict[str, Shape2D] = {
    "SHS": "rectangular tube",
    "RHS": "rectangular tube",
    "CHS": "round tube",
    "L": "angle",
    "U": "channel",
    "UPE": "channel",
    "FLAT": "flat",
    "BAR": "flat",
    "ROUND": "round bar",
}
_FALLBACK = {
    ("SHS", "mm"): "EN 10219-2",
    ("RHS", "mm"): "EN 10219-2",
    ("CHS", "mm"): "EN 10219-2",
    ("L", "mm"): "EN 10056-1",
    ("U", "mm"): "EN 10162",
    ("FLAT", "mm"): "EN 10058",
    ("BAR", "mm"): "EN 10059",
    ("ROUND", "mm"): "EN 10060",
    ("L", "in"): "ASTM A6",
    ("FLAT", "in"): "ASTM A6",
    ("BAR", "in"): "ASTM A6",
    ("ROUND", "in"): "ASTM A6",
}


@dataclass(frozen=True)
class Known:
    """One row of the shipped table."""

    designation: str
    kind: str
    units: Units
    standard: str
    sizes: tuple[float, ...]
    root_radius: float | None
    toe_radius: float | None


@cache
def known() -> tuple[Known, ...]:
    """Every size in the shipped table."""
    out = []
    for row in rows("stock.csv"):
        kind, stated = row["designation"].split(" ", 1)
        units: Units = "in" if row["unit"] == "in" else "mm"
        sizes = tuple(length(part, units) for part in (row["dimensions"] or stated).split("x"))
        root, toe = (float(row[name]) if row[name] else None for name in ("root_radius", "toe_radius"))
        out.append(Known(row["designation"], kind, units, row["standard"], sizes, root, toe))
    return tuple(out)


@cache
def _by_size() -> dict[tuple[str, Units, tuple[float, ...]], Known]:
    return {(k.kind, k.units, _rounded(k.sizes)): k for k in known()}


@cache
def section(designation: str, units: Units = "mm") -> Section:
    """The section that a designation names.

    SHS, RHS, CHS and UPE sizes of the shipped table are mm and HSS sizes inches in any file. Otherwise bare
    numbers are in ``units``; ``mm`` or ``in`` at the end says it outright.

    Args:
        designation: kind and sizes, ``"SHS 40x40x3"``; spaces and case do not matter, fractions are read.
        units: unit of the file.

    Raises:
        StockError: it cannot be read, or no such stock can exist; the message names the nearest one.

    >>> s = section("RHS 60x40x3")
    >>> s.height, s.width, s.wall, s.outer_radius, s.standard
    (60.0, 40.0, 3.0, 6.0, 'EN 10219-2')
    """
    pipe = _pipe(designation)
    if pipe:
        raise StockError(
            f'stock "{one_line(designation.strip())}" is a nominal pipe size, not a diameter and a wall; {pipe}'
        )
    kind, parts, stated = _split(designation)
    if kind == "UPE":
        return _named(designation, parts)
    row, sizes, unit = _resolve(designation, kind, parts, stated, units)
    _check_numbers(designation, kind, sizes)
    title = row.designation if row else f"{kind} {'x'.join(parts)}" + ("" if unit == units else f" {unit}")
    return _build(title, kind, unit, sizes, row)


_NOMINAL = re.compile(
    r"(?:PIPE|CHS|HSS|NPS)\s*(?P<size>[\d/ -]*\d)\s*(?:in|\")?\s*[x,]?\s*SCH(?:EDULE)?\.?\s*(?P<schedule>\w+)",
    re.IGNORECASE | re.ASCII,
)


def _pipe(designation: str) -> str:
    """What a pipe by its nominal size and schedule measures, as an error goes on; empty for any other stock."""
    match = _NOMINAL.fullmatch(designation.strip()) if len(designation) <= _LONGEST else None
    if match is None:
        return ""
    table = {row["nps"]: row for row in rows("pipe.csv")}
    schedule = match["schedule"].upper()
    schedule = {"STD": "40", "XS": "80"}.get(schedule, schedule)
    row = table.get(re.sub(r"[ -]+", "-", match["size"].strip()))
    if row is None or schedule not in ("40", "80"):
        known = f"NPS {', '.join(table)} of schedule 40 and 80 are known"
        return f'expected its outside diameter and wall, such as "HSS 1.660x0.140 in"; {known}'
    return f'nearest: "HSS {row["outside"]}x{row[schedule]} in" (NPS {row["nps"]}, schedule {schedule}, ASME B36.10M)'


def _split(designation: str) -> tuple[str, list[str], Units | None]:
    """Kind, size texts and the unit said at the end, if any."""
    text = designation.strip()
    if len(text) > _LONGEST:
        raise StockError(f'"{one_line(text[:20])}..." is too long for stock; expected one such as "SHS 40x40x3"')
    match = re.fullmatch(r"([A-Za-z]+)?\s*(.*?)\s*(mm|in)?", text, re.IGNORECASE | re.DOTALL)
    kind, body, unit = (match[1] or "", match[2], match[3]) if match else ("", text, None)
    kind = kind.upper()
    parts = [re.sub(r"(?<=\d),(?=\d)", ".", p.strip()) for p in re.split(r"[x×*]", body, flags=re.IGNORECASE)]
    if kind not in _KINDS or not all(parts):
        raise StockError(_unreadable(text, kind, body))
    return kind, parts, {"mm": "mm", "in": "in", None: None}[unit.lower() if unit else None]


def _unreadable(text: str, kind: str, body: str) -> str:
    message = f'stock "{one_line(text)}" cannot be read'
    if not kind and body:
        near = nearest_name(f"SHS {body}", [k.designation for k in known()])
        return f"{message}: it does not say what kind it is, such as SHS, L or FLAT" + _nearest(near)
    if kind in _KINDS:
        return f'{message}; expected one such as "{_EXAMPLES[kind]}"' + _nearest(_alike(text))
    return f"{message}; expected one of {', '.join(_KINDS)} and its sizes" + _nearest(_alike(text))


def _named(designation: str, parts: list[str]) -> Section:
    name = f"UPE {'x'.join(parts)}"
    row = next((k for k in known() if k.designation == name), None)
    if row is None:
        near = _alike(name, "UPE")
        if re.fullmatch(r"\d+", parts[0]):
            near = f'"{min(_of("UPE"), key=lambda k: abs(k.sizes[0] - float(parts[0]))).designation}"'
        raise StockError(f'stock "{one_line(designation)}" is not in the table' + _nearest(near))
    return _build(name, "UPE", "mm", row.sizes, row)


def _resolve(
    designation: str, kind: str, parts: list[str], stated: Units | None, units: Units
) -> tuple[Known | None, tuple[float, ...], Units]:
    """The row of the table if it is there, the sizes in mm, and the unit that they were read in."""
    other: Units = "in" if units == "mm" else "mm"
    found = {unit: _lookup(designation, kind, parts, unit) for unit in ("mm", "in")}
    home = _HOME_UNIT.get(kind)
    if stated is None and home is not None and found[home][0] is not None:
        stated = home
    if stated is None and found[units][0] is None and found[other][0] is not None:
        here, there = (f'"{kind} {"x".join(parts)} {unit}"' for unit in (units, other))
        raise StockError(
            f'stock "{one_line(designation)}" is a known size in {_WORD[other]} but the file is in '
            f"{_WORD[units]}; say {there} or {here}"
        )
    unit = stated or units
    return *found[unit], unit


_WORD = {"mm": "millimetres", "in": "inches"}


def _lookup(designation: str, kind: str, parts: list[str], units: Units) -> tuple[Known | None, tuple[float, ...]]:
    try:
        sizes = tuple(length(part, units) for part in parts)
    except UnitError:
        advice = "; gauges differ between tube and sheet, so state the wall as a decimal" * bool(
            re.search(r"\d\s*ga", designation, re.IGNORECASE)
        )
        raise StockError(
            f'stock "{one_line(designation)}" has a size that cannot be read{advice}'
            + _nearest(_alike(designation, kind))
        ) from None
    if kind == "SHS" and len(sizes) == 2:
        sizes = (sizes[0], *sizes)
    if kind == "L" and len(sizes) == 2:
        sizes = (sizes[0], *sizes)
    if kind == "BAR" and len(sizes) == 2 and sizes[0] == sizes[1]:
        sizes = sizes[:1]
    return _by_size().get((kind, units, _rounded(sizes))), sizes


def _check_numbers(designation: str, kind: str, sizes: tuple[float, ...]) -> None:
    """Refuse what no mill can make, each with the nearest thing that works."""
    shown = f'stock "{one_line(designation)}"'
    wanted = {"SHS": (3,), "RHS": (3,), "CHS": (2,), "HSS": (2, 3), "L": (3,), "U": (3, 4), "FLAT": (2,)}.get(
        kind, (1,)
    )
    if len(sizes) not in wanted:
        count = " or ".join(str(n) for n in wanted)
        raise StockError(
            f"{shown} has {len(sizes)} sizes; expected {count}, such as "
            f'"{_EXAMPLES[kind]}"' + _nearest(_closest(kind, sizes))
        )
    if min(sizes) <= 0.0:
        raise StockError(f'{shown} has a size that is not above zero; expected one such as "{_EXAMPLES[kind]}"')
    if max(sizes) > LARGEST:
        raise StockError(
            f"{shown} is larger than {show(LARGEST)} on one side: a wrong unit? "
            f'nearest: "{one_line(designation.strip())} mm"'
        )
    if min(sizes) < THINNEST:
        raise StockError(
            f"{shown} is thinner than {show(THINNEST)} somewhere: a wrong unit?" + _nearest(_closest(kind, sizes))
        )
    if kind == "SHS" and sizes[0] != sizes[1]:
        raise StockError(f'{shown} has unequal sides; nearest: "R{one_line(designation.strip())[1:]}"')
    if kind == "SHS" and sizes[2] == sizes[1]:
        raise StockError(f"{shown} does not say its wall" + _nearest(_closest(kind, sizes[:2])))
    _check_wall(shown, kind, sizes)


def _check_wall(shown: str, kind: str, sizes: tuple[float, ...]) -> None:
    if kind in ("SHS", "RHS", "CHS", "HSS"):
        limit, of = min(sizes[:-1]) / 2, "half of its smaller side"
        if sizes[-1] >= limit:
            near = _nearest(_closest(kind, sizes))
            raise StockError(f"{shown} has a wall of {show(sizes[-1])}; expected under {of}, {show(limit)}{near}")
    elif kind == "L" and sizes[-1] >= min(sizes[:2]):
        raise StockError(f"{shown} is as thick as its leg; nearest: a FLAT or BAR")
    elif kind == "U" and (2 * sizes[-1] >= sizes[0] or sizes[2] >= sizes[1]):
        raise StockError(f"{shown} is too thick to be a channel; nearest: a FLAT or BAR")
    elif kind == "FLAT" and sizes[1] > sizes[0]:
        raise StockError(
            f"{shown} is thicker than it is wide; the width comes first" + _nearest(_closest(kind, sizes[::-1]))
        )


def _build(title: str, kind: str, units: Units, sizes: tuple[float, ...], row: Known | None) -> Section:
    round_hss = kind == "HSS" and len(sizes) == 2
    shape: Shape2D = ("round tube" if round_hss else "rectangular tube") if kind == "HSS" else _SHAPES[kind]
    standard = row.standard if row else _fallback(kind, units)
    if row is None and kind == "U" and sizes[2] != sizes[-1]:
        standard = "EN 10365"
    notes: list[str] = []
    height = sizes[0]
    width = sizes[1] if len(sizes) > 2 or kind == "FLAT" else sizes[0]
    wall, flange = _walls(kind, sizes)
    roots = (row.root_radius, row.toe_radius) if row else (None, None)
    radii = radii_of(shape, standard, (height, width), (wall, flange), roots, notes)
    if row is None:
        round_stock = shape in ("round tube", "round bar")
        rest = "taken as stated" if round_stock else f"its corner radii are by the rule of {standard}"
        notes.insert(0, f"{title} is no size that the program knows: {rest}")
    return Section(
        designation=title,
        shape=shape,
        height=height,
        width=width,
        wall=wall,
        flange=flange,
        **radii,
        standard=standard,
        known=row is not None,
        tolerances=tolerances_of(standard, shape, height, width, wall),
        notes=tuple(notes),
    )


def _walls(kind: str, sizes: tuple[float, ...]) -> tuple[float, float]:
    """Wall (web) and flange thickness, mm."""
    if kind in ("BAR", "ROUND"):
        return 0.0, 0.0
    if kind in ("U", "UPE"):
        return sizes[2], sizes[-1]
    return sizes[-1], 0.0


def _fallback(kind: str, units: Units) -> str:
    if kind == "HSS" or (units == "in" and kind in ("SHS", "RHS", "CHS")):
        return "ASTM A500"
    return _FALLBACK.get((kind, units), "EN 10162")


def _rounded(sizes: Sequence[float]) -> tuple[float, ...]:
    return tuple(round(size, 6) for size in sizes)


def _of(kind: str) -> list[Known]:
    return [row for row in known() if row.kind == kind]


def _alike(text: str, kind: str = "") -> str:
    names = [row.designation for row in (_of(kind) if kind else known())]
    return nearest_name(text.upper().replace("X", "x"), names)


def _closest(kind: str, sizes: Sequence[float]) -> str:
    """The known size of this kind nearest in all of the given mm, in quotes."""
    usable = [size for size in sizes if size > 0.0]

    def apart(row: Known) -> float:
        return sum(abs(math.log(a / b)) for a, b in zip(usable, row.sizes, strict=False))

    return f'"{min(_of(kind), key=apart).designation}"' if usable else ""


def _nearest(name: str) -> str:
    return f"; nearest: {name}" if name else ""
