"""A window to turn the setup in, where there is a screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.preview import gl
from fixture3d.preview.camera import view
from fixture3d.preview.png import COLOURS, fill, marks
from fixture3d.preview.weld_lines import DOUBT, STYLE, WeldLine, weld_lines
from fixture3d.sheet import layout

_SIZE = (1400, 1000)


_PATTERN: Final = {"reached": "full line", "part": "dashes", "blocked": "crosses", "unchecked": "thin line"}


def show_window(job: Job, findings: Sequence[Finding] = (), welds: Sequence[Mapping[str, Any]] = ()) -> None:
    """Open a window and wait until it is closed.

    Args:
        job: the setup.
        findings: fails and warnings are marked with their tags, F1, W1, ...; the report explains them.
        welds: the figures of torch access, one a weld; without them welds are drawn as not tried.

    Raises:
        MissingLibrary: there is no screen, or a library for it is missing; the message names the way out.
    """
    gl.need_screen()
    import pyvista

    plotter = pyvista.Plotter(window_size=list(_SIZE), title=one_line(job.title) or "Setup", lighting="none")
    seen = view(job, _SIZE, 40.0, 40.0, 40.0)
    lines = weld_lines(job, welds)
    fill(plotter, job, lines, seen)
    _labels(plotter, job, findings, lines)
    _key(plotter, lines)
    plotter.camera.parallel_projection = True
    plotter.camera.position = tuple(seen.eye)
    plotter.camera.focal_point = tuple(seen.focal)
    plotter.camera.up = tuple(seen.up)
    plotter.camera.parallel_scale = _SIZE[1] / 2 / seen.scale
    plotter.reset_camera_clipping_range()
    plotter.show()


def _key(plotter: Any, lines: Sequence[WeldLine]) -> None:
    """What the lines of the welds mean, in a corner."""
    entries = key_entries(lines)
    if entries:
        plotter.add_legend(
            [[words, colour] for words, colour in entries], bcolor="white", face="rectangle", loc="lower left",
            size=(0.34, 0.03 * len(entries)), background_opacity=0.85,
        )  # fmt: skip


def key_entries(lines: Sequence[WeldLine]) -> list[tuple[str, str]]:
    """Words and colour of every pattern that is there, and of the question mark."""
    present = {state for line in lines for state, _ in line.stretches}
    out = [(f"{_PATTERN[s]}: {words}", colour) for s, (colour, words) in STYLE.items() if s in present]
    return out + [(f"?: {DOUBT}", COLOURS["ink"])] * any(line.doubtful for line in lines)


def _labels(plotter: Any, job: Job, findings: Sequence[Finding], lines: Sequence[WeldLine]) -> None:
    """Names over their things, and the tags of findings at their places."""
    names, tags = labels(job, findings)
    doubts = (["?" for line in lines if line.doubtful], [line.middle for line in lines if line.doubtful])
    ink = COLOURS["ink"]
    each = ((names, ink, "white"), (doubts, ink, "white"), (tags, "white", "#9c1c1c"))  # the last lie on top
    for (texts, points), colour, fill_colour in each:
        if texts:
            plotter.add_point_labels(
                np.array(points), texts, font_size=15, bold=True, text_color=colour, shape_color=fill_colour,
                shape_opacity=0.85, show_points=False, always_visible=True, margin=3,
            )  # fmt: skip


def labels(job: Job, findings: Sequence[Finding]) -> tuple[tuple[list[str], list[Any]], tuple[list[str], list[Any]]]:
    """Texts and world points (n, 3) of the names, and of the findings that have a place."""
    names: tuple[list[str], list[Any]] = ([], [])
    for item in [*job.seats, *dict.fromkeys(b.item for b in job.pieces())]:
        boxes = [b.box for b in job.bodies if b.item == item and b.role not in ("pin", "sweep")]
        if boxes:
            low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
            names[0].append(layout.short_name(one_line(item)))
            names[1].append([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2]])
    tags: tuple[list[str], list[Any]] = ([], [])
    for tag, finding in marks(findings):
        if finding.at is not None:
            tags[0].append(tag)
            tags[1].append(list(finding.at))
    return names, tags
