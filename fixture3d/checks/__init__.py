"""The checks: does it stand and collide, can it be welded, is it located, held, taken off again, and true."""

from __future__ import annotations

import time
from collections.abc import Mapping

from fixture3d.checks.base import Check, Progress, Result, Rule, quiet
from fixture3d.errors import BadSolid, one_line
from fixture3d.job import Job
from fixture3d.scene import problem


def all_checks() -> tuple[Check, ...]:
    """Every check. None of them loads a heavy library before it runs."""
    from fixture3d.checks import (
        accuracy,
        holding,
        interference,
        locating,
        seating,
        shrinkage,
        torch_access,
        unloading,
    )

    return (
        seating.CHECK,
        interference.CHECK,
        torch_access.CHECK,
        locating.CHECK,
        holding.CHECK,
        unloading.CHECK,
        shrinkage.CHECK,
        accuracy.CHECK,
    )


def all_rules() -> dict[str, tuple[Check, Rule]]:
    """Every rule by name, with the check that finds it."""
    return {rule.name: (check, rule) for check in all_checks() for rule in check.rules}


def run_all(job: Job, progress: Progress = quiet) -> tuple[tuple[Result, ...], Mapping[str, float]]:
    """Run every check. A crash in one does not hide the others.

    Returns:
        One result a check, and the seconds that each took.

    Raises:
        BadSolid: a block or piece is no usable solid; the message names it.
    """
    results, seconds = [], {}
    for check in all_checks():
        start = time.perf_counter()
        results.append(_run(check, job, progress))
        seconds[check.name] = time.perf_counter() - start
    return tuple(results), seconds


def _run(check: Check, job: Job, progress: Progress) -> Result:
    missing = check.needs(job)
    if missing:
        return Result(name=check.name, status="skipped", why=missing)
    try:
        return check.run(job, progress)
    except BadSolid as error:
        raise _whose(job, error) from error
    except Exception as error:
        import traceback

        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{last.filename.rpartition('/')[2]}:{last.lineno}"
        return Result(name=check.name, status="crashed", why=one_line(f"{type(error).__name__}: {error} ({place})"))


def _whose(job: Job, error: BadSolid) -> BadSolid:
    """The error with the name of the first body that is no usable solid: a shape does not know whose it is."""
    for body in job.bodies:
        try:
            _ = body.shape.fine
        except BadSolid as found:
            member = next((m for m in job.scene.members if m.name == body.name), None)
            if member is not None:
                what, _, expected = str(found).partition("; expected ")
                key = "path" if member.path is not None else "ends"
                return BadSolid(str(problem(job.scene, member, key, what, expected)))
            seat = job.seats.get(body.item)
            kind = "piece" if seat is None else f"{seat.model}"
            return BadSolid(one_line(f'{kind} "{body.name}": {found}'))
    return error
