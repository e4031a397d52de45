"""The record in words: planned, as set and measured side by side."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fixture3d.checks.accuracy_words import departure, size
from fixture3d.errors import one_line
from fixture3d.job.recorded import value_words
from fixture3d.report.report import Report
from fixture3d.units import Units, show

__all__ = ["record_block", "record_lines"]

_ALIKE = 0.05  # share by which two sides may differ and be called plus or minus
_FELT = 0.05  # mm or degrees; less is the same
_MOST = 6  # figures that settings move, told by name


def record_block(report: Report) -> Iterator[tuple[str, str]]:
    """Indent and text of every line about the record of a report; nothing where there is none."""
    for row in report.figures("record"):
        yield "", f"Record ({one_line(row['file'])}), planned beside as set and measured"
        yield from (("  ", said) for said in record_lines(row, report.job.scene.units))


def record_lines(row: Mapping[str, Any], units: Units) -> Iterator[str]:
    """What the record says: settings, what they do, measured values, frames, and what is left out.

    Args:
        row: of the record, as the check of accuracy makes it.
        units: of the file.
    """
    for one in row["as_set"]:
        same = "as planned, " if one["same"] else f"planned {one['planned']}, as set "
        yield one_line(f"{one['place']}: {same}{one['as_set']}{_whose(one)}")
    if any(not one["same"] for one in row["as_set"]) and not row["moved"]:
        yield f"by these settings no key figure moves by as much as {departure(_FELT, 'mm', units)}"
    yield from _moved(row["moved"], units)
    for one in row["between"]:
        planned, stands, stock = (show(float(one[key]), units) for key in ("planned", "as_set", "stock"))
        tight = ": it does not go in" if one["tight"] else ""
        said = f"{one['name']}: planned {planned}, as set {stands}; the work between is {stock}{tight}"
        yield one_line(said)
    for one in row["measured"]:
        yield one_line(f"{one['name']}: {_measured(one, units)}")
    for one in row["square"]:
        yield one_line(_square(one, units))
    if not any(row[key] for key in ("as_set", "measured", "stale")):
        yield "nothing is set otherwise than planned, and nothing is measured yet"
    if row["stale"]:
        names = "; ".join(dict.fromkeys(f"{one['name']} ({one['code']}, line {one['line']})" for one in row["stale"]))
        yield one_line(f"of another state of the scene than {row['code']}, and left out: {names}")


def _moved(rows: Sequence[Mapping[str, Any]], units: Units) -> Iterator[str]:
    for one in rows[:_MOST]:
        was, now = (_span(one[key], one["unit"], units, one["kind"] == "flatness") for key in ("planned", "as_set"))
        yield one_line(f"by these settings {one['name']} is likely off {now}, as planned {was} {_shown(one, units)}")
    if len(rows) > _MOST:
        rest = len(rows) - _MOST
        yield f"and {rest} more {'figures move' if rest > 1 else 'figure moves'} less"


def _measured(one: Mapping[str, Any], units: Units) -> str:
    unit, flat, off = str(one["unit"]), one["kind"] == "flatness", float(one["off"])
    said = f"measured {value_words(float(one['measured']), unit, units)}"
    if one["kind"] == "distance":
        stands = float(one["planned"]) + float(one["as_set"][0]) if one["as_set"] is not None else None
        said += f", planned {value_words(float(one['planned']), unit, units)}"
        said += "" if stands is None else f", as set {value_words(stands, unit, units)}"
        return f"{said}{_before(one, unit, units)}{_whose(one)}"
    if not flat:
        finest = min(max(abs(off), 0.05), 0.5)
        said += (
            f", {_signed(_bare(departure(off, unit, units)))} off {size(float(one['planned']), unit, units, finest)}"
        )
    if one["foreseen"] is not None:
        said += f"; likely {_span(one['foreseen'], unit, units, flat)} as planned"
    if one["as_set"] is not None and _differ(one["as_set"], one["foreseen"]):
        said += f", {_span(one['as_set'], unit, units, flat)} as set"
    if one["limits"] is not None:
        beyond = not one["limits"][0] <= off <= one["limits"][1]
        usual = "" if one["limits_stated"] else ", not asked for"
        said += f"; allowed {_span(one['limits'], unit, units, flat)} by {one['limits_by']}{usual}"
        said += ": OUT" if beyond else ": good"
    return f"{said}{_before(one, unit, units)}{_whose(one)}"


def _differ(one: Sequence[float], other: Sequence[float]) -> bool:
    return any(abs(a - b) >= _FELT for a, b in zip(one, other, strict=True))


def _before(one: Mapping[str, Any], unit: str, units: Units) -> str:
    shown = ", ".join(value_words(float(value), unit, units) for value in one["before"][-3:])
    return f"; before {shown}" if shown else ""


def _square(one: Mapping[str, Any], units: Units) -> str:
    said = f"diagonals of {', '.join(one['frame'])}: they differ by {departure(abs(one['difference']), 'mm', units)}"
    if one["degrees"] is None:
        return f"{said}, which its sides do not allow: one of them is read wrong"
    said += f", {one['degrees']:.2f} degrees out of square with its sides as {one['sides']}"
    if one["limit"] is not None:
        said += f"; allowed {one['limit']:.2f} degrees by {one['limit_by']}"
        said += ": OUT" if one["degrees"] > one["limit"] else ": good"
    return said


def _span(pair: Sequence[float], unit: str, units: Units, flat: bool) -> str:
    low, high = (float(v) for v in pair)
    if flat:
        return f"up to {_bare(departure(high, unit, units))}"
    if high - low <= 1e-9:
        return _signed(_bare(departure(high, unit, units)))
    if abs(low + high) <= _ALIKE * max(abs(low), abs(high)):
        return f"±{_bare(departure(max(-low, high), unit, units))}"
    return " to ".join(_signed(_bare(departure(one, unit, units))) for one in (low, high))


def _shown(one: Mapping[str, Any], units: Units) -> str:
    return "degrees" if one["unit"] == "degrees" else units


def _bare(text: str) -> str:
    return text.partition(" ")[0]


def _signed(text: str) -> str:
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def _whose(one: Mapping[str, Any]) -> str:
    said = ", ".join(str(part) for part in (one["by"], one["when"], one["note"]) if part)
    return f" ({said})" if said else ""
