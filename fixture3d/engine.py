"""The whole line in two steps: a scene becomes a job, a job becomes a report."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from fixture3d.access import compiling
from fixture3d.cache import Store, default_store
from fixture3d.checks import all_rules, run_all
from fixture3d.checks.base import Progress, quiet
from fixture3d.errors import Problem, SceneError, nearest_name
from fixture3d.job import Job
from fixture3d.job.found_welds import is_automatic, with_found
from fixture3d.job.recorded import record_problems
from fixture3d.job.resolve import resolve
from fixture3d.library import library
from fixture3d.report import Report, make_report, together
from fixture3d.report.family import FamilyReport
from fixture3d.scene import Scene, problem
from fixture3d.scene.family import merged
from fixture3d.scene.find import find as find
from fixture3d.scene.find import load as load
from fixture3d.scene.located import scene_error
from fixture3d.scene.stages import at_stage, every_stage


def assemble(scene: Scene, store: Store | None = None, stage: str | None = None) -> Job:
    """Every body of the setup in its place.

    Args:
        scene: validated data.
        store: the cache; None takes the user's own.
        stage: name of the stage that is meant; None takes the first of a scene that has some.

    Raises:
        SceneError: the scene asks for something that cannot exist, or has no stage of that name.
        ModelError: a folder of models that cannot be used.
    """
    kept = default_store() if store is None else store
    if stage is None and scene.stage is not None:
        stage = scene.stage.name
    whole, found = with_found(scene, kept)
    return resolve(at_stage(whole, stage), library(scene.models), kept, found)


def assemble_all(scene: Scene, store: Store | None = None) -> tuple[Job, ...]:
    """One job for each stage, in the order of the work; one for a scene without stages. Arguments as ``assemble``."""
    shop, kept = library(scene.models), default_store() if store is None else store
    jobs: list[Job] = []
    problems: dict[tuple[str, int, str], Problem] = {}
    if scene.stage is not None:
        return (assemble(scene, store),)
    whole, found = with_found(scene, kept)
    for one in every_stage(whole):
        try:
            jobs.append(resolve(one, shop, kept, found))
        except SceneError as error:
            # What is wrong in all stages alike is told once.
            problems |= {key: p for p in error.problems if (key := (p.file, p.line, p.what)) not in problems}
    if problems:
        raise SceneError(sorted(problems.values(), key=lambda p: p.line))
    return tuple(jobs)


def check(
    scene: Scene,
    progress: Progress = quiet,
    store: Store | None = None,
    stage: str | None = None,
    spread: tuple[int, int] | None = None,
) -> Report:
    """Check a scene: does it stand, does it collide, can it be welded; every stage of it.

    Args:
        scene: validated data; of a file with sizes this one alone (``check_sizes`` checks all).
        progress: told how far a long run has come.
        store: the cache; None takes the user's own.
        stage: name of the one stage that is to be checked; None checks all.
        spread: how many imagined setups are drawn of the key figures, and the seed; None draws none.

    Raises:
        SceneError: the scene asks for something that cannot exist.
    """
    with compiling.ahead(is_automatic(scene) or any(not weld.skip for weld in scene.welds)):
        if stage is not None:
            return check_job(replace(assemble(scene, store, stage), spread=spread), progress)
        return check_jobs([replace(job, spread=spread) for job in assemble_all(scene, store)], progress)


def check_sizes(
    scene: Scene,
    progress: Progress = quiet,
    store: Store | None = None,
    stage: str | None = None,
    spread: tuple[int, int] | None = None,
) -> FamilyReport:
    """Check all sizes of a scene with ``[sizes]``, each with its stages; arguments as for ``check``.

    Raises:
        SceneError: some size asks for something that cannot exist; what is wrong in all alike is told once.
    """
    reports: list[Report] = []
    found: list[tuple[str, Sequence[Problem]]] = []
    for name in scene.sizes:
        try:
            reports.append(check(scene.at_size(name), progress, store, stage, spread))
            found.append((name, ()))
        except SceneError as error:
            found.append((name, error.every))
    if problems := merged(found):
        raise scene_error(problems, str(scene.path or ""))
    return FamilyReport(sizes=tuple(reports))


def _known_rules(scene: Scene) -> None:
    """Refuse an ``[[accept]]`` of a rule that no check has: it would silence nothing, unseen."""
    rules = all_rules()
    problems = [
        problem(scene, item, "rule", f'"{item.rule}" is not a rule', "", nearest_name(item.rule, rules))
        for item in scene.accepts
        if item.rule not in rules
    ]
    if problems:
        raise SceneError(problems)


def _known_entries(jobs: Sequence[Job]) -> None:
    """Refuse a record whose entries name what is not there: they would count for nothing, unseen."""
    problems = record_problems(jobs)
    if problems:
        raise SceneError(problems)


def check_job(job: Job, progress: Progress = quiet) -> Report:
    """Run every check on an assembled job."""
    _known_rules(job.scene.whole)
    _known_entries([job])
    start = time.perf_counter()
    results, seconds = run_all(job, progress)
    return make_report(job, results, {**seconds, "all checks": time.perf_counter() - start})


def check_jobs(jobs: Sequence[Job], progress: Progress = quiet) -> Report:
    """One report of the jobs of all stages of a scene."""
    _known_entries(jobs)
    return together([check_job(job, progress) for job in jobs])
