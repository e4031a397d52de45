"""The suggested order of tacks and welds in the report: as data and as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.checks.torch_access import technique_name, technique_of
from fixture3d.errors import one_line
from fixture3d.job.weld_order import BASIS, BEFORE_WELDING, Order, Reach, Step, weld_order
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show_rough

if TYPE_CHECKING:
    from fixture3d.job import Job
    from fixture3d.report import Report

_BESIDE = 0.3  # of the largest part of an offset; a smaller part is not worth a word
HEAD = "Tack and weld order, a suggestion (common practice, no source)"
RULE = (
    "Joints take turns, the one farthest from the last comes next; in a joint it is the side or end farthest from "
    "those before. Places are told to both ends of the tack, along the weld from the end or the start that is named: "
    "X is to the right and Y to the back of the table, seen from its front."
)


def order_of(report: Report) -> Order:
    """The order for the job of one report, with what its torch check found."""
    rows = {str(row["name"]): row for row in report.figures("welds")}
    if not any(result.status == "ran" for result in report.results if "welds" in result.figures):
        return weld_order(report.job)
    return weld_order(report.job, dict(_reach(report.job, rows)))


def _reach(job: Job, rows: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, Reach]]:
    """What the figures of the torch check say of each weld that it could try."""
    out = []
    for weld in job.welds:
        row = rows.get(weld.name)
        if row is None or row["unreached"] is None:
            continue
        technique, _ = technique_of(job, technique_name(weld))
        spans = tuple((float(low), float(high)) for low, high in row["unreached"])
        out.append((weld.name, Reach(unreached=spans, way=technique.direction)))
    return out


def order_dict(parts: Sequence[Report]) -> dict[str, Any]:
    """The orders of all stages as plain data: mm along the path, points in the world."""
    steps: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for part in parts:
        order = order_of(part)
        steps += [
            {**_step_dict(number, step), "stage": part.job.stage} for number, step in enumerate(order.steps, start=1)
        ]
        notes += [{"text": text, "stage": part.job.stage} for text in order.notes]
    return {"basis": BASIS, "steps": steps, "notes": notes}


def _step_dict(number: int, step: Step) -> dict[str, Any]:
    return {
        "number": number,
        "kind": step.kind,
        "weld": step.weld,
        "from": step.start,
        "to": step.end,
        "direction": step.direction,
        "from_at": step.start_at,
        "to_at": step.end_at,
        "length": step.length,
        "left_out": [list(span) for span in step.left_out],
        "reason": step.reason,
    }


def order_lines(report: Report) -> list[tuple[str, str]]:
    """The order of one stage in words: how a line begins, and its text."""
    order, units = order_of(report), report.job.scene.units
    if not order.steps and not order.notes:
        return [("  ", "No weld is run here, so there is nothing to tack.")]
    lines: list[tuple[str, str]] = [("  ", RULE)] if order.steps else []
    paths = {weld.name: np.asarray(weld.path) for weld in report.job.welds}
    wide = len(str(len(order.steps)))
    for number, step in enumerate(order.steps, start=1):
        if step.kind == "weld" and (number == 1 or order.steps[number - 2].kind == "tack"):
            lines.append(("  ", BEFORE_WELDING))
        words = tack_words if step.kind == "tack" else weld_words
        parts = (words(step, paths[step.weld], units), one_line(step.why_so))
        text = f"{one_line(step.weld)}: {'; '.join(part for part in parts if part)}"
        lines.append((f"  {number:>{wide}} {step.kind} ", text))
    lines += [("  - ", one_line(note)) for note in order.notes]
    return lines


def tack_words(step: Step, path: Any, units: Units) -> str:
    """Where a tack goes, counted from an end that can be told on the table."""
    if step.end - step.start >= step.length - NUMERIC.merge:
        return f"over its whole length, {show_rough(step.length, units)}; there is nothing left to weld after it"
    return f"{show_rough(step.start, units)} to {show_rough(step.end, units)} {from_start(path)}"


def weld_words(step: Step, path: Any, units: Units) -> str:
    """How far and which way a weld is run, and what of it is not."""
    way = direction(step.end_at - step.start_at)
    text = f"{reached_words(step.reached, step.length, units)}{f' towards {way}' if way else ', all round'}"
    if step.left_out:
        spans = ", ".join(f"{show_rough(low, units)} to {show_rough(high, units)}" for low, high in step.left_out)
        text += f"; the torch does not come to {spans} {from_start(path)}"
    return text


def reached_words(reached: float, length: float, units: Units) -> str:
    """A length that is reached, and of how much where that is not all of it."""
    whole = show_rough(length, units)
    return whole if reached >= length - NUMERIC.merge else f"{show_rough(reached, units)} reached of {whole}"


def from_start(path: Any) -> str:
    """From which end places along a path (n, 3) are counted, as it can be told on the table.

    A line whose ends meet has none: its start is told by the side of its middle that it lies on, and the way round.
    """
    path = np.asarray(path, dtype=np.float64)
    end = direction(path[0] - path[-1])
    if end:
        return f"from its {end} end"
    off = np.round(path[0] - (path.min(axis=0) + path.max(axis=0)) / 2.0, 3)
    sides = [f"{'-' if off[k] < 0.0 else '+'}{'XYZ'[k]}" for k in range(3) if abs(off[k]) > _BESIDE * np.abs(off).max()]
    if not sides:
        return "from its start"
    return f"from its start at {' '.join(sides)}, going {direction(path[1] - path[0])}"


def direction(way: Any) -> str:
    """The table's axis that a direction lies nearest to, such as ``-X``; empty for none."""
    sizes = np.abs(np.round(way, 3))
    if not sizes.any():
        return ""
    axis = int(np.argmax(sizes))
    return ("-" if way[axis] < 0.0 else "+") + "XYZ"[axis]
