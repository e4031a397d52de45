"""The drawing of a block: one sheet for each body that is made, as PDF, SVG or DXF."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from fixture3d import frame, output
from fixture3d.errors import FixtureError
from fixture3d.part import Part
from fixture3d.units import Units
from fixture3d.workshop.dimensions import dimensions
from fixture3d.workshop.layout import HEIGHT, MARGIN, PAPERS, Body, Projection, draw_views, lay_out
from fixture3d.workshop.notes import notes, stop_place
from fixture3d.workshop.page import Page
from fixture3d.workshop.solid_facts import Facts, Spot, Teeth, facts, others
from fixture3d.workshop.strip import (
    Order,
    Title,
    draw_notes,
    draw_table,
    draw_title,
    in_order,
    rows,
    shank_limits,
    thread_words,
)
from fixture3d.workshop.uses import Fit, fits, used
from fixture3d.workshop.views import LOOKS, Look, Stroke, needed, project, tidied

_NOTES: Final = 60.0  # mm under the table that the notes want
ENDINGS: Final = (".pdf", ".svg", ".dxf")


@dataclass(frozen=True, kw_only=True)
class Style:
    """How the sheets are drawn.

    Attributes:
        units: of the numbers.
        projection: None takes the third angle for inches and the first for mm, as is usual on either side.
        paper: a key of ``PAPERS``; None takes the smallest of the units that does.
        order: material, finish, quantity, general tolerance.
        fits: use to class, see :func:`fixture3d.workshop.uses.fits`.
    """

    units: Units = "mm"
    projection: Projection | None = None
    paper: str | None = None
    order: Order = field(default_factory=Order)
    fits: Mapping[str, str] = field(default_factory=dict)

    @property
    def angle(self) -> Projection:
        """The projection that is drawn."""
        return self.projection or ("third" if self.units == "in" else "first")

    def of(self, quantity: int, uses: Iterable[str]) -> Style:
        """The same for one of many blocks: so many of it, and of the fits those that it has a use for."""
        mine = set(uses)
        own = {use: name for use, name in self.fits.items() if use in mine}
        return replace(self, order=replace(self.order, quantity=quantity), fits=own)


def sheets(part: Part, solids: Sequence[tuple[str, Any]], style: Style) -> list[Page]:
    """The sheets of a block.

    Args:
        part: the block.
        solids: name and ``TopoDS_Shape`` of each body, the main one, with an empty name, first.
        style: how.

    Raises:
        FitError: a class that is not in the tables.
        FixtureError: a body that does not fit on the paper.
    """
    chosen = fits(part.pattern, style.fits, used(part))
    return [
        _sheet(part, name, shape, style, chosen, (n, len(solids))) for n, (name, shape) in enumerate(solids, start=1)
    ]


def _sheet(part: Part, name: str, shape: Any, style: Style, chosen: Mapping[str, Fit], count: tuple[int, int]) -> Page:
    found, views, at = _seen(shape)
    found = in_order(found, part)
    main = not name
    d = dimensions(found, part, main)
    threads = [one for one in part.threads() if one.body == name]
    table = rows(found, d, part, chosen, style.units, threads)
    body = Body(
        part=part,
        main=main,
        facts=found,
        dimensions=d,
        views=views,
        labels=tuple(row.name for row in table),
        units=style.units,
        projection=style.angle,
        stop_place=stop_place(style.units),
        fitted=shank_limits(part, found, at, chosen, style.units),
        threaded=thread_words(part, found, threads, style.units),
    )
    words = notes(body, table, style.order, threads, chosen)
    title = f"{part.model} {name}".strip()
    small, large, largest = ("a4", "a3", "a2") if style.units == "mm" else ("letter", "tabloid", "ansi-c")
    tries = [(style.paper, 0.0)] if style.paper else [(small, 0.5), (large, 0.2), (largest, 0.0)]
    for paper, least in tries:
        size, strip = PAPERS[paper]
        room = (size[0] - 2.0 * MARGIN - strip - 6.0, size[1] - 2.0 * MARGIN - 4.0)
        laid = lay_out(body, room)
        if laid is None or laid[0] < least:
            continue
        page = Page(name=paper, size=size, scale=laid[0], title=title)
        left, top = size[0] - MARGIN - strip, size[1] - MARGIN
        page.line(
            "frame",
            (MARGIN, MARGIN),
            (size[0] - MARGIN, MARGIN),
            (size[0] - MARGIN, top),
            (MARGIN, top),
            (MARGIN, MARGIN),
        )
        page.line("frame", (left, MARGIN), (left, top))
        block = Title(
            part=part, body=name, facts=found, order=style.order, units=style.units, projection=style.angle,
            sheet=count[0], sheets=count[1],
        )  # fmt: skip
        floor = draw_title(page, block, left, strip)
        end = draw_table(page, table, left, top, strip, top - floor - _NOTES)
        for height in (HEIGHT, 2.2, 1.8):
            before = len(page.words)
            low = draw_notes(page, words, left + 2.0, end - 1.0, strip - 4.0, height)
            if low >= floor:
                break
            del page.words[before:]
        else:
            continue
        corner = (MARGIN + 3.0 + (room[0] - laid[2][0]) / 2.0, MARGIN + 2.0 + (room[1] - laid[2][1]) / 2.0)
        draw_views(page, body, laid[1], corner)
        return page
    more = "expected a larger --paper" if style.paper else "the largest paper here; expected a smaller block"
    raise FixtureError(f"{title}: the drawing does not fit on {tries[-1][0]}; {more}")


def _seen(shape: Any) -> tuple[Facts, tuple[tuple[Look, tuple[Stroke, ...]], ...], Spot]:
    """Facts and views of a body, and where its axis was: turned work is laid with its axis level through zero."""
    from fixture3d.solid import kernel

    found = facts(shape)
    if found.turned is None:
        looks = [LOOKS[name] for name in needed(found)]
        views = [(look, tuple(_plain(_snapped(project(shape, look), look, found), look, found))) for look in looks]
        return found, tuple(views), (0.0, 0.0)
    axis, at = found.turned
    i, j = others(axis)
    back = [0.0, 0.0, 0.0]
    back[i], back[j] = -at[0], -at[1]
    shape = kernel.moved(shape, frame.translation(back))
    found = facts(shape)
    look = {
        0: LOOKS["front"],
        1: Look(name="right", right=1, up=2, away=0),
        2: Look(name="front", right=2, up=0, away=1),
    }[axis]
    return found, ((look, tuple(project(shape, look))),), at


def _snapped(strokes: Sequence[Stroke], look: Look, found: Facts) -> list[Stroke]:
    """Arcs and curves that lie on a round feature seen on end, as arcs of it: the kernel gives some as rough curves."""
    out = []
    for s in strokes:
        centres = [
            (at, r.radius) for r in found.rounds if r.axis == look.away for at in (r.at, r.far) if at is not None
        ]
        on = [c for c in centres if all(abs(math.dist(p, c[0]) - c[1]) < 0.01 for p in s.points)]
        if s.kind == "line":
            if not (on and math.dist(*s.points) < 0.1):  # else a crumb of a curve on it
                out.append(s)
            continue
        near = [c for c in on if math.dist(c[0], s.centre) < 0.2 and abs(c[1] - s.radius) < 0.2]
        if s.kind == "arc" and near:
            s = replace(s, centre=near[0][0], radius=near[0][1])
        elif on and (s.kind == "curve" or _along(s, on[0])):
            (cx, cy), radius = on[0]
            middle = s.points[12] if s.kind == "curve" else _at(s.centre, s.radius, s.turn[0] + s.turn[1] / 2.0)
            a, m, b = (math.degrees(math.atan2(p[1] - cy, p[0] - cx)) for p in (s.points[0], middle, s.points[-1]))
            start, sweep = (a, (b - a) % 360.0) if (m - a) % 360.0 < (b - a) % 360.0 else (b, (a - b) % 360.0)
            s = Stroke("arc", (s.points[0], s.points[-1]), s.hidden, (cx, cy), radius, (start % 360.0, sweep))
        out.append(s)
    return tidied(out)


def _along(s: Stroke, circle: tuple[Spot, float]) -> bool:
    """Whether the middle of an arc lies on a circle too."""
    middle = _at(s.centre, s.radius, s.turn[0] + s.turn[1] / 2.0)
    return s.kind == "arc" and abs(math.dist(middle, circle[0]) - circle[1]) < 0.01


def _plain(strokes: Sequence[Stroke], look: Look, found: Facts) -> list[Stroke]:
    """Teeth are drawn where they are seen on end; from elsewhere their edges are left out, and bores drawn plain."""
    rows = [t for t in found.teeth if t.along in (look.right, look.up) and look.away != t.seen]
    if not rows:
        return list(strokes)
    out = [s for s in strokes if s.kind == "line"]
    for t in rows:
        out = [s for s in out if not _of_teeth(s, t, 0 if look.right == t.along else 1)]
    for r in found.rounds:
        if r.axis == look.away and r.far is None:
            right = (r.at[0] + r.radius, r.at[1])
            out.append(Stroke("arc", (right, right), False, r.at, r.radius, (0.0, 360.0)))
        elif r.axis == look.away and r.far is not None:
            level = r.at[1] == r.far[1]
            for at, turn in ((r.at, 90.0 if level else 180.0), (r.far, 270.0 if level else 0.0)):
                ends = [_at(at, r.radius, turn), _at(at, r.radius, turn + 180.0)]
                out.append(Stroke("arc", tuple(ends), False, at, r.radius, (turn, 180.0)))
    return out


def _at(centre: Spot, radius: float, turn: float) -> Spot:
    a = math.radians(turn)
    return centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)


def _of_teeth(s: Stroke, t: Teeth, k: int) -> bool:
    """Whether a line of a view from above or below is the edge of a tooth within its row."""
    inside = all(t.start[0] + 1e-3 < p[k] < t.start[1] - 1e-3 for p in s.points)
    return inside and abs(s.points[0][k] - s.points[1][k]) < 1e-6


def files_of(pages: Sequence[Page], target: Path) -> dict[Path, bytes]:
    """The files that a drawing is: one PDF of all sheets; an SVG or DXF for each, named by its body.

    Args:
        pages: of the block.
        target: of the first; its ending chooses the kind.
    """
    ending = target.suffix.lower()
    if ending == ".pdf":
        from fixture3d.workshop.svg import pdf_bytes

        return {target: pdf_bytes(pages)}
    if ending == ".svg":
        from fixture3d.workshop.svg import svg

        return {path: svg(page).encode() for path, page in zip(names(pages, target), pages, strict=True)}
    from fixture3d.workshop.drawing_dxf import drawing_dxf

    return {path: drawing_dxf(page) for path, page in zip(names(pages, target), pages, strict=True)}


def names(pages: Sequence[Page], target: Path) -> list[Path]:
    """``bolt.svg``, ``bolt arm.svg``, ...: the first sheet as asked for, the others with the name of their body."""
    model = pages[0].title
    bodies = [output.file_name(page.title.removeprefix(model).strip()) for page in pages[1:]]
    return [target, *(target.with_name(f"{target.stem} {body}{target.suffix}") for body in bodies)]


def drawing_files(
    part: Part, solids: Sequence[tuple[str, Any]], targets: Sequence[str | os.PathLike[str]], style: Style, force: bool
) -> dict[Path, bytes]:
    """The drawing of a block in every form that is asked for, as files that may be written.

    Args:
        part: the block.
        solids: see :func:`sheets`.
        targets: files ending in .pdf, .svg or .dxf.
        style: how.
        force: existing files may be replaced.

    Raises:
        OutputRefused: one of the files may not be written.
        FitError, FixtureError: see :func:`sheets`.
        MissingLibrary: a PDF is asked for and typst is not installed.
    """
    for target in targets:
        output.check_target(target, force, ENDINGS)
    pages = sheets(part, solids, style)
    made: dict[Path, bytes] = {}
    for target in targets:
        made |= files_of(pages, Path(target))
    for path in made:
        output.check_target(path, force)
    return made
