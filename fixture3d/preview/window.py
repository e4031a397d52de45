"""A window to turn the setup in, where there is a screen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.preview import gl
from fixture3d.preview.camera import view
from fixture3d.preview.png import COLOURS, fill, marks
from fixture3d.sheet import layout

_SIZE = (1400, 1000)


def show_window(job: Job, findings: Sequence[Finding] = ()) -> None:
    """Open a window and wait until it is closed.

    Args:
        job: the setup.
        findings: fails and warnings are marked with their tags, F1, W1, ...; the report explains them.

    Raises:
        MissingLibrary: there is no screen, or a library for it is missing; the message names the way out.
    """
    gl.need_screen()
    import pyvista

    plotter = pyvista.Plotter(window_size=list(_SIZE), title=one_line(job.title) or "Setup", lighting="none")
    fill(plotter, job)
    _labels(plotter, job, findings)
    seen = view(job, _SIZE, 40.0, 40.0, 40.0)
    plotter.camera.parallel_projection = True
    plotter.camera.position = tuple(seen.eye)
    plotter.camera.focal_point = tuple(seen.focal)
    plotter.camera.up = tuple(seen.up)
    plotter.camera.parallel_scale = _SIZE[1] / 2 / seen.scale
    plotter.reset_camera_clipping_range()
    plotter.show()


def _labels(plotter: Any, job: Job, findings: Sequence[Finding]) -> None:
    """Names over their things, and the tags of findings at their places."""
    names, tags = labels(job, findings)
    for (texts, points), colour, fill_colour in ((names, COLOURS["ink"], "white"), (tags, "white", "#9c1c1c")):
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
