"""Answers on torch access: worked out once, kept by all that they depend on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.access.access import ANSWER_VERSION, WeldAccess, answer
from fixture3d.access.arrays import Bools
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.sweep import sweep
from fixture3d.access.torch_space import with_wire
from fixture3d.cache import content_key
from fixture3d.checks.base import Progress
from fixture3d.checks.torch_question import Asked
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.table_body import plates
from fixture3d.tolerance import NUMERIC, SHOP

_KIND = "torch-1"
_COUNTS = "torch-counts-1"
_REMEMBERED = 60  # bodies that stood near a weld once and may come back
_FAR_OFF = 1e5  # mm
_FEW = 4  # bodies that are counted one by one; of more of them all are counted together


@dataclass(frozen=True, eq=False)
class Obstacle:
    """All bodies of one item, as one obstacle."""

    name: str
    bodies: tuple[Body, ...]
    plate: tuple[Array, Any] | None
    box: Array
    key: str

    def mesh(self) -> tuple[str, Array, Any, bool]:
        """Name, vertices, faces and closed, as ``Obstacles.build`` takes them."""
        if self.plate is not None:
            return self.name, *self.plate, True
        vertices, faces, start = [], [], 0
        for body in self.bodies:
            mesh = body.shape.mesh
            vertices.append(frame.points(body.body_to_world, mesh.vertices))
            faces.append(mesh.faces + start)
            start += len(mesh.vertices)
        return self.name, np.concatenate(vertices), np.concatenate(faces), True


def obstacles(job: Job, known: dict[tuple[int, ...], Obstacle] | None = None) -> list[Obstacle]:
    """Everything that the torch may hit, one obstacle an item, in file order, then the plates.

    Args:
        job: assembled.
        known: obstacles made before, by the identity of their bodies, which they keep alive; new ones are added. Of a
            setup in which one block was changed all others are there.
    """
    known = {} if known is None else known
    groups: dict[str, list[Body]] = {}
    for body in job.bodies:
        if body.role != "sweep":
            groups.setdefault(body.item, []).append(body)
    for bead in job.beads:
        groups.setdefault(bead.name, []).append(bead)
    out = []
    for name, bodies in groups.items():
        same = tuple(id(body) for body in bodies)
        if same in known:
            out.append(known[same])
            continue
        boxes = np.stack([body.box for body in bodies])
        parts: list[str | bytes] = [name]
        for body in bodies:
            pose = np.round(body.body_to_world / NUMERIC.key) * NUMERIC.key + 0.0
            parts += [body.shape.key, pose.tobytes()]
        box = np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
        known[same] = Obstacle(name, tuple(bodies), None, box, content_key(parts))
        out.append(known[same])
    for plate in plates(job.table):
        vertices, faces = plate.box()
        name = plate.name if plate.name not in groups else f"{plate.name} (plate)"
        box = np.stack([vertices.min(axis=0), vertices.max(axis=0)])
        out.append(Obstacle(name, (), (vertices, faces), box, content_key([name, vertices.tobytes()])))
    return out


def answers(job: Job, asked: Sequence[Asked], progress: Progress) -> list[WeldAccess]:
    """One answer a question: from the cache, or worked out, with numba only then."""
    around = obstacles(job)
    keys = [key_of(one, around) for one in asked]
    found: list[WeldAccess | None] = [_kept(job, key) for key in keys]
    open_ = [k for k, one in enumerate(found) if one is None]
    if open_:
        ready = _ready(around, [asked[k] for k in open_])
        for done, k in enumerate(open_):
            progress("torch access", done, len(open_))
            found[k] = one = _worked_out(job, asked[k], ready, [o for o in around if meet(o.box, asked[k].box)])
            if job.store is not None:
                job.store.put_json(keys[k], _KIND, one.to_dict())
        progress("torch access", len(open_), len(open_))
    return [one for one in found if one is not None]


def question_keys(job: Job, asked: Sequence[Asked]) -> list[str]:
    """For each question a key of all that its answer depends on."""
    around = obstacles(job)
    return [key_of(one, around) for one in asked]


def in_the_way(job: Job, asked: Sequence[Asked]) -> Obstacles:
    """Everything that a torch may hit at these welds; bodies within reach of none of them change no answer."""
    return _ready(obstacles(job), asked)


def _ready(around: Sequence[Obstacle], asked: Sequence[Asked]) -> Obstacles:
    boxes = np.stack([one.box for one in asked])
    near = [o for o in around if any(meet(o.box, box) for box in boxes)]
    region = np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
    return Obstacles.build([o.mesh() for o in near], region)


def _worked_out(job: Job, asked: Asked, ready: Obstacles, near: Sequence[Obstacle]) -> WeldAccess:
    """The answer, and a note of how many positions each body blocks.

    That number depends on no other body, and to count it for all of them is most of the work: when a block was moved,
    only its own is counted again.
    """
    key = content_key([_COUNTS, key_of(asked, ())])
    kept = job.store.get_json(key, _COUNTS) if job.store is not None else None
    kept = kept if isinstance(kept, dict) and all(type(n) is int for n in kept.values()) else {}
    counts = _counts(asked, near, kept)
    found = answer(
        ready,
        asked.torch,
        asked.points,
        asked.window,
        asked.weld.joins,
        feed=asked.feed,
        later=asked.later,
        counts=counts,
    )
    if job.store is not None and asked.feed is None:
        blocks = {name: round(share * found.blocked) for name, share in found.blockers}
        now = {o.key: blocks.get(o.name, 0) for o in near}
        before = [(body, n) for body, n in kept.items() if body not in now][-_REMEMBERED:]
        job.store.put_json(key, _COUNTS, dict(before) | now)
    return found


def _counts(asked: Asked, near: Sequence[Obstacle], kept: Mapping[str, int]) -> dict[str, int] | None:
    """How many positions each body blocks, by name, when that is known of all but a few.

    None for a hand that feeds: what it is stopped by depends on what the torch is stopped by.
    """
    if asked.feed is not None:
        return None
    new = [o for o in near if o.key not in kept]
    if len(new) > _FEW:
        return None
    counts = {o.name: kept.get(o.key, 0) for o in near}
    points = asked.points.points
    for one in new:
        there = within_reach(asked, one.box)
        free = np.ones(0, np.uint8)
        if there.any():
            frames = asked.points.frames[there]
            free = sweep(tree_of([one]), with_wire(asked.torch), points[there], frames, asked.window).free
        counts[one.name] = int(free.size - np.count_nonzero(free))
    return counts


def tree_of(bodies: Sequence[Obstacle]) -> Obstacles:
    """A few bodies for the kernel; their boxes settle most positions, so there is no grid of distances."""
    return Obstacles.build([one.mesh() for one in bodies], np.full((2, 3), -_FAR_OFF))


def within_reach(asked: Asked, box: Array) -> Bools:
    """At which points of a weld some position of the torch may come to a box (2, 3), (k,)."""
    points = asked.points.points
    gaps = np.linalg.norm(np.maximum(0.0, np.maximum(box[0] - points, points - box[1])), axis=1)
    return np.asarray(gaps <= with_wire(asked.torch).reach + 2.0 * SHOP.torch_margin)


def _kept(job: Job, key: str) -> WeldAccess | None:
    data = job.store.get_json(key, _KIND) if job.store is not None else None
    if data is None:
        return None
    try:
        return WeldAccess.from_dict(data)
    except (KeyError, TypeError, ValueError, IndexError):
        return None


def key_of(asked: Asked, around: Sequence[Obstacle]) -> str:
    """What the answer depends on: the weld, the window, the torch, and the bodies within its reach."""
    torch, window, points, box, feed = asked.torch, asked.window, asked.points, asked.box, asked.feed
    later = asked.later
    numbers = [
        np.array([ANSWER_VERSION, NUMERIC.chord, SHOP.torch_margin, torch.stand_off]),
        np.array([torch.nozzle_radius, torch.nozzle_length, window.nominal_travel]),
        *(torch.starts, torch.ends, torch.radii, window.works, window.leans, window.rolls, window.cost),
        *(values for sense, leans in window.runs for values in (np.array([sense]), leans)),
        *(points.points, points.frames, points.lengths, points.joined),
        *((feed.starts, feed.ends, feed.radii) if feed is not None else ()),
        *((later[0].points, later[1][1]) if later is not None else ()),
    ]
    rounded = [np.round(np.asarray(n, dtype=np.float64) / NUMERIC.key) * NUMERIC.key + 0.0 for n in numbers]
    parts: list[str | bytes] = ["|".join(str(n.shape) for n in rounded), *(n.tobytes() for n in rounded)]
    return content_key([*parts, *asked.weld.joins, *(o.key for o in around if meet(o.box, box))])


def meet(a: Array, b: Array) -> bool:
    """Whether two boxes (2, 3) have a point in common."""
    return bool((a[0] <= b[1]).all() and (b[0] <= a[1]).all())
