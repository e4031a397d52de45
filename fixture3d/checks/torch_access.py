"""Torch access: how much of each weld can be reached, in what runs, how best, and what is in the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d import frame
from fixture3d.access.access import ANSWER_VERSION, WeldAccess, answer
from fixture3d.access.arrays import Bytes
from fixture3d.access.best import ROOM
from fixture3d.access.filler import Feed, feed_of
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.position import Position, welding_position
from fixture3d.access.runs import least_runs
from fixture3d.access.shipped import SHIPPED, TECHNIQUES, usual_joint
from fixture3d.access.sweep import reach_box, sweep_fed
from fixture3d.access.torch import Technique, Torch, floor_angle
from fixture3d.access.torch_space import TorchBody, torch_body, with_wire
from fixture3d.access.welds import Weld, WeldPoints, middle_angle, weld_points
from fixture3d.access.window import Window
from fixture3d.access.wrap import on_the_bead, passes_of
from fixture3d.cache import content_key
from fixture3d.checks import weld_doubts
from fixture3d.checks.base import Check, Finding, Point, Progress, Result, Rule, neat, point
from fixture3d.checks.torch_remedies import LEAST_SHARE, Case, Outcome, Reached, remedies
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.table_body import plates
from fixture3d.job.weldplace import place_in_words, round_corner
from fixture3d.solid.bvh import point_triangle
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, show, show_rough

if TYPE_CHECKING:
    from fixture3d.scene import schema as scene_schema

RULES = (
    Rule(
        name="weld-blocked",
        level="fail",
        title="No point of the weld can be reached",
        meaning="At every point of this weld every torch position that the technique allows meets a piece, a block, "
        "a clamp or the table. The hand and the handle count.",
        cure="Move, turn or lower the blocks that are named; lift the work off the table; allow a wider window in the "
        "technique; or use a torch with another neck. If a piece of the work itself is in the way, weld this joint "
        "before that piece goes in. A weld that is run later, with the work turned over or out of the fixture, is left "
        "out with skip = true.",
    ),
    Rule(
        name="weld-partly-blocked",
        level="warn",
        title="Part of the weld cannot be reached",
        meaning="Some points of the weld have no free torch position. The figure is the length that can be welded in "
        "this setup, the limit the length of the weld.",
        cure="As for a blocked weld; or tack it here and finish it out of the fixture.",
    ),
    Rule(
        name="weld-off-work",
        level="fail",
        title="The weld does not lie on its pieces",
        meaning="The path of the weld does not run along the two pieces that it joins. Either the path or the place "
        "of a piece is wrong in the file. Paths are given in the weldment's own frame. It is a warning when only part "
        "of the path is off, as where it runs past an end or over the round corner of a tube.",
        cure="Correct the path so that it runs along the root, where the two pieces meet.",
    ),
    Rule(
        name="weld-tight",
        level="note",
        title="The best position is a tight one",
        meaning="In the best position that was found the torch has less free space round it than a hand can be "
        "relied on to keep (5 mm; common practice, no source).",
        cure="Nothing, when the weld is short; otherwise make room as for a blocked weld.",
    ),
    Rule(
        name="weld-restart",
        level="note",
        title="The weld cannot be run in one go",
        meaning="All that can be reached cannot be welded without a stop: between two stretches the torch has to be "
        "taken off and held in another way, or the weld turns a corner. The figure is the longest stretch. In a run, "
        "work angle, travel angle and the turn of the handle change by no more than one step from a point to the next, "
        "and the way of travel stays. The runs that are told are the fewest that cover all that can be reached.",
        cure="Plan the stop where it does least harm, or make room at the place where the run breaks.",
    ),
    Rule(
        name="weld-unseen",
        level="note",
        title="The welder does not see the arc",
        meaning="At some points that the torch reaches, no straight line from the root to a place of the eyes is "
        "clear: bodies, or the torch itself, stand in all of them. Eyes are 300 to 600 mm away, 20 to 60 degrees to "
        "either side of the torch along the weld, and up to 40 degrees off the work angle; common practice, no "
        "source. The figure is the length that is not seen, the limit the length that can be reached.",
        cure="Move or lower what hides it, hold the nozzle farther off or use a thinner one; or weld it by feel along "
        "a guide, with a trial piece first.",
    ),
    Rule(
        name="no-technique",
        level="note",
        title="The weld names no technique",
        meaning="Neither the weld nor the weldment says how the torch is held, so a usual technique was taken: the "
        "torch square to the face for butt welds, in the middle of the corner for all others.",
        cure="Name a technique in the weld or in [weldment].",
    ),
    Rule(
        name="technique-angle",
        level="note",
        title="The technique does not suit the joint",
        meaning="The work angle of the technique is far from the middle of the joint. The figure is how far where it "
        "is farthest, the limit what the technique allows to either side.",
        cure="Name another technique for this weld, such as one with a work angle of 0 for a butt weld.",
    ),
    *weld_doubts.RULES,
)

TIGHT = 5.0  # mm; common practice, no source
OFF_WORK = 0.5  # mm; a root gap that is still a joint
_NEAR = 5.0  # mm; distances up to this are found among the triangles round the weld alone
_MOST = 100_000  # pairs of point and triangle that are looked at in one go
_SHOWN = LEAST_SHARE  # blockers below this share are left to the table of welds
_LISTED = 4  # places along a weld that are named one by one
_KIND = "torch-1"
_REACH = "torch-reach-2"
TABLE = "table"

NOT_COVERED = (
    "Angles are tried in steps of at most 5 degrees and the handle in turns of 30 degrees.",
    "Of a hand that feeds filler, rod and glove are looked at up to 300 mm ahead of the arc, not the rod's free end; "
    "the clearance told is the torch's. An electrode that burns down must have room at every length from full to stub.",
    "For the torch the table is a plain plate without holes; the cable, the welder's arm and the mask are not checked.",
    "A weld that is given by sides alone is not held against the pieces: its path is taken as it stands.",
    "The arc counts as seen along straight lines past bodies and torch; the helmet's own room is not looked at.",
    "Clamps are taken as shut, and the space they sweep as free.",
    "To free a weld, one block at a time is turned, moved by up to 3 holes, set otherwise or lowered, in the stage of "
    "the weld alone; the work itself is not moved, nor are two blocks together. That the work stays located is judged "
    "by the faces that the block touches.",
)


def _needs(job: Job) -> str:
    if job.welds or job.weld_problems or job.found is not None:
        return ""
    if job.scene.weldment is not None and job.scene.weldment.welds == "none":
        return 'welds = "none" in [weldment]'
    if job.scene.welds:
        return "every weld is left out by skip = true"
    return "no weld is run in this stage" if job.scene.whole.welds else "the scene declares no weld"


def run(job: Job, progress: Progress) -> Result:
    """Try every torch position of its technique at every point of every weld.

    Points are at most 5 mm apart. Pieces, blocks, dowels, shims, shut clamps, the table and other plates are in the
    way; the space that clamps sweep is not. A position counts when the whole torch, with the hand, keeps 0.05 mm
    from all of them.
    """
    findings: list[Finding] = []
    findings += weld_doubts.doubts(job, CHECK.finding)
    findings += [_off_work(job, name, why) for name, why in job.weld_problems.items()]
    asked: list[Asked] = []
    windows: dict[Technique, Window] = {}
    for weld in job.welds:
        put, said = _ask(job, weld, windows)
        findings += said
        if put is not None:
            asked.append(put)
    answered = answers(job, asked, progress)
    cases = [
        Case(weld=one.weld, found=found, technique=one.technique, reach=_Reach(job, one), box=one.box)
        for one, found in zip(asked, answered, strict=True)
    ]
    tried = remedies(job, cases, progress)
    for one, found in zip(asked, answered, strict=True):
        findings += _judge(job, one, found, tried.outcomes.get(one.weld.name))
    known = {one.weld.name: found for one, found in zip(asked, answered, strict=True)}
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"welds": list(_figures(job, known, {one.weld.name: one.position for one in asked}))},
        not_covered=NOT_COVERED
        + tried.told()
        + weld_doubts.closed_lines(job)
        + tuple(f"Weld {weld.name} is left out by skip = true." for weld in job.scene.welds if weld.skip),
    )


CHECK = Check(name="torch access", rules=RULES, needs=_needs, run=run)


# --- what is asked -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Asked:
    """One weld with all that its answer depends on, apart from the bodies."""

    weld: Weld
    technique: Technique
    torch: TorchBody
    window: Window
    points: WeldPoints
    feed: Feed | None

    @property
    def position(self) -> Position:
        """The welding position of the weld as it lies."""
        return welding_position(self.weld, self.points, direction=self.technique.direction)

    @property
    def later(self) -> tuple[WeldPoints, Any] | None:
        """Where the last of several passes is run, and the bead beneath it."""
        return on_the_bead(self.weld, self.points)

    @property
    def box(self) -> Array:
        """Beyond it no body changes the answer, (2, 3) mm."""
        box = reach_box(self.torch, self.points.points, SHOP.torch_margin + ROOM)
        if self.feed is not None:
            hand = self.feed.reach + 2.0 * SHOP.torch_margin
            box[0] = np.minimum(box[0], self.points.points.min(axis=0) - hand)
            box[1] = np.maximum(box[1], self.points.points.max(axis=0) + hand)
        # A later pass stands on the bead, no farther out than its leg.
        leg = self.weld.size if passes_of(self.weld) > 1 else 0.0
        box[0] -= leg
        box[1] += leg
        return box


def question(job: Job, weld: Weld, windows: dict[Technique, Window]) -> Asked:
    """The question that is put for one weld.

    Args:
        job: the setup.
        weld: one of its welds.
        windows: of techniques met before; a new one is added.

    Raises:
        KeyError, ValueError: its technique or torch is not known, or it cannot be run as it stands.
    """
    technique, torch = technique_of(job, technique_name(weld))
    technique = technique.at(_middle(weld))
    points = weld_points(weld, SHOP.weld_step)
    if technique not in windows:
        windows[technique] = technique.window()
    body = torch_body(torch, technique.stand_off)
    return Asked(weld, technique, body, windows[technique], points, feed_of(technique))


def technique_name(weld: Weld) -> str:
    """The technique that a weld names, or the usual one for its type and opening."""
    return weld.technique or usual_joint(weld.type, _middle(weld))


def _middle(weld: Weld) -> float:
    """Work angle of the middle of the joint, the mean along the weld where the opening changes, degrees."""
    angles, lengths = zip(*((angle, length) for angle, length, _ in _middles(weld)), strict=True)
    return float(np.average(angles, weights=lengths))


def _middles(weld: Weld) -> Iterator[tuple[float, float, int]]:
    """Middle of the joint, length and index of every part of a path; parts without a length have no frame."""
    parts = np.diff(np.asarray(weld.path), axis=0)
    sides = np.broadcast_to(np.asarray(weld.sides), (len(parts), 2, 3))
    for k, (part, pair) in enumerate(zip(parts, sides, strict=True)):
        length = float(np.linalg.norm(part))
        if length > NUMERIC.merge:
            yield middle_angle(part, pair), length, k


def _ask(job: Job, weld: Weld, windows: dict[Technique, Window]) -> tuple[Asked | None, list[Finding]]:
    """The question, and what is to be said of the weld before it is answered."""
    said: list[Finding] = []
    of_geometry = job.found is not None and weld.name in job.found.welds
    if not weld.technique and not of_geometry:
        said.append(
            CHECK.finding(
                "no-technique",
                [weld.name],
                f'{weld.name} names no technique; "{technique_name(weld)}" was taken',
                remedy='technique = "..." in the weld or in [weldment]',
            )
        )
    try:
        asked = question(job, weld, windows)
    except (KeyError, ValueError) as error:
        why = str(error.args[0] if error.args else error)
        said.append(
            CHECK.finding(
                "no-technique",
                [weld.name],
                f"{weld.name} cannot be tried: {why}",
                level="fail",
                remedy="correct the weld or its technique",
            )
        )
        return None, said
    # A weld that was found lies where it was found, across its root gap as well.
    gap, at, piece = (0.0, None, "") if of_geometry else _worst_gap(job, weld, asked.points.points)
    if gap > OFF_WORK:
        # Its faces were found, so most of it lies on the work: an end that runs past, or over a round corner.
        said.append(
            CHECK.finding(
                "weld-off-work",
                [weld.name, piece],
                f"the path of {weld.name} does not lie on {piece} all the way",
                level="warn",
                measured=neat(gap),
                limit=OFF_WORK,
                unit="mm",
                at=at,
                remedy=f"end the path where {piece} ends, or move {piece}: {_nearest(job, piece, at)}",
            )
        )
    if weld.technique:
        said += _angle(weld, asked.technique)
    return asked, said


def technique_of(job: Job, name: str) -> tuple[Technique, Torch]:
    """The technique of that name, of the scene or shipped, and its torch.

    Raises:
        KeyError: no such technique or torch.
        ValueError: one that cannot be used.
    """
    own = job.scene.techniques.get(name)
    if own is not None:
        technique = Technique(
            name=name,
            torch=own.torch,
            work_angle=own.work_angle,
            travel_angle=own.travel_angle,
            stand_off=own.stand_off,
            direction=own.direction,
            process=own.process or "",
            filler_angle=own.filler_angle,
        )
    elif name in TECHNIQUES:
        technique = TECHNIQUES[name]
    else:
        raise KeyError(f'technique "{name}" is not known')
    torch = job.scene.torches.get(technique.torch)
    if torch is not None:
        return technique, _torch(technique.torch, torch)
    if technique.torch not in SHIPPED:
        raise KeyError(f'torch "{technique.torch}" is not known')
    return technique, SHIPPED[technique.torch]


def _torch(name: str, keys: scene_schema.Torch) -> Torch:
    return Torch(name=name, **{f.name: getattr(keys, f.name) for f in fields(Torch) if f.name != "name"})


def _angle(weld: Weld, technique: Technique) -> Iterator[Finding]:
    path = np.asarray(weld.path)
    nominal, allowed = technique.work
    # Along a saddle the opening changes.
    offs = [(abs(nominal - middle), k) for middle, _, k in _middles(weld)]
    away, worst = max(offs, key=lambda off: (round(off[0], 6), -off[1]))
    if away > allowed + NUMERIC.angle:
        yield CHECK.finding(
            "technique-angle",
            [weld.name],
            f'the work angle of "{technique.name}" is far from the middle of the joint of {weld.name}',
            measured=neat(away),
            limit=allowed,
            unit="deg",
            at=point((path[worst] + path[worst + 1]) / 2.0),
            remedy="name a technique with a work angle nearer to the middle of the joint",
        )


def _worst_gap(job: Job, weld: Weld, points: Array) -> tuple[float, Point | None, str]:
    """The largest distance of the weld's points from one of its pieces, where, and which piece."""
    worst: tuple[float, Point | None, str] = (0.0, None, "")
    for body in job.pieces():
        if body.name in weld.joins:
            gaps = _distances(points, body)
            at = int(gaps.argmax())
            if gaps[at] > worst[0]:
                worst = (float(gaps[at]), point(points[at]), body.name)
    return worst


def _distances(points: Array, body: Body) -> Array:
    """Distances (k,) of points (k, 3) from a body's surface; near ones from the few triangles that can matter."""
    mesh = body.shape.mesh
    triangles = frame.points(body.body_to_world, mesh.vertices)[mesh.faces]
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    near = ((low <= points.max(axis=0) + _NEAR) & (high >= points.min(axis=0) - _NEAR)).all(axis=1)
    out = _least(points, triangles[near])
    far = np.flatnonzero(out > _NEAR)
    out[far] = _least(points[far], triangles)
    return out


def _least(points: Array, triangles: Array) -> Array:
    """Distance (k,) of each of the points (k, 3) from the nearest of the triangles; infinite when there are none."""
    out = np.full(len(points), np.inf)
    if not len(triangles):
        return out
    step = max(1, _MOST // len(triangles))
    for first in range(0, len(points), step):
        some = points[first : first + step]
        each = point_triangle(np.repeat(some, len(triangles), axis=0), np.tile(triangles, (len(some), 1, 1)))
        out[first : first + step] = each.reshape(len(some), -1).min(axis=1)
    return out


def _off_work(job: Job, name: str, why: str) -> Finding:
    """A weld whose faces could not be read: with the figure by which it misses a piece, if that is the fault."""
    declared = next(weld for weld in job.scene.welds if weld.name == name)
    to_world = job.weldment.weldment_to_world if job.weldment is not None else frame.identity()
    path = frame.points(to_world, declared.path or ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)))
    middles = (path[:-1] + path[1:]) / 2.0
    worst: tuple[float, Array, str] = (0.0, middles[0], "")
    for body in job.pieces():
        if body.name in (declared.joins or ()):
            gaps = _distances(middles, body)
            at = int(gaps.argmax())
            if gaps[at] > worst[0]:
                worst = (float(gaps[at]), middles[at], body.name)
    gap, spot, piece = worst
    off = gap > OFF_WORK
    where = _nearest(job, piece, spot) if off else _round(job, declared.joins or (), spot)
    return CHECK.finding(
        "weld-off-work",
        [name, *([piece] if off else declared.joins or ())],
        f"the path of {name} does not lie on {piece}" if off else f"{name}: {why}",
        measured=neat(gap) if off else None,
        limit=OFF_WORK if off else None,
        unit="mm" if off else "",
        at=point(spot),
        remedy="correct the path so that it runs along the root, where the two pieces meet"
        + (f": {where}" if where else ""),
    )


def _nearest(job: Job, piece: str, spot: Array | Point | None) -> str:
    """The nearest point of a piece, as a path has it, and why it is not at the spot."""
    body = next((b for b in job.pieces() if b.name == piece), None)
    return "" if body is None or spot is None else place_in_words(job, body, np.asarray(spot, dtype=np.float64))


def _round(job: Job, joins: Sequence[str], spot: Array) -> str:
    """The first of the pieces that is round where the path is, in words."""
    return next((_nearest(job, name, spot) for name in joins if round_corner(job, name, spot) is not None), "")


# --- answers, kept between runs ----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Obstacle:
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


def _obstacles(job: Job) -> list[_Obstacle]:
    """Everything that the torch may hit, one obstacle an item, in file order, then the plates."""
    groups: dict[str, list[Body]] = {}
    for body in job.bodies:
        if body.role != "sweep":
            groups.setdefault(body.item, []).append(body)
    for bead in job.beads:
        groups.setdefault(bead.name, []).append(bead)
    out = []
    for name, bodies in groups.items():
        boxes = np.stack([body.box for body in bodies])
        parts: list[str | bytes] = [name]
        for body in bodies:
            pose = np.round(body.body_to_world / NUMERIC.key) * NUMERIC.key + 0.0
            parts += [body.shape.key, pose.tobytes()]
        box = np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
        out.append(_Obstacle(name, tuple(bodies), None, box, content_key(parts)))
    for plate in plates(job.table):
        vertices, faces = plate.box()
        name = plate.name if plate.name not in groups else f"{plate.name} (plate)"
        box = np.stack([vertices.min(axis=0), vertices.max(axis=0)])
        out.append(_Obstacle(name, (), (vertices, faces), box, content_key([name, vertices.tobytes()])))
    return out


def answers(job: Job, asked: Sequence[Asked], progress: Progress) -> list[WeldAccess]:
    """One answer a question: from the cache, or worked out, with numba only then."""
    keys = question_keys(job, asked)
    found: list[WeldAccess | None] = [_kept(job, key) for key in keys]
    open_ = [k for k, one in enumerate(found) if one is None]
    if open_:
        ready = in_the_way(job, [asked[k] for k in open_])
        for done, k in enumerate(open_):
            progress("torch access", done, len(open_))
            one = answer(
                ready,
                asked[k].torch,
                asked[k].points,
                asked[k].window,
                asked[k].weld.joins,
                feed=asked[k].feed,
                later=asked[k].later,
            )
            found[k] = one
            if job.store is not None:
                job.store.put_json(keys[k], _KIND, one.to_dict())
        progress("torch access", len(open_), len(open_))
    return [one for one in found if one is not None]


def question_keys(job: Job, asked: Sequence[Asked]) -> list[str]:
    """For each question a key of all that its answer depends on."""
    around = _obstacles(job)
    return [_key(one, around) for one in asked]


def in_the_way(job: Job, asked: Sequence[Asked]) -> Obstacles:
    """Everything that a torch may hit at these welds; bodies within reach of none of them change no answer."""
    boxes = np.stack([one.box for one in asked])
    near = [o for o in _obstacles(job) if any(_meet(o.box, box) for box in boxes)]
    region = np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
    return Obstacles.build([o.mesh() for o in near], region)


def _kept(job: Job, key: str) -> WeldAccess | None:
    data = job.store.get_json(key, _KIND) if job.store is not None else None
    if data is None:
        return None
    try:
        return WeldAccess.from_dict(data)
    except (KeyError, TypeError, ValueError, IndexError):
        return None


def _key(asked: Asked, around: Sequence[_Obstacle]) -> str:
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
    return content_key([*parts, *asked.weld.joins, *(o.key for o in around if _meet(o.box, box))])


def _meet(a: Array, b: Array) -> bool:
    return bool((a[0] <= b[1]).all() and (b[0] <= a[1]).all())


# --- what would give a weld back -----------------------------------------------------------------------------------


@dataclass(eq=False)
class _Reach:
    """How much of one weld is reached in changed setups: what stays as it is was asked once.

    A position is free when every body leaves it free, so that the answers for what stays and for what was changed are
    put together; only the hand that feeds, which may hold the rod in several ways, is asked with all bodies.
    """

    job: Job
    asked: Asked
    _still: dict[frozenset[str], Bytes] = field(default_factory=dict)

    def __call__(self, after: Job, weld: Weld, moved: frozenset[str]) -> Reached:
        """As ``torch_remedies.Reach`` says; nothing for a technique by which the weld cannot be run."""
        try:
            asked = self.asked if weld is self.asked.weld else question(after, weld, {})
        except (KeyError, ValueError):
            return Reached(length=0.0, runs=0)
        around = _obstacles(after)
        key = content_key([_REACH, _key(asked, around)])
        kept = self.job.store.get_json(key, _REACH) if self.job.store is not None else None
        if kept is not None and isinstance(kept.get("reachable"), float) and isinstance(kept.get("runs"), int):
            return Reached(length=kept["reachable"], runs=kept["runs"])
        if asked.feed is not None or asked is not self.asked:
            free = _free(asked, around)
        else:
            if moved not in self._still:
                self._still[moved] = _free(asked, [o for o in _obstacles(self.job) if o.name not in moved])
            free = self._still[moved] & _free(asked, [o for o in around if o.name in moved])
        reached = free.reshape(len(free), -1).any(axis=1)
        length = asked.points.length if reached.all() else float(asked.points.lengths[reached].sum())
        runs = len(least_runs(free, asked.points, asked.window))
        if self.job.store is not None:
            self.job.store.put_json(key, _REACH, {"reachable": length, "runs": runs})
        return Reached(length=length, runs=runs)


def _free(asked: Asked, bodies: Sequence[_Obstacle]) -> Bytes:
    """Which positions of a weld some bodies leave free, (points, W, L, R)."""
    near = [o for o in bodies if _meet(o.box, asked.box)]
    if not near:
        return np.ones((len(asked.points.points), *asked.window.shape), np.uint8)
    ready = Obstacles.build([o.mesh() for o in near], asked.box)
    return sweep_fed(ready, with_wire(asked.torch), asked.points, asked.window, feed=asked.feed)[0].free


def _short(found: WeldAccess) -> bool:
    """Not all of a weld is reached."""
    return found.best is None or found.reachable < found.length - NUMERIC.merge


# --- what is said ------------------------------------------------------------------------------------------------


def _with_blockers(name: str, found: WeldAccess) -> list[str]:
    """A weld and the bodies that are most in its way, as the subjects of a finding."""
    return [name, *(blocker for blocker, share in found.blockers[:3] if share >= _SHOWN)]


def _judge(job: Job, asked: Asked, found: WeldAccess, tried: Outcome | None) -> Iterator[Finding]:
    name, units = asked.weld.name, job.scene.units
    if found.best is None:
        yield CHECK.finding(
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
    if _short(found):
        blind = asked.points.points[~np.array(found.points)]
        share = int(100.0 * found.reachable / found.length)
        where = _stretches(found.unreached, units)
        yield CHECK.finding(
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
        yield CHECK.finding(
            "weld-partly-blocked",
            _with_blockers(name, found),
            f"the last pass of {name} cannot be run all along with the ones before it in place",
            measured=neat(found.last_pass),
            limit=neat(found.reachable),
            unit="mm",
            at=point(asked.points.points.mean(axis=0)),
            remedy=_make_room(job, asked, found),
        )
    if len(found.runs) > 1:
        stops = len(found.runs) - 1
        yield CHECK.finding(
            "weld-restart",
            [name],
            f"{name} cannot be welded in one run",
            measured=neat(found.longest_run),
            limit=neat(found.reachable),
            unit="mm",
            at=point(asked.points.points[found.runs[0].last]),
            remedy=f"it needs {stops} restart{'s' if stops > 1 else ''}: {_stops(found, units)} along its path"
            + _in_one_go(tried),
        )
    if found.unseen:
        hidden = sum(high - low for low, high in found.unseen)
        bodies = [body for body, share in found.hiders[:2] if share >= _SHOWN]
        who = f"{' and '.join(bodies)} hide it" if len(bodies) > 1 else f"{bodies[0]} hides it" if bodies else ""
        yield CHECK.finding(
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
        yield CHECK.finding(
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


def _stretches(stretches: Sequence[tuple[float, float]], units: Units) -> str:
    """From-to in words, the first few of them."""
    said = [f"from {show_rough(low, units)} to {show_rough(high, units)}" for low, high in stretches[:_LISTED]]
    more = len(stretches) - len(said)
    return ", ".join(said) + (f" and in {more} more places" if more else "")


def _stops(found: WeldAccess, units: Units) -> str:
    """Where the torch is taken off, and where it is set on again if not at the same place."""
    said = []
    runs, corner = found.runs, dict(found.corners)
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
        advice = "" if tried.earlier == fixed[0][0] else f": {_advice(job, asked, fixed[0][0])}"
        who.append(_shares(fixed) + advice)
    return "; ".join([*who, said] if tried.change is None else [said, *who])


def _make_room(job: Job, asked: Asked, found: WeldAccess) -> str:
    """What to do about the blockers that take most: blocks that can be moved, or what takes more than any of them."""
    movable, fixed = _in_the_way_most(job, found)
    said = []
    if movable:
        pitch = show(min(job.table.pitch), job.scene.units)
        way = "turn them, use lower ones, or move them "
        if len(movable) == 1:
            what = "clamp" if job.seats[movable[0][0]].clamp else "block"
            way = f"turn it, use a lower {what}, or move it "
        said.append(f"{_shares(movable)}: {way}one hole ({pitch}) away")
    if fixed:
        said.append(f"{_shares(fixed)}: {_advice(job, asked, fixed[0][0])}")
    return "; ".join(said) if said else "allow a wider window in the technique"


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
        return _too_narrow(asked) or "it is one of the two pieces welded here, so use another torch or a wider window"
    if any(body.name == name for body in job.pieces()):
        return "it is part of the work, so weld here before it goes in, or use another torch or a wider window"
    return "lift the work higher above it"


def _too_narrow(asked: Asked) -> str:
    """Whether the joint leaves the nozzle no room at this stand-off, by plane trigonometry of its rim; empty if not."""
    torch = asked.torch
    needed = floor_angle(2.0 * torch.nozzle_radius, torch.stand_off)
    left = min(90.0 - middle for middle, _, _ in _middles(asked.weld))
    if asked.weld.type not in ("fillet", "lap", "flare") or left >= needed:
        return ""
    return (
        f"the joint leaves {left:.0f} degrees to either side of its middle, and this nozzle at this stand-off needs "
        f"{needed:.0f}, so use a thinner nozzle or a larger stand-off"
    )


def _figures(job: Job, known: Mapping[str, WeldAccess], positions: Mapping[str, Position]) -> Iterator[dict[str, Any]]:
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
    return {
        "name": name,
        "type": kind,
        "joins": [name for name in joins if name],
        "length": neat(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()),
        "reachable": neat(found.reachable) if found is not None else None,
        "longest_run": neat(found.longest_run) if found is not None else None,
        "runs": _runs(found),
        "unreached": [[neat(low), neat(high)] for low, high in found.unreached] if found is not None else None,
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
