"""The strip of words on a sheet: table of round features, title block with the symbol of the projection."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fixture3d import __version__
from fixture3d.part import Part, Thread, parameters
from fixture3d.stock.fits import pin_limits
from fixture3d.stock.section import STEEL
from fixture3d.stock.threads import coarse
from fixture3d.tolerance import DRAWING
from fixture3d.units import Units, from_mm, show_mass
from fixture3d.workshop.dimensions import Dimensions, cone_legs, diameters
from fixture3d.workshop.layout import HEIGHT, MARGIN, Projection
from fixture3d.workshop.limits import as_deviation, as_limits, made_to
from fixture3d.workshop.page import Ink, Page, Word
from fixture3d.workshop.solid_facts import AXES, Facts, Round, Spot, others
from fixture3d.workshop.uses import Fit, span
from fixture3d.workshop.uses import size as size_of
from fixture3d.workshop.words import minus, number, width, wrapped

_AXIS: Final = {"bottom": 2, "top": 2, "front": 1, "back": 1, "left": 0, "right": 0}
_ROW: Final = 1.9  # of the height of the type: from one row of the table to the next
_LINE: Final = 1.6  # of the height of the type: from one line to the next


@dataclass(frozen=True, kw_only=True)
class Order:
    """What the shop chooses for the drawing.

    Attributes:
        material, finish: as written on the sheet.
        quantity: to be made.
        general: tolerance of dimensions without one; empty for the usual one of the units.
    """

    material: str = ""
    finish: str = ""
    quantity: int = 1
    general: str = ""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table: name, what it is, size, and its place on each axis."""

    name: str
    what: str
    size: str
    places: tuple[str, str, str]


def in_order(facts: Facts, part: Part) -> Facts:
    """The same with the round features in the order of the table: those with a name of the block's own first."""

    def key(one: tuple[int, Round]) -> tuple[bool, bool, list[tuple[int, str]], int]:
        name = use_of(one[1], part)[0]
        words = [(int(w), "") if w.isdigit() else (0, w) for w in re.findall(r"\d+|\D+", name)]
        return not name, not name.isdigit(), words, one[0]

    return replace(facts, rounds=tuple(r for _, r in sorted(enumerate(facts.rounds), key=key)))


def rows(
    facts: Facts, d: Dimensions, part: Part, fits: Mapping[str, Fit], units: Units, threads: Sequence[Thread] = ()
) -> list[Row]:
    """The table of round features, a row for each; none for turned work, which is dimensioned on its view.

    Three or more of a kind in equal steps along an axis share one row: how many, from where to where, by which step.
    """
    if facts.turned is not None:
        return []
    out: list[Row] = []
    spare = (a + b for a in ("", *"abcdefgh") for b in "abcdefghijklmnopqrstuvwxyz")
    lines = _lines(facts.rounds, part)
    for n, r in enumerate(facts.rounds):
        k, members = lines.get(n, (0, (n,)))
        if n != members[0]:
            out.append(out[members[0]])
            continue
        name, use = use_of(r, part)
        what, size = _what(r, use, part, fits, units)
        thread = threaded(r, threads)
        if thread is not None:
            what = f"{what} {'tapped' if thread.tapped else 'threaded'}"
            size = f"{coarse(thread.size, part.pattern.inch).name} (drawn {size})"
        places = list(_places(r, facts, d, part, units))
        if len(members) > 1:
            pick = others(r.axis).index(k)
            ends = [facts.rounds[m].at[pick] - d.datum[k] for m in (members[0], members[-1])]
            step = (ends[1] - ends[0]) / (len(members) - 1)
            places[k] = f"{number(ends[0], units)} to {number(ends[1], units)} by {number(step, units)}"
            size = f"{len(members)} × {size}"
        row = Row(name=name or next(spare), what=what, size=size, places=(places[0], places[1], places[2]))
        out.append(row)
    return out


def _lines(rounds: Sequence[Round], part: Part) -> dict[int, tuple[int, tuple[int, ...]]]:
    """Nameless rounds of one kind in equal steps along an axis: for each that axis, and all of the line in order."""
    found: dict[int, tuple[int, tuple[int, ...]]] = {}
    for pick in (0, 1):
        alike: dict[Round, list[int]] = {}
        for n, r in enumerate(rounds):
            if n not in found and r.full and r.far is None and not use_of(r, part)[0]:
                spot = (0.0, r.at[1]) if pick == 0 else (r.at[0], 0.0)
                alike.setdefault(replace(r, at=spot), []).append(n)
        for members in alike.values():
            members.sort(key=lambda n: rounds[n].at[pick])
            for run in _even_runs([rounds[n].at[pick] for n in members]):
                line = tuple(members[a] for a in run)
                if line[0] == min(line):
                    found |= {n: (others(rounds[n].axis)[pick], line) for n in line}
    return found


def _even_runs(places: Sequence[float]) -> list[range]:
    """Stretches of at least three places in equal steps, none in two of them.

    >>> _even_runs([0.0, 1.0, 2.0, 10.0, 12.0, 14.0, 16.0])
    [range(0, 3), range(3, 7)]
    """
    out, start = [], 0
    while start < len(places) - 2:
        end = start + 2
        step = places[start + 1] - places[start]
        while end < len(places) and abs(places[end] - places[end - 1] - step) < 1e-6:
            end += 1
        if end - start >= 3:
            out.append(range(start, end))
            start = end
        else:
            start += 1
    return out


def use_of(r: Round, part: Part) -> tuple[str, str]:
    """Name and use of a bore or shank of the block, empty for all else."""
    if abs(2.0 * r.radius - part.pattern.bore) > 1e-6 or not r.full or r.end_radius != r.radius:
        return "", ""
    i, j = others(r.axis)
    for pin in part.pins():
        here = _AXIS[pin.face] == r.axis and abs(pin.at[i] - r.at[0]) < 1e-5 and abs(pin.at[j] - r.at[1]) < 1e-5
        if here and pin.integral is not r.hollow:
            return pin.name, "table" if pin.integral else "dowel"
    for socket in part.sockets():
        if (
            _AXIS[socket.face] == r.axis
            and r.hollow
            and abs(socket.at[i] - r.at[0]) < 1e-5
            and abs(socket.at[j] - r.at[1]) < 1e-5
        ):
            return socket.name, "socket"
    return "", ""


def _what(r: Round, use: str, part: Part, fits: Mapping[str, Fit], units: Units) -> tuple[str, str]:
    plain = "Ø" + number(2.0 * r.radius, units)
    if r.far is not None:
        fitted = abs(2.0 * r.radius - part.pattern.bore) < 1e-6 and bool(part.pins())
        fit = fits.get("slot") if fitted else None
        plain = number(2.0 * r.radius, units)
        return (f"slot {plain} {fit.hole_name}", _limits(fit.hole, units)) if fit is not None else ("slot", plain)
    if r.radius != r.end_radius:
        return "cone" if r.full else "cone end", f"{plain} to Ø{number(2.0 * r.end_radius, units)}"
    wide, half = made_to(part, "diameter", 2.0 * r.radius), made_to(part, "radius", r.radius)
    limits = "Ø" + as_limits(wide, units) if wide else "R" + as_limits(half, units) if half else ""
    if not r.full and not r.hollow and r.axis == 2 and round(2.0 * r.radius, 5) in _by_lines(part, r.at):
        return f"lands {plain} {DRAWING.work_pin}", _limits(pin_limits(DRAWING.work_pin, 2.0 * r.radius), units)
    if not r.full:
        return ("relief", limits or plain) if r.hollow else ("round end", limits or "R" + number(r.radius, units))
    if use == "table":
        return f"shank {plain} {fits[use].pin_name}", _limits(fits[use].pin, units)
    if use:
        return f"bore {plain} {fits[use].hole_name}", _limits(fits[use].hole, units)
    return ("bore" if r.hollow else "pin"), limits or plain


def shank_limits(part: Part, facts: Facts, at: Spot, fits: Mapping[str, Fit], units: Units) -> dict[float, str]:
    """What stands at the diameter of turned work that is the block's own shank.

    Args:
        part: the block.
        facts: of the turned body, its axis through zero.
        at: where the axis is in the block.
        fits: by use.
        units: of the numbers.
    """
    if facts.turned is None:
        return {}
    gauged = {size: made_to(part, "diameter", size) for size, _ in diameters(facts)}
    found = {size: f"Ø{as_limits(one, units)}" for size, one in gauged.items() if one is not None}
    if facts.turned[0] != 2:
        return found
    found |= _touching(part, facts, at, units)
    shanks = [
        p for p in part.pins()
        if p.integral and abs(p.at[0] - at[0]) + abs(p.at[1] - at[1]) < 1e-6 and abs(p.depth + facts.low[2]) < 1e-6
    ]  # fmt: skip
    fit = fits.get("table")
    if fit is not None and shanks:
        bore = part.pattern.bore
        found[round(bore, 5)] = f"Ø{number(bore, units)} {fit.pin_name} {_limits(fit.pin, units)}"
    return found


def threaded(r: Round, threads: Sequence[Thread]) -> Thread | None:
    """The thread that a round feature stands for."""
    plain = r.full and r.far is None and r.radius == r.end_radius
    found = (t for t in threads if plain and t.tapped is r.hollow and abs(2.0 * r.radius - t.drawn) < 1e-5)
    return next(found, None)


def thread_words(part: Part, facts: Facts, threads: Sequence[Thread], units: Units) -> dict[float, str]:
    """What stands at the diameters of turned work that are threads."""
    if facts.turned is None:
        return {}
    found = {round(2.0 * r.radius, 5): threaded(r, threads) for r in facts.rounds}
    return {
        size: f"{coarse(one.size, part.pattern.inch).name} thread (drawn Ø{number(size, units)})"
        for size, one in found.items()
        if one is not None
    }


def _touching(part: Part, facts: Facts, at: Spot, units: Units) -> dict[float, str]:
    """Diameters that touch the work: a pin with a nose goes into a hole of it and has a class, a stop has limits."""
    noses = {round(2.0 * r.radius, 5) for r in set(facts.rounds) - set(cone_legs(facts)) if r.end_radius < r.radius}
    out: dict[float, str] = {}
    for size in sorted(_by_lines(part, at) & {size for size, _ in diameters(facts)}):
        plain = "Ø" + number(size, units)
        if size in noses:
            name = DRAWING.work_pin
            out[size] = f"{plain} {name} {_limits(pin_limits(name, size), units)}"
        else:
            out[size] = f"{plain} ±{from_mm(DRAWING.stop_place, units):.{2 if units == 'mm' else 3}f}"
    return out


def _by_lines(part: Part, at: Spot) -> set[float]:
    """Diameters about an upright axis at which lines of the block touch the work, mm."""
    lines = [p for p in part.pads() if p.width == 0.0 and abs(p.along[2]) == 1.0 and p.normal[2] == 0.0]
    return {round(2.0 * math.hypot(p.at[0] - at[0], p.at[1] - at[1]), 5) for p in lines}


def _limits(limits: tuple[float, float], units: Units) -> str:
    """Least and greatest size, in the unit of the sheet."""
    return span(limits, units).removesuffix(f" {units}")


def _places(r: Round, facts: Facts, d: Dimensions, part: Part, units: Units) -> tuple[str, str, str]:
    i, j = others(r.axis)
    out = ["", "", ""]
    far = r.far or r.at
    fine = bool(use_of(r, part)[1]) or made_to(part, "diameter", 2.0 * r.radius) is not None
    for k, a, b in ((i, r.at[0], far[0]), (j, r.at[1], far[1])):
        limit = made_to(part, AXES[k], a - d.datum[k]) if a == b else None
        out[k] = as_deviation(limit, units) if limit else number(a - d.datum[k], units, fine)
        out[k] += f" to {number(b - d.datum[k], units, fine)}" if b != a else ""
    k = r.axis
    across = abs(r.span[0] - facts.low[k]) < 1e-6 and abs(r.span[1] - facts.high[k]) < 1e-6
    whole = r.through if r.hollow else across
    out[k] = "through" if whole else " to ".join(number(v - d.datum[k], units) for v in r.span)
    return out[0], out[1], out[2]


def draw_table(page: Page, table: Sequence[Row], left: float, top: float, wide: float, tall: float) -> float:
    """The table under ``top``, no taller than ``tall`` if type of 1.8 mm allows; returns its end, mm."""
    if not table:
        return top
    head = ("No.", "Feature", "Size", "X", "Y", "Z")
    cells = [head, *((r.name, r.what, r.size, *map(minus, r.places)) for r in dict.fromkeys(table))]
    height = HEIGHT
    while True:
        needs = [max(width(row[k], height, row is head) for row in cells) + 2.4 for k in range(6)]
        short = len(cells) * height * _ROW <= tall or height < 1.85
        if (sum(needs) <= wide and short) or height < 1.4:
            break
        height -= 0.1
    spare = (wide - sum(needs)) / 6.0
    step = height * _ROW
    edges = [left]
    for need in needs:
        edges.append(edges[-1] + need + spare)
    y = top
    page.line("table", (left, y), (left + wide, y))
    for n, row in enumerate(cells):
        y -= step
        for k, text in enumerate(row):
            page.words.append(
                Word(text=text, at=(edges[k] + 1.2, y + 0.3 * step), height=height, layer="table", bold=n == 0)
            )
        page.line("table", (left, y), (left + wide, y))
    for x in edges:
        page.line("table", (x, top), (x, y))
    return y


def draw_notes(page: Page, lines: Sequence[str], left: float, top: float, wide: float, height: float) -> float:
    """Numbered notes under ``top``; returns where they end, mm."""
    y = top
    for n, text in enumerate(lines, start=1):
        indent = width("10. ", height)
        for k, line in enumerate(wrapped(minus(text), height, wide - indent)):
            y -= height * _LINE
            if k == 0:
                page.words.append(Word(text=f"{n}.", at=(left, y), height=height))
            page.words.append(Word(text=line, at=(left + indent, y), height=height))
    return y


@dataclass(frozen=True, kw_only=True)
class Title:
    """What stands in the title block."""

    part: Part
    body: str
    facts: Facts
    order: Order
    units: Units
    projection: Projection
    sheet: int
    sheets: int


_TITLE: Final = 46.0


def draw_title(page: Page, title: Title, left: float, wide: float) -> float:
    """The title block in the lower right corner; returns its upper edge, mm."""
    low, top = MARGIN, MARGIN + _TITLE
    part, units = title.part, title.units
    frame = [(left, low), (left + wide, low), (left + wide, top), (left, top), (left, low)]
    page.line("frame", *frame)
    name = part.model.replace("_", " ") + (f": {title.body}" if title.body else "")
    page.words.append(Word(text=name, at=(left + 2.0, top - 6.0), height=3.5, bold=True))
    given = ", ".join(_given(part, units))
    holes = f"for {show_in(part.pattern.bore, units)} holes, {show_in(part.pattern.pitch, units)} apart"
    y = top - 8.0
    height = 1.8
    for line in wrapped(f"{holes}; {given}" if given else holes, height, wide - 4.0)[:4]:
        y -= height * 1.45
        page.words.append(Word(text=line, at=(left + 2.0, y), height=height))
    mass = show_mass(title.facts.volume * STEEL * 1e-9, units, 2 if title.facts.volume > 1e5 else 3)
    density = f"{1e-3 * STEEL:.2f} g/cm³" if units == "mm" else f"{STEEL * 2.54**3 / 453.59237e3:.3f} lb/in³"
    scale = f"{page.scale:g}:1" if page.scale > 1.0 else f"1:{1.0 / page.scale:g}"
    third = wide / 3.0
    rows = [
        [("material", title.order.material), ("finish", title.order.finish)],
        [("quantity", f"{title.order.quantity}"), (f"mass, steel {density}", mass), ("scale", scale)],
        [
            ("unit", "mm" if units == "mm" else "inch"),
            ("sheet", f"{title.sheet} of {title.sheets}, {page.name.upper()}"),
        ],
        [("drawn by, date", ""), ("checked", "")],
    ]
    step = 6.6
    y = low + 4.0 * step
    for row in rows:
        page.line("table", (left, y), (left + wide, y))
        share = third if len(row) == 3 else third * 1.5 if row is rows[0] or row is rows[3] else third
        for k, (what, value) in enumerate(row):
            x = left + k * share
            if k:
                page.line("table", (x, y), (x, y - step))
            page.words.append(Word(text=what, at=(x + 1.0, y - 2.3), height=1.5))
            fitted = HEIGHT
            while width(value, fitted) > share - 2.0 and fitted > 1.5:
                fitted -= 0.1
            page.words.append(Word(text=value, at=(x + 1.0, y - 5.6), height=fitted)) if value else None
        if row is rows[2]:
            x = left + 2.0 * third
            page.line("table", (x, y), (x, y - step))
            _symbol(page, title.projection, x + third / 2.0, y - step / 2.0)
        y -= step
    page.words.append(
        Word(text=f"fixture3d {__version__}", at=(left + wide - 1.0, top + 1.0), height=1.5, anchor="end")
    )
    return top + 4.0


def show_in(mm: float, units: Units) -> str:
    """A length with its unit, decimal in inches as all numbers of the sheet."""
    return f"{number(mm, units)} {units}"


def _given(part: Part, units: Units) -> list[str]:
    """The parameters of the block."""
    out = []
    for name, parameter in parameters(type(part)).items():
        value = float(getattr(part, name))
        if not value:  # there is none of it
            continue
        word = name.replace("_", " ")
        if parameter.words:
            out.append(parameter.words[int(value) - 1])
        elif parameter.kind == "length":
            out.append(f"{word} {size_of(value, units).removesuffix(f' {units}')}")
        else:
            out.append(f"{word} {value:g}" + ("°" if parameter.kind == "angle" else ""))
    return out


def _symbol(page: Page, projection: Projection, x: float, y: float) -> None:
    """The truncated cone of ISO 5456-2, small end left; its circles on the right for the first angle, else left."""
    big, small, long, apart = 2.0, 1.0, 4.4, 3.6
    circles, cone = (x + apart, x - apart) if projection == "first" else (x - apart, x + apart)
    for r in (big, small):
        page.inks.append(Ink(layer="table", centre=(circles, y), radius=r, turn=(0.0, 360.0)))
    a, b = cone - long / 2.0, cone + long / 2.0
    page.line("table", (a, y - small), (b, y - big), (b, y + big), (a, y + small), (a, y - small))
    page.line("centre", (a - 0.8, y), (b + 0.8, y))
    page.line("centre", (circles - big - 0.8, y), (circles + big + 0.8, y))
    page.line("centre", (circles, y - big - 0.8), (circles, y + big + 0.8))
