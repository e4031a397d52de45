"""What holds each loose piece, and the tacked work as one, worked out once and kept by all that it depends on.

The bodies that a piece lies on and against (blocks, shims, plates with holes, magnets and the other pieces) stand
still; a clamp is a force at its tip. A clamp that squeezes one piece against another presses that one too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.cache import content_key
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.job.clamping import AGAINST, placed_tip
from fixture3d.job.loose import Loose, blocks_of, loose_pieces, plates_under
from fixture3d.job.tip import tip_gap
from fixture3d.locating.clamp_place import under_clamp, way_to_hull
from fixture3d.locating.closure import scaling
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.features import Standing
from fixture3d.locating.find import TOO_LOW, checked_near, contacts_of, doubts_of, unread_near
from fixture3d.locating.holding import Disturbance, Held, Push, Stands, disturbances, hold, preload
from fixture3d.locating.lie import lie_of
from fixture3d.locating.read_features import standing
from fixture3d.solid.relate import Placed
from fixture3d.stock.section import STEEL
from fixture3d.tolerance import HOLDING, LOCATING, NUMERIC

__all__ = ["WHOLE", "Pressing", "Work"]

WHOLE = "tacked work"
_KIND = "holding-2"
_SUNK = "reaches into the piece"  # in the words of `locating.find`; that is told as an overlap
_DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True, eq=False)
class Pressing:
    """A clamp that presses a piece.

    Attributes:
        seat: the clamp.
        piece: name of the piece.
        push: its force.
        radius: of its tip, mm.
        pulls: it is a magnet.
    """

    seat: Seat
    piece: str
    push: Push
    radius: float
    pulls: bool


def force_of(seat: Seat) -> float:
    """The force that is counted of a clamp, N: the middle of what its model gives by hand (its geometric mean)."""
    tip = seat.part.tip()
    if tip is None:
        return 0.0
    low, high = tip.force
    return float(f"{math.sqrt(low * high):.2g}") if low > 0.0 else high


class Work:
    """The job as loose pieces, what is about them, and the clamps that press them."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.near = checked_near(LOCATING.contact, LOCATING.angle)
        self.loose = loose_pieces(job)
        self.of = {name: one for one in self.loose for name in one.pieces}
        self.fixed = (*blocks_of(job), *self._magnets())
        self._digests: dict[tuple[str, ...], str] = {}
        self._around: dict[tuple[str, ...], list[Body]] = {}
        self._contacts: dict[tuple[str, ...], list[Contact]] = {}

    def _magnets(self) -> Iterator[Body]:
        """Clamps that the work lies against: they pull it to their own faces."""
        for body in self.job.bodies:
            seat = self.job.seats.get(body.item)
            tip = None if seat is None or not seat.clamp else seat.part.tip()
            if body.role == "clamp" and tip is not None and tip.pulls:
                yield body

    @cached_property
    def whole(self) -> Loose:
        """All pieces as one."""
        pieces = self.job.pieces()
        return Loose(WHOLE, tuple(body.name for body in pieces), pieces)

    @cached_property
    def pressing(self) -> tuple[Pressing, ...]:
        """The clamps that press a piece, in file order; one that does not reach the piece presses nothing."""
        return tuple(self._pressing())

    def _pressing(self) -> Iterator[Pressing]:
        bodies = {body.name: body for body in self.job.pieces()}
        for seat in self.job.seats.values():
            tip = seat.part.tip()
            if not seat.clamp or tip is None:
                continue
            at, way = placed_tip(seat, tip)
            wanted = getattr(seat.place, "presses", None)
            for name in [wanted] if wanted in bodies else list(bodies) if wanted is None else []:
                gap = tip_gap(at, -way if tip.pulls else way, tip.radius, bodies[name].triangles)
                if gap is not None and gap <= max(LOCATING.contact, 0.0 if tip.pulls else tip.stroke):
                    push = Push(seat.name, at, way, force_of(seat))
                    yield Pressing(seat, name, push, tip.radius, tip.pulls)
                    break

    def around(self, one: Loose) -> list[Body]:
        """Bodies that a piece may lie on or against: those whose boxes meet its own."""
        if one.pieces not in self._around:
            own = set() if one is self.whole else set(one.pieces)
            bodies, boxes = (
                (self.fixed, self._boxes[: len(self.fixed)]) if one is self.whole else (self._all, self._boxes)
            )
            near = [bodies[k] for k in np.flatnonzero(_meeting(boxes, one.box))]
            self._around[one.pieces] = [b for b in near if b.role != "piece" or b.name not in own]
        return self._around[one.pieces]

    @cached_property
    def _all(self) -> tuple[Body, ...]:
        return (*self.fixed, *(body for one in self.loose for body in one.bodies))

    @cached_property
    def _boxes(self) -> Array:
        """Of the same, (n, 2, 3)."""
        return np.array([body.box for body in self._all]).reshape(-1, 2, 3)

    def contacts(self, one: Loose) -> list[Contact]:
        """What a piece lies on and against, by item or piece."""
        if one.pieces not in self._contacts:
            found = contacts_of(one.standing, self.bodies(one), self.near)
            self._contacts[one.pieces] = [c for c in found if c.doubt != TOO_LOW]
        return self._contacts[one.pieces]

    def bodies(self, one: Loose) -> list[Standing]:
        """The same bodies with their features, and the plates."""
        near = [standing(b.item, Placed(b.item, b.shape, b.body_to_world)) for b in self.around(one)]
        return [*near, *plates_under(self.job, one)]

    def pushes(self, one: Loose) -> list[Push]:
        """The clamps that press a piece, and those that press it through its neighbours."""
        mine = self.own(one)
        return mine if one is self.whole else [*mine, *self._passed.get(one.name, [])]

    @cached_property
    def _passed(self) -> dict[str, list[Push]]:
        """What clamps do to pieces that they press through others, by name of the loose piece."""
        out: dict[str, list[Push]] = {}
        for clamp in self.pressing:
            start = self.of[clamp.piece]
            waiting: list[tuple[Loose, list[Push]]] = [(start, [clamp.push])]
            seen = {start.name}
            while waiting:
                one, pushes = waiting.pop(0)
                for name, given in _handed_on(self.contacts(one), pushes).items():
                    other = self.of.get(name)
                    if other is None or other.name in seen:
                        continue
                    seen.add(other.name)
                    on = [Push(f"{clamp.push.name} through {one.name}", at, way, size) for at, way, size in given]
                    out.setdefault(other.name, []).extend(on)
                    waiting.append((other, on))
        return out

    def mass(self, one: Loose) -> tuple[float, Array]:
        """Of steel: kg, and the centre of gravity (3,)."""
        known = {p.name: p.mass for p in self.job.weldment.pieces} if self.job.weldment is not None else {}
        masses, centres = [], []
        for body in one.bodies:
            mass = known.get(body.name)
            masses.append(mass if mass is not None else body.shape.mesh.volume * STEEL * 1e-9)
            own = standing(body.name, Placed(body.name, body.shape, body.body_to_world))
            centres.append(frame.points(own.pose, own.features.centroid))
        total = float(sum(masses))
        return total, np.average(np.array(centres), axis=0, weights=np.array(masses))

    def knocks(self, one: Loose) -> list[tuple[str, Array]]:
        """Where a piece is knocked: the middles of its welds, of many the two that are furthest apart."""
        welds = [w for w in self.job.welds if set(w.joins) & set(one.pieces)]
        if not welds:
            return []
        middles = np.array([_middle(w.path) for w in welds])
        apart = np.round(np.linalg.norm(middles[:, None] - middles[None], axis=2), 3)
        a, b = np.unravel_index(int(apart.argmax()), apart.shape)
        return [(welds[k].name, middles[k]) for k in dict.fromkeys((int(a), int(b)))]

    # --- answers ---

    def answer(self, one: Loose) -> dict[str, Any]:
        """Everything about one piece as plain data: from the store, or worked out."""
        store, key = self.job.store, self._key(one)
        kept = store.get_json(key, _KIND) if store is not None else None
        if isinstance(kept, dict) and kept.get("name") == one.name:
            return kept
        found = self._worked_out(one)
        if store is not None:
            store.put_json(key, _KIND, found)
        return found

    def _key(self, one: Loose) -> str:
        """All that an answer depends on: shapes and places of the bodies near the piece, clamps, places of knocks.

        Clamps that press through neighbours depend on what is about those: everything that is joined to the piece
        by touching boxes is part of the key.
        """
        parts: list[str | bytes] = [
            one.name,
            "whole" if one is self.whole else "",
            *one.pieces,
            repr(HOLDING),
            repr(LOCATING),
        ]
        parts += [self._digest((one,) if one is self.whole else self._cluster[one.name]), self._table]
        for name, at in self.knocks(one):
            parts += [name, _rounded(at)]
        masses = {p.name: p.mass for p in self.job.weldment.pieces} if self.job.weldment is not None else {}
        parts += [repr(masses.get(name)) for name in one.pieces]
        return content_key(parts)

    def _digest(self, joined: Sequence[Loose]) -> str:
        """Of all that is near some pieces and of the clamps that press them."""
        names = tuple(one.name for one in joined)
        if names not in self._digests:
            parts: list[str | bytes] = []
            for one in joined:
                for body in (*one.bodies, *self.around(one)):
                    parts += [body.name, body.item, body.shape.key, _rounded(body.body_to_world)]
            pieces = {name for one in joined for name in one.pieces}
            for clamp in self.pressing:
                if clamp.piece in pieces:
                    p = clamp.push
                    parts += [p.name, clamp.piece, _rounded(np.array([*p.at, *p.way, p.given, clamp.radius]))]
            self._digests[names] = content_key(parts)
        return self._digests[names]

    @cached_property
    def _table(self) -> str:
        return repr(self.job.table)

    @cached_property
    def _cluster(self) -> dict[str, tuple[Loose, ...]]:
        """By name each piece with all that touch it, and those that touch these; one tuple for all of them."""
        boxes = np.array([one.box for one in self.loose]).reshape(-1, 2, 3)
        out: dict[str, tuple[Loose, ...]] = {}
        for start, first in enumerate(self.loose):
            if first.name in out:
                continue
            found, waiting = {start}, [start]
            while waiting:
                new = set(np.flatnonzero(_meeting(boxes, boxes[waiting.pop()])).tolist()) - found
                found |= new
                waiting += sorted(new)
            together = tuple(self.loose[k] for k in sorted(found))
            out |= dict.fromkeys((one.name for one in together), together)
        return out

    def _worked_out(self, one: Loose) -> dict[str, Any]:
        contacts, (mass, centre) = self.contacts(one), self.mass(one)
        size = float(np.linalg.norm(one.box[1] - one.box[0]))
        own, pushes, against = self.own(one), self.pushes(one), self._against(one, centre)
        alone = hold(contacts, mass, centre, size=size)
        held = hold(contacts, mass, centre, pushes, against, size=size)
        if not held.held and len(pushes) > len(own):
            # What comes through neighbours is shared out as if all were equally stiff; what it tips in truth shows in
            # the balance of the whole work.
            pushes = own
            held = hold(contacts, mass, centre, pushes, against, size=size)
        # Over what stands against it no clamp tips a piece alone.
        beside = [] if held.held else [p for p in own if _beside(_outside(contacts, p.at, p.way))]
        each = {p.name: hold(contacts, mass, centre, [p], size=size) for p in beside}
        return {
            "name": one.name,
            "whole": one is self.whole,
            "pieces": list(one.pieces),
            "weight": held.weight,
            "centre": centre.tolist(),
            "unsure": self._unsure(one, contacts),
            "alone": {**_balance(alone), **_outside(contacts, centre, _DOWN)},
            "all": _balance(held),
            "each": {name: _balance(found) for name, found in each.items()},
            "stands": [_stood(s) for s in held.stands],
            "needs": held.needs,
            "unmet": list(held.unmet),
            "pushes": [{"name": p.name, "at": p.at.tolist(), "way": p.way.tolist(), "force": p.given} for p in pushes],
            "under": {p.name: {**_under(contacts, p), **_outside(contacts, p.at, p.way)} for p in own},
            "behind": {p.name: _behind(contacts, p) for p in own},
        }

    def _against(self, one: Loose, centre: Array) -> list[Disturbance]:
        """Level pushes at the places where it may be knocked, along the piece and across."""
        first = lie_of(one.standing, _DOWN).axes[0]
        places = self.knocks(one) or [("its middle", centre)]
        return [
            knock
            for place, at in places
            for knock in disturbances(at, ways=4, first=first, place=place)
            if knock.unit == "N" and abs(float(knock.force[2])) < NUMERIC.zero + 0.5 * knock.size
        ]

    def _unsure(self, one: Loose, contacts: Sequence[Contact]) -> str:
        """Why the contacts are not to be relied on; empty when they are."""
        bodies = self.bodies(one)
        sunk = [d.fixed for d in doubts_of(one.standing, bodies, contacts, self.near) if d.words.startswith(_SUNK)]
        if sunk:
            return f"{sunk[0]} reaches into it"
        unread = unread_near(one.standing, bodies, self.near)
        return f"a face near {unread[0]} is of a kind that is not read" if unread else ""

    def own(self, one: Loose) -> list[Push]:
        """The clamps that press a piece itself."""
        return [p.push for p in self.pressing if p.piece in one.pieces]


def _balance(found: Held) -> dict[str, Any]:
    return {
        "held": found.held,
        "reactions": found.reactions,
        "pulls": found.pulls,
        "lifts": list(found.tips),
        "motion": found.tip_motion.tolist(),
    }


def _under(contacts: Sequence[Contact], push: Push) -> dict[str, Any]:
    """What of the bodies takes a push: None for what is infinite."""
    found = under_clamp(contacts, push.at, push.way)
    points = [c.points for c in contacts if c.fixed == found.nearest and float(c.normal @ push.way) <= -HOLDING.opposed]
    return {
        "nearest": found.nearest,
        "beside": None if math.isinf(found.beside) else found.beside,
        "span": None if math.isinf(found.span) else found.span,
        "nearest_way": way_to_hull(np.vstack(points), push.at, push.way).tolist() if points else None,
    }


def _outside(contacts: Sequence[Contact], at: Array, way: Array) -> dict[str, Any]:
    """The move that brings a force over all that stands against it; None where nothing does."""
    points = [c.points for c in contacts if float(c.normal @ way) < AGAINST]
    return {"outside": way_to_hull(np.vstack(points), at, way).tolist() if points else None}


def _beside(found: Mapping[str, Any]) -> bool:
    outside = found["outside"]
    return outside is None or bool(np.any(np.abs(outside) > NUMERIC.merge))


def _behind(contacts: Sequence[Contact], push: Push) -> list[str]:
    """The bodies that a push drives the piece away from."""
    return list(dict.fromkeys(c.fixed for c in contacts if float(c.normal @ push.way) >= HOLDING.opposed))


def _stood(one: Stands) -> dict[str, Any]:
    d = one.disturbance
    return {
        "what": d.name,
        "force": d.force.tolist(),
        "size": d.size,
        "most": one.most,
        "way": one.way,
        "leaves": list(one.leaves),
    }


def _handed_on(contacts: Sequence[Contact], pushes: Sequence[Push]) -> dict[str, list[tuple[Array, Array, float]]]:
    """What pushes on a piece do to the bodies about it: by name places (3,), ways (3,) and N of each contact."""
    out: dict[str, list[tuple[Array, Array, float]]] = {}
    points, normals, owner = locators(list(contacts))
    total = sum(p.given for p in pushes)
    if not len(points) or not total > 0.0:
        return out
    scale = scaling(np.vstack([points, *[p.at[None] for p in pushes]]))
    forces = np.array([p.given * p.way for p in pushes])
    moments = np.array([np.cross(p.at, f) for p, f in zip(pushes, forces, strict=True)])
    pressed, _ = preload(scale.rows(points, normals), scale.wrench(forces, moments).sum(axis=0))
    for k, contact in enumerate(contacts):
        own = pressed[owner == k]
        if float(own.sum()) > HOLDING.passed * total:
            at = np.average(points[owner == k], axis=0, weights=own)
            out.setdefault(contact.fixed, []).append((at, -contact.normal, float(own.sum())))
    return out


def _middle(path: Array) -> Array:
    """The point half way along a line of points (n, 3)."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    return np.array([np.interp(along[-1] / 2.0, along, path[:, k]) for k in range(3)])


def _rounded(values: Array) -> bytes:
    result: bytes = (np.round(np.asarray(values, dtype=np.float64) / NUMERIC.key) * NUMERIC.key + 0.0).tobytes()
    return result


def _meeting(boxes: Array, box: Array) -> NDArray[np.bool_]:
    """Which boxes (n, 2, 3) meet one (2, 3), (n,)."""
    found: NDArray[np.bool_] = (
        (boxes[:, 0] <= box[1] + LOCATING.contact) & (box[0] <= boxes[:, 1] + LOCATING.contact)
    ).all(axis=1)
    return found
