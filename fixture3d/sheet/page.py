"""The setup sheet as one HTML page for a tablet at the table: no script in it, and nothing asked of a network.

Boxes are ticked and figures typed in by what every browser has; they live in the open page alone.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from importlib.resources import files
from typing import Any, Final

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.report import Report
from fixture3d.sheet import page_parts as parts
from fixture3d.sheet.data import sheet_data, stages_data
from fixture3d.sheet.elevation_drawn import elevations
from fixture3d.sheet.order import sequence
from fixture3d.sheet.picture import left_out, picture
from fixture3d.sheet.plan import plan

# mm of paper that drawings are made for, by whether they lie on their long side: a page of either paper size.
_ROOM: Final = {False: (186.0, 235.0), True: (250.0, 175.0)}
_KEPT: Final = (
    "Ticks and figures that you enter stay in this page while it is open, and nowhere else: nothing is saved or sent. "
    "Print the page to keep them."
)
_KEY: Final = (
    "Black holes hold a dowel, white ones in a block do not; the ringed one is the hole named in the list, and the "
    "arrow from it shows which way the block's length points. A six-sided ring is a hold-down bolt. Thick outlines are "
    "blocks, thin ones the work, dotted ones the space that a clamp's arm and handle need. Crossed holes cannot be "
    "used. Boxed numbers are welds, t1, t2 tacks, at triangles; a dot is where a weld that goes round starts."
)


def sheet_page(jobs: Sequence[Job], report: Report | None = None) -> bytes:
    """The page as bytes, the same for the same setup.

    Args:
        jobs: of all stages, in the order of the work; one for a setup without stages.
        report: of the checks; None when none were run, which the page then says.
    """
    several = len(jobs) > 1
    data = stages_data(jobs, report) if several else sheet_data(jobs[0], report)
    body: list[str] = list(_head(data))
    for number, (each, job) in enumerate(zip(data["stages"] if several else [data], jobs, strict=True)):
        part = report.each[number] if report is not None and len(report.each) == len(jobs) else None
        body += _state(each, job, part, number + 1 if several else 0)
    body += _foot(data)
    # The code is eight letters and digits, so that it can stand in the style sheet.
    style = (files("fixture3d.sheet") / "page.css").read_text(encoding="utf-8")
    style += f'@page {{ margin: 12mm; @bottom-right {{ content: "code {data["code"]}, page " counter(page) " of " '
    style += "counter(pages); } }\n"
    html = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy(style)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n'
        f"<title>{escape(data['title'])}, setup sheet</title>\n<style>{style}</style>\n</head>\n<body>\n"
        + "\n".join(one for one in body if one)
        + "\n</body>\n</html>\n"
    )
    return html.encode("utf-8", "replace")


def policy(style: str) -> str:
    """What the browser may do with the page: use this style sheet, and nothing else.

    Source of the form: W3C, Content Security Policy Level 3, section 2.3.1.
    """
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _head(data: Mapping[str, Any]) -> Iterator[str]:
    yield f"<header><h1>{escape(data['title'])}</h1>"
    yield f"<p>Setup sheet, code <strong>{escape(data['code'])}</strong>. Table: {escape(data['table'])}.</p>"
    yield f'<p class="verdict">{escape(data["verdict"])}</p>'
    if data.get("reach"):
        yield f'<p class="verdict">{escape(data["reach"])}</p>'
    yield f'<p class="small screen">{_KEPT}</p></header>'
    links = [(f"s{s['number']}", f"Stage {s['number']}: {s['name']}") for s in data["stages"]] or [("s0", "Plan")]
    links += [("rack", "Rack and pieces"), ("cautions", "Cautions")]
    yield "<nav>" + "".join(f'<a href="#{to}">{escape(words)}</a>' for to, words in links) + "</nav>"
    yield parts.lines("Failed checks", data["fails"])
    yield parts.lines("Accepted findings", data["accepted"])


def _state(data: Mapping[str, Any], job: Job, part: Report | None, number: int) -> Iterator[str]:
    """Drawings and lists of a setup, or of one stage of it."""
    if number:
        yield f'<h2 id="s{number}">Stage {number}: {escape(data["name"])}</h2>'
        yield f'<p class="verdict">{escape(data["verdict"])}</p>'
        yield parts.lines("Failed checks", data["fails"])
        if data.get("changes"):
            yield parts.changes(data["changes"], number - 1)
        yield f"<p>{escape(data['place'])}</p>" if data.get("place") else ""
    else:
        yield '<h2 id="s0">Plan</h2>'
    drawing = plan(job, _ROOM, sequence(job, part).marks, _ROOM)
    yield parts.figure(drawing, f"Plan, seen from above, scale 1:{drawing.scale:g} on paper")
    yield f'<p class="small">{escape(one_line(drawing.datum))} {escape(_KEY)}</p>'
    if drawing.thinned > 1:
        yield f'<p class="small">Only every {drawing.thinned}. hole of a row is drawn.</p>'
    if drawing.cut:
        yield '<p class="small">A thin dashed border is where the drawing is cut off: the table goes on.</p>'
    seen = picture(job)
    if seen is not None:
        yield parts.picture(seen, "Seen from the front left and above, not to scale")
    elif left_out(job):
        yield f'<p class="small">{escape(left_out(job))}</p>'
    for view in elevations(job, _ROOM[False][0], drawing.scale):
        yield parts.figure(view, f"{view.title}, scale 1:{view.scale:g} on paper")
    yield from map(parts.figure, drawing.tiles)
    yield from parts.state(data)


def _foot(data: Mapping[str, Any]) -> Iterator[str]:
    yield '<h2 id="rack">Rack and pieces</h2>'
    for key, heading in parts.WHOLE.items():
        if data.get(key):
            yield parts.section(key, heading, data[key])
    yield f"<p>{escape(data['mass'])}</p>" if data.get("mass") else ""
    yield '<h2 id="cautions">Cautions</h2>'
    yield parts.lines("", data["cautions"])
    yield f'<p class="small">{escape(data["program"])}: planning help, not an approved procedure.</p>'
