"""The setup sheet as PDF."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from fixture3d import output
from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.report import Report
from fixture3d.sheet.data import sheet_data, stages_data
from fixture3d.sheet.elevation import chosen
from fixture3d.sheet.elevation_drawn import elevations
from fixture3d.sheet.layout import best_fit
from fixture3d.sheet.lists import reach_words
from fixture3d.sheet.order import sequence
from fixture3d.sheet.paging import smaller_room
from fixture3d.sheet.picture import left_out, picture
from fixture3d.sheet.plan import Drawing, plan
from fixture3d.sheet.typeset import PAPERS, Paper, breakable, typeset

# mm of page that the plan cannot have; the template keeps the same margins.
MARGIN: Final = 12.0
_TOP: Final = 16.5
_BOTTOM: Final = 11.0
_HEAD_AND_KEY: Final = 29.0  # title block above the plan, and key and scale bar under it
_LINE: Final = 3.6  # mm of each line of accepted findings above the plan
_REACH: Final = 4.5  # mm of the line that says how many welds are not reached whole
_ABOVE: Final = 3  # so many of them stand there; all of them stand before the lists when there are more


def write_sheet(
    job: Job | Sequence[Job],
    path: str | os.PathLike[str],
    paper: Paper | None = None,
    force: bool = False,
    report: Report | None = None,
) -> Path:  # fmt: skip
    """Write the setup sheet.

    Args:
        job: the setup, or the jobs of all its stages in the order of the work.
        path: of the PDF.
        paper: None takes letter for a file in inches and A4 otherwise.
        force: an existing file may be replaced.
        report: of the checks, so that the first page says whether the setup is ready; None when none were run,
            which it then says.

    Raises:
        OutputRefused: the file may not be written.
        MissingLibrary: typst is not installed.
    """
    output.check_target(path, force)
    return output.write_bytes(path, sheet_pdf(job, paper, report), force)


def sheet_pdf(job: Job | Sequence[Job], paper: Paper | None = None, report: Report | None = None) -> bytes:
    """The setup sheet as PDF bytes, the same for the same setup. Arguments as for ``write_sheet``."""
    jobs = (job,) if isinstance(job, Job) else tuple(job)
    paper = paper or ("letter" if jobs[0].scene.units == "in" else "a4")
    short, long = PAPERS[paper]
    several = len(jobs) > 1
    data = stages_data(jobs, report) if several else sheet_data(jobs[0], report)
    above = [] if several else data["accepted"][:_ABOVE]
    # Room on an upright page; on a flipped one the same margins lie on the other sides.
    across, down = 2 * MARGIN, _TOP + _BOTTOM + _HEAD_AND_KEY + _LINE * sum(1 + len(line) // 110 for line in above)
    down += _REACH if reach_words(report) else 0.0
    room = {False: (short - across, long - down), True: (long - across, short - down)}
    pages = {False: (short - across, long - _TOP - _BOTTOM), True: (long - across, short - _TOP - _BOTTOM)}
    data["paper"] = {"a4": "a4", "letter": "us-letter"}[paper]
    data["page"] = [short - 2 * MARGIN, long - _TOP - _BOTTOM]
    data["above"] = above
    data["no_picture"] = left_out(jobs[0])
    seen = picture(jobs[0])
    data["picture"] = None if seen is None else {"svg": seen.svg, "width": seen.size[0], "height": seen.size[1]}
    for number, (each, one) in enumerate(zip(data["stages"] if several else [data], jobs, strict=True)):
        part = report.each[number] if report is not None and len(report.each) == len(jobs) else None
        views = chosen(one)
        own = room if several else smaller_room(one, data, room, (short - across, long - _TOP - _BOTTOM), views)
        drawing = plan(one, own, sequence(one, part).marks, pages)
        each["page_one"] = [long - 2 * MARGIN, short - _TOP - _BOTTOM] if drawing.flipped else data["page"]
        each["plan"] = {
            "svg": drawing.svg,
            "width": drawing.size[0],
            "height": drawing.size[1],
            "drawn": best_fit(one, own).size[0],  # the drawing itself; words below it may be wider
            "scale": f"1:{drawing.scale:g}",
            "flipped": drawing.flipped,
            "datum": one_line(drawing.datum),
            "thinned": drawing.thinned,
            "cut": drawing.cut,
        }
        # They stand among the lists, on upright pages also where the plan's own page is flipped.
        each["elevations"] = list(map(_drawn, elevations(one, data["page"][0], drawing.scale, views)))
        each["tiles"] = list(map(_drawn, drawing.tiles))
    return typeset("fixture3d.sheet", "sheet.typ", breakable(data))


def _drawn(drawing: Drawing) -> dict[str, Any]:
    """A drawing for the template."""
    return {
        "title": one_line(drawing.title),
        "svg": drawing.svg,
        "width": drawing.size[0],
        "height": drawing.size[1],
        "scale": f"1:{drawing.scale:g}",
        "flipped": drawing.flipped,
    }
