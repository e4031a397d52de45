"""``view``: the setup in a window, as a picture, or as a 3D page."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fixture3d.commands.given import assembled, load_scene
from fixture3d.commands.parsing import Commands, add_force, add_no_record, add_scene, add_shop, add_size, add_stage
from fixture3d.errors import FixtureError, OutputRefused

if TYPE_CHECKING:
    from fixture3d.checks.base import Finding
    from fixture3d.job import Job


def add(commands: Commands) -> None:
    """``view``."""
    view = commands.add("view", run_view, "show the setup in a window, draw a picture of it, or write a 3D page of it")
    add_scene(view)
    add_size(view)
    add_stage(view, "the first; in a page all")
    add_shop(view)
    view.add_argument(
        "--html", metavar="FILE", type=Path, help="write a page that shows it in a browser, without a network"
    )
    view.add_argument("--png", metavar="FILE", type=Path, help="write a picture instead of opening a window")
    view.add_argument("--pixels", metavar="WxH", default="1600x1200", help="size of the picture (default %(default)s)")
    view.add_argument(
        "--contacts",
        choices=("places", "points", "none"),
        default="places",
        help="what a picture marks where pieces are located (default %(default)s)",
    )
    view.add_argument("--plain", action="store_true", help="do not run the checks, mark no findings")
    add_no_record(view)
    add_force(view)


def run_view(options: Namespace) -> int:
    """``view``: a window, a picture with ``--png``, a page with ``--html``."""
    size = _pixels(options.pixels)
    _no_pixels(options)
    if options.html is not None:
        _write_page(options)
        if options.png is None:
            return 0
    if options.png is None:
        from fixture3d.preview.window import show_window

        job = assembled(load_scene(options.scene, options, record=not options.no_record), options.stage)
        show_window(job, *_checked(job, options.plain))
        return 0
    from fixture3d.engine import check_job
    from fixture3d.output import check_target
    from fixture3d.preview.located import located_in
    from fixture3d.preview.png import write_png

    scene = load_scene(options.scene, options, record=not options.no_record)
    check_target(options.png, options.force, (".png",))
    job = assembled(scene, options.stage)
    report = None if options.plain else check_job(job)
    findings = report.findings if report is not None else ()
    welds = report.figures("welds") if report is not None else []
    lies = None if report is None else located_in(report)
    contacts = options.contacts
    print(write_png(job, options.png, findings, size, options.force, welds, lies, contacts))
    return 0


def _write_page(options: Namespace) -> None:
    """The 3D page of every stage, or of the one that is asked for, with the checks unless they are not wanted."""
    from fixture3d.engine import assemble, assemble_all, check_jobs
    from fixture3d.output import check_target
    from fixture3d.preview.page.page import write_page
    from fixture3d.progress import on_terminal

    scene, stage = load_scene(options.scene, options, record=not options.no_record), getattr(options, "stage", None)
    check_target(options.html, options.force, (".html", ".htm"))
    jobs = assemble_all(scene) if stage is None else (assemble(scene, stage=stage),)
    with on_terminal(str(options.scene)) as progress:
        report = None if options.plain else check_jobs(jobs, progress)
        written = write_page(jobs, options.html, report, force=options.force, progress=progress)
    print(written)


def _checked(job: Job, plain: bool) -> tuple[tuple[Finding, ...], list[Mapping[str, Any]]]:
    """Findings, and the figures of torch access, of the checks; none when they are not wanted."""
    from fixture3d.engine import check_job

    if plain:
        return (), []
    report = check_job(job)
    return report.findings, report.figures("welds")


def _no_pixels(options: Namespace) -> None:
    """Refuse ``--size 800x600`` where pixels are meant; a size of the scene may be called so."""
    from fixture3d.scene.find import load

    width, sign, height = str(options.size).lower().partition("x")
    if sign and width.isdigit() and height.isdigit() and options.size not in load(options.scene).sizes:
        raise FixtureError(
            f"--size {options.size}: the scene has no size of that name; the pixels of a picture are --pixels "
            f"{options.size}"
        )


def _pixels(text: str) -> tuple[int, int]:
    width, _, height = text.lower().partition("x")
    if width.isdigit() and height.isdigit() and 64 <= int(width) <= 8000 and 64 <= int(height) <= 8000:
        return int(width), int(height)
    raise OutputRefused(f'--pixels {text}: expected width x height in pixels, 64 to 8000 each, such as "1600x1200"')
