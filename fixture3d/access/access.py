"""Torch access: which torch positions along a weld are clear of every body, and what follows from that.

World mm, angles in degrees. A position is free when the torch, grown by a margin all round, meets no body's surface
and does not lie wholly inside a closed body. Verdicts are exact for triangles and the torch's exact shape
(``access_kernel``); the answers do not depend on the number of threads.

Positions are counted point by point of one weld and then let go: memory follows the longest weld, not the number
of welds.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.access import compiling
from fixture3d.access.filler import Feed, with_feeding
from fixture3d.access.runs import Run, least_runs, longest_run, unreached
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.sight import seen
from fixture3d.access.torch import TorchBody, Window, torch_body, with_wire
from fixture3d.access.welds import WeldPoints
from fixture3d.access.wrap import corners
from fixture3d.frame import cos_sin
from fixture3d.tolerance import NUMERIC, SHOP

Array = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]

ANSWER_VERSION = 6
"""Part of every cache key: raise it when the meaning or the value of an answer changes."""
ROOM = 100.0
"""Clearance is measured up to this, mm; ``clearance`` of this value means at least so much."""
COMFORT = 5.0
"""Clearance that a hand can be relied on to keep, mm; common practice, no source."""
CELL = 24.0
"""Cell of the distance grid, mm; measured: finer cells prove more but cost more to fill."""
MOST_CELLS = 8_000_000
"""Above this the cells grow: slower, never wrong."""
FAR = 130.0
"""The grid tells distances no larger than this, mm."""
RECENT = 6
"""How many triangles that a part of the torch met are tried first at the next point."""

Body = tuple[str, ArrayLike, ArrayLike, bool]
"""Name, vertices (n, 3) world mm, faces (m, 3), whether it is a closed solid."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Obstacles:
    """Every body that a torch may hit, ready for questions. Made by ``Obstacles.build``.

    Attributes:
        names: of the bodies, in the order given.
        closed: (bodies,) which of them are solids whose inside counts.
        boxes: (bodies, 2, 3) lowest and highest corner of each.
        digests: content of each body, for cache keys.
        tree: nodes, meta, triangles and owners as ``access_kernel`` wants them.
        grid: distances at cell centres as far as they were asked for, and the grid's place.
        ray: longer than the scene is wide.
    """

    names: tuple[str, ...]
    closed: Bytes
    boxes: Array
    digests: tuple[str, ...]
    tree: tuple[NDArray[np.float32], NDArray[np.int32], Array, NDArray[np.int32]]
    grid: tuple[NDArray[np.float32], Array]
    ray: float

    @property
    def triangles(self) -> int:
        """Number of triangles."""
        return len(self.tree[2])

    @classmethod
    def build(cls, bodies: Sequence[Body], region: ArrayLike | None = None) -> Obstacles:
        """Make the tree and the distance grid.

        Args:
            bodies: name, vertices (n, 3) world mm, faces (m, 3) and whether it is closed. Names must differ. A
                closed body that is inside out is turned.
            region: (2, 3) box outside of which no torch comes: ``reach_box`` of the welds. It bounds the distance grid,
                which is there for speed; answers are the same without it.

        Raises:
            ValueError: names that repeat, arrays of the wrong shape, numbers that are not finite, faces that name
                no vertex.
        """
        compiling.wait()
        names = tuple(body[0] for body in bodies)
        if len(set(names)) != len(names):
            raise ValueError("Expected bodies of different names")
        corners = [_corners(*body) for body in bodies]
        tris = _with_normals(np.concatenate([*corners, np.zeros((0, 3, 3))]))
        owner = np.repeat(np.arange(len(bodies), dtype=np.int32), [len(c) for c in corners])
        boxes = np.array(
            [[c.min(axis=(0, 1)), c.max(axis=(0, 1))] if len(c) else np.zeros((2, 3)) for c in corners]
        ).reshape(-1, 2, 3)
        if len(tris):
            order, nodes, meta = _tree(tris, owner)
            tris, owner = np.ascontiguousarray(tris[order]), np.ascontiguousarray(owner[order])
        else:
            nodes, meta = np.zeros((0, 6), np.float32), np.zeros((0, 4), np.int32)
        low, high = (boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)) if len(tris) else (np.zeros(3), np.zeros(3))
        return cls(
            names=names,
            closed=np.array([body[3] for body in bodies], dtype=np.uint8).reshape(-1),
            boxes=boxes,
            digests=tuple(
                _digest(name, c, np.array([closed])) for (name, _, _, closed), c in zip(bodies, corners, strict=True)
            ),
            tree=(nodes, meta, tris, owner),
            grid=_grid(boxes[[len(c) > 0 for c in corners]], region),
            ray=2.0 * float(np.linalg.norm(high - low)) + 1.0,
        )


def _tree(tris: Array, owner: NDArray[np.int32]) -> tuple[Ints, NDArray[np.float32], NDArray[np.int32]]:
    """Order of the triangles (t, 12), nodes and meta of the tree over them."""
    from fixture3d.access import kernel

    count = len(tris)
    corners = tris[:, :9].reshape(-1, 3, 3)
    low, high = corners.min(axis=1), corners.max(axis=1)
    order = np.arange(count, dtype=np.int64)
    nodes, meta = np.zeros((2 * count + 1, 6), np.float32), np.zeros((2 * count + 1, 4), np.int32)
    right, stack = np.zeros(2 * count + 1, np.int32), np.zeros((count + 256, 3), np.int64)
    binned, swept = np.zeros((kernel.BINS, 7)), np.zeros((kernel.BINS, 2))
    used = kernel.build_tree(low, high, 0.5 * (low + high), owner, order, nodes, meta, right, stack, binned, swept)
    return order, nodes[:used].copy(), meta[:used].copy()


def _corners(name: str, vertices: ArrayLike, faces: ArrayLike, closed: bool) -> Array:
    """Triangles (m, 3, 3) of one body, outward when it is closed."""
    v = np.asarray(vertices, dtype=np.float64)
    f = np.asarray(faces, dtype=np.int64)
    if v.ndim != 2 or v.shape[1] != 3 or f.ndim != 2 or f.shape[1] != 3:
        raise ValueError(f'body "{name}": expected vertices (n, 3) and faces (m, 3), got {v.shape} and {f.shape}')
    if not np.isfinite(v).all() or (f.size and (f.min() < 0 or f.max() >= len(v))):
        raise ValueError(f'body "{name}": expected finite vertices and faces that name them')
    out: Array = v[f]
    if closed and len(out):
        about = out - out.mean(axis=(0, 1))
        if float(np.einsum("ij,ij->", about[:, 0], np.cross(about[:, 1], about[:, 2]))) < 0.0:
            out = np.ascontiguousarray(out[:, ::-1])
    return out


def _with_normals(corners: Array) -> Array:
    """Triangles (m, 12): corners and unit normal; the normal is zero when the triangle has no area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)[:, None]
    normal = np.where(size > 1e-12, normal / np.where(size > 1e-12, size, 1.0), 0.0)
    return np.ascontiguousarray(np.hstack([corners.reshape(-1, 9), normal]))


def _grid(boxes: Array, region: ArrayLike | None) -> tuple[NDArray[np.float32], Array]:
    """An empty distance grid over the bodies and some room round them, or over the region; cells fill on demand."""
    if not len(boxes):
        return np.zeros((0, 0, 0), np.float32), np.array([0.0, 0.0, 0.0, CELL, FAR])
    lowest, highest = boxes[:, 0].min(axis=0) - FAR, boxes[:, 1].max(axis=0) + FAR
    if region is not None:
        box = np.asarray(region, dtype=np.float64)
        lowest, highest = np.maximum(lowest, box[0]), np.minimum(highest, box[1])
        highest = np.maximum(highest, lowest + CELL)
    cell = CELL
    while np.prod(np.ceil((highest - lowest) / cell)) > MOST_CELLS:
        cell *= 1.1
    shape = np.maximum(1, np.ceil((highest - lowest) / cell)).astype(int)
    return np.full(tuple(shape), -1.0, np.float32), np.array([*lowest, cell, FAR])


def workers() -> int:
    """Threads that a question is spread over; one in a child process, which is one of several already."""
    if multiprocessing.parent_process() is not None:
        return 1
    return max(1, min(8, os.cpu_count() or 1))


def _in_threads(work: Callable[[Ints], None], chunks: Iterable[Ints]) -> None:
    """Run ``work`` on every chunk; they must not depend on each other."""
    todo = [chunk for chunk in chunks if len(chunk)]
    if workers() == 1 or len(todo) == 1:
        for chunk in todo:
            work(chunk)
        return
    with ThreadPoolExecutor(workers()) as pool:
        list(pool.map(work, todo))


def warm_up() -> None:
    """Compile the kernels, or load them from disk; worth calling in a thread while other libraries load.

    The first time on a machine this takes 10 s or more, afterwards some tenths.
    """
    # One point under a plate that blocks the torch and one far from it, so that every kernel has something to do.
    corners = np.array([[-90.0, -90.0, 20.0], [90.0, -90.0, 20.0], [0.0, 90.0, 20.0]])
    line = WeldPoints(
        points=np.array([[0.0, 0.0, 0.0], [2000.0, 0.0, 0.0]]),
        frames=np.stack([np.eye(3), np.eye(3)]),
        lengths=np.ones(2),
        along=np.array([0.0, 2000.0]),
        joined=np.ones(1, dtype=np.bool_),
    )
    body = torch_body(SHIPPED["mig-60"], 15.0)
    window = TECHNIQUES["corner"].window(work_step=45.0, travel_step=45.0, rolls=1)
    answer(Obstacles.build([("plate", corners, [[0, 1, 2]], False)]), body, line, window)


def fill_cache() -> None:
    """Compile the kernels for the next process; nothing where numba has no folder to keep them in.

    For a process of its own, which does nothing else: it leaves out the collection of garbage.
    """
    import gc

    gc.disable()
    from fixture3d.access import kernel

    if kernel.kept():
        warm_up()


def reach_box(torch: TorchBody, points: ArrayLike, margin: float = SHOP.torch_margin) -> Array:
    """The box (2, 3) that no torch position at any of the points (k, 3) leaves."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    around = torch.reach + 2.0 * margin
    return np.stack([p.min(axis=0) - around, p.max(axis=0) + around])


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """Verdicts of all positions of one window at the points of one weld.

    Attributes:
        free: (k, W, L, R) 1 where the torch is clear.
        inside: (k, W, L) 1 where it touches no surface but lies wholly within a solid.
    """

    free: Bytes
    inside: Bytes


@dataclass(frozen=True, eq=False)
class _Question:
    """What the kernels are asked: the arrays of ``sweep_directions`` in their order."""

    scene: tuple[Any, ...]
    torch: tuple[Any, ...]
    order: Ints
    shape: tuple[int, int, int]


def _question(
    obstacles: Obstacles, torch: TorchBody, points: ArrayLike, frames: ArrayLike, window: Window, margin: float
) -> _Question:
    """Arrays for the kernels, the torch grown by the margin all round (its nozzle keeps its square rim)."""
    p = np.ascontiguousarray(points, dtype=np.float64)
    f = np.ascontiguousarray(frames, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 3 or f.shape != (len(p), 3, 3):
        raise ValueError(f"Expected points (k, 3) and frames (k, 3, 3), got {p.shape} and {f.shape}")
    if not (np.isfinite(p).all() and np.isfinite(f).all()):
        raise ValueError("Expected finite points and frames")
    axes, xs = window.local_axes()
    rolls = np.array([cos_sin(float(roll)) for roll in window.rolls])
    nozzle = np.array([torch.stand_off - margin, torch.nozzle_length + 2.0 * margin, torch.nozzle_radius + margin])
    return _Question(
        scene=(*obstacles.tree, obstacles.closed, *obstacles.grid, obstacles.ray),
        torch=(
            p,
            f,
            np.ascontiguousarray(axes),
            np.ascontiguousarray(xs),
            rolls,
            nozzle,
            np.ascontiguousarray(torch.starts),
            np.ascontiguousarray(torch.ends),
            np.ascontiguousarray(torch.radii + margin),
        ),
        order=window.nominal_first(),
        shape=window.shape,
    )


def sweep(
    obstacles: Obstacles,
    torch: TorchBody,
    points: ArrayLike,
    frames: ArrayLike,
    window: Window,
    margin: float = SHOP.torch_margin,
) -> Sweep:
    """Verdicts of every position of the window at every point.

    Args:
        obstacles: all bodies, the joined pieces among them.
        torch: its body at the technique's stand-off.
        points: (k, 3) world mm.
        frames: (k, 3, 3) columns t, b, n of ``welds.weld_points``.
        window: positions to try.
        margin: clear space that the torch must keep, mm.

    Raises:
        ValueError: arrays of the wrong shape.
    """
    from fixture3d.access import kernel

    q = _question(obstacles, torch, points, frames, window, margin)
    count = len(q.torch[0])
    free = np.zeros((count, len(q.order), len(window.rolls)), np.uint8)
    inside = np.zeros((count, len(q.order)), np.uint8)

    def directions(chunk: Ints) -> None:
        axes = np.zeros((3, count, 3))
        room = (np.zeros(count, np.int32), np.zeros(len(torch.radii), np.int64))
        kernel.sweep_directions(*q.scene, *q.torch, chunk, free, inside, *axes, *room)

    _in_threads(directions, _chunks(len(q.order)))
    return Sweep(free=free.reshape(count, *q.shape), inside=inside.reshape(count, *q.shape[:2]))


def sweep_fed(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    margin: float = SHOP.torch_margin,
    feed: Feed | None = None,
) -> tuple[Sweep, Ints]:
    """Verdicts of torch and feeding hand together, and how many positions (bodies,) each body takes from the hand."""
    alone = sweep(obstacles, torch, weld.points, weld.frames, window, margin)
    if feed is None:
        return alone, np.zeros(len(obstacles.names), np.int64)
    free, lost = with_feeding(obstacles, feed, torch, weld, window, alone.free, margin)
    return Sweep(free=free, inside=alone.inside), lost


def _chunks(count: int) -> list[Ints]:
    """Neighbouring directions in a few lots for each thread."""
    return list(np.array_split(np.arange(count), max(1, min(count, 4 * workers()))))


def blame(
    obstacles: Obstacles,
    torch: TorchBody,
    points: ArrayLike,
    frames: ArrayLike,
    window: Window,
    verdicts: Sweep,
    margin: float = SHOP.torch_margin,
) -> Ints:
    """In how many of the blocked positions each body (bodies,) is in the way, alone or together with others."""
    from fixture3d.access import kernel

    q = _question(obstacles, torch, points, frames, window, margin)
    free = verdicts.free.reshape(len(q.torch[0]), len(q.order), -1)
    lots = _chunks(len(q.order))
    counts = np.zeros((len(lots), len(obstacles.names)), np.int64)
    rows = {int(lot[0]): row for row, lot in enumerate(lots)}

    def directions(chunk: Ints) -> None:
        stamp, found = np.full((2, len(obstacles.names)), -1, np.int64)
        recent = np.full((len(window.rolls), len(torch.radii), RECENT), -1, np.int64)
        row = counts[rows[int(chunk[0])]]
        kernel.blame_directions(
            *q.scene, *q.torch, chunk, free, obstacles.boxes, row, stamp, found, recent, *np.zeros((3, 3))
        )

    _in_threads(directions, lots)
    result: Ints = counts.sum(axis=0)
    return result


@dataclass(frozen=True, kw_only=True)
class BestPosition:
    """The position to start from.

    Attributes:
        point: where on the weld, world mm.
        axis: unit vector from the root up the torch.
        roll: degrees about the axis; 0 bends the neck towards the end of the path.
        work_angle: degrees from the perpendicular of the non-butting face.
        travel_angle: degrees, push positive, for a torch that moves in ``direction``.
        direction: "forward" or "back" along the path.
        clearance: mm to the nearest body, at most ``ROOM``; the two joined pieces do not count for the nozzle, which
            always stands close to them, but do for neck, handle and hand.
    """

    point: tuple[float, float, float]
    axis: tuple[float, float, float]
    roll: float
    work_angle: float
    travel_angle: float
    direction: str
    clearance: float


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
    """

    def ask(at: WeldPoints) -> Bytes:
        return sweep_fed(obstacles, wired, at, window, margin, feed)[0].free

    wired = with_wire(torch)
    verdicts, fed = sweep_fed(obstacles, wired, weld, window, margin, feed)
    reached = verdicts.free.reshape(len(weld.points), -1).max(axis=1).astype(bool)
    blocked = int(verdicts.free.size - np.count_nonzero(verdicts.free))
    shares: list[tuple[str, float]] = []
    if blocked:
        counts = blame(obstacles, wired, weld.points, weld.frames, window, verdicts, margin) + fed
        shares = [(obstacles.names[i], float(counts[i]) / blocked) for i in np.flatnonzero(counts)]
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
        best=_best(obstacles, torch, weld, window, verdicts, frozenset(joined)),
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


def _best(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    verdicts: Sweep,
    joined: frozenset[str],
) -> BestPosition | None:
    """The free position nearest to nominal that leaves ``COMFORT``, or else the one with the most room."""
    free = verdicts.free.reshape(len(weld.points), -1, len(window.rolls))
    spared = np.array([name in joined for name in obstacles.names], dtype=np.uint8)
    cost = window.cost.ravel()
    room = -1.0
    chosen: Ints | None = None
    for value in np.unique(cost):
        group = np.flatnonzero(cost == value)
        at = np.argwhere(free[:, group])
        if not len(at):
            continue
        at[:, 1] = group[at[:, 1]]
        index, most = _roomiest(obstacles, torch, weld, window, at, spared, room)
        if index >= 0:
            room, chosen = most, at[index]
        if room >= COMFORT:
            break
    if chosen is None:
        return None
    point, direction, roll = (int(i) for i in chosen)
    work, lean = divmod(direction, len(window.leans))
    turn = torch_turn(weld.frames[point], window, work, lean, roll)
    sense, travel = window.travel(lean)
    return BestPosition(
        point=_triple(weld.points[point]),
        axis=_triple(turn[:, 2]),
        roll=float(window.rolls[roll]),
        work_angle=float(window.works[work]),
        travel_angle=travel,
        direction="forward" if sense > 0 else "back",
        clearance=round(room, 6),
    )


def _triple(vector: Array) -> tuple[float, float, float]:
    """Three plain numbers, rounded far below any meaning so that files are stable."""
    x, y, z = (round(float(v), 9) + 0.0 for v in vector)
    return x, y, z


def torch_turn(frame: Array, window: Window, work: int, lean: int, roll: int) -> Array:
    """Axes (3, 3, columns) of the torch frame in the world, at a weld point's frame and the window's indices."""
    axes, xs = window.local_axes()
    index = work * len(window.leans) + lean
    z, x0 = frame @ axes[index], frame @ xs[index]
    c, s = cos_sin(float(window.rolls[roll]))
    x = c * x0 + s * np.cross(z, x0)
    return np.column_stack([x, np.cross(z, x), z])


def clearance(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    position: Sequence[int] | Ints,
    joined: Sequence[str] = (),
) -> float:
    """Least distance of the whole torch to any body in one position, mm, at most ``ROOM``.

    Args:
        obstacles: all bodies.
        torch: its body, not grown.
        weld: points and frames.
        window: the window.
        position: indices of point, work angle, lean and roll.
        joined: names of the bodies that do not count for the nozzle.
    """
    point, work, lean, roll = (int(i) for i in position)
    at = np.array([[point, work * len(window.leans) + lean, roll]], dtype=np.int64)
    spared = np.array([name in joined for name in obstacles.names], dtype=np.uint8)
    return _roomiest(obstacles, torch, weld, window, at, spared, -1.0)[1]


def _roomiest(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    candidates: Ints,
    spared: Bytes,
    least: float,
) -> tuple[int, float]:
    """Which candidate (n, 3) of point, direction and roll leaves the most room above ``least``, and how much."""
    from fixture3d.access import kernel

    q = _question(obstacles, torch, weld.points, weld.frames, window, 0.0)
    nearest = np.full((len(window.rolls), len(torch.radii) + 1), -1, np.int64)
    index, room = kernel.roomiest(
        *obstacles.tree,
        spared,
        *q.torch,
        np.ascontiguousarray(candidates),
        ROOM,
        least,
        np.zeros((3, 3)),
        np.zeros_like(spared),
        nearest,
    )
    return int(index), float(room)


def sweep_key(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    joined: Sequence[str] = (),
    margin: float = SHOP.torch_margin,
) -> str:
    """Hash of everything that ``answer`` depends on, so that a kept answer can stand for it.

    Bodies out of reach do not count: moving one leaves the key, and the answer, as they were.
    """
    box = reach_box(torch, weld.points, margin + ROOM)
    near = np.all((obstacles.boxes[:, 0] <= box[1]) & (obstacles.boxes[:, 1] >= box[0]), axis=1)
    parts = [obstacles.digests[i] for i in np.flatnonzero(near)]
    runs = [value for sense, leans in window.runs for value in (np.array([sense]), leans)]
    numbers: list[NDArray[Any]] = [
        np.array([ANSWER_VERSION, margin, torch.stand_off, torch.nozzle_radius, torch.nozzle_length]),
        *(torch.starts, torch.ends, torch.radii, window.works, window.leans, window.rolls, window.cost, *runs),
        np.array([window.nominal_travel]),
        *(weld.points, weld.frames, weld.lengths, weld.joined),
    ]
    return _digest("|".join([*sorted(set(joined)), "", *parts]), *numbers)


def _digest(text: str, *arrays: NDArray[Any]) -> str:
    """SHA-256 of a text and arrays; coordinates are rounded to ``NUMERIC.key`` first."""
    out = hashlib.sha256(text.encode())
    for array in arrays:
        steps = np.round(np.asarray(array, dtype=np.float64) / NUMERIC.key).astype(np.int64)
        out.update(repr(steps.shape).encode())
        out.update(np.ascontiguousarray(steps).tobytes())
    return out.hexdigest()
