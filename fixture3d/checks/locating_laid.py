"""What locates each piece of a job: contacts counted, free motions tried on the solids, the order of laying in.

All pieces are judged together, as they lie in the finished setup. A block locates. A piece locates another one where
it is itself located: two pieces that only touch each other slide together. What is stopped within the play of a root
gap is no free motion, whatever the contacts say; a piece that gives way when it is run into stops nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.going_in import order_of
from fixture3d.job.loose import Loose, as_one, blocks_of, loose_pieces, plates_under
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.features import Standing
from fixture3d.locating.find import TOO_LOW, Doubt, checked_near, contacts_of, doubts_of, unread_near
from fixture3d.locating.lie import Lie, lie_of
from fixture3d.locating.motions import freedom, moves_along, rank_of, turn_is_open
from fixture3d.locating.order_in import Order
from fixture3d.locating.over import Opposed, Over, opposed_pairs, over_constraint
from fixture3d.locating.read_features import standing
from fixture3d.locating.words import Motion, told
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING

__all__ = ["Laid", "Table", "Whole", "thickness"]

DOWN = np.array([0.0, 0.0, -1.0])
_SAME_WAY = 0.998  # cosine
_PASSES = 0.7  # cosine; a mitre still passes a push on
_TOO_MANY = ("supports", "vees", "side-stops", "end-stops", "pins")
_BADLY = ("supports-on-one-line", "too-near")
_WITHIN, _ANGLE = LOCATING.contact, LOCATING.angle


@dataclass(frozen=True, eq=False)
class Laid:
    """How one thing that is laid in is located.

    Attributes:
        loose: what it is.
        rank: of the locating Jacobian, by all that counts.
        rests: nothing makes it fall.
        motions: free motions that the solids allow.
        by: names of what counts as locating it.
        over: blocks that are too many or stand badly.
        doubts: places where it meets a block and should not rely on it.
        unread: blocks near which contacts cannot be read.
        lie: its own frame.
    """

    loose: Loose
    rank: int
    rests: bool
    motions: tuple[Motion, ...]
    by: tuple[str, ...]
    over: tuple[Over, ...]
    doubts: tuple[Doubt, ...]
    unread: tuple[str, ...]
    lie: Lie


@dataclass(frozen=True, eq=False)
class Whole:
    """All pieces as one, as once they are tacked.

    Attributes:
        rank: by the blocks alone.
        motions: free motions left.
        opposed: blocks that push straight against each other, across any of the pieces.
    """

    rank: int
    motions: tuple[Motion, ...]
    opposed: tuple[Opposed, ...]


class Table:
    """The blocks and the pieces of a job with their contacts, each found once; ``fixed`` has those with blocks.

    Args:
        job: the setup.
        give: blocks that can be set or shimmed to what is there.
        only: pieces that are laid in; None for all. With fewer, what other pieces do is left out.
    """

    def __init__(self, job: Job, give: Collection[str] = (), only: Collection[str] | None = None) -> None:
        self.job = job
        self.give = frozenset(give)
        self.near = checked_near(_WITHIN, _ANGLE)
        self.loose = [one for one in loose_pieces(job) if only is None or set(only) & set(one.pieces)]
        near = (
            blocks_of(job)
            if only is None
            else [b for b in blocks_of(job) if any(_meet(b.box, o.box) for o in self.loose)]
        )
        self.blocks = [standing(b.item, Placed(b.item, b.shape, b.body_to_world)) for b in near]
        self._bodies = {b.name: b for b in blocks_of(job)}
        self.plates = {one.name: list(plates_under(job, one)) for one in self.loose}
        self.lies = {one.name: lie_of(one.standing, DOWN) for one in self.loose}
        self.fixed = {one.name: self._found(one, self._blocks_near(one)) for one in self.loose}
        self._mutual = {
            (one.name, other.name): self._found(one, [other.standing])
            for one in self.loose
            for other in self.loose
            if one is not other and _meet(one.box, other.box)
        }

    def _blocks_near(self, one: Loose) -> list[Standing]:
        return [*(b for b in self.blocks if _meet(b.box, one.box)), *self.plates[one.name]]

    def _found(self, one: Loose, fixed: Sequence[Standing]) -> list[Contact]:
        return [c for c in contacts_of(one.standing, fixed, self.near) if c.doubt != TOO_LOW]

    @cached_property
    def counted(self) -> dict[str, list[Contact]]:
        """What locates each piece: contacts with blocks, and with pieces where these are located that way."""
        out = {name: list(found) for name, found in self.fixed.items()}
        left = {pair: list(found) for pair, found in self._mutual.items()}
        again = True
        while again:
            again = False
            for (name, other), found in left.items():
                if not found:
                    continue
                points, normals, owner = locators(found)
                moves = moves_along(out[other], self.lies[other], points, normals)
                fast = {int(k) for k in owner[moves == 0.0]} - {int(k) for k in owner[moves > 0.0]}
                if fast:
                    out[name] = [*out[name], *(found[k] for k in sorted(fast))]
                    left[name, other] = [c for k, c in enumerate(found) if k not in fast]
                    again = True
        return out

    def laid(self, one: Loose) -> Laid:
        """How one piece is located."""
        found, lie = self.counted[one.name], self.lies[one.name]
        free = freedom(found, lie, DOWN, _ANGLE)
        motions = [told(motion, one.standing, lie, DOWN) for motion in free.motions]
        others = [other.standing for other in self.loose if other is not one and _meet(one.box, other.box)]
        blocks = self._blocks_near(one)
        by_blocks = self.fixed[one.name]
        names = {c.fixed for c in by_blocks}
        left, stoppers = self._tried(one, motions)
        return Laid(
            loose=one,
            rank=free.rank,
            rests=free.rests,
            motions=left,
            by=tuple(dict.fromkeys([*(c.fixed for c in found), *stoppers])),
            over=self._over(by_blocks, lie, [c for c in found if c.fixed not in names]),
            doubts=tuple(doubts_of(one.standing, blocks, by_blocks, self.near)),
            unread=unread_near(one.standing, [*blocks, *others], self.near),
            lie=lie,
        )

    def _over(self, by_blocks: list[Contact], lie: Lie, others: list[Contact]) -> tuple[Over, ...]:
        """What is wrong with the blocks: of those that can be set or shimmed none is one too many."""
        every = over_constraint(by_blocks, lie, DOWN, others)
        hard = over_constraint([c for c in by_blocks if c.fixed not in self.give], lie, DOWN, others)
        return (*(o for o in hard if o.kind in _TOO_MANY), *(o for o in every if o.kind in _BADLY))

    def _tried(self, one: Loose, motions: Sequence[Motion]) -> tuple[tuple[Motion, ...], tuple[str, ...]]:
        """The motions that the solids allow, and what stops those that are stopped both ways, or home one way.

        What only a piece laid in before stops one way is pushed home against that piece; its way back leaves a stop.
        """
        free = [m for m in motions if m.kind == "free" and not _rolls(m)]
        stoppers = [self._stoppers(one, m.twist) for m in free]
        before = set(self.order[: self.order.index(one.name)])
        out, stopped = [m for m in motions if m.kind != "free"], list[str]()
        for motion, found in zip(free, stoppers, strict=True):
            back = next((s for m, s in zip(free, stoppers, strict=True) if np.allclose(m.twist, -motion.twist)), ())
            home = bool(set(back) & before)
            if not found:
                out.append(dataclasses.replace(motion, kind="away") if home else motion)
            if home if not found else back:
                stopped += [*found, *back]
        return tuple(sorted(out, key=lambda m: m.kind != "free")), tuple(stopped)

    def _stoppers(self, one: Loose, twist: Array) -> tuple[str, ...]:
        """What stops the piece when it is moved on the solids by what counts as play; nothing where all gives way.

        A piece that it runs into and that nothing holds that way is pushed along, and so is what that one runs into.
        """
        move = moved_by(twist, self.lies[one.name], LOCATING.play)
        by_name = {other.name: other for other in self.loose}
        first = self._runs_into(one, move)
        pushed = [one.name, *(name for name in first if name in by_name)]
        if len(pushed) <= len(first):
            return first
        for name in pushed[1:]:  # grows as it goes
            into = [other for other in self._runs_into(by_name[name], move) if other not in pushed]
            if self._held(name, twist) or any(other not in by_name for other in into):
                return first
            pushed += into
        return ()

    def taken_along(self, one: Loose, motion: Motion) -> tuple[str, ...]:
        """Pieces that a piece runs into, and that give way, in a free motion."""
        move = moved_by(motion.twist, self.lies[one.name], LOCATING.play)
        return self._runs_into(one, move)

    def goes_on(self, name: str, other: str, way: Array) -> bool:
        """Whether a push on one piece along ``way`` goes on to another one, through those between them."""
        return any({name, other} <= set(group) for group in self._linked(way / np.linalg.norm(way)))

    def _held(self, name: str, twist: Array) -> bool:
        """Whether what counts as locating a piece hinders it in a motion, in either sense."""
        found = self.counted[name]
        points, normals, _ = locators(found)
        speeds = np.abs(np.einsum("ij,ij->i", normals, twist[:3] + np.cross(twist[3:], points)))
        fastest = float(np.linalg.norm(twist[:3] + np.cross(twist[3:], self.lies[name].hull), axis=1).max())
        return bool(len(found)) and float(speeds.max()) > max(LOCATING.rank, float(np.deg2rad(_ANGLE))) * fastest

    def _runs_into(self, one: Loose, move: Array) -> tuple[str, ...]:
        """Blocks and pieces that a moved piece stands in deeper than it did, each once."""
        out: list[str] = []
        for body in one.placed:
            here = Placed(body.name, body.shape, frame.chain(move, body.pose))
            box = here.world_box()
            for other in self._solids:
                near = other.name != one.name and other.name not in out and _meet(other.world_box(), box)
                if near and thickness(here, other) > thickness(body, other) + LOCATING.stopped:
                    out.append(other.name)
        return tuple(out)

    @cached_property
    def _solids(self) -> list[Placed]:
        blocks = [Placed(b.name, b.shape, b.body_to_world) for b in self._bodies.values()]
        return [*blocks, *(body for one in self.loose for body in one.placed)]

    def whole(self) -> Whole | None:
        """All pieces as one; None where there is only one."""
        if not self.loose:
            return None
        every = as_one("the work", tuple(body for one in self.loose for body in one.bodies))
        lie = lie_of(every, DOWN)
        found = [c for one in self.loose for c in self.fixed[one.name]]
        free = freedom(found, lie, DOWN, _ANGLE)
        motions = tuple(told(motion, every, lie, DOWN) for motion in free.motions)
        return Whole(free.rank, motions, tuple(self._opposed([c for c in found if not c.doubt])))

    def _opposed(self, contacts: Sequence[Contact]) -> list[Opposed]:
        """Blocks that push against each other through the pieces, way by way."""
        ways: list[Array] = []
        for one in contacts:
            if all(abs(float(one.normal @ way)) < _SAME_WAY for way in ways):
                ways.append(one.normal)
        out: list[Opposed] = []
        for way in ways:
            for group in self._linked(way):
                rigid = [c for name in group for c in self.fixed[name] if not c.doubt]
                out += opposed_pairs(_largest([c for c in rigid if abs(float(c.normal @ way)) >= _SAME_WAY]))
        return out

    def _linked(self, way: Array) -> list[list[str]]:
        """Groups of pieces through which a push along ``way`` goes on, in file order."""
        groups: list[list[str]] = []
        for one in self.loose:
            mine = [g for g in groups if any(self._passes(one.name, other, way) for other in g)]
            groups = [g for g in groups if g not in mine] + [[*(n for g in mine for n in g), one.name]]
        return groups

    def _passes(self, name: str, other: str, way: Array) -> bool:
        return any(abs(float(c.normal @ way)) >= _PASSES for c in self._mutual.get((name, other), ()))

    def held_by(self, one: Loose, block: Standing, motion: Motion) -> bool:
        """Whether one more block ends a free motion of a piece."""
        more = self._found(one, [block])
        own = [*self.counted[one.name], *more]
        if not any(not c.doubt for c in more) or rank_of(own, self.lies[one.name]) <= self.ranks[one.name]:
            return False
        points, normals, _ = locators(more)
        speeds = normals @ motion.twist[:3] + np.einsum("ij,ij->i", normals, np.cross(motion.twist[3:], points))
        return bool(speeds.min() < -0.5 if not motion.twist[3:].any() else speeds.min() < -LOCATING.least)

    def steadied_by(self, one: Loose, block: Standing, push: Array) -> bool:
        """Whether one more block that pushes a piece along ``push`` keeps it from turning, by no short face."""
        more, lie = self._found(one, [block]), self.lies[one.name]
        axis = np.cross(lie.axes[0], push)
        size = float(np.linalg.norm(axis))
        if not more or size < _PASSES:
            return False
        span = float(np.ptp(np.vstack([c.points for c in more]) @ lie.axes[0]))
        if span * LOCATING.magnify < float(lie.size[0]):
            return False  # as of two locators so far apart: an error across the face is felt at the ends
        return not turn_is_open([*self.counted[one.name], *more], lie, DOWN, _ANGLE, axis / size)

    @cached_property
    def ranks(self) -> dict[str, int]:
        """Rank of each piece by what is counted."""
        return {name: rank_of(found, self.lies[name]) for name, found in self.counted.items()}

    @cached_property
    def order(self) -> tuple[str, ...]:
        """Names in the order of laying in: what goes in by straight ways, and of that the best located first."""
        done = [step.name for step in self.loading.steps if step.direction is not None]
        return (*(name for name in self._best_first() if name not in done), *done)

    @cached_property
    def loading(self) -> Order:
        """How the setup is loaded: which piece after which, along which way, and what has none."""
        by_name = {one.name: one for one in self.loose}
        wanted = self._best_first()
        rests = {
            name: {c.fixed for c in self.counted[name] if c.fixed in by_name and float(c.normal[2]) > 0.5}
            for name in wanted
        }
        return order_of(self.job, [by_name[name] for name in wanted], rests)

    def _best_first(self) -> tuple[str, ...]:
        """The best located by what is in already first: by rank, then whether it rests, then as in the file."""
        left, done = [one.name for one in self.loose], list[str]()
        known: dict[tuple[str, frozenset[str]], tuple[int, bool]] = {}
        while left:
            best: tuple[tuple[int, bool], str] | None = None
            for name in left:
                touching = frozenset(o for o in done if self._mutual.get((name, o)))
                if (name, touching) not in known:
                    found = [*self.fixed[name], *(c for o in sorted(touching) for c in self._mutual[name, o])]
                    rank = rank_of(found, self.lies[name])
                    known[name, touching] = rank, bool(any(float(c.normal[2]) > 0.5 for c in found))
                if best is None or known[name, touching] > best[0]:
                    best = known[name, touching], name
            assert best is not None
            done.append(best[1])
            left.remove(best[1])
        return tuple(done)


def _rolls(motion: Motion) -> bool:
    """A round piece that turns about its own length: nothing on it tells the turn."""
    return motion.kind == "free" and motion.stop is None and "about its own length" in motion.words


def thickness(a: Placed, b: Placed) -> float:
    """How thick what two bodies have in common is, on the average over its thickest part, mm."""
    turned = [one.shape.mesh.manifold.transform(one.pose[:3]) for one in (a, b)]
    parts = (turned[0] ^ turned[1]).decompose()
    return max((2.0 * part.volume() / part.surface_area() for part in parts if part.surface_area() > 0.0), default=0.0)


def moved_by(twist: Array, lie: Lie, far: float) -> Array:
    """The move (4, 4) along a twist by which the piece's fastest point goes ``far`` mm."""
    v, w = twist[:3], twist[3:]
    if not w.any():
        return frame.translation(v * far)
    fastest = float(np.linalg.norm(v + np.cross(w, lie.hull), axis=1).max())
    angle = far / max(fastest, 1e-9)
    # A turn about the axis through the point that stands still, and the slide along it.
    centre = np.cross(w, v)
    slide = frame.translation(w * float(v @ w) * angle)
    turn = frame.rotation(w, float(np.rad2deg(angle)))
    return frame.chain(slide, frame.translation(centre), turn, frame.translation(-centre))


def _meet(a: Array, b: Array) -> bool:
    return bool((a[0] <= b[1] + _WITHIN).all() and (b[0] <= a[1] + _WITHIN).all())


def _largest(contacts: Sequence[Contact]) -> list[Contact]:
    """Each block's contacts, those that push the same way as one: the largest of them."""
    out: list[Contact] = []
    for one in sorted(contacts, key=lambda c: -round(c.area, 1)):
        if not any(o.fixed == one.fixed and float(o.normal @ one.normal) > 0.999 for o in out):
            out.append(one)
    return sorted(out, key=lambda c: contacts.index(c))
