"""Interference: what runs into what, what lies where no body may be, and contacts that are not there."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d import frame
from fixture3d.checks import finished_beads
from fixture3d.checks.base import Check, Finding, Point, Progress, Result, Rule, neat, point
from fixture3d.checks.opening import Hit, clamp_rows, open_hits
from fixture3d.checks.overlap_remedies import back_off, locating, retreat
from fixture3d.checks.trial import skipped
from fixture3d.frame import Array
from fixture3d.job import Body, Job, PlacedPad, Seat, placed_pads
from fixture3d.job.clamping import placed_tip
from fixture3d.job.contact import pad_gap
from fixture3d.job.keepout import bead_distance
from fixture3d.job.misplaced import Misplaced, alike, misplaced
from fixture3d.job.resting import UPWARD, rests_on
from fixture3d.job.table_body import Plate, PlateRelation, plates, relate_stored
from fixture3d.job.tip import tip_gap
from fixture3d.job.wayout import in_words, length, next_hole, remedy
from fixture3d.solid.relate import Placed, Relation, relate_all
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import show_fine

if TYPE_CHECKING:
    from fixture3d.job.weldment import Piece
    from fixture3d.stock.section import Section

RULES = (
    Rule(
        name="work-misplaced",
        level="fail",
        title="The work is off, not the blocks",
        meaning="What is wrong at these blocks has one cause: every face that should meet the work is off by the same "
        "shift of the work, or all stops of one side by the same amount, where those of the other side are right: "
        "then one length is wrong. The figure is how far. Its parts are listed too; they go when the cause goes. It "
        "is a warning when the work is in none of the blocks.",
        cure="Set lift or offset of the weldment as given, or correct the length. If the work is as it should be, all "
        "these blocks are off.",
    ),
    Rule(
        name="overlap",
        level="fail",
        title="Two bodies want the same space",
        meaning="A block, dowel, shim or clamp runs into another one or into a piece. The figure is how deep one "
        "reaches into the other at the worst spot. Touching is the normal state and is never reported: faces may "
        "come 0.02 mm into each other before they count as overlapping.",
        cure="Move, lower or turn the block that is named first; the shortest way out is given. Where the block has "
        "an adjustment, the notch that is enough is given; where it stands in holes, the next hole on that side.",
    ),
    Rule(
        name="sweep-blocked",
        level="fail",
        title="A clamp cannot be opened and shut",
        meaning="Something stands in the space that the arm or handle of a clamp sweeps between open and shut. The "
        "clamp cannot be worked, or the work cannot be put in and taken out. The report tells for each clamp whether "
        "it is free when shut, when open and on the way.",
        cure="Turn the clamp or move it to another hole, or move what stands in its way.",
    ),
    Rule(
        name="below-table",
        level="fail",
        title="A body runs into the plate",
        meaning="A block, clamp or piece reaches into the table or into another plate with holes. The figure is how "
        "deep. For a shank that stands in a hole it is how far it reaches into the wall of the hole.",
        cure="Lift the weldment (lift = ...) or the block by the given amount, or move the shank over a hole.",
    ),
    Rule(
        name="piece-overlap",
        level="fail",
        title="Two pieces of the weldment overlap",
        meaning="Two pieces are drawn into each other. This is an error of the drawing, not of the setup: on the "
        "table one of them would be too long. The figure is the volume they share.",
        cure="Shorten or mitre one of them, or move it, by the depth that the remedy gives.",
    ),
    Rule(
        name="weld-keep-out",
        level="warn",
        title="A block stands in the bead and spatter of a weld",
        meaning="A block or clamp is nearer to the root of a weld, on the side that is welded, than the clear space "
        "that bead and spatter want (10 mm; common practice, no source). It may be welded to the work, and spatter "
        "spoils its locating faces.",
        cure="Use a smaller block, move it along the piece, or shield it and keep its face clean.",
    ),
    Rule(
        name="corner-radius",
        level="warn",
        title="A pad reaches a tube only where its corner is round",
        meaning="Square tube has rounded corners. This pad ends before the flat of the tube's side begins, so it "
        "does not touch where the drawing says it does; the tube can ride over it or move in by the gap. The figure "
        "is how far the pad reaches past the tube's edge, the limit the corner's outside radius.",
        cure="Use a higher or longer block, or raise it, so that the pad reaches the flat side of the tube.",
    ),
    Rule(
        name="clamp-misses",
        level="fail",
        title="A clamp does not touch the piece it should press",
        meaning="The tip of the shut clamp stops short of the piece that it presses, or points past it. It holds "
        "nothing. It is a warning when the tip can be screwed out far enough.",
        cure="Screw the tip out, change the clamp's height or reach, or move the clamp.",
    ),
    Rule(
        name="unsupported",
        level="warn",
        title="A piece rests on nothing",
        meaning="No block, no other piece that is held up, and no table touches this piece from below. It has to be "
        "held by hand until it is tacked. Where a block is just below it, the figure is how far.",
        cure="Put a riser, a ledge or a V-block under it, with its top at the height of the piece's underside.",
    ),
    Rule(
        name="stops-short",
        level="warn",
        title="A block stops short of the work",
        meaning="No face of this block touches a piece, but one faces a piece that is less than a hole's pitch away: "
        "the block stands one hole or some notches too far off, or is too low. It does not locate anything.",
        cure="Bring it up to the piece: by the notch or hole that is given, by its height, or by shims.",
    ),
    finished_beads.RULE,
)

NOT_COVERED = (
    "The nut and bolt below the table are not bodies here; nor are the table's legs and ribs.",
    "Two dowels that meet in one bore from above and below are taken to be short enough for it.",
    "The bodies of one block or clamp are not compared with each other: they are made to fit.",
    "Two clamps are never swung at the same moment, so sweeps are not compared with sweeps.",
    "Room for bead and spatter is the straight distance from the root on the welded side; a shield is not seen.",
    "Corner radii are known for members of listed stock, not for pieces from a file.",
    "A block that faces no piece within one pitch is not told that it touches nothing.",
    "Whether the next hole on a side is free of all else is told by the next run; a hole to go back to is tried.",
)

_OPPOSED = float(np.cos(np.deg2rad(1.0)))
_PARTS = ("overlap", "unsupported", "stops-short")  # what work that is off as a whole shows as
_NAMED = 6  # blocks that are named in the one finding for all of them
_STUCK = 1.0  # mm; a clamp body that touches the piece elsewhere does not make up for a tip further away than this


def _needs(job: Job) -> str:
    return "" if job.bodies else "the scene has no block and no piece"


def run(job: Job, progress: Progress) -> Result:
    """Relate every pair of bodies and every body to the table.

    Pairs that are not compared, and why:

    * bodies of one block or clamp: they are made to fit;
    * a dowel with the block that it stands under, with the block in whose socket it stands, and with the plate in
      whose hole it stands: declared fits, which the seating check judges by their limits;
    * two sweeps: clamps are worked one after the other.

    The space that a clamp sweeps may touch anything; only overlap blocks it.
    """
    work = _Work(job, progress)
    corners = list(_corners(work))
    findings = [
        *_overlaps(work),
        *_below(work),
        *_open(work),
        *_keep_out(work),
        *_on_beads(work),
        *corners,
        *_clamps(work),
        *_unsupported(work),
        *_short(work, {finding.subjects[0] for finding in corners}),
    ]
    if any(finding.rule in _PARTS for finding in findings):
        findings = [*_misplaced(job), *findings]  # first, for it is the cause
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"pairs": work.figures(), "clamps": clamp_rows(job, work.pairs, work.on_plates, work.open_hits)},
        not_covered=NOT_COVERED + (finished_beads.NOT_COVERED if job.done else ()) + tuple(_assumed(work)),
    )


CHECK = Check(
    name="interference",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="nut and bolt below the table, its legs and ribs, two clamps swung at once",
    not_covered=NOT_COVERED,
)


def _assumed(work: _Work) -> Iterator[str]:
    for plate in work.plates:
        if plate.assumed:
            yield f"The {' and the '.join(plate.assumed)} of the {plate.name} is not given and was taken as usual."


@dataclass
class _Work:
    """The job with everything that several rules need, each made once."""

    job: Job
    progress: Progress
    bodies: Mapping[str, Body] = field(init=False)
    plates: tuple[Plate, ...] = field(init=False)
    pairs: list[tuple[Body, Body, Relation]] = field(init=False)
    on_plates: list[tuple[Body, Plate, PlateRelation]] = field(init=False)

    def __post_init__(self) -> None:
        job = self.job
        self.bodies = {body.name: body for body in job.bodies}
        self.plates = plates(job.table)
        found = relate_all(
            [Placed(body.name, body.shape, body.body_to_world) for body in job.bodies],
            skip=lambda a, b: skipped(job, self.bodies[a], self.bodies[b]),
            contact=SHOP.contact,
            reach=SHOP.report_gap,
            store=job.store,
            progress=lambda done, total: self.progress("interference", done, total),
        )
        self.pairs = [(self.bodies[a], self.bodies[b], relation) for a, b, relation in found]
        self.on_plates = list(self._plates())

    def _plates(self) -> Iterator[tuple[Body, Plate, PlateRelation]]:
        for body in self.job.bodies:
            for plate in self.plates:
                if body.role == "pin" and self._stands_in(body, plate):
                    continue
                found = relate_stored(plate, body.shape, body.body_to_world, self.job.store)
                if found is not None:
                    yield body, plate, found

    def _stands_in(self, pin: Body, plate: Plate) -> bool:
        seat = self.job.seats.get(pin.item)
        return seat is not None and not seat.stacked and (seat.stands_on or "table") == plate.name

    @cached_property
    def open_hits(self) -> Sequence[Hit]:
        """What the open clamps run into."""
        return open_hits(self.job, self.plates)

    @cached_property
    def triangles(self) -> _Triangles:
        """Triangles of bodies in the world."""
        return _Triangles(self.bodies)

    @cached_property
    def boxes(self) -> Mapping[str, Array]:
        """World box of every body, (2, 3)."""
        return {name: body.box for name, body in self.bodies.items()}

    def figures(self) -> list[dict[str, Any]]:
        """The table of pairs: first by file order of the one, then of the other, plates last."""
        rows = [_row(a.name, b.name, r) for a, b, r in self.pairs]
        # Here b is the body and the plate stays, as ``way_out`` moves b.
        rows += [_row(plate.name, body.name, r) for body, plate, r in self.on_plates]
        return sorted(rows, key=lambda row: (row["a"], row["b"]))

    @cached_property
    def _touching(self) -> Mapping[str, list[tuple[Body, Relation]]]:
        """For every body the bodies that touch or overlap it."""
        out: dict[str, list[tuple[Body, Relation]]] = {name: [] for name in self.bodies}
        for a, b, relation in self.pairs:
            if relation.kind != "clear":
                out[a.name].append((b, relation))
                out[b.name].append((a, relation))
        return out

    def around(self, piece: Body) -> Sequence[tuple[Body, Relation]]:
        """What touches or overlaps a piece, and how."""
        return self._touching[piece.name]

    def near(self, piece: Body, roles: Sequence[str]) -> Iterator[Body]:
        """Bodies of some roles that touch or overlap a piece."""
        return (other for other, _ in self._touching[piece.name] if other.role in roles)


class _Triangles:
    """World triangles by name of the body, made when asked for."""

    def __init__(self, bodies: Mapping[str, Body]) -> None:
        self._bodies = bodies

    def __getitem__(self, name: str) -> Array:
        return self._bodies[name].triangles


def _row(a: str, b: str, relation: Relation | PlateRelation) -> dict[str, Any]:
    way = relation.way_out
    return {
        "a": a,
        "b": b,
        "kind": relation.kind,
        "gap": None if relation.gap is None else neat(relation.gap),
        "depth": neat(relation.depth),
        "volume": neat(relation.volume),
        "way_out": None if way is None else [neat(v) for v in way],
    }


# --- bodies that run into each other -----------------------------------------------------------------------------


def _misplaced(job: Job) -> Iterator[Finding]:
    """Whether one error of the work's place is behind what is wrong at several blocks; their findings stay."""
    if job.weldment is None:
        return
    found = misplaced(job)
    if found is not None:
        yield _shifted(job, found)
    for side in alike(job, found.blocks if found is not None else ()):
        first = ", ".join(side.blocks[:_NAMED]) + (" and others" if side.blocks[_NAMED:] else "")
        by, units = abs(side.gap), job.scene.units
        which = "the work is short there, or its stops are set too far out"
        if side.gap < 0.0:
            which = "the work is long there, or its stops are set too far in"
        yield CHECK.finding(
            "work-misplaced",
            ["weldment", *side.blocks],
            f"all stops of one side are off by the same, those of the other side are not: {first}",
            level="fail" if side.gap < 0.0 else "warn",
            measured=neat(by),
            limit=SHOP.contact,
            unit="mm",
            at=point(side.at),
            remedy=f"one length is wrong, not each stop by itself: {which}; correct it in the file by "
            f"{length(by, units)}, or move all of them {in_words(side.way * side.gap, units)}",
        )


def _shifted(job: Job, found: Misplaced) -> Finding:
    """One shift of the work."""
    first = ", ".join(found.blocks[:_NAMED]) + (" and others" if found.blocks[_NAMED:] else "")
    return CHECK.finding(
        "work-misplaced",
        ["weldment", *found.blocks],
        f"the whole work is off by one and the same way, at {first}",
        level="fail" if found.sunk else "warn",
        measured=neat(float(np.linalg.norm(found.shift))),
        limit=SHOP.contact,
        unit="mm",
        at=point(found.at),
        remedy=f"set {' and '.join(found.keys)} in "
        + ("[weldment]" if job.stage is None else f'the weldment of stage "{job.stage}"')
        + f", which moves the work {in_words(found.shift, job.scene.units)}",
    )


def _overlaps(work: _Work) -> Iterator[Finding]:
    """One finding for every two items, at their deepest pair of bodies."""
    worst: dict[tuple[str, frozenset[str]], list[tuple[Body, Body, Relation]]] = {}
    for a, b, relation in work.pairs:
        if relation.kind == "overlapping":
            rule = "sweep-blocked" if "sweep" in (a.role, b.role) else "overlap"
            if a.role == b.role == "piece":
                rule = "piece-overlap"
            worst.setdefault((rule, frozenset((a.item, b.item))), []).append((a, b, relation))
    for (rule, _), hits in worst.items():
        hits.sort(key=lambda hit: (-_far(hit[2]), -hit[2].depth, hit[0].name, hit[1].name))
        say = {"overlap": _overlap, "sweep-blocked": _sweep, "piece-overlap": _pieces}[rule]
        yield say(work, hits)


def _far(relation: Relation) -> float:
    """How long the way out is: the bodies of an item are free only when the one with the longest way is."""
    return float("inf") if relation.way_out is None else float(np.linalg.norm(relation.way_out))


_Hits = Sequence[tuple[Body, Body, Relation]]


def _overlap(work: _Work, hits: _Hits) -> Finding:
    a, b, relation = hits[0]
    mover, stays = sorted((a, b), key=lambda body: _weight(work, body))
    way = _way(relation, mover is b)
    also = sorted({body.name for hit in hits[1:] for body in hit[:2]} - {a.name, b.name})
    return CHECK.finding(
        "overlap",
        [mover.item, stays.item],
        f"{mover.name} runs into {stays.name}" + (f" (also: {', '.join(also)})" if also else ""),
        measured=neat(max(hit[2].depth for hit in hits)),
        limit=SHOP.contact,
        unit="mm",
        at=_between(work, a, b),
        remedy=_apart(work, mover, stays, way),
    )


def _apart(work: _Work, mover: Body, stays: Body, way: Array | None) -> str:
    """What to do about an overlap. A block that is far in a piece goes back the way it came, where that works."""
    item = work.job.seats.get(mover.item)
    if stays.role == "piece" and item is not None and not item.clamp:
        below = way is not None and float(-way[2]) > _OPPOSED * float(np.linalg.norm(way))
        triangles = work.triangles[stays.name]
        if not (below and way is not None and float(-way[2]) <= SHOP.report_gap):  # else: a little too high
            words = back_off(work.job, item, stays, way, _held(work, item.name), work.triangles, work.boxes)
            if words:
                return words
        if way is not None:
            way = retreat(work.job, item, way, triangles)
            pad = locating(work.job, item, way, triangles)
            return remedy(work.job, mover, way, out=False, pad=pad, into=stays.name)
    return (
        remedy(work.job, mover, way, into=stays.name)
        if way is not None
        else f"move {mover.item} away from {stays.item}"
    )


def _held(work: _Work, but: str) -> set[str]:
    """The pieces that a block other than one meets."""
    pieces = work.job.pieces()
    return {p.name for p in pieces if any(other.item != but for other in work.near(p, ("block", "shim")))}


def _weight(work: _Work, body: Body) -> tuple[int, bool, float, str]:
    """What is moved first: clamps, then blocks, then pieces; what carries nothing; the lighter one."""
    order = {"clamp": 0, "sweep": 0, "pin": 1, "shim": 1, "block": 1, "piece": 2}[body.role]
    if body.item in work.job.seats and work.job.seats[body.item].clamp:
        order = 0
    carries = any(seat.stacked and seat.stands_on == body.item for seat in work.job.seats.values())
    volume = sum(b.shape.mesh.volume for b in work.job.of_item(body.item) if b.role != "sweep")
    return order, carries, round(volume, 3), body.name


def _way(relation: Relation, moves_b: bool) -> Array | None:
    if relation.way_out is None:
        return None
    way = np.asarray(relation.way_out, dtype=np.float64)
    return way if moves_b else -way


def _sweep(work: _Work, hits: _Hits) -> Finding:
    a, b, relation = hits[0]
    sweep, other = (a, b) if a.role == "sweep" else (b, a)
    way = _way(relation, other is b)
    free = ""
    if way is not None and other.role != "piece":
        free = f"; {other.item} would be clear of it {in_words(way, work.job.scene.units)}"
        seat = work.job.seats.get(other.item)
        hole = next_hole(work.job, seat, way) if seat is not None else ""
        free += f": the next hole that way is {hole}" if hole else ""
    return CHECK.finding(
        "sweep-blocked",
        [sweep.item, other.item],
        f"{sweep.item} cannot be opened and shut: {other.name} stands in the space that it sweeps",
        measured=neat(relation.depth),
        limit=SHOP.contact,
        unit="mm",
        at=_between(work, a, b),
        remedy=f"turn {sweep.item} or move it to another hole"
        + ("" if other.role == "piece" else f", or move {other.item}")
        + free
        + _free_open(work, sweep.item, other.item),
    )


def _free_open(work: _Work, clamp: str, other: str) -> str:
    """Said when a clamp meets something on the way only."""
    opens = any(body.open_to_world is not None for body in work.job.of_item(clamp))
    if not opens or any(hit.body.item == clamp and hit.item == other for hit in work.open_hits):
        return ""
    return f" ({clamp} is free of {other} when open; only the way there is not)"


def _open(work: _Work) -> Iterator[Finding]:
    """An open clamp that runs into something which its sweep does not meet."""
    told = {
        frozenset((a.item, b.item))
        for a, b, relation in work.pairs
        if relation.kind == "overlapping" and "sweep" in (a.role, b.role)
    }
    told |= {
        frozenset((body.item, plate.name))
        for body, plate, relation in work.on_plates
        if relation.kind == "overlapping" and body.role == "sweep"
    }
    for hit in work.open_hits:
        pair = frozenset((hit.body.item, hit.item))
        if pair in told:
            continue
        told.add(pair)
        yield CHECK.finding(
            "sweep-blocked",
            [hit.body.item, hit.item],
            f"{hit.body.item} cannot stay open: {hit.other} stands where its {_own_name(hit.body)} is when open",
            measured=neat(hit.depth),
            limit=SHOP.contact,
            unit="mm",
            at=point(hit.at),
            remedy=f"turn {hit.body.item} or move it to another hole",
        )


def _own_name(body: Body) -> str:
    """A body's name within its block."""
    return body.name.removeprefix(body.item).strip() or "body"


def _pieces(work: _Work, hits: _Hits) -> Finding:
    a, b, relation = hits[0]
    mover, stays = sorted((a, b), key=lambda body: _weight(work, body))
    way = _way(relation, mover is b)
    units = work.job.scene.units
    return CHECK.finding(
        "piece-overlap",
        [mover.item, stays.item],
        f"{mover.name} and {stays.name} are drawn into each other",
        measured=neat(relation.volume),
        limit=0.0,
        unit="mm3",
        at=_between(work, a, b),
        remedy=f"shorten or mitre one of them by {length(_far(relation) if way is not None else relation.depth, units)}"
        + (f", or move {mover.name} {in_words(way, units)}" if way is not None else ""),
    )


def _between(work: _Work, a: Body, b: Body) -> Point:
    """The middle of what the boxes of two bodies have in common."""
    return _common(work.boxes[a.name], work.boxes[b.name])


def _common(one: Array, two: Array) -> Point:
    """The middle of what two boxes (2, 3) have in common."""
    return point((np.maximum(one[0], two[0]) + np.minimum(one[1], two[1])) / 2.0)


def _below(work: _Work) -> Iterator[Finding]:
    worst: dict[tuple[str, str, bool], tuple[Body, Plate, PlateRelation]] = {}
    for body, plate, relation in work.on_plates:
        if relation.kind == "overlapping":
            key = (body.item, plate.name, body.role == "sweep")
            if key not in worst or relation.depth > worst[key][2].depth:
                worst[key] = (body, plate, relation)
    for body, plate, relation in worst.values():
        units = work.job.scene.units
        way = np.asarray(relation.way_out if relation.way_out is not None else (0.0, 0.0, 0.0))
        sweeps = body.role == "sweep"
        subject = [body.item, plate.name] if sweeps else [body.item]
        what = f"{body.item} cannot be opened and shut: it sweeps into the {plate.name}"
        advice = f"move {body.item} {in_words(way, units)}"
        if body.role == "piece":
            advice = f"lift the weldment, or move {body.item} {in_words(way, units)}"
        yield CHECK.finding(
            "sweep-blocked" if sweeps else "below-table",
            subject,
            what if sweeps else f"{body.name} runs into the {plate.name}",
            measured=neat(relation.depth),
            limit=SHOP.contact,
            unit="mm",
            at=point(np.asarray(relation.at)),
            remedy=advice,
        )


# --- room for the bead -------------------------------------------------------------------------------------------


def _keep_out(work: _Work) -> Iterator[Finding]:
    limit = SHOP.bead_keep_out
    for weld in work.job.welds:
        low, high = weld.path.min(axis=0) - limit, weld.path.max(axis=0) + limit
        worst: dict[str, tuple[float, Array, Body]] = {}
        for body in work.job.bodies:
            box = work.boxes[body.name]
            if body.role in ("piece", "sweep") or (box[0] > high).any() or (box[1] < low).any():
                continue
            found = bead_distance(weld, work.triangles[body.name], limit)
            if found is not None and (body.item not in worst or found[0] < worst[body.item][0]):
                worst[body.item] = (*found, body)
        for item, (distance, at, body) in worst.items():
            yield CHECK.finding(
                "weld-keep-out",
                [item, weld.name],
                f"{body.name} stands in the space that the bead and spatter of {weld.name} want",
                measured=neat(distance),
                limit=limit,
                unit="mm",
                at=point(at),
                remedy=f"move {item} {show_fine(limit - distance, work.job.scene.units)} further from the weld, use a "
                "smaller block, or shield it",
            )


def _on_beads(work: _Work) -> Iterator[Finding]:
    for hit in finished_beads.bead_hits(work.job, work.plates):
        yield CHECK.finding(
            "on-bead",
            [hit.weld, hit.other.name] if isinstance(hit.other, Plate) else [hit.other.item, hit.weld],
            finished_beads.in_words_of(hit),
            measured=neat(hit.depth),
            limit=0.0,
            unit="mm",
            at=_common(hit.bead.box, hit.bead.box if isinstance(hit.other, Plate) else hit.other.box),
            remedy=finished_beads.cure_of(work.job, hit, work.triangles, work.boxes),
        )


# --- contacts that are not there ---------------------------------------------------------------------------------


def _corners(work: _Work) -> Iterator[Finding]:
    weldment = work.job.weldment
    if weldment is None:
        return
    tubes = [
        (piece, piece.section, frame.chain(weldment.weldment_to_world, piece.piece_to_weldment))
        for piece in weldment.pieces
        if piece.section is not None
        and piece.section.shape == "rectangular tube"
        and piece.section.outer_radius > NUMERIC.zero
    ]
    if not tubes:
        return
    inverse = np.stack([frame.inverse(to_world) for _, _, to_world in tubes])
    half = np.array([[section.width / 2.0, section.height / 2.0] for _, section, _ in tubes])
    tips = np.array([piece.tips for piece, _, _ in tubes])
    for seat in work.job.seats.values():
        for pad in placed_pads(seat):
            if pad.pad.width <= 0.0:
                continue
            normals = inverse[:, :3, :3] @ pad.normal
            at = inverse[:, :3, :3] @ pad.at + inverse[:, :3, 3]
            # Column 0 is the side across the width (Y), column 1 the one across the height (Z).
            gaps = -np.sign(normals[:, 1:]) * at[:, 1:] - half
            flush = (np.abs(normals[:, 1:]) >= _OPPOSED) & (np.abs(gaps) <= SHOP.contact)
            around = np.hypot(pad.pad.length, pad.pad.width) / 2.0
            beside = (at[:, 0] < tips[:, 0] - around) | (at[:, 0] > tips[:, 1] + around)
            flush &= ~beside[:, None] & (np.abs(at[:, [2, 1]]) <= half[:, [1, 0]] + around)
            for tube, side in np.argwhere(flush):
                piece, section, to_world = tubes[tube]
                yield from _corner(work, seat, pad, piece, section, frame.inverse(to_world), 2 - int(side))


def _corner(
    work: _Work, seat: Seat, pad: PlacedPad, piece: Piece, section: Section, to_piece: Array, across: int
) -> Iterator[Finding]:
    """The pad flush with one side of a tube, in the tube's frame; ``across`` is the axis over that side."""
    along = frame.directions(to_piece, pad.along)
    wide = np.cross(frame.directions(to_piece, pad.normal), along)
    corners = _pad_corners(frame.points(to_piece, pad.at), along, wide, pad.pad.length, pad.pad.width)
    if corners[:, 0].max() <= piece.tips[0] or corners[:, 0].min() >= piece.tips[1]:
        return
    half = (section.width if across == 1 else section.height) / 2.0
    low, high = float(corners[:, across].min()), float(corners[:, across].max())
    reach = min(high, half) - max(low, -half)
    flat = half - section.outer_radius
    if reach > SHOP.contact and min(high, flat) - max(low, -flat) <= NUMERIC.merge:
        short = section.outer_radius - reach
        yield CHECK.finding(
            "corner-radius",
            [seat.name, piece.name],
            f"pad {pad.pad.name} of {seat.name} ends where the corner of {piece.name} is still round",
            measured=neat(reach),
            limit=section.outer_radius,
            unit="mm",
            at=point(pad.at),
            remedy=f"use a block whose pad reaches more than {length(short, work.job.scene.units)} further over "
            f"the side of {piece.name}",
        )


def _pad_corners(at: Array, along: Array, across: Array, long: float, wide: float) -> Array:
    return np.array([at + u * along * long / 2.0 + v * across * wide / 2.0 for u in (-1, 1) for v in (-1, 1)])


def _clamps(work: _Work) -> Iterator[Finding]:
    for seat in work.job.seats.values():
        wanted = getattr(seat.place, "presses", None)
        tip = seat.part.tip()
        if wanted is None or tip is None or wanted not in work.bodies:
            continue
        at, way = placed_tip(seat, tip)
        gap = tip_gap(at, -way if tip.pulls else way, tip.radius, work.triangles[wanted])
        slack = SHOP.contact + work.bodies[wanted].shape.mesh.chord
        touching = any(other.item == seat.name for other in work.near(work.bodies[wanted], ("clamp",)))
        if gap is not None and (gap <= slack or (touching and gap <= _STUCK)):
            continue
        units = work.job.scene.units
        if gap is None:
            yield CHECK.finding(
                "clamp-misses",
                [seat.name, wanted],
                f"the tip of {seat.name} points past {wanted}",
                at=point(at),
                remedy=f"move or turn {seat.name} so that {wanted} is {'on it' if tip.pulls else 'under its tip'}",
            )
            continue
        if tip.pulls:
            yield CHECK.finding(
                "clamp-misses",
                [seat.name, wanted],
                f"{seat.name} does not touch {wanted} and hardly pulls it",
                measured=neat(gap),
                limit=SHOP.contact,
                unit="mm",
                at=point(at),
                remedy=f"bring its face {length(gap, units)} nearer: no magnet pulls across a gap",
            )
            continue
        reach = gap <= tip.stroke
        yield CHECK.finding(
            "clamp-misses",
            [seat.name, wanted],
            f"the tip of {seat.name} stops short of {wanted}",
            level="warn" if reach else "fail",
            measured=neat(gap),
            limit=SHOP.contact,
            unit="mm",
            at=point(at),
            remedy=f"screw the tip of {seat.name} out by {length(gap, units)}"
            if reach
            else f"bring the tip of {seat.name} {length(gap, units)} nearer: its screw gives only "
            f"{length(tip.stroke, units)}",
        )


def _unsupported(work: _Work) -> Iterator[Finding]:
    pieces = work.job.pieces()
    held = {body.name for body in pieces if _carried(work, body)}
    held |= _hang_together(work, held)
    waiting = [body for body in pieces if body.name not in held]
    grew = True
    while grew and waiting:
        grew = False
        for body in list(waiting):
            below = [o for o in work.near(body, ("piece",)) if o.name in held]
            slack = SHOP.contact + body.shape.mesh.chord + NUMERIC.merge
            mine = work.triangles[body.name]
            if any(rests_on(mine, work.triangles[o.name], slack + o.shape.mesh.chord) for o in below):
                held |= {body.name} | _hang_together(work, {body.name})
                grew = True
        waiting = [body for body in waiting if body.name not in held]
    told: set[str] = set()
    for body in waiting:
        one = [other for other in waiting if other.name in {body.name} | _hang_together(work, {body.name})]
        if body.name not in told:
            yield _rests_on_nothing(work, next((b for b in one if _just_below(work, b) is not None), body))
        told |= {other.name for other in one}  # welded together they rest, or do not, as one


def _hang_together(work: _Work, held: Collection[str]) -> set[str]:
    """The pieces that finished welds join to some that are held up."""
    return {name for group in work.job.joined if any(one in held for one in group) for name in group}


def _rests_on_nothing(work: _Work, body: Body) -> Finding:
    """The finding for a piece that nothing carries, with the block that is just below it, if there is one."""
    low, units = float(work.boxes[body.name][0, 2]), work.job.scene.units
    found = _just_below(work, body)
    if found is None:
        return CHECK.finding(
            "unsupported",
            [body.item],
            f"{body.name} rests on nothing",
            at=point(work.boxes[body.name].mean(axis=0)),
            remedy=f"put a block under it whose top is {length(low, units)} above the table"
            if low > 0.0
            else "put a block under it",
        )
    gap, pad = found
    way = length(gap, units)
    return CHECK.finding(
        "unsupported",
        [body.item, pad.item],
        f"{body.name} rests on nothing: {pad.item} is just below it",
        measured=neat(gap),
        limit=SHOP.contact,
        unit="mm",
        at=point(pad.at),
        remedy=f"{show_fine(gap, units)} above {pad.item}: lower the lift by {way}, or shim {pad.item} by {way}",
    )


def _just_below(work: _Work, piece: Body) -> tuple[float, PlacedPad] | None:
    """The pad that looks up at a piece from nearest below it, up to a few mm, and how far up the piece is, mm."""
    low, high = work.boxes[piece.name]
    best: tuple[float, PlacedPad] | None = None
    for seat in work.job.seats.values():
        for pad in placed_pads(seat):
            lean, far = float(pad.normal[2]), np.hypot(pad.pad.length, pad.pad.width) / 2.0 + SHOP.report_gap
            if lean <= UPWARD or (pad.at < low - far).any() or (pad.at > high + far).any():
                continue
            gap = pad_gap(pad, work.triangles[piece.name], SHOP.report_gap * lean)
            if gap is not None and gap > SHOP.contact and (best is None or gap / lean < best[0] - NUMERIC.merge):
                best = gap / lean, pad
    return best


def _short(work: _Work, told: Collection[str]) -> Iterator[Finding]:
    """Blocks that touch no piece although one of their faces looks at a piece close by; not those already told of."""
    carriers = {seat.stands_on for seat in work.job.seats.values() if seat.stacked}
    for seat in work.job.seats.values():
        own = [body for body in work.job.of_item(seat.name) if body.role != "sweep"]
        if seat.clamp or seat.complaint or seat.name in told or seat.name in carriers:
            continue
        if any(_meets_piece(work, body) for body in own):
            continue
        found = _nearest_ahead(work, seat)
        if found is None:
            continue
        gap, pad, piece = found
        yield CHECK.finding(
            "stops-short",
            [seat.name, piece.name],
            f"{pad.pad.name} of {seat.name} does not reach {piece.name}",
            measured=gap,
            limit=SHOP.contact,
            unit="mm",
            at=point(pad.at),
            remedy=_bring_up(work, own[0], pad, gap),
        )


def _meets_piece(work: _Work, body: Body) -> bool:
    return next(work.near(body, ("piece",)), None) is not None


def _nearest_ahead(work: _Work, seat: Seat) -> tuple[float, PlacedPad, Body] | None:
    """The least gap between a pad and a piece that it looks at, up to one pitch of the table."""
    reach = min(work.job.table.pitch)
    best: tuple[float, PlacedPad, Body] | None = None
    for pad in placed_pads(seat):
        for piece in work.job.pieces():
            gap = pad_gap(pad, work.triangles[piece.name], reach)
            if gap is not None and gap > SHOP.contact and (best is None or gap < best[0] - NUMERIC.merge):
                best = gap, pad, piece
    return best


def _bring_up(work: _Work, body: Body, pad: PlacedPad, gap: float) -> str:
    lean = float(pad.normal[2])
    if NUMERIC.merge < lean < _OPPOSED:  # a side of a V: going up closes both sides alike
        return f"raise {body.item} by {length(gap / lean, work.job.scene.units)}"
    words = remedy(work.job, body, pad.normal * gap, pad=pad)
    other = "notch" in words or "slide" in words or "shims" in words
    if gap <= SHOP.report_gap and abs(lean) < _OPPOSED and not other:
        words += f", or put {length(gap, work.job.scene.units)} of shims on its {pad.pad.name}"
    return words


def _carried(work: _Work, piece: Body) -> bool:
    """Whether the table or a pad that looks up holds the piece."""
    for body, plate, relation in work.on_plates:
        if body is piece and relation.kind != "clear" and plate.to_world[2, 2] > UPWARD:
            return True
    slack = SHOP.contact + piece.shape.mesh.chord + NUMERIC.merge
    sunk: dict[str, float] = {}
    for other, met in work.around(piece):
        if other.role in ("block", "shim", "clamp"):  # of the clamps only a magnet has faces
            deep = _far(met) if met.way_out is not None else met.depth
            sunk[other.item] = max(sunk.get(other.item, 0.0), deep if met.kind == "overlapping" else 0.0)
    for item, deep in sunk.items():
        for pad in placed_pads(work.job.seats[item]) if item in work.job.seats else ():
            # A piece that has sunk into a block by an error of height does rest on it.
            gap = None if float(pad.normal[2]) <= UPWARD else pad_gap(pad, work.triangles[piece.name], slack + deep)
            if gap is not None and gap <= slack:
                return True
    return False
