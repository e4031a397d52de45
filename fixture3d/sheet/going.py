"""How the pieces go in and how the work comes off, in the words of the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fixture3d.errors import listed, one_line
from fixture3d.report.unloading import way_out_of
from fixture3d.units import Units

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fixture3d.job import Job
    from fixture3d.report import Report

_ABOVE = "from above"


def loading_steps(job: Job, part: Report | None) -> list[dict[str, str]]:
    """Pieces in the order in which they go in, and the way of each where it is not straight from above.

    Without a report they stand in file order, and ``loading_note`` says so.
    """
    rows = [] if part is None or part.parts else part.figures("loading")
    if not rows:
        return [{"name": one_line(name), "way": ""} for name in dict.fromkeys(body.name for body in job.pieces())]
    out = []
    for row in rows:
        if row["what"] == "put in":
            out.append({"name": one_line(str(row["name"])), "way": "" if row["words"] == _ABOVE else str(row["words"])})
        elif row["what"] == "no way in":
            out.append({"name": one_line(str(row["name"])), "way": "no straight way in was found"})
    return out


def loading_note(job: Job, part: Report | None) -> str:
    """The sentence behind the pieces: the usual way in, and what is shut then."""
    rows = [] if part is None or part.parts else part.figures("loading")
    if not rows:
        return "The order is that of the file; none was worked out." if job.pieces() else ""
    shut = [one_line(str(row["name"])) for row in rows if row["what"] == "shut"]
    said = "From above where nothing else is said."
    return f"{said} Then close {listed(shut)}." if shut else said


def unloading_lines(job: Job, part: Report | None) -> list[str]:
    """One sentence for each thing that comes off as one; empty where unloading was not looked at."""
    rows = [] if part is None or part.parts else part.figures("unloading")
    units: Units = job.scene.units
    return [_out(row, units, many=len(rows) > 1) for row in rows]


def _out(row: Mapping[str, Any], units: Units, many: bool) -> str:
    pieces: Sequence[str] = row["pieces"]
    first = one_line(str(pieces[0]))
    whose = f"{first if len(pieces) == 1 else f'{first} + {len(pieces) - 1}'}: " if many else ""
    said = f"{whose}{way_out_of(row, units)}."
    return said[:1].upper() + said[1:] if not whose else said
