"""Whether a block is its own mirror image, and how: what is right and left of it that way."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.part import NORMALS, Face, Part
from fixture3d.solid.itself import is_itself

_NEAR: Final = 1e-6  # mm; what a model says of itself is exact


@dataclass(frozen=True, kw_only=True, eq=False)
class Hand:
    """A reflection of a block's model frame.

    Attributes:
        flip: (4, 4), its own inverse.
        part: the block.
        other: what of the block is another way round in its mirror image, in words; none of one that is its own.
    """

    flip: Array
    part: Part
    other: tuple[str, ...] = ()

    def pin(self, name: str, face: Face) -> str:
        """The pin of a face that comes to lie where the named one was; the name itself when none does."""
        return _partner(self.flip, name, [(p.name, p.at, p.face) for p in self.part.pins()], face)

    def socket(self, name: str) -> str:
        """The socket that comes to lie where the named one was."""
        entries = [(s.name, s.at, s.face) for s in self.part.sockets()]
        return _partner(self.flip, name, entries, next((face for n, _, face in entries if n == name), None))

    def pad(self, name: str) -> str:
        """The pad that comes to lie where the named one was."""
        found = {p.name: p for p in self.part.pads()}
        if name not in found:
            return name
        at, normal = frame.points(self.flip, found[name].at), frame.directions(self.flip, found[name].normal)
        return next((p.name for p in found.values() if _same(p.at, at) and _same(p.normal, normal)), name)

    @cached_property
    def fixed(self) -> Array:
        """The model's origin in its mirror image, (3,)."""
        return frame.points(self.flip, (0.0, 0.0, 0.0))


def hand_of(job: Job, seat: Seat, world: Array) -> Hand:
    """How a block is its own mirror image; of one that is not, the reflection that keeps most of it.

    Of several, one that leaves its turn as it is, and then one that leaves the pin in the named hole where it is.

    Args:
        job: with the block's solids.
        seat: of the block.
        world: the reflection of the table, (4, 4).
    """
    bodies = {b.name: b.shape for b in job.of_item(seat.name) if b.role in ("block", "clamp", "sweep")}
    flips = list(_flips(seat.part))
    used = {p.pin.name for p in seat.pins if p.state == "seated"}
    flips.sort(
        key=lambda flip: (
            not _works(flip, seat.part),
            not _stands(flip, seat.part, used),
            not _same((world @ seat.model_to_world @ flip)[:3, :3], seat.model_to_world[:3, :3]),
            _moves_anchor(flip, seat),
        )
    )
    best: Hand | None = None
    for flip in flips:
        if not _works(flip, seat.part) or not _stands(flip, seat.part, used):
            break
        other: tuple[str, ...] = () if _stands(flip, seat.part, None) else ("its bores",)
        other += tuple(
            name.removeprefix(seat.name).strip() or "its body" for name, s in bodies.items() if not is_itself(flip, s)
        )
        if best is None or len(other) < len(best.other):
            best = Hand(flip=flip, part=seat.part, other=other)
        if not other:
            break
    return best if best is not None else Hand(flip=flips[0], part=seat.part, other=("its pads or pins",))


def _flips(part: Part) -> Iterator[Array]:
    """Reflections that may map a block on to itself: across its length, along it, and across both its corners."""
    low, high = (np.asarray(corner) for corner in part.box())
    spots = [(low + high) / 2.0]
    pins = [pin.at for pin in part.pins() if pin.face == "bottom"]
    spots += [np.mean(pins, axis=0)] if pins else []
    half = math.sqrt(0.5)
    for normal in ((0.0, 1.0), (1.0, 0.0), (half, -half), (half, half)):
        for spot in (*spots, np.zeros(3)):
            n = np.array([*normal, 0.0])
            flip = frame.identity()
            flip[:3, :3] -= np.round(2.0 * np.outer(n, n), 15)
            flip[:3, 3] = 2.0 * float(n @ spot) * n
            yield flip


def _moves_anchor(flip: Array, seat: Seat) -> bool:
    at = next((pin.at for pin in seat.part.pins() if pin.name == seat.anchor), (0.0, 0.0, 0.0))
    return not _same(frame.points(flip, at)[:2], at[:2])


def _works(flip: Array, part: Part) -> bool:
    """Whether pads, move and tip are where they were."""
    tip, move = part.tip(), part.move()
    return (
        not part.handed
        and _keeps(flip, [(p.at, p.normal) for p in part.pads()])
        and (tip is None or _keeps(flip, [(tip.at, tip.direction)]))
        and (move is None or _same(frame.directions(flip, move.axis), move.axis))
    )


def _stands(flip: Array, part: Part, used: set[str] | None) -> bool:
    """Whether pins and sockets are where they were; those pins only that are named."""
    pins = [(p.name, p.at, NORMALS[p.face]) for p in part.pins()]
    among = [(at, way) for _, at, way in pins]
    if used is not None:
        return _keeps(flip, [(at, way) for name, at, way in pins if name in used], among)
    return _keeps(flip, among) and _keeps(flip, [(s.at, NORMALS[s.face]) for s in part.sockets()])


def _keeps(flip: Array, entries: Sequence[tuple[Any, Any]], among: Sequence[tuple[Any, Any]] | None = None) -> bool:
    """Whether every place with its direction is taken to one of them, or of ``among``."""
    rows = np.array([[*at, *way] for at, way in entries]).reshape(-1, 6)
    known = rows if among is None else np.array([[*at, *way] for at, way in among]).reshape(-1, 6)
    moved = np.hstack([frame.points(flip, rows[:, :3]), frame.directions(flip, rows[:, 3:])])
    return all(float(np.abs(known - row).max(axis=1).min()) <= _NEAR for row in moved)


def _partner(flip: Array, name: str, entries: Sequence[tuple[str, Any, Face]], face: Face | None) -> str:
    at = next((at for n, at, f in entries if n == name and f == face), None)
    if at is None:
        return name
    moved = frame.points(flip, at)
    return next((n for n, other, _ in entries if _same(other, moved)), name)


def _same(a: Any, b: Any) -> bool:
    return float(np.abs(np.asarray(a) - np.asarray(b)).max()) <= _NEAR
