"""What decides where each piece lies, and in which order they follow one another.

A block that can be set is set against the work: opposite another stop it decides nothing. Pieces that touch locate one
another only where a motion is left that no block stops.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.accuracy.stack import Loaded
from fixture3d.locating.closure import scaling, two_way_motions
from fixture3d.locating.contact import Contact, locators
from fixture3d.tolerance import LOCATING

__all__ = ["Lying", "in_turn"]

_AGAINST = float(np.cos(np.deg2rad(LOCATING.opposed)))


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
        piece = next((p for p in left if now[p.name] == full[p.name]), left[0])
        left.remove(piece)
        out.append(Loaded(piece.name, _deciding(piece, names, done, give), size=piece.size))
        done.add(piece.name)
    return out


def _deciding(piece: Lying, names: Collection[str], done: Collection[str], give: Collection[str]) -> list[Contact]:
    """Blocks, hard ones first, of two that stand opposite the first only; then earlier pieces, where they stop more.

    Between two hard stops a piece lies against either; that it may not go in at all is told by itself.
    """
    blocks = [c for c in piece.contacts if c.fixed not in names]
    kept: list[Contact] = []
    for one in sorted(blocks, key=lambda c: c.fixed in give):
        opposite = any(float(one.normal @ other.normal) < -_AGAINST for other in kept)
        if not opposite or _rank([*kept, one], piece.size) > _rank(kept, piece.size):
            kept.append(one)
    for one in (c for c in piece.contacts if c.fixed in done):
        if _rank([*kept, one], piece.size) > _rank(kept, piece.size):
            kept.append(one)
    return kept


def _rank(contacts: Sequence[Contact], size: float) -> int:
    if not contacts:
        return 0
    points, normals, _ = locators(list(contacts))
    return 6 - len(two_way_motions(scaling(points, size).rows(points, normals)))
