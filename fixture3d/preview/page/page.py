"""One HTML file that shows a setup in any browser: from disk, without a network, and nothing of a scene runs in it.

What comes from a scene is packed as gzip in base64 and read as data. The policy in the file lets the browser run the
one script and use the one style sheet whose sums it names, and fetch nothing.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import os
import re
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Final

from fixture3d import output
from fixture3d.checks.base import Progress, quiet
from fixture3d.job import Job
from fixture3d.preview.page.bodies import drawn
from fixture3d.preview.page.data import Items, View, page_data, title
from fixture3d.preview.page.glb import glb
from fixture3d.preview.page.positions import positions
from fixture3d.report import Report

_TOKEN: Final = re.compile(r"@@(TITLE|CSP|CSS|DATA|GLB|JS)@@")


def write_page(
    jobs: Sequence[Job],
    path: str | os.PathLike[str],
    report: Report | None = None,
    force: bool = False,
    progress: Progress = quiet,
) -> Path:
    """Write the page.

    Args:
        jobs: one for each stage, in the order of the work; one for a scene without stages.
        path: of the HTML file.
        report: of the checks; None when they were not run, which the page then says.
        force: an existing file may be replaced.
        progress: told how far it has come.

    Raises:
        OutputRefused: the file may not be written.
    """
    output.check_target(path, force, (".html", ".htm"))
    return output.write_bytes(path, page(jobs, report, progress), force)


def page(jobs: Sequence[Job], report: Report | None = None, progress: Progress = quiet) -> bytes:
    """The page as bytes, the same for the same setup."""
    views = [View(job=job, positions=positions(job, progress) if report is not None else {}) for job in jobs]
    items = Items()
    known = [items.of(job) for job in jobs]
    bodies = drawn(jobs, known)
    data = page_data(views, report, bodies.rows, items)
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return assembled(title(jobs[0]), text.encode("utf-8", "replace"), glb(bodies.meshes, bodies.nodes))


def assembled(name: str, data: bytes, scene: bytes) -> bytes:
    """The template with everything put into it, each token once and nothing put into what was put in.

    Args:
        name: of the setup, plain text.
        data: JSON.
        scene: GLB.
    """
    css, script = _asset("page.css"), _asset("page.js")
    parts = {
        "TITLE": escape(name, quote=True),
        "CSP": policy(script, css),
        "CSS": css,
        "DATA": packed(data),
        "GLB": packed(scene),
        "JS": script,
    }
    return _TOKEN.sub(lambda match: parts[match[1]], _asset("page.html")).encode("utf-8")


def policy(script: str, css: str) -> str:
    """What the browser may do with the page: this script, this style, pictures that it makes itself, nothing else."""
    return (
        f"default-src 'none'; script-src '{_sum(script)}'; style-src '{_sum(css)}'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )


def _sum(text: str) -> str:
    """A source expression by content. Source: W3C, Content Security Policy Level 3, section 2.3.1."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def packed(data: bytes) -> str:
    """Bytes as gzip in base64, without a date; ``<`` cannot occur in it."""
    return base64.b64encode(gzip.compress(data, 9, mtime=0)).decode()


def _asset(name: str) -> str:
    """A file of the built page."""
    return (files("fixture3d.preview.page") / name).read_text(encoding="utf-8")
