"""What decides where each piece lies, and in which order they follow one another.

A block that can be set is set against the work: opposite another stop it decides nothing. Pieces that touch locate one
another only where a motion is left that no block stops, or one that a block stops on a short face only; then all of
them that look the same way count, for a push closes the piece on those that stand out furthest.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.accuracy.stack import Loaded
from fixture3d.locating.closure import scaling, two_way_motions
from fixture3d.locating.contact import Contact, locators
from fixture3d.tolerance import LOCATING

__all__ = ["Lying", "in_turn"]

Array = NDArray[np.float64]

_AGAINST = float(np.cos(np.deg2rad(LOCATING.opposed)))
_WIDER = 2.0  # times as far apart: from then on the wider contacts are what a piece is turned by


@dataclass(frozen=True, eq=False)
class Lying:
    """One piece with all that it touches.

    Attributes:
        name: of the piece.
        contacts: with blocks, plates and pieces, in file order.
        size: mm, of the piece.
    """

    name: str
    contacts: Sequence[Contact]
    size: float


def in_turn(pieces: Sequence[Lying], give: Collection[str]) -> list[Loaded]:
    """The pieces in an order in which each lies against blocks and earlier ones, with the contacts that decide.

    Args:
        pieces: in the order in which they are laid in.
        give: blocks that can be set to what is there.
    """
    names = {piece.name for piece in pieces}
    full = {piece.name: _rank(piece.contacts, piece.size) for piece in pieces}
    left, done, out = list(pieces), set[str](), list[Loaded]()
    while left:
        now = {p.name: _rank([c for c in p.contacts if c.fixed not in names - done], p.size) for p in left}
        # Of pieces that wait for one another the first one goes in free, and is pushed home later.
        ready = [p for p in left if now[p.name] == full[p.name]] or left[:1]
        piece = next((p for p in ready if not _waits(p, ready, names, done, give)), ready[0])
        left.remove(piece)
        out.append(Loaded(piece.name, _deciding(piece, names, done, give), size=piece.size))
        done.add(piece.name)
    return out


def _waits(piece: Lying, ready: Sequence[Lying], names: set[str], done: set[str], give: Collection[str]) -> bool:
    """Whether pieces that can go in before it would have a say in where a piece lies."""
    others = {p.name for p in ready if p is not piece} & {c.fixed for c in piece.contacts}
    return bool(others) and any(c.fixed in others for c in _deciding(piece, names, done | others, give))


def _deciding(piece: Lying, names: Collection[str], done: Collection[str], give: Collection[str]) -> list[Contact]:
    """Blocks, hard ones first, of two that stand opposite the first only; then earlier pieces, where they stop more.

    Between two hard stops a piece lies against either; that it may not go in at all is told by itself.
    """
    blocks = [c for c in piece.contacts if c.fixed not in names]
    kept: list[Contact] = []
    for one in sorted(blocks, key=lambda c: c.fixed in give):
        if not _opposite(one, kept) or _rank([*kept, one], piece.size) > _rank(kept, piece.size):
            kept.append(one)
    for group in _one_way([c for c in piece.contacts if c.fixed in done]):
        before = _rank(kept, piece.size)
        if _opposite(group[0], kept):
            for one in group:
                if _rank([*kept, one], piece.size) > _rank(kept, piece.size):
                    kept.append(one)
        elif _rank([*kept, *group], piece.size) > before or _wider(kept, group):
            kept += group
    return kept


def _opposite(one: Contact, kept: Sequence[Contact]) -> bool:
    return any(float(one.normal @ other.normal) < -_AGAINST for other in kept)


def _one_way(contacts: Sequence[Contact]) -> list[list[Contact]]:
    """Contacts that push the same way together, in the order of the first of each."""
    out: list[list[Contact]] = []
    for one in contacts:
        group = next((g for g in out if float(g[0].normal @ one.normal) > _AGAINST), None)
        if group is None:
            out.append([one])
        else:
            group.append(one)
    return out


def _wider(kept: Sequence[Contact], group: Sequence[Contact]) -> bool:
    """Whether contacts stand much further apart than those that already push their way, so that they turn the piece."""
    mine = [c.points for c in kept if float(c.normal @ group[0].normal) > _AGAINST]
    if not mine:
        return False
    here, there = np.vstack(mine), np.vstack([c.points for c in group])
    ways = np.concatenate([there, here])[:, None] - here.mean(axis=0)
    furthest = ways[int(np.argmax(np.linalg.norm(ways, axis=2))), 0]
    furthest = furthest - group[0].normal * float(furthest @ group[0].normal)
    length = float(np.linalg.norm(furthest))
    if length == 0.0:
        return False
    along = furthest / length
    return float(np.ptp(np.concatenate([here, there]) @ along)) > _WIDER * float(np.ptp(here @ along))


def _rank(contacts: Sequence[Contact], size: float) -> int:
    if not contacts:
        return 0
    points, normals, _ = locators(list(contacts))
    return 6 - len(two_way_motions(scaling(points, size).rows(points, normals)))
