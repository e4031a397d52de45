"""The models as text: one line each, or one in full with its parameters, ranges, pins and faces."""

from __future__ import annotations

import inspect
import textwrap
from typing import Literal

from fixture3d.library import Entry, Library
from fixture3d.part import Parameter, Pattern, build, parameters
from fixture3d.units import show

Units = Literal["mm", "in"]


def listing(library: Library) -> str:
    """Every model with the first line of its description."""
    width = max(len(name) for name in library.entries) + 2
    return "".join(f"{name:<{width}}{entry.summary}\n" for name, entry in library.entries.items())


def describe(entry: Entry, pattern: Pattern, units: Units) -> str:
    """One model for one hole pattern: what it is, its parameters with default and range, pins and faces."""
    part = build(entry.model, pattern, {}, units)
    lines = [f"{entry.name}: {entry.summary}", ""]
    doc = inspect.getdoc(entry.model) or ""
    body = doc.partition("\n")[2].partition(">>>")[0].strip("\n")
    lines += [body, ""] if body.strip() else []
    lines.append(
        f"Made: {entry.model.made}. For holes of {show(pattern.bore, units)}, {show(pattern.pitch, units)} apart."
    )
    known = parameters(entry.model)
    if known:
        lines += ["", "Parameters (default; range)"]
    width = max((len(name) for name in known), default=0) + 2
    for name, parameter in known.items():
        default, low, high = (
            _value(parameter, parameter.resolved(w, pattern), units) for w in ("default", "low", "high")
        )
        text = f"{default}; {low} to {high}. {parameter.help}"
        lines += textwrap.wrap(
            text, 100, initial_indent=f"  {name:<{width}}", subsequent_indent=" " * (width + 2), break_long_words=False
        )
    pins: dict[str, list[str]] = {}
    for pin in part.pins():
        pins.setdefault(pin.name, []).append(pin.face)
    if pins:
        lines += ["", "Pins (faces that may be down): " + "; ".join(f"{n} ({', '.join(f)})" for n, f in pins.items())]
    if part.pads():
        lines.append("Faces that touch the work: " + ", ".join(p.name for p in part.pads()))
    if part.sockets():
        lines.append("Sockets: " + ", ".join(s.name for s in part.sockets()))
    move = part.move()
    if move is not None:
        step = f", {move.notches} notches of {show(move.notch, units)}" if move.notch else ""
        lines.append(f"Slides {show(move.travel, units)}{step}")
    tip = part.tip()
    if tip is not None:
        lines.append(
            f"Presses with {tip.force[0]:g} to {tip.force[1]:g} N (common practice, no source); "
            f"throat {show(tip.throat, units)}, stroke {show(tip.stroke, units)}"
        )
    return "\n".join(lines) + "\n"


def _value(parameter: Parameter, value: float, units: Units) -> str:
    if parameter.kind == "length":
        return show(value, units)
    return f"{value:g} degrees" if parameter.kind == "angle" else f"{value:g}"
