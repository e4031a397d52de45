"""Demo scenes as the tests of the sheet need them: put together, checked and set once for all tests of a run."""

from __future__ import annotations

import io
from functools import cache

import pypdf

from fixture3d.engine import assemble_all, check_jobs, load
from fixture3d.job import Job
from fixture3d.report import Report
from fixture3d.sheet.pdf import sheet_pdf
from fixture3d.sheet.typeset import Paper


@cache
def demo_jobs(name: str) -> tuple[Job, ...]:
    """The jobs of all stages of a shipped scene."""
    return tuple(assemble_all(load(name)))


def demo_job(name: str) -> Job:
    """The job of a shipped scene without stages."""
    (job,) = demo_jobs(name)
    return job


@cache
def demo_report(name: str) -> Report:
    """Of all checks of a shipped scene."""
    return check_jobs(demo_jobs(name))


@cache
def demo_sheet(name: str, paper: Paper | None = None, checked: bool = False) -> bytes:
    """The sheet of a shipped scene."""
    return sheet_pdf(demo_jobs(name), paper, demo_report(name) if checked else None)


def demo_pages(name: str, paper: Paper | None = None, checked: bool = False) -> list[str]:
    """The text of every page of that sheet."""
    return pages(demo_sheet(name, paper, checked))


@cache
def pages(data: bytes) -> list[str]:
    """The text of every page, without places to break in words."""
    read = (page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)
    return [text.replace("\u200b", "").replace("\u00a0", " ") for text in read]
