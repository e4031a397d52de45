"""The table of welds: one row of plain data a weld."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from fixture3d.access.access import WeldAccess
from fixture3d.access.ends import end_in_words, is_closed, main_runs, short_ends
from fixture3d.access.position import Position
from fixture3d.checks.base import neat
from fixture3d.frame import Array
from fixture3d.job import Job


def figures(job: Job, known: Mapping[str, WeldAccess], positions: Mapping[str, Position]) -> Iterator[dict[str, Any]]:
    """One row a weld, those that could not be tried last with null for what is not known."""
    for weld in job.welds:
        yield _row(
            weld.name, weld.type, weld.joins, np.asarray(weld.path), known.get(weld.name), positions.get(weld.name)
        )
    for declared in job.scene.welds:
        if declared.name in job.weld_problems:
            path = np.asarray(declared.path or ((0.0, 0.0, 0.0),))
            yield _row(declared.name, declared.type or "fillet", declared.joins or ("", ""), path, None, None)


def _row(
    name: str, kind: str, joins: tuple[str, str], path: Array, found: WeldAccess | None, position: Position | None
) -> dict[str, Any]:
    ends = short_ends(found.length, found.runs, is_closed(path)) if found is not None else ()
    return {
        "name": name,
        "type": kind,
        "joins": [name for name in joins if name],
        "length": neat(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()),
        "reachable": neat(found.reachable) if found is not None else None,
        "longest_run": neat(found.longest_run) if found is not None else None,
        "runs": _runs(found),
        "unreached": [[neat(low), neat(high)] for low, high in found.unreached] if found is not None else None,
        "short_ends": [
            {"end": end_in_words(path, end.first), "length": neat(end.length), "reached": end.reached} for end in ends
        ],
        "restarts": max(0, len(main_runs(found.runs, found.length, ends)) - 1) if found is not None else None,
        "corners": [{"at": at, "round": way} for at, way in found.corners] if found is not None else None,
        "last_pass": neat(found.last_pass) if found is not None and found.last_pass is not None else None,
        "unseen": [[neat(low), neat(high)] for low, high in found.unseen] if found is not None else None,
        "best": _best(found),
        "blockers": [{"name": body, "share": neat(share)} for body, share in found.blockers] if found else [],
        "position": position.to_dict() if position is not None else None,
    }


def _runs(found: WeldAccess | None) -> list[dict[str, Any]] | None:
    """From, to and way of each run along the path; each but the first is a restart."""
    if found is None:
        return None
    return [{"from": neat(run.start), "to": neat(run.end), "direction": run.direction} for run in found.runs]


def _best(found: WeldAccess | None) -> dict[str, Any] | None:
    if found is None or found.best is None:
        return None
    best = found.best
    return {
        "point": [neat(v) for v in best.point],
        "axis": list(best.axis),
        "roll": best.roll,
        "work_angle": best.work_angle,
        "travel_angle": best.travel_angle,
        "direction": best.direction,
        "clearance": best.clearance,
    }
