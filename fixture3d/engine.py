"""The whole line in two steps: a scene becomes a job, a job becomes a report."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

from fixture3d.cache import Store, default_store
from fixture3d.checks import run_all
from fixture3d.checks.base import Progress, quiet
from fixture3d.job import Job
from fixture3d.library import library
from fixture3d.report import Report, make_report
from fixture3d.resolve import resolve
from fixture3d.scene import Scene


def assemble(scene: Scene, models: Sequence[str | Path] = (), store: Store | None = None) -> Job:
    """Every body of the setup in its place.

    Args:
        scene: validated data.
        models: folders of the user's own models, besides the shipped ones.
        store: the cache; None takes the user's own.

    Raises:
        SceneError: the scene asks for something that cannot exist.
        ModelError: a folder of models that cannot be used.
    """
    return resolve(scene, library([Path(m) for m in models]), default_store() if store is None else store)


def check_job(job: Job, progress: Progress = quiet) -> Report:
    """Run every check on an assembled job."""
    start = time.perf_counter()
    results, seconds = run_all(job, progress)
    return make_report(job, results, {**seconds, "all checks": time.perf_counter() - start})
