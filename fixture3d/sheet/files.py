"""What ``sheet`` writes: the sheet as PDF, its plan as DXF, and the sheet as a page, each where it is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fixture3d.output import check_target

if TYPE_CHECKING:
    from fixture3d.job import Job
    from fixture3d.report import Report
    from fixture3d.sheet.typeset import Paper

ENDINGS: Final = {"pdf": (".pdf",), "dxf": (".dxf",), "html": (".html", ".htm")}


def check_targets(targets: dict[str, Path], force: bool) -> None:
    """Refuse what cannot be written before anything is worked out.

    Args:
        targets: by kind, a key of ``ENDINGS``.
        force: existing files may be replaced.

    Raises:
        OutputRefused: one line.
    """
    for kind, path in targets.items():
        check_target(path, force, ENDINGS[kind])


def sheet_files(
    jobs: Sequence[Job], kinds: Sequence[str], report: Report | None = None, paper: Paper | None = None
) -> dict[str, bytes]:
    """What is in the files, by kind.

    Args:
        jobs: of all stages, in the order of the work; a DXF is of the first one.
        kinds: keys of ``ENDINGS``.
        report: of the checks; None when none were run.
        paper: of the PDF; None takes letter for a file in inches and A4 otherwise.
    """
    # Not at the top: a sheet that was kept needs none of this.
    from fixture3d.export.plan_dxf import plan_dxf
    from fixture3d.sheet.order import sequence
    from fixture3d.sheet.page import sheet_page
    from fixture3d.sheet.pdf import sheet_pdf

    part = report.each[0] if report is not None and len(report.each) == len(jobs) else None
    makers = {
        "pdf": lambda: sheet_pdf(jobs, paper, report),
        "html": lambda: sheet_page(jobs, report),
        "dxf": lambda: plan_dxf(jobs[0], sequence(jobs[0], part).marks),
    }
    return {kind: makers[kind]() for kind in kinds}
