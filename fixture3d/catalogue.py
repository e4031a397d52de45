"""The models as text: one line each, or one in full with its parameters, ranges, pins and faces."""

from __future__ import annotations

import inspect
import math
import re
import textwrap
from dataclasses import dataclass
from typing import Literal

from fixture3d.library import Entry, Library
from fixture3d.part import NORMALS, Gauge, Limit, Pad, Parameter, Part, Pattern, build, parameters
from fixture3d.tolerance import PRINTING
from fixture3d.units import from_mm, length, show_force, show_plain

Units = Literal["mm", "in"]


def listing(library: Library) -> str:
    """Every model with the first line of its description."""
    width = max(len(name) for name in library.entries) + 2
    return "".join(f"{name:<{width}}{entry.summary}\n" for name, entry in library.entries.items())


@dataclass(frozen=True, kw_only=True)
class Size:
    """One parameter in words, for one hole pattern: default and bounds as they may be typed in."""

    name: str
    default: str
    low: str
    high: str
    help: str


def explanation(entry: Entry) -> str:
    """What a model says of itself below its summary, with its drawing."""
    doc = inspect.getdoc(entry.model) or ""
    return _plain(doc.partition("\n")[2].partition(">>>")[0].strip("\n"))


def sizes(entry: Entry, pattern: Pattern, units: Units) -> list[Size]:
    """The parameters of a model."""
    return [
        Size(
            name=name,
            default=_value(parameter, parameter.resolved("default", pattern), units),
            low=_bound(parameter, parameter.resolved("low", pattern), units, up=True),
            high=_bound(parameter, parameter.resolved("high", pattern), units, up=False),
            help=parameter.help,
        )
        for name, parameter in parameters(entry.model).items()
    ]


def abilities(part: Part, units: Units) -> list[str]:
    """The round sizes that it takes, sockets, slide and clamping force, a sentence each."""
    lines = []
    if part.takes is not None:
        low, high = (show_plain(mm, units) for mm in part.takes)
        lines.append(f"Takes round tube and bar of {low} to {high}, at the sizes above")
    if part.sockets():
        lines.append("Sockets: " + ", ".join(s.name for s in part.sockets()))
    move = part.move()
    if move is not None:
        step = f", {move.notches} notches of {show_plain(move.notch, units)}" if move.notch else ""
        lines.append(f"Slides {show_plain(move.travel, units)}{step}")
    tip = part.tip()
    if tip is not None:
        low, high = (show_force(force, units) for force in tip.force)
        reach = (("throat", tip.throat), ("stroke", tip.stroke))
        more = ", ".join(f"{name} {show_plain(mm, units)}" for name, mm in reach if mm > 0.0)
        lines.append(
            f"{'Pulls' if tip.pulls else 'Presses'} with {low} to {high}, common practice, no source"
            + (f"; {more}" if more else "")
        )
    return lines


def placed_by(part: Part, library: Library, table: str, units: Units) -> list[tuple[str, str]]:
    """Titles and text: the shortest scene that places a model, and what a clamp's entry takes to press a piece.

    Args:
        part: the model at its default sizes.
        library: that knows it.
        table: a one-line table with its size.
        units: of the scene.
    """
    from fixture3d.export.example import example, pressing

    shown = example(part, library, table, units)
    doubt = f"Not as it stands: {shown.doubt}\n" if shown.doubt else ""
    more = pressing(part, units)
    rows = [("Placed by", doubt + shown.text)]
    return [*rows, (PRESSING, more)] if more else rows


def describe(entry: Entry, pattern: Pattern, units: Units, *, library: Library | None = None, table: str = "") -> str:
    """One model for one hole pattern: what it is, its parameters with default and range, pins and faces.

    With the ``library`` that knows it, and ``table`` in words as in ``50/16``, also the shortest scene that places it.
    """
    part = build(entry.model, pattern, {}, units)
    body = explanation(entry)
    lines = [f"{entry.name}: {entry.summary}", "", *([body, ""] if body.strip() else [])]
    lines.append(
        f"Made: {entry.model.made}. For holes of {show_plain(pattern.bore, units)}, "
        f"{show_plain(pattern.pitch, units)} apart."
    )
    known = sizes(entry, pattern, units)
    if known:
        lines += ["", "Parameters (default; range)"]
    width = max((len(size.name) for size in known), default=0) + 2
    for size in known:
        lines += textwrap.wrap(
            f"{size.default}; {size.low} to {size.high}. {size.help}",
            100,
            initial_indent=f"  {size.name:<{width}}",
            subsequent_indent=" " * (width + 2),
            break_long_words=False,
        )
    for title, rows in ((BORES, bores(part, units)), (FACES, faces(part, units))):
        lines += ["", title, *(f"  {name}: {words}" for name, words in rows)] if rows else []
    more = abilities(part, units)
    lines += ["", *more] if more else []
    told = gauge_lines(part, units)
    lines += ["", *told] if told else []
    if library is not None and part.stands != "hand":
        from fixture3d.export.example import example_table

        for title, toml in placed_by(part, library, example_table(table, pattern, units), units):
            lines += ["", title, textwrap.indent(toml.rstrip("\n"), "  ")]
    return "\n".join(lines) + "\n"


def gauge_lines(part: Part, units: Units, printed: bool = False) -> list[str]:
    """What a gauge says of itself: its limits, the convention, and what it can and cannot see.

    Of a print, first whether it can hold these limits at all.
    """
    gauge = part.gauge()
    if gauge is None:
        return []
    width = max((len(limit.name) for limit in gauge.limits), default=0) + 2
    lines = _too_fine(part, gauge, units) if printed else []
    lines += [
        LIMITS if gauge.limits else CALIBRATION,
        *(f"  {limit.name:<{width}}{limit_words(limit, units)}" for limit in gauge.limits),
    ]
    lines += textwrap.wrap(gauge.convention, 100, initial_indent="  ", subsequent_indent="  ")
    for title, said in ((SEES, gauge.sees), (MISSES, gauge.misses)):
        lines.append(title)
        for one in said:
            lines += textwrap.wrap(one, 100, initial_indent="  - ", subsequent_indent="    ")
    if gauge.reading:
        lines.append(READING)
    for one in gauge.reading:
        typed = one.startswith(" ")
        lines += [f"    {one}"] if typed else textwrap.wrap(one, 100, initial_indent="  ", subsequent_indent="  ")
    return lines


def _too_fine(part: Part, gauge: Gauge, units: Units) -> list[str]:
    """A warning where a print cannot hold the narrowest limits; those of an angle over the longest side."""
    low, high = part.box()
    long = max(b - a for a, b in zip(low, high, strict=True))
    shares = {"length": 1.0, "angle": math.radians(1.0) * long}
    room = min((shares[one.kind] * (one.high - one.low) for one in gauge.limits if one.of), default=math.inf)
    least, most = (from_mm(off, units) for off in PRINTING.off)
    if room >= PRINTING.off[1]:
        return []
    wide, few = (f"{from_mm(room, units):.{4 if units == 'mm' else 5}f}".rstrip("0"), 1 if units == "mm" else 3)
    told = (
        f"Printed, it cannot judge this: its narrowest limits are {wide} {units} apart, and a print is off by some "
        f"{least:.{few}f} to {most:.{few}f} {units}. Use it for trial, and make the gauge to its drawing."
    )
    return textwrap.wrap(told, 100)


def limit_words(limit: Limit, units: Units) -> str:
    """Two limits, to a tenth of a micrometre or of a thousandth of a degree: a gauge is finer than the work."""
    if limit.kind == "angle":
        return f"{limit.low:.4f} to {limit.high:.4f} degrees"
    places = 4 if units == "mm" else 6
    low, high = (f"{from_mm(value, units):.{places}f}" for value in (limit.low, limit.high))
    return f"{low} to {high} {units}"


CALIBRATION = "Calibration piece"
LIMITS = "Gauge: limits of its working sizes"
SEES = "It sees"
MISSES = "It cannot see"
READING = "How to read it"
BORES = "Bores for dowels, at the default sizes (faces that may be down)"
PRESSING = "To hold a piece, add to its [[clamp]]"
FACES = "Faces that touch the work, at the default sizes"


def _plain(text: str) -> str:
    """A docstring without its markup: what stands in double backticks, and the mark before a drawing."""
    return re.sub(r"^[ \t]*::\n\n?", "", text.replace("``", ""), flags=re.MULTILINE)


def bores(part: Part, units: Units) -> list[tuple[str, str]]:
    """Every bore with the faces that may be down over it, and how far it is from bore 1."""
    pins = part.pins()
    usable: dict[str, list[str]] = {}
    for pin in pins:
        usable.setdefault(pin.name, []).append(pin.face)
    rows = []
    for name, down in usable.items():
        pin = next(p for p in pins if p.name == name)
        across = next(k for k in range(3) if NORMALS[pin.face][k])
        off = [
            f"{show_plain(pin.at[k] - pins[0].at[k], units)} {'along X' if k == 0 else 'along Y' if k == 1 else 'up'}"
            for k in range(3)
            if k != across and abs(pin.at[k] - pins[0].at[k]) > 1e-6
        ]
        place = f" from bore {pins[0].name}" if off else ""
        words = "the first" if pin is pins[0] else (", ".join(off) or "in line with bore 1") + place
        rows.append((f"bore {name}", f"{words} ({', '.join(down)})"))
    return rows


def faces(part: Part, units: Units) -> list[tuple[str, str]]:
    """Every face for the work, and where it is: from bore 1, or over the table."""
    return [(pad.name, _face(part, pad, units)) for pad in part.pads()]


def _face(part: Part, pad: Pad, units: Units) -> str:
    straight = next((k for k in range(3) if abs(abs(pad.normal[k]) - 1.0) <= 1e-9), None)
    moves = ", fully in" if pad.moves else ""
    if straight is None:
        return f"aslant; its middle {show_plain(pad.at[2], units)} above the table{moves}"
    if straight == 2:
        return f"{show_plain(pad.at[2], units)} above the table{moves}"
    pins = part.pins()
    first = pins[0] if pins else None
    off = (pad.at[straight] - (first.at[straight] if first is not None else 0.0)) * pad.normal[straight]
    way = ("+" if pad.normal[straight] > 0.0 else "-") + "XY"[straight]
    seen = "the table's edge" if part.stands == "edge" and straight == 0 else "the middle"
    seen = f"bore {first.name}" if first is not None else seen
    return f"{show_plain(off, units)} from {seen}, facing {way}{moves}"


def _bound(parameter: Parameter, value: float, units: Units, *, up: bool) -> str:
    """A bound as text that is itself allowed when it is typed in: rounded inwards."""
    text = _value(parameter, value, units)
    if parameter.kind != "length":
        return text
    beyond = length(text, units) - value
    if abs(beyond) <= 1e-9 or (beyond > 0.0) == up:
        return text
    parts, places = (100, 2) if units == "mm" else (1000, 3)
    inwards = math.ceil if up else math.floor
    return f"{inwards(value / length(1, units) * parts) / parts:.{places}f} {units}"


def _value(parameter: Parameter, value: float, units: Units) -> str:
    if parameter.kind == "length":
        return show_plain(value, units)
    return f"{value:g} degrees" if parameter.kind == "angle" else f"{value:g}"
