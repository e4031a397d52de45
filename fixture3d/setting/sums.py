"""Every length that pieces make up together, each with the fewest pieces that make it up.

Exact, in one of three ways. Of a few pieces all sums are listed. Sizes that share a coarse step (gauge blocks, shims in
hundredths, thousandths of an inch beside tenths of a millimetre) have few sums, however many pieces there are: a row
with one place a step is filled piece by piece. Other sizes (measured ones) are parted into two halves, whose sums are
listed and sorted; a wanted length is then looked up in one half for every sum of the other: 30 pieces have 2**30 sums,
but twice 2**15 are listed. In all, of equal sums the one of fewest pieces is kept, which loses nothing, since pieces of
one half never stand in the other.

The second way is the bounded knapsack by dynamic programming, the third "meet in the middle" (E. Horowitz and S. Sahni,
"Computing partitions with applications to the knapsack problem", Journal of the ACM 21, 1974).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import FixtureError

Ints = NDArray[np.int64]

_MOST_PLACES: Final = 200_000_000  # places of the row times chunks: about two seconds and 25 MB
_WORTH: Final = 64  # a row is worth its while up to so many places for each sum of a half
_FEW: Final = 14  # chunks whose sums, 16,384 at most, are listed without further thought
_MOST_LISTED: Final = 3_000_000  # sums of one half: about a second and 200 MB with its stages
_MOST_LOOKS: Final = 500_000_000  # sums of a half that are looked up in the other: about half a minute
_NONE: Final = 1 << 30  # more pieces than there are: this sum is not made up


class TooMany(FixtureError):
    """So many different pieces that not every sum of them can be tried."""


class _Chunk(NamedTuple):
    """Some pieces of one kind that are taken together or left: any number is a sum of 1, 2, 4, ... pieces."""

    kind: int
    pieces: int
    size: int


class Sums:
    """The sums of a choice of pieces; nothing taken is the sum 0.

    Args:
        sizes: (n,) of each kind of piece, grains, more than 0.
        counts: (n,) how many of each there are.
        most: pieces at a time; None for as many as there are.
        upto: no sum beyond this is needed, grains; None for all. Sums up to it are complete.

    Raises:
        TooMany: there are more sums than can be listed; one line that says what to do.
    """

    def __init__(
        self, sizes: Sequence[int], counts: Sequence[int], most: int | None = None, upto: int | None = None
    ) -> None:
        if any(size <= 0 for size in sizes):
            raise ValueError("every piece must have a size of more than 0")
        owned = sum(counts)
        self.kinds = len(sizes)
        self.most = owned if most is None else min(most, owned)
        total = _thickest(sizes, counts, self.most)
        self.upto = total if upto is None else max(0, min(upto, total))
        chunks = list(_chunks(sizes, counts, self.most, self.upto))
        step = math.gcd(*(chunk.size for chunk in chunks)) if chunks else 1
        places = self.upto // max(step, 1) + 1
        made: _All | _Row | _Halves
        if len(chunks) <= _FEW:
            made = _All(chunks, self.most, self.upto)
        elif places * len(chunks) <= _MOST_PLACES and places <= _WORTH << min((len(chunks) + 1) // 2, 20):
            made = _Row(chunks, step, places, self.most)
        else:
            made = _Halves(chunks, self.most, self.upto)
        self._made = made

    def nearest(self, wanted: Ints | Sequence[int], most: int | None = None) -> tuple[Ints, Ints]:
        """For each wanted length the sum nearest to it and its fewest pieces.

        Of two sums equally near the one of fewer pieces is taken, then the smaller one.

        Args:
            wanted: (m,) grains, up to half of ``upto`` where that cuts sums off.
            most: pieces at a time, if fewer than at first.

        Returns:
            (m,) sums in grains and (m,) pieces.
        """
        limit = self.most if most is None else min(most, self.most)
        return self._made.nearest(np.asarray(wanted, dtype=np.int64).reshape(-1), limit)

    def pieces(self, total: int) -> tuple[int, ...]:
        """How many of each kind make up a sum that ``nearest`` gave, (n,), as few as can be."""
        out = [0] * self.kinds
        for chunk in self._made.taken(int(total)):
            out[chunk.kind] += chunk.pieces
        return tuple(out)

    @property
    def listed(self) -> Ints:
        """All sums in rising order.

        Raises:
            TooMany: there are too many to list them.
        """
        return self._made.listed.sums

    def spread(self, step: int) -> Ints:
        """Runs of the sums, (k, 2) grains: within one no gap is wider than ``step``. First and last sum of each run."""
        sums = self.listed
        breaks = np.flatnonzero(np.diff(sums) > step)
        return np.stack([sums[np.r_[0, breaks + 1]], sums[np.r_[breaks, len(sums) - 1]]], axis=1)


def _thickest(sizes: Sequence[int], counts: Sequence[int], most: int) -> int:
    """The largest sum of so many pieces."""
    total = 0
    for size, count in sorted(zip(sizes, counts, strict=True), reverse=True):
        total += size * min(count, most)
        most -= min(count, most)
    return total


def _chunks(sizes: Sequence[int], counts: Sequence[int], most: int, upto: int) -> list[_Chunk]:
    """Pieces that can be of use, the thickest first."""
    out = []
    for kind in sorted(range(len(sizes)), key=lambda k: -sizes[k]):
        left = min(counts[kind], most, upto // sizes[kind])
        bit = 1
        while left > 0:
            number = min(bit, left)
            out.append(_Chunk(kind, number, number * sizes[kind]))
            left -= number
            bit *= 2
    return out


class _Listed(NamedTuple):
    """Sums in rising order, each once, and the fewest pieces of each."""

    sums: Ints
    pieces: Ints


def _once(sums: Ints, pieces: Ints) -> _Listed:
    order = np.lexsort((pieces, sums))
    sums, pieces = sums[order], pieces[order]
    first = np.r_[True, sums[1:] != sums[:-1]]
    return _Listed(sums[first], pieces[first])


def _nearest(listed: _Listed, wanted: Ints, limit: int) -> tuple[Ints, Ints]:
    few = listed.pieces <= limit
    sums, pieces = listed.sums[few], listed.pieces[few]
    above = np.searchsorted(sums, wanted)
    low, high = np.clip(above - 1, 0, len(sums) - 1), np.clip(above, 0, len(sums) - 1)
    off_low, off_high = np.abs(sums[low] - wanted), np.abs(sums[high] - wanted)
    fewer = (off_high == off_low) & (pieces[high] < pieces[low])
    chosen = np.where((off_high < off_low) | fewer, high, low)
    return sums[chosen], pieces[chosen]


class _Row:
    """One place for each multiple of the common step: the fewest pieces that make it up."""

    def __init__(self, chunks: list[_Chunk], step: int, places: int, most: int) -> None:
        self._chunks, self._step = chunks, step
        fewest = np.full(places, _NONE, dtype=np.int32)
        fewest[0] = 0
        self._took = []
        for chunk in chunks:
            far = chunk.size // step
            took = np.zeros(places, dtype=bool)
            if far < places:
                with_it = fewest[:-far] + np.int32(chunk.pieces)
                took[far:] = (with_it < fewest[far:]) & (with_it <= most)
                fewest[far:] = np.where(took[far:], with_it, fewest[far:])
            self._took.append(np.packbits(took))
        self._fewest = fewest

    @cached_property
    def listed(self) -> _Listed:
        at = np.flatnonzero(self._fewest < _NONE)
        return _Listed(at.astype(np.int64) * self._step, self._fewest[at].astype(np.int64))

    def nearest(self, wanted: Ints, limit: int) -> tuple[Ints, Ints]:
        return _nearest(self.listed, wanted, limit)

    def taken(self, total: int) -> list[_Chunk]:
        place, out = total // self._step, []
        for chunk, took in zip(reversed(self._chunks), reversed(self._took), strict=True):
            if took[place // 8] & (128 >> place % 8):
                out.append(chunk)
                place -= chunk.size // self._step
        return out


class _Halves:
    """The sums of each half of the pieces, sorted, with the fewest pieces of each."""

    def __init__(self, chunks: list[_Chunk], most: int, upto: int) -> None:
        self._most = most
        self._a = _Half(chunks[0::2], most, upto)
        self._b = _Half(chunks[1::2], most, upto)

    def nearest(self, wanted: Ints, limit: int) -> tuple[Ints, Ints]:
        looks = len(wanted) * sum(len(first.sums) for first, _ in self._pairs(limit))
        if looks > _MOST_LOOKS:
            raise TooMany(
                f"the pieces have so many sums that {len(wanted)} lengths cannot be looked up among them; "
                "expected fewer odd sizes, or fewer pieces at a time"
            )
        found = [self._one(int(length), limit) for length in wanted]
        return np.array([f[0] for f in found], dtype=np.int64), np.array([f[1] for f in found], dtype=np.int64)

    def _one(self, wanted: int, limit: int) -> tuple[int, int]:
        # (how far off, pieces, sum): the least is the answer.
        best = (abs(wanted), 0, 0)
        for first, others in self._pairs(limit):
            left = wanted - first.sums
            above = np.searchsorted(others.sums, left)
            for k in (np.clip(above - 1, 0, len(others.sums) - 1), np.clip(above, 0, len(others.sums) - 1)):
                off = np.abs(others.sums[k] - left)
                least = int(off.min())
                if least > best[0]:
                    continue
                at = np.flatnonzero(off == least)
                pieces, sums = first.pieces[at] + others.pieces[k[at]], first.sums[at] + others.sums[k[at]]
                m = int(np.lexsort((sums, pieces))[0])
                best = min(best, (least, int(pieces[m]), int(sums[m])))
        return best[2], best[1]

    def _pairs(self, limit: int) -> list[tuple[_Listed, _Listed]]:
        """Sums of either half that may be taken together within the limit on pieces."""
        a, b = self._a.listed, self._b.listed
        if int(a.pieces.max()) + int(b.pieces.max()) <= limit:
            return [(a, b)]
        out = []
        for number in range(min(limit, int(a.pieces.max())) + 1):
            mine, theirs = a.pieces == number, b.pieces <= limit - number
            if mine.any():
                out.append((_Listed(a.sums[mine], a.pieces[mine]), _Listed(b.sums[theirs], b.pieces[theirs])))
        return out

    def taken(self, total: int) -> list[_Chunk]:
        a, b = self._a.listed, self._b.listed
        at = np.searchsorted(b.sums, total - a.sums)
        hit = np.flatnonzero(b.sums[np.minimum(at, len(b.sums) - 1)] == total - a.sums)
        k = hit[np.argmin(a.pieces[hit] + b.pieces[at[hit]])]
        return [*self._a.taken(int(a.sums[k])), *self._b.taken(total - int(a.sums[k]))]

    @cached_property
    def listed(self) -> _Listed:
        a, b = self._a.listed, self._b.listed
        if len(a.sums) * len(b.sums) > _MOST_LISTED:
            raise TooMany(
                "the pieces have too many sums to list what they reach; expected fewer odd sizes, or fewer pieces "
                "at a time"
            )
        sums, pieces = ((one[:, None] + two[None, :]).reshape(-1) for one, two in zip(a, b, strict=True))
        few = pieces <= self._most
        return _once(sums[few], pieces[few])


class _Half:
    """Sums of some chunks, each once, with the fewest pieces."""

    def __init__(self, chunks: list[_Chunk], most: int, upto: int) -> None:
        self._chunks = chunks
        self._stages = [_Listed(np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64))]
        for chunk in chunks:
            sums, pieces = self._stages[-1]
            more = (sums + chunk.size <= upto) & (pieces + chunk.pieces <= most)
            sums = np.concatenate([sums, sums[more] + chunk.size])
            self._stages.append(_once(sums, np.concatenate([pieces, pieces[more] + chunk.pieces])))
            if len(self.listed.sums) > _MOST_LISTED:
                raise TooMany(
                    f"the pieces have more than {2 * _MOST_LISTED:,} sums in two halves, too many to try them all; "
                    f"expected fewer odd sizes, or fewer than {most} pieces at a time"
                )

    @property
    def listed(self) -> _Listed:
        return self._stages[-1]

    def taken(self, total: int) -> list[_Chunk]:
        out = []
        for chunk, before, after in zip(
            reversed(self._chunks), reversed(self._stages[:-1]), reversed(self._stages[1:]), strict=True
        ):
            # It was taken when the sum needs fewer pieces with it than without.
            if _pieces_of(before, total) != _pieces_of(after, total):
                out.append(chunk)
                total -= chunk.size
        return out


class _All(_Half):
    """The same of all pieces."""

    def nearest(self, wanted: Ints, limit: int) -> tuple[Ints, Ints]:
        return _nearest(self.listed, wanted, limit)


def _pieces_of(listed: _Listed, total: int) -> int:
    k = int(np.searchsorted(listed.sums, total))
    return int(listed.pieces[k]) if k < len(listed.sums) and int(listed.sums[k]) == total else _NONE
