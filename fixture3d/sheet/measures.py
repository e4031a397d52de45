"""What is measured on the work and between stops, as rows of the sheet with what it shall be and what is allowed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fixture3d.checks.accuracy_words import departure, size
from fixture3d.errors import one_line
from fixture3d.job.contact import FacePair
from fixture3d.job.recorded import pair_name
from fixture3d.units import Units, show, show_fine

if TYPE_CHECKING:
    from fixture3d.job import Job
    from fixture3d.report import Report

_ALIKE = 0.05  # share by which two sides may differ and be called plus or minus


def face_rows(pairs: Sequence[FacePair], units: Units, last: Mapping[str, str]) -> list[dict[str, Any]]:
    """Distances from face to face of stops with work between them, with what was measured ``last`` by name."""
    return [
        {
            "from": f"{one_line(p.a)} {p.pad_a}",
            "to": f"{one_line(p.b)} {p.pad_b}",
            "distance": show(p.distance, units),
            "stock": show(p.stock, units),
            "play": show_fine(p.distance - p.stock, units),
            "between": ", ".join(one_line(n) for n in p.between),
            "last": one_line(last.get(pair_name(p), "")),
        }
        for p in pairs
    ]


def measure_rows(job: Job, part: Report | None, last: Mapping[str, str]) -> tuple[list[dict[str, Any]], str]:
    """Lengths, diagonals and flatness of the work, each with a box on the sheet; and a sentence on what is left out.

    Args:
        job: of one stage.
        part: its report; without one nothing is known of what is allowed or foreseen, and there are no rows.
        last: what was measured last, by the name of the figure.
    """
    figures = [] if part is None or part.parts else part.figures("figures")
    crossed = any(row["kind"] == "diagonal" for row in figures)
    # Where two diagonals are measured, they tell every right angle better than a square does.
    shown = [row for row in figures if row["limits_stated"] or row["kind"] != "angle" or not crossed]
    left = len(figures) - len(shown)
    rows = [{**_row(row, job.scene.units), "last": one_line(last.get(str(row["name"]), ""))} for row in shown]
    if not left:
        return rows, ""
    return rows, f"{left} angle{'' if left == 1 else 's'} told by the diagonals."


def _row(row: Mapping[str, Any], units: Units) -> dict[str, Any]:
    unit, flat, stated = str(row["unit"]), row["kind"] == "flatness", bool(row["limits_stated"])
    pair = row["limits"] if stated and row["limits"] is not None else row["likely"]
    return {
        "name": one_line(str(row["name"])),
        "kind": str(row["kind"]),
        "planned": "flat" if flat else _drawn(float(row["drawn"]), unit, units, pair),
        "limits": _span(pair, unit, units, flat),
        "stated": stated,
        "by": str(row["limits_by"]) if stated else "",
    }


def _drawn(value: float, unit: str, units: Units, pair: Sequence[float]) -> str:
    """What it shall be, no finer than it can be kept."""
    return size(value, unit, units, max(abs(float(v)) for v in pair)).replace(" degrees", "°")


def _span(pair: Sequence[float], unit: str, units: Units, flat: bool) -> str:
    """How far it may be off either way."""
    low, high = (float(v) for v in pair)

    def bare(value: float) -> str:
        return departure(value, unit, units).partition(" ")[0]

    shown = "°" if unit == "degrees" else f" {units}"
    if flat:
        return f"up to {bare(high)}{shown}"
    if abs(low + high) <= _ALIKE * max(abs(low), abs(high)):
        return f"±{bare(max(-low, high))}{shown}"
    signed = [text if text.startswith("-") or not text.strip("0.") else f"+{text}" for text in (bare(low), bare(high))]
    return f"{' / '.join(signed)}{shown}"
