"""The settings that bring a face nearest to a wanted place, in order of merit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.setting.sums import Ints, Sums


@dataclass(frozen=True, eq=False)
class Starts:
    """Where faces stand before anything is laid in front of them.

    Attributes:
        at: (n,) place of each face on the measured line, grains.
        way: (n,) 1 where pieces in front of it move the face along the line, -1 where they move it back.
        packed: (n,) pieces may be laid in front of it.
        loose: (n,) how far it can move in its fits along the line, mm each way.
        blocks: (n,) how many pieces it takes itself.
    """

    at: Ints
    way: Ints
    packed: NDArray[np.bool_]
    loose: NDArray[np.float64]
    blocks: Ints

    def __len__(self) -> int:
        return len(self.at)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One way to bring a face to a place.

    Attributes:
        start: its number among the starts.
        pack: what the pieces in front of it measure together, grains.
        error: where the face comes to stand less where it was wanted, grains; 0 is exact.
        pieces: blocks, shims and all.
        loose: mm each way.
    """

    start: int
    pack: int
    error: int
    pieces: int
    loose: float


def search(wanted: int, starts: Starts, sums: Sums, good: int, least: int = 1) -> list[Setting]:
    """All good settings: by error, then number of pieces, then looseness, then the order of the starts.

    Of each start there is the best setting for every number of pieces with which it comes nearer than with fewer; so
    the first of all is the best that there is, and of settings that are equally near none with more pieces than needed
    is listed.

    Args:
        wanted: place of the face, grains.
        starts: to choose one from.
        sums: of the pieces to lay in front; made with ``upto`` of at least twice the widest space to fill.
        good: errors up to this are good, grains.
        least: so many are given even when none is good: the nearest ones, with at most ``least`` starts.
    """
    if not len(starts):
        return []
    found: list[tuple[Ints, Ints, Ints, Ints]] = []  # starts, packs, errors, pieces in front
    room = starts.way * (wanted - starts.at)
    every = np.arange(len(starts))
    error = starts.at - wanted
    found.append((every, np.zeros_like(room), error, np.zeros_like(room)))
    best = np.abs(error)
    # A pack of half the room or less, or none at all, is nearer than any that is too thick by more than the room.
    open_ = np.flatnonzero(starts.packed & (room > 0))
    for limit in range(1, sums.most + 1):
        open_ = open_[best[open_] > 0]
        if not len(open_):
            break
        packs, pieces = sums.nearest(room[open_], limit)
        error = starts.at[open_] + starts.way[open_] * packs - wanted
        nearer = np.abs(error) < best[open_]
        found.append((open_[nearer], packs[nearer], error[nearer], pieces[nearer]))
        best[open_[nearer]] = np.abs(error[nearer])
    number, pack, error, front = (np.concatenate(column) for column in zip(*found, strict=True))
    pieces = front + starts.blocks[number]
    order = np.lexsort((number, starts.loose[number], pieces, np.abs(error)))
    sizes = np.abs(error)[order]
    keep = order[: max(int(np.searchsorted(sizes, good, side="right")), 0)]
    if len(keep) < least:
        firsts = np.sort(np.unique(number[order], return_index=True)[1])[:least]
        keep = order[firsts]
    return [
        Setting(
            start=int(number[k]),
            pack=int(pack[k]),
            error=int(error[k]),
            pieces=int(pieces[k]),
            loose=float(starts.loose[number[k]]),
        )
        for k in keep
    ]


def fewest_first(settings: list[Setting]) -> list[Setting]:
    """The best for each number of pieces that is better than all with fewer, fewest pieces first."""
    out: list[Setting] = []
    for one in sorted(settings, key=lambda s: (s.pieces, abs(s.error), s.loose, s.start)):
        if not out or abs(one.error) < abs(out[-1].error):
            out.append(one)
    return out
