"""Tacks and welds in the order that is proposed: rows of the sheet, and marks of the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.job.tack_places import Line
from fixture3d.job.weld_order import BASIS, Order, Step, weld_order
from fixture3d.report.order import direction, from_start, order_of, tack_words
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show_rough

if TYPE_CHECKING:
    from fixture3d.frame import Array
    from fixture3d.report import Report

MOST = 90
"""With more tacks and welds than this none is numbered on the plan, which the sheet says."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A tack or a weld on the plan.

    Attributes:
        label: ``"t3"`` for the third tack, ``"3"`` for the third weld.
        path: (n, 3) world; one point for a tack.
    """

    label: str
    path: Array


@dataclass(frozen=True, kw_only=True)
class Sequence:
    """What the sheet says of the order.

    Attributes:
        tacks: rows with ``no`` and ``where``.
        runs: by the name of a weld its number, which way it is run and why, and where its tacks go.
        on: the numbers of the welds that are tacked, a tack after the other.
        notes: what is left out.
        marks: for the plan; none when there are too many.
    """

    tacks: list[dict[str, str]]
    runs: dict[str, dict[str, str]]
    on: list[str]
    notes: list[str]
    marks: list[Mark]

    def to_dict(self) -> dict[str, Any]:
        """For the template."""
        numbered = bool(self.marks) or not self.runs
        return {"tacks": self.tacks, "notes": self.notes, "basis": BASIS, "numbered": numbered, "on": self.on}


def sequence(job: Job, part: Report | None) -> Sequence:
    """The order of one stage, or of a setup without stages.

    Args:
        job: of the stage.
        part: its report, for what the torch reaches; None when the checks were not run.
    """
    order: Order = weld_order(job) if part is None or part.parts else order_of(part)
    lines, units = {weld.name: Line(weld) for weld in job.welds}, job.scene.units
    paths = {weld.name: np.asarray(weld.path, dtype=np.float64) for weld in job.welds}
    welds = [step for step in order.steps if step.kind == "weld"]
    number = {step.weld: str(k) for k, step in enumerate(welds, start=1)}
    runs: dict[str, dict[str, str]] = {}
    tacks: list[dict[str, str]] = []
    marks: list[Mark] = []
    on: list[str] = []
    spots: dict[str, list[tuple[str, Step]]] = {}
    for step in welds:
        way = direction(step.end_at - step.start_at)
        runs[step.weld] = {
            "no": number[step.weld],
            "run": f"to {way}" if way else "round",
            "why": one_line(_short(step.why_so)),
            "tacks": "",
        }
        marks.append(Mark(label=number[step.weld], path=paths[step.weld]))
    for step in order.steps:
        if step.kind == "tack":
            label, where = f"t{len(tacks) + 1}", tack_words(step, paths[step.weld], units)
            of = f"weld {number[step.weld]}" if step.weld in number else one_line(step.weld)
            tacks.append({"no": label, "where": f"{of}: {where}"})
            on.append(number.get(step.weld, one_line(step.weld)))
            spots.setdefault(step.weld, []).append((label, step))
            middle = lines[step.weld].point((step.start + step.end) / 2.0)
            marks.append(Mark(label=label, path=middle[None]))
    for name, found in spots.items():
        if name in runs:
            runs[name]["tacks"] = _spots(found, paths[name], units)
    return Sequence(
        tacks=tacks,
        runs=runs,
        on=on,
        notes=[one_line(note) for note in order.notes],
        marks=marks if len(marks) <= MOST else [],
    )


def _spots(found: list[tuple[str, Step]], path: Array, units: Units) -> str:
    """All tacks of one weld: ``"t2 27–39, t14 93–106 from -X end"``; a short weld is tacked all along."""
    whole = [label for label, step in found if step.end - step.start >= step.length - NUMERIC.merge]
    if whole:
        return f"{whole[0]} over its whole length"
    ends = [
        (label, show_rough(step.start, units).removesuffix(f" {units}"), show_rough(step.end, units))
        for label, step in found
    ]
    to = "–" if units == "mm" else " to "  # a dash stands within fractions
    said = [f"{label} {low}{to}{high.removesuffix(f' {units}')}" for label, low, high in ends]
    return f"{', '.join(said)} {from_start(path).replace('from its', 'from', 1)}"


_SHORT = (
    (" to its free end", ""),
    ("upwards, for it is steep", "upwards"),
    ("its ends are alike, so either way", "either way"),
    ("it goes round, so either way", "either way"),
    ("nothing else holds its pieces, so either way", "either way"),
    ("its technique is run this way only", "by its technique"),
)


def _short(why: str) -> str:
    """The reason in as few words as a column has room for."""
    for long, short in _SHORT:
        why = why.replace(long, short)
    return why
