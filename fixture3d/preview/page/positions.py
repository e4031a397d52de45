"""Torch positions of every weld, one by one: which are free, who is in the way of the others, and how a run goes.

The check of torch access counts positions and lets them go; the page shows them, so they are asked for again and kept.
World mm, degrees. numba is loaded only where an answer is not in the cache.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.access.access import WeldAccess
from fixture3d.access.best import BestPosition
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.position import Position
from fixture3d.access.runs import longest_run
from fixture3d.access.sweep import Sweep, blame, sweep_fed
from fixture3d.access.torch_space import TorchBody, torch_body, with_wire
from fixture3d.access.welds import Weld, WeldPoints
from fixture3d.access.window import Window
from fixture3d.cache import content_key
from fixture3d.checks import torch_access
from fixture3d.checks.base import Progress, quiet
from fixture3d.checks.torch_access import Asked
from fixture3d.job import Job

Bytes = NDArray[np.uint8]
Step = tuple[int, int]

_STORED: Final = "torch-positions-1"  # raise the number when the meaning of what is kept changes
_CHANGE: Final = 0.5  # degrees off nominal that a change of hold from one point to the next is worth
_ROLL: Final = 0.02  # degrees off nominal that a turn of the handle by one degree is worth: small, to settle ties


@dataclass(frozen=True, kw_only=True, eq=False)
class Positions:
    """One weld and every torch position at each of its points.

    A direction is a work angle and a lean: ``work * len(window.leans) + lean``.

    Attributes:
        weld: the weld.
        torch: the name of the torch, its stand-off in ``body``.
        body: its space as it is drawn, without the wire; of an electrode that burns down, at its full length.
        burns: an electrode that burns down: at every length from full to stub the torch is clear where it is free.
        position: how the weld lies.
        window: the positions that are tried.
        points: where.
        access: what the check says of it.
        free: (points, directions, rolls) 1 where the torch is clear.
        blockers: for every point, who is in the way of its blocked positions and of what share; largest first.
        best: point, direction and roll of the best position, or None.
        run: direction and roll at each point of the longest run; None at points outside it.
    """

    weld: Weld
    torch: str
    body: TorchBody
    burns: bool
    position: Position
    window: Window
    points: WeldPoints
    access: WeldAccess
    free: Bytes
    blockers: tuple[tuple[tuple[str, float], ...], ...]
    best: tuple[int, int, int] | None
    run: tuple[Step | None, ...]


def positions(job: Job, progress: Progress = quiet) -> dict[str, Positions]:
    """Every weld that can be tried, by name.

    Args:
        job: the setup.
        progress: told how far it has come.
    """
    asked: list[Asked] = []
    windows: dict[Any, Window] = {}
    for weld in job.welds:
        try:
            asked.append(torch_access.question(job, weld, windows))
        except (KeyError, ValueError):
            continue  # the check says why
    answers = torch_access.answers(job, asked, progress)
    return {
        one.weld.name: _positions(job, one, access, free, blockers)
        for one, access, (free, blockers) in zip(asked, answers, _verdicts(job, asked, progress), strict=True)
    }


_Verdicts = tuple[Bytes, tuple[tuple[tuple[str, float], ...], ...]]


def _verdicts(job: Job, asked: Sequence[Asked], progress: Progress) -> list[_Verdicts]:
    """Free positions and blockers of each question, kept or worked out."""
    keys = [content_key([key, _STORED]) for key in torch_access.question_keys(job, asked)]
    found = [_kept(job, key, one) for key, one in zip(keys, asked, strict=True)]
    todo = [k for k, one in enumerate(found) if one is None]
    ready = torch_access.in_the_way(job, [asked[k] for k in todo]) if todo else None
    for done, k in enumerate(todo):
        assert ready is not None
        progress("torch positions", done, len(todo))
        found[k] = one = _worked_out(ready, asked[k])
        if job.store is not None:
            job.store.put_json(keys[k], _STORED, _to_json(*one))
    if todo:
        progress("torch positions", len(todo), len(todo))
    return [one for one in found if one is not None]


def _worked_out(obstacles: Obstacles, asked: Asked) -> _Verdicts:
    torch, points, window = with_wire(asked.torch), asked.points, asked.window
    verdicts, _ = sweep_fed(obstacles, torch, points, window, feed=asked.feed)
    count = len(points.points)
    blockers = []
    for k in range(count):
        one = slice(k, k + 1)
        here = Sweep(free=verdicts.free[one], inside=verdicts.inside[one])
        blocked = int(here.free.size - np.count_nonzero(here.free))
        shares: list[tuple[str, float]] = []
        if blocked:
            counts = blame(obstacles, torch, points.points[one], points.frames[one], window, here)
            shares = [(obstacles.names[i], float(counts[i]) / blocked) for i in np.flatnonzero(counts)]
        blockers.append(tuple(sorted(shares, key=lambda item: (-item[1], item[0]))))
    return verdicts.free.reshape(count, -1, len(window.rolls)), tuple(blockers)


def _to_json(free: Bytes, blockers: Sequence[Sequence[tuple[str, float]]]) -> dict[str, Any]:
    return {"free": bitset(free), "blockers": [[list(pair) for pair in row] for row in blockers]}


def _kept(job: Job, key: str, asked: Asked) -> _Verdicts | None:
    data = job.store.get_json(key, _STORED) if job.store is not None else None
    if data is None:
        return None
    shape = (len(asked.points.points), asked.window.shape[0] * asked.window.shape[1], asked.window.shape[2])
    try:
        free = from_bitset(data["free"], shape)
        blockers = tuple(tuple((str(name), float(share)) for name, share in row) for row in data["blockers"])
    except (KeyError, TypeError, ValueError):
        return None
    return (free, blockers) if len(blockers) == shape[0] else None


def bitset(free: Bytes) -> str:
    """Verdicts as base64 of bits, the last index fastest, bit 0 of a byte first."""
    return base64.b64encode(np.packbits(free.ravel(), bitorder="little").tobytes()).decode()


def from_bitset(text: str, shape: tuple[int, ...]) -> Bytes:
    """The verdicts that `bitset` wrote.

    Raises:
        ValueError: they are not of that shape.
    """
    packed = np.frombuffer(base64.b64decode(text, validate=True), dtype=np.uint8)
    count = int(np.prod(shape))
    if len(packed) != -(-count // 8):
        raise ValueError(f"Expected {count} bits, got {8 * len(packed)}")
    return np.unpackbits(packed, count=count, bitorder="little").reshape(shape)


def _positions(job: Job, asked: Asked, access: WeldAccess, free: Bytes, blockers: Any) -> Positions:
    best = _indices(asked, access.best) if access.best is not None else None
    torch = torch_access.technique_of(job, asked.technique.name)[1]
    return Positions(
        weld=asked.weld,
        torch=asked.technique.torch,
        body=torch_body(replace(torch, stub_length=0.0), asked.technique.stand_off),
        burns=torch.stub_length > 0.0,
        position=asked.position,
        window=asked.window,
        points=asked.points,
        access=access,
        free=free,
        blockers=blockers,
        best=best,
        run=run_positions(free, asked.points, asked.window, best[2] if best is not None else 0),
    )


def _indices(asked: Asked, best: BestPosition) -> tuple[int, int, int]:
    """Point, direction and roll of a position that is told in mm and degrees."""
    window = asked.window
    point = int(np.linalg.norm(asked.points.points - np.array(best.point), axis=1).argmin())
    work = int(np.abs(window.works - best.work_angle).argmin())
    sense = 1.0 if best.direction == "forward" else -1.0
    leans = next(leans for way, leans in window.runs if way == sense)
    lean = int(leans[np.abs(window.leans[leans] - sense * best.travel_angle).argmin()])
    roll = int(np.abs(window.rolls - best.roll).argmin())
    return point, work * len(window.leans) + lean, roll


def run_positions(free: Bytes, weld: WeldPoints, window: Window, roll: int = 0) -> tuple[Step | None, ...]:
    """How the torch is held along the longest run: the hold that is nearest to nominal and changes least.

    Args:
        free: (points, directions, rolls) verdicts.
        weld: its points.
        window: of the technique.
        roll: the turn of the handle to keep to where there is a choice.

    Returns:
        Direction and roll at each point of the run that `longest_run` tells, None elsewhere. From a point to the next
        work angle, lean and roll differ by at most one step each.
    """
    count = len(free)
    whole = free.reshape(count, *window.shape)
    out: list[Step | None] = [None] * count
    length, span = longest_run(whole, weld, window)
    if span is None:
        return tuple(out)
    for way in window.runs:
        # The same question for one way of travel alone, to know which way the longest run goes.
        if longest_run(whole, weld, replace(window, runs=(way,))) == (length, span):
            first, last = span
            out[first : last + 1] = _chain(whole[first : last + 1], window, way[1], roll)
            break
    return tuple(out)


def _chain(free: Bytes, window: Window, leans: NDArray[np.int64], roll: int) -> list[Step]:
    """The cheapest chain through the points of one run, (direction, roll) a point."""
    part = free[:, :, leans]
    turned = np.abs(window.rolls - window.rolls[roll])
    price = window.cost[:, leans, None] + _ROLL * np.minimum(turned, 360.0 - turned)
    rolls = len(window.rolls)
    steps = _steps(rolls)
    total = np.where(part[0], price, np.inf)
    came: list[NDArray[np.int64]] = []
    for here in part[1:]:
        options = np.stack([_shifted(total, step) + _CHANGE * float(np.abs(step).sum()) for step in steps])
        chosen = options.argmin(axis=0)
        came.append(chosen)
        total = np.where(here, np.take_along_axis(options, chosen[None], axis=0)[0] + price, np.inf)
    at = np.array(np.unravel_index(int(total.argmin()), total.shape))
    out = []
    for chosen in (*came[::-1], None):
        work, way, turn = (int(i) for i in at)
        out.append((work * len(window.leans) + int(leans[way]), turn))
        if chosen is not None:
            at = at - np.array(steps[int(chosen[work, way, turn])])
            at[2] %= rolls
    return out[::-1]


def _steps(rolls: int) -> list[tuple[int, int, int]]:
    """Changes of work angle, lean and roll from a point to the next, no change first."""
    turns = (0, -1, 1) if rolls > 1 else (0,)
    found = [(w, t, r) for w in (0, -1, 1) for t in (0, -1, 1) for r in turns]
    return sorted(found, key=lambda step: sum(abs(s) for s in step))


def _shifted(total: NDArray[np.float64], step: tuple[int, int, int]) -> NDArray[np.float64]:
    """Costs of the positions from which this step leads here; infinite where there is none. The roll goes round."""
    out = np.roll(total, step, axis=(0, 1, 2))
    for axis in (0, 1):
        if step[axis]:
            edge = [slice(None)] * 3
            edge[axis] = slice(0, 1) if step[axis] > 0 else slice(-1, None)
            out[tuple(edge)] = np.inf
    return out
