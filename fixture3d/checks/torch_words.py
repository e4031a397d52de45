"""What is said of a weld once its torch positions are known, and what would make room."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from fixture3d.access.access import WeldAccess
from fixture3d.access.ends import is_closed, lacking, main_runs, short_ends
from fixture3d.access.runs import Run
from fixture3d.access.torch import floor_angle
from fixture3d.checks.base import Finding, neat, point
from fixture3d.checks.torch_outcome import Outcome
from fixture3d.checks.torch_question import Asked, middles
from fixture3d.checks.torch_search import LEAST_SHARE
from fixture3d.job import Job
from fixture3d.job.wayout import carried
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show, show_rough

TIGHT: Final = 5.0  # mm; common practice, no source
_SHOWN: Final = LEAST_SHARE  # blockers below this share are left to the table of welds
_LISTED: Final = 4  # places along a weld that are named one by one

Make = Callable[..., Finding]


def judge(job: Job, asked: Asked, found: WeldAccess, tried: Outcome | None, make: Make) -> Iterator[Finding]:
    """What is to be said of one weld and its answer."""
    name, units = asked.weld.name, job.scene.units
    if found.best is None:
        yield make(
            "weld-blocked",
            _with_blockers(name, found),
            f"no point of {name} can be reached",
            measured=neat(found.reachable),
            limit=neat(found.length),
            unit="mm",
            at=point(asked.points.points.mean(axis=0)),
            remedy=_give_back(job, asked, found, tried),
        )
        return
    ends = short_ends(found.length, found.runs, is_closed(asked.weld.path))
    if lacking(found.unreached, found.length, ends):
        blind = asked.points.points[~np.array(found.points)]
        share = int(100.0 * found.reachable / found.length)
        where = _stretches(found.unreached, units)
        yield make(
            "weld-partly-blocked",
            _with_blockers(name, found),
            f"part of {name} cannot be reached",
            measured=neat(found.reachable),
            limit=neat(found.length),
            unit="mm",
            at=point(blind[len(blind) // 2]),
            remedy=f"{share} % of it can be welded here, not {where} along its path; "
            + _give_back(job, asked, found, tried),
        )
    if found.last_pass is not None and found.last_pass < found.reachable - NUMERIC.merge:
        yield make(
            "weld-partly-blocked",
            _with_blockers(name, found),
            f"the last pass of {name} cannot be run all along with the ones before it in place",
            measured=neat(found.last_pass),
            limit=neat(found.reachable),
            unit="mm",
            at=point(asked.points.points.mean(axis=0)),
            remedy=_make_room(job, asked, found),
        )
    runs = main_runs(found.runs, found.length, ends)
    if len(runs) > 1:
        stops = len(runs) - 1
        yield make(
            "weld-restart",
            [name],
            f"{name} cannot be welded in one run",
            measured=neat(found.longest_run),
            limit=neat(found.reachable),
            unit="mm",
            at=point(asked.points.points[runs[0].last]),
            remedy=f"it needs {stops} restart{'s' if stops > 1 else ''}: {_stops(found, runs, units)} along its path"
            + _in_one_go(tried),
        )
    if found.unseen:
        hidden = sum(high - low for low, high in found.unseen)
        bodies = [body for body, share in found.hiders[:2] if share >= _SHOWN]
        who = f"{' and '.join(bodies)} hide it" if len(bodies) > 1 else f"{bodies[0]} hides it" if bodies else ""
        yield make(
            "weld-unseen",
            [name, *bodies],
            f"the welder does not see the arc on part of {name}"
            if hidden < found.reachable - NUMERIC.merge
            else f"the welder does not see the arc at {name}",
            measured=neat(hidden),
            limit=neat(found.reachable),
            unit="mm",
            remedy=f"{_stretches(found.unseen, units)} along its path: "
            + (f"{who}; make room to look in" if who else "the nozzle hides it; hold it farther off"),
        )
    if found.best.clearance < TIGHT:
        yield make(
            "weld-tight",
            [name],
            f"the torch has little room in its best position at {name}",
            measured=neat(found.best.clearance),
            limit=TIGHT,
            unit="mm",
            at=found.best.point,
            remedy=_make_room(job, asked, found) if found.blockers else "",
        )


def _in_one_go(tried: Outcome | None) -> str:
    """What was tried against the restarts of a weld."""
    if tried is None or not (tried.case.broken or tried.in_one_go):
        return ""
    if tried.in_one_go:
        return f"; or {tried.in_one_go}"
    return "" if tried.case.short else f"; {tried.tried} changes tried against it, none takes the stop away"


def _with_blockers(name: str, found: WeldAccess) -> list[str]:
    """A weld and the bodies that are most in its way, as the subjects of a finding."""
    return [name, *(blocker for blocker, share in found.blockers[:3] if share >= _SHOWN)]


def _stretches(stretches: Sequence[tuple[float, float]], units: Units) -> str:
    """From-to in words, the first few of them."""
    said = [f"from {show_rough(low, units)} to {show_rough(high, units)}" for low, high in stretches[:_LISTED]]
    more = len(stretches) - len(said)
    return ", ".join(said) + (f" and in {more} more places" if more else "")


def _stops(found: WeldAccess, runs: Sequence[Run], units: Units) -> str:
    """Where the torch is taken off, and where it is set on again if not at the same place."""
    said = []
    corner = dict(found.corners)
    for one, after in list(pairwise(runs))[:_LISTED]:
        gap = after.start - one.end > NUMERIC.merge
        go_on = f" and go on at {show_rough(after.start, units)}" if gap else ""
        turned = "" if gap or not corner.get(one.end) else " (or carry the torch round the corner there)"
        said.append(f"stop at {show_rough(one.end, units)}{go_on}{turned}")
    more = len(runs) - 1 - len(said)
    return ", ".join(said) + (f" and in {more} more places" if more else "")


def _give_back(job: Job, asked: Asked, found: WeldAccess, tried: Outcome | None) -> str:
    """The least change that gives a weld back, and who is in the way; or what was tried."""
    if tried is None:
        return f"{_make_room(job, asked, found)} (not tried: the tries went to the welds that lose more)"
    said = tried.in_words(job.scene.units)
    movable, fixed = _in_the_way_most(job, found)
    who = [_shares(movable)] if movable else []
    if tried.whole:
        return "; ".join([said, *who])
    if fixed:
        advice = (
            ""
            if tried.earlier is not None and tried.earlier[0] == fixed[0][0]
            else f": {_advice(job, asked, fixed[0][0])}"
        )
        who.append(_shares(fixed) + advice)
    return "; ".join([*who, said] if tried.change is None else [said, *who])


def _make_room(job: Job, asked: Asked, found: WeldAccess) -> str:
    """What to do about the blockers that take most: blocks that can be moved, or what takes more than any of them."""
    movable, fixed = _in_the_way_most(job, found)
    said = []
    if movable:
        said.append(f"{_shares(movable)}: {_ways(job, [name for name, _ in movable])}")
    if fixed:
        said.append(f"{_shares(fixed)}: {_advice(job, asked, fixed[0][0])}")
    return "; ".join(said) if said else "allow a wider window in the technique"


def _ways(job: Job, names: Sequence[str]) -> str:
    """What can be done about some blocks: a lower one only of a block on which nothing lies."""
    hole = f"one hole ({show(min(job.table.pitch), job.scene.units)}) away"
    blocks = [name for name in names if not job.seats[name].clamp]
    on = {name: carried(job, job.seats[name]) for name in blocks}
    free = [name for name in blocks if not on[name]]
    if len(names) == 1:
        ways = f"turn it, use a lower block, or move it {hole}" if free else f"turn it, or move it {hole}"
    elif free == list(names):
        ways = f"turn them, use lower ones, or move them {hole}"
    else:
        lower = f", use a lower {' and a lower '.join(free)}" if free else ""
        ways = f"turn them{lower}, or move them {hole}"
    kept = [f"{name}, for it carries {' and '.join(on[name])}" for name in blocks if on[name]]
    return f"{ways}; do not lower {', nor '.join(kept)}" if kept else ways


def _in_the_way_most(job: Job, found: WeldAccess) -> tuple[Sequence[tuple[str, float]], Sequence[tuple[str, float]]]:
    """The two blocks that take most, and what else takes more than any block, with their shares."""
    shown = [(name, share) for name, share in found.blockers if share >= _SHOWN] or list(found.blockers[:1])
    movable = [(name, share) for name, share in shown if name in job.seats][:2]
    most = movable[0][1] if movable else 0.0
    return movable, [(name, share) for name, share in shown if name not in job.seats and share > most][:1]


def _shares(blockers: Sequence[tuple[str, float]]) -> str:
    first, *rest = (f"{round(100.0 * share)} %" for _, share in blockers)
    names = [name for name, _ in blockers]
    more = "".join(f", {name} {share}" for name, share in zip(names[1:], rest, strict=True))
    return f"{names[0]} is in the way of {first}{more} of the blocked positions"


def _advice(job: Job, asked: Asked, name: str) -> str:
    if name in asked.weld.joins:
        return too_narrow(asked) or "it is one of the two pieces welded here, so use another torch or a wider window"
    if any(body.name == name for body in job.pieces()):
        return "it is part of the work, so weld here before it goes in, or use another torch or a wider window"
    return "lift the work higher above it, or weld this side with the work turned over"


def too_narrow(asked: Asked) -> str:
    """Whether the joint leaves the nozzle no room at this stand-off, by plane trigonometry of its rim; empty if not.

    Nothing is said of a covered electrode, which has no nozzle, nor where the arc is aimed away from the root.
    """
    torch = asked.torch
    if torch.burns or asked.points.aims is not None:
        return ""
    needed = floor_angle(2.0 * torch.nozzle_radius, torch.stand_off)
    left = min(90.0 - middle for middle, _, _ in middles(asked.weld))
    if asked.weld.type not in ("fillet", "lap", "flare") or left >= needed:
        return ""
    return (
        f"the joint leaves {left:.0f} degrees to either side of its middle, and this nozzle at this stand-off needs "
        f"{needed:.0f}, so use a thinner nozzle or a larger stand-off"
    )
