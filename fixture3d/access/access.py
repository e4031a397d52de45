"""Torch access: everything about one weld that follows from which torch positions along it are free.

World mm, angles in degrees. The positions are counted weld by weld and then let go: memory follows the longest weld,
not the number of welds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixture3d.access.arrays import Bytes
from fixture3d.access.best import BestPosition, best_position
from fixture3d.access.filler import Feed
from fixture3d.access.obstacles import Body, Obstacles
from fixture3d.access.runs import Run, least_runs, longest_run, unreached
from fixture3d.access.sight import seen
from fixture3d.access.sweep import blame, reach_box, sweep, sweep_fed
from fixture3d.access.torch_space import TorchBody, with_wire
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.access.wrap import corners
from fixture3d.tolerance import SHOP

ANSWER_VERSION = 7
"""Part of every cache key: raise it when the meaning or the value of an answer changes."""


@dataclass(frozen=True, kw_only=True)
class WeldAccess:
    """What one weld's torch positions come to.

    Attributes:
        length: of the weld, mm.
        reachable: mm of it at whose points some position is free.
        longest_run: mm of the longest stretch that can be welded without a stop: neighbouring points have free
            positions that differ by at most one step in each of work angle, travel angle and roll, one way of
            travel, no corner between them.
        run: first and last point of that stretch, or None.
        runs: the fewest runs that cover what can be reached, in order along the path; each but the first is a restart.
        unreached: from and to, mm along the path, of the stretches that the torch does not reach.
        corners: where the path turns a corner, mm along it, and whether the torch can be carried round without a stop;
            ``runs`` end there all the same.
        last_pass: mm that can be reached with the passes before the last one in place; None when there is one pass.
        points: for every point, whether it can be reached.
        best: the position nearest to nominal that leaves ``COMFORT``, of equally near ones that with the most
            clearance; where none leaves so much, the one that leaves the most; None when nothing is free.
        unseen: from and to, mm along the path, of what can be reached but where the arc is not seen (``sight``).
        hiders: name of each body that stops lines of sight there and the share of them that it stops, largest first;
            empty where the torch itself hides the arc.
        blockers: name of each body in the way and the share of the blocked positions that it is in the way of, alone
            or with others; largest first. Shares can add up to more than 1.
        positions: how many were tried.
        blocked: how many of them are not free.
    """

    length: float
    reachable: float
    longest_run: float
    run: tuple[int, int] | None
    runs: tuple[Run, ...]
    unreached: tuple[tuple[float, float], ...]
    corners: tuple[tuple[float, bool], ...]
    last_pass: float | None
    points: tuple[bool, ...]
    best: BestPosition | None
    unseen: tuple[tuple[float, float], ...]
    hiders: tuple[tuple[str, float], ...]
    blockers: tuple[tuple[str, float], ...]
    positions: int
    blocked: int

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON; ``from_dict`` takes it back unchanged."""
        best = None
        if self.best is not None:
            best = {**vars(self.best), "point": list(self.best.point), "axis": list(self.best.axis)}
        return {
            "length": self.length,
            "reachable": self.reachable,
            "longest_run": self.longest_run,
            "run": None if self.run is None else list(self.run),
            "runs": [vars(run).copy() for run in self.runs],
            "unreached": [list(stretch) for stretch in self.unreached],
            "corners": [[at, int(round_it)] for at, round_it in self.corners],
            "last_pass": self.last_pass,
            "points": [int(point) for point in self.points],
            "best": best,
            "unseen": [list(stretch) for stretch in self.unseen],
            "hiders": [{"name": name, "share": share} for name, share in self.hiders],
            "blockers": [{"name": name, "share": share} for name, share in self.blockers],
            "positions": self.positions,
            "blocked": self.blocked,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> WeldAccess:
        """The answer that ``to_dict`` wrote.

        Raises:
            KeyError, TypeError, ValueError: data of another shape; a cache takes that as a miss.
        """
        best = data["best"]
        if best is not None:
            best = BestPosition(**{**best, "point": tuple(best["point"]), "axis": tuple(best["axis"])})
        return cls(
            length=float(data["length"]),
            reachable=float(data["reachable"]),
            longest_run=float(data["longest_run"]),
            run=None if data["run"] is None else (int(data["run"][0]), int(data["run"][1])),
            runs=tuple(Run(**run) for run in data["runs"]),
            unreached=tuple((float(low), float(high)) for low, high in data["unreached"]),
            corners=tuple((float(at), bool(round_it)) for at, round_it in data["corners"]),
            last_pass=None if data["last_pass"] is None else float(data["last_pass"]),
            points=tuple(bool(point) for point in data["points"]),
            best=best,
            unseen=tuple((float(low), float(high)) for low, high in data["unseen"]),
            hiders=tuple((str(b["name"]), float(b["share"])) for b in data["hiders"]),
            blockers=tuple((str(b["name"]), float(b["share"])) for b in data["blockers"]),
            positions=int(data["positions"]),
            blocked=int(data["blocked"]),
        )


def answer(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    joined: Sequence[str] = (),
    margin: float = SHOP.torch_margin,
    feed: Feed | None = None,
    later: tuple[WeldPoints, Body] | None = None,
    counts: Mapping[str, int] | None = None,
) -> WeldAccess:
    """Everything about one weld: what can be reached, in what runs, how best, and what is in the way.

    Args:
        obstacles: all bodies, the joined pieces among them.
        torch: its body at the technique's stand-off; its wire is added here.
        weld: its points and frames.
        window: positions to try.
        joined: names of the pieces that the weld joins; others are ignored.
        margin: clear space that the torch must keep, mm.
        feed: the hand that feeds filler; its room is no part of the clearance that is told.
        later: points of the last pass and the bead beneath it (``wrap.on_the_bead``), or None.
        counts: how many positions each body blocks, by name, when that is known; bodies without a name here block none.
    """

    def ask(at: WeldPoints) -> Bytes:
        return sweep_fed(obstacles, wired, at, window, margin, feed)[0].free

    wired = with_wire(torch)
    verdicts, fed = sweep_fed(obstacles, wired, weld, window, margin, feed)
    reached = verdicts.free.reshape(len(weld.points), -1).max(axis=1).astype(bool)
    blocked = int(verdicts.free.size - np.count_nonzero(verdicts.free))
    shares: list[tuple[str, float]] = []
    if blocked:
        if counts is None:
            blocks = blame(obstacles, wired, weld.points, weld.frames, window, verdicts, margin) + fed
        else:
            blocks = np.array([counts.get(name, 0) for name in obstacles.names], dtype=np.int64) + fed
        shares = [(obstacles.names[i], float(blocks[i]) / blocked) for i in np.flatnonzero(blocks)]
        shares.sort(key=lambda item: (-item[1], item[0]))
    visible, stopped = seen(obstacles, torch, weld, window, verdicts.free, float(np.mean(window.works)))
    hidden = int(stopped.sum())
    hiders = [(obstacles.names[i], float(stopped[i]) / hidden) for i in np.flatnonzero(stopped)]
    run_length, run = longest_run(verdicts.free, weld, window)
    return WeldAccess(
        length=weld.length,
        reachable=float(weld.lengths[reached].sum()) if not reached.all() else weld.length,
        longest_run=run_length,
        run=run,
        runs=least_runs(verdicts.free, weld, window),
        unreached=unreached(reached, weld),
        corners=corners(weld, window, verdicts.free, ask),
        last_pass=None if later is None else _last_pass(*later, ask, wired, window, margin),
        points=tuple(bool(r) for r in reached),
        best=best_position(obstacles, torch, weld, window, verdicts, frozenset(joined)),
        unseen=unreached(visible | ~reached, weld),
        hiders=tuple(sorted(hiders, key=lambda item: (-item[1], item[0]))),
        blockers=tuple(shares),
        positions=int(verdicts.free.size),
        blocked=blocked,
    )


def _last_pass(
    at: WeldPoints, bead: Body, ask: Callable[[WeldPoints], Bytes], torch: TorchBody, window: Window, margin: float
) -> float:
    """Mm that the torch reaches on top of a bead: its verdicts as ever, and those of the bead alone."""
    alone = Obstacles.build([bead], reach_box(torch, at.points, margin))
    free = ask(at) & sweep(alone, torch, at.points, at.frames, window, margin).free
    reached = free.reshape(len(free), -1).any(axis=1)
    return at.length if reached.all() else float(at.lengths[reached].sum())
