"""The setup sheet as PDF."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Sequence
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Final, Literal

from fixture3d import output
from fixture3d.errors import FixtureError, MissingLibrary, one_line
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

Paper = Literal["a4", "letter"]
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

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


_FIGURE = re.compile(r"(?<=[0-9]) (?=(?:mm|in|kg|lb)\b)")
_LONGEST: Final = 13  # letters of a word that any column of plain words has room for
_WIDE: Final = "WMwm@%"
_NAMES: Final = 9  # the same for names, which stand in bold and may be in capitals
_NAMED: Final = {"name", "names", "model", "hole", "from", "to", "pad", "piece", "presses", "toward"}


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


def breakable(value: Any, most: int = _LONGEST) -> Any:
    """The same data with places to break in words that are longer than a column, and none before a unit.

    Args:
        value: what JSON can hold.
        most: letters after which a longer word may be broken.
    """
    if isinstance(value, str):
        if value.startswith("<svg"):
            return value
        return " ".join(_broken(word, most) for word in _FIGURE.sub("\u00a0", value).split(" "))
    if isinstance(value, dict):
        return {key: breakable(each, _NAMES if key in _NAMED else _LONGEST) for key, each in value.items()}
    if isinstance(value, list):
        return [breakable(each, most) for each in value]
    return value


def _broken(word: str, most: int) -> str:
    """A word with a place to break after each underscore, and in what is too long even so."""
    if len(word) <= most or "\u00a0" in word:
        return word
    return "\u200b".join(cut for part in re.split(r"(?<=_)", word) for cut in _cut(part, most))


def _cut(word: str, most: int) -> Iterator[str]:
    """Parts of a word with no more than so many letters of usual width in each."""
    part, width = "", 0.0
    for letter in word:
        wide = 1.5 if letter in _WIDE else 1.0
        if width + wide > most and part:
            yield part
            part, width = "", 0.0
        part, width = part + letter, width + wide
    if part:
        yield part


def typeset(package: str, template: str, data: dict[str, Any], what: str = "sheet") -> bytes:
    """A PDF from a typst file of a package, in the fonts that are shipped, the same bytes for the same data.

    Args:
        package: that holds the file.
        template: its name; it reads the data from ``sys.inputs.data``.
        data: what JSON can hold.
        what: noun for messages.

    Raises:
        MissingLibrary: typst is not installed.
        FixtureError: the data cannot be set.
    """
    try:
        import typst
    except ImportError as error:
        raise MissingLibrary(f"the {what} needs typst, which is not installed; pip install typst") from error
    with as_file(files(package)) as folder, as_file(files("fixture3d.sheet")) as sheet:
        try:
            made: bytes = typst.compile(
                folder / template,
                format="pdf",
                font_paths=[sheet / "fonts"],
                ignore_system_fonts=True,
                sys_inputs={"data": json.dumps(data)},
            )
        except typst.TypstError as error:
            raise FixtureError(f"the {what} cannot be set: {one_line(str(error))}") from error
    return made
