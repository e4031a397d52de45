"""The suggested order of tacks and welds in the report: as data and as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.checks.torch_access import technique_name, technique_of
from fixture3d.errors import one_line
from fixture3d.job.weld_order import BASIS, BEFORE_WELDING, Order, Reach, Step, weld_order
from fixture3d.units import Units, show_rough

if TYPE_CHECKING:
    from fixture3d.job import Job
    from fixture3d.report import Report

HEAD = "Tack and weld order, a suggestion (common practice, no source)"
RULE = (
    "Joints take turns, the one farthest from the last comes next; in a joint it is the side or end farthest from "
    "those before. Tacks are counted from the end that is named to the tack's own two ends."
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
        where = tack_words(step, paths[step.weld], units) if step.kind == "tack" else weld_words(step, units)
        why = "; ".join(part for part in (step.nth, step.why_so) if part)
        text = f"{one_line(step.weld)}: {where}; {one_line(why)}"
        lines.append((f"  {number:>{wide}} {step.kind} ", text))
    lines += [("  - ", one_line(note)) for note in order.notes]
    return lines


def tack_words(step: Step, path: Any, units: Units) -> str:
    """Where a tack goes, counted from an end that can be told on the table."""
    end = direction(path[0] - path[-1])
    from_end = f"from its {end} end" if end else "from its start"
    return f"{show_rough(step.start, units)} to {show_rough(step.end, units)} {from_end}"


def weld_words(step: Step, units: Units) -> str:
    """How far and which way a weld is run."""
    way = direction(step.end_at - step.start_at)
    text = f"{show_rough(abs(step.end - step.start), units)} {f'towards {way}' if way else 'all round'}"
    if step.left_out:
        spans = ", ".join(f"{show_rough(low, units)} to {show_rough(high, units)}" for low, high in step.left_out)
        text += f", not {spans} along its path, where the torch does not come"
    return text


def direction(way: Any) -> str:
    """The table's axis that a direction lies nearest to, such as ``-X``; empty for none."""
    sizes = np.abs(np.round(way, 3))
    if not sizes.any():
        return ""
    axis = int(np.argmax(sizes))
    return ("-" if way[axis] < 0.0 else "+") + "XYZ"[axis]
