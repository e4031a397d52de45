"""Stretches of the edges of one piece along which there is an open space between it and another piece.

Each edge is looked at every few mm where it passes the other piece's box; where the answer changes the place is
narrowed down, all such places of a pair at once, to a hundredth of a mm.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.section import Near, Opening
from fixture3d.welding.surface import Chain

NONE, WELD, MISS, NARROW, BESIDE = 0, 1, 2, 3, 4
_INSET: Final = 0.004  # mm from the ends of an edge, where the section runs through its corner
_ROUNDS: Final = 4  # of narrowing down, each to a fifth
_PARTS: Final = 5
_LEAST_SAMPLES: Final = 7  # of an edge or of its part in the other's box
_STEEP: Final = 0.2  # of the gap over the length; an edge that closes faster does not lie along the other piece
_CORNER: Final = 1.1  # times the circle: nearer to the end of its edge the section meets what lies beyond the corner
_CROWDED: Final = 1.0 / np.tan(np.deg2rad(JOINTS.least))  # the same where a face beyond the corner leans over the line
_FLUSH: Final = 25.0  # degrees about 180: the two faces are all but one
_SUNK: Final = 0.1  # of an edge: so much of it may lie below the other piece's face, no deeper than a step
_SHORT: Final = 0.1  # mm; shorter stretches are what rounding makes


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of one edge with an open space on one of its sides.

    Attributes:
        chain: the edge.
        owner: 0 or 1: which piece of the pair it belongs to.
        kind: WELD, MISS (gap over the limit), NARROW, or BESIDE (near only because a round that lies along the other
            piece has not turned away yet).
        start: distance along the edge, mm.
        end: likewise; beyond the edge's length when a closed one is passed over its start.
        seen: distances along the edge and what was found there, in order.
        leaving: greatest gap at those of its ends that were narrowed down, mm.
    """

    chain: Chain
    owner: int
    kind: int
    start: float
    end: float
    seen: tuple[tuple[float, Opening], ...]
    leaving: float = 0.0

    @property
    def length(self) -> float:
        """Mm."""
        return self.end - self.start

    def path(self) -> Array:
        """Its points, (n, 3) mm."""
        return self.chain.between(self.start, self.end)

    def inner(self) -> list[Opening]:
        """What was found, without the very ends, where the section may pass through a corner."""
        found = [o for _, o in self.seen]
        return found[1:-1] if len(found) > 3 and not (self.chain.closed and self.length == self.chain.length) else found

    def middle(self) -> tuple[float, Opening]:
        """The look nearest to its middle."""
        return min(self.seen, key=lambda one: abs(one[0] - (self.start + self.end) / 2.0))


@dataclass(frozen=True)
class Limits:
    """What decides about an open space.

    Attributes:
        gap: greatest root gap of a weld, mm.
        reach: up to which gap misses are told, mm.
        along: faces of the first and second piece of which a round lies along the other.
    """

    gap: float
    reach: float
    along: frozenset[tuple[int, int]]

    def kind(self, found: Opening, owner: int) -> int:
        """What an open space beside an edge of piece ``owner`` counts as."""
        if found.opening < JOINTS.crack:
            return NONE
        if any(one in self.along for one in lying(found, owner)):
            return BESIDE if found.gap <= self.gap else NONE
        if found.gap > self.gap:
            return MISS if found.opening >= JOINTS.least else NONE
        return WELD if found.opening >= JOINTS.least else NARROW


def lying(found: Opening, owner: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Faces of the first and the second piece that may lie along each other behind an edge of piece ``owner``."""
    pairs = ((found.backs[0], found.faces[1]), found.backs)
    return pairs if owner == 0 else (pairs[0][::-1], pairs[1][::-1])


def runs_along(near: Near, owner: int, limits: Limits) -> list[Run]:
    """All stretches of the own piece's edges beside the other piece.

    Args:
        near: the own and the other piece.
        owner: number of the own piece, as kept in the runs.
        limits: what counts.
    """
    reach = limits.reach
    box = near.other.box + np.array([[-reach], [reach]])
    chains: list[Chain] = []
    looks: list[Array] = []
    for chain in near.own.chains:
        low, high = chain.points.min(axis=0), chain.points.max(axis=0)
        if not ((low <= box[1]) & (high >= box[0])).all():
            continue
        for stretch in _stretches(chain, box):
            chains.append(chain)
            looks.append(stretch)
    if not chains:
        return []
    found = _look(near, chains, looks, reach)
    drafts: list[Run] = []
    open_ends: list[tuple[int, int, float, float]] = []  # draft, which end, inside, outside
    for chain, places, openings in zip(chains, looks, found, strict=True):
        for side in (0, 1):
            here = [_on(side, there, chain) for there in openings]
            kinds = [NONE if o is None else limits.kind(o, owner) for o in here]
            for first, last, kind in _groups(kinds):
                seen = tuple((float(places[k]), o) for k in range(first, last + 1) if (o := here[k]) is not None)
                number = len(drafts)
                start, end = float(places[first]), float(places[last])
                drafts.append(Run(chain, owner, kind, start, end, seen))
                if first > 0:
                    open_ends.append((number, 0, start, float(places[first - 1])))
                elif start <= 2.0 * _INSET:
                    drafts[-1] = replace(drafts[-1], start=0.0)
                if last < len(places) - 1:
                    open_ends.append((number, 1, end, float(places[last + 1])))
                elif end >= chain.length - 2.0 * _INSET:
                    drafts[-1] = replace(drafts[-1], end=chain.length)
    drafts = _narrowed(near, drafts, open_ends, limits)
    return [run for run in _round_the_start(drafts) if run.length > _SHORT and not _running_in(run)]


def _running_in(run: Run) -> bool:
    """Whether the edge does not lie along the other piece but runs into it, so that the gap closes fast."""
    gaps = [o.gap for _, o in run.seen]
    apart = max(gaps) - min(gaps)
    first, last = run.seen[0], run.seen[-1]
    steep = len(run.seen) > 1 and abs(last[1].gap - first[1].gap) > _STEEP * (last[0] - first[0])
    return run.chain.straight and ((steep and apart > JOINTS.flush / 2.0) or (len(run.seen) == 1 and run.length < 1.5))


def _on(side: int, there: Sequence[Opening], chain: Chain) -> Opening | None:
    """The open space on one side of an edge; where a thin wall gives two, the one at the edge's own faces."""
    mine = [o for o in there if o.side == side]
    return min(mine, key=lambda o: o.faces[0] not in chain.faces) if mine else None


def _stretches(chain: Chain, box: Array) -> list[Array]:
    """The places along an edge that are looked at: where it lies in the box, (k,) each."""
    fine = np.linspace(0.0, chain.length, max(9, int(chain.length / 2.0) + 2))
    points, _ = chain.at(fine)
    inside = ((points >= box[0]) & (points <= box[1])).all(axis=1)
    if not inside.any():
        inside[np.abs(points - box.mean(axis=0)).sum(axis=1).argmin()] = True
    marks = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(np.int8), [0]])))
    out = []
    for first, last in zip(marks[::2].tolist(), marks[1::2].tolist(), strict=True):
        start = max(fine[max(first - 1, 0)], _INSET)
        end = min(fine[min(last, len(fine) - 1)], chain.length - _INSET)
        if end <= start:
            continue
        count = max(_LEAST_SAMPLES, int(np.ceil((end - start) / JOINTS.step)) + 1)
        places = np.linspace(start, end, count)
        if not chain.straight:  # at a corner of a many-sided line the section would follow one side or the other
            places[1:-1] = _off_corners(chain, places[1:-1])
        out.append(places)
    return out


def _off_corners(chain: Chain, places: Array) -> Array:
    """Places moved to the middle of the part that they lie on."""
    part = np.clip(np.searchsorted(chain.along, places, side="right") - 1, 0, len(chain.along) - 2)
    part = np.unique(part)
    middle: Array = (chain.along[part] + chain.along[part + 1]) / 2.0
    # As many as there were, so that the caller's ends stay where they are.
    return np.interp(np.linspace(0.0, 1.0, len(places)), np.linspace(0.0, 1.0, len(middle)), middle)


def _look(near: Near, chains: list[Chain], looks: list[Array], reach: float) -> list[list[list[Opening]]]:
    """For every edge and place the open spaces there; one call for all."""
    parts = [chain.at(places) for chain, places in zip(chains, looks, strict=True)]
    points = np.concatenate([p for p, _ in parts])
    tangents = np.concatenate([t for _, t in parts])
    flat = near.openings(points, tangents, reach)
    out = []
    start = 0
    for places in looks:
        out.append(flat[start : start + len(places)])
        start += len(places)
    return out


def _groups(kinds: list[int]) -> list[tuple[int, int, int]]:
    """Rows of equal kinds that are not NONE: first, last, kind."""
    edges = [0, *(k for k in range(1, len(kinds)) if kinds[k] != kinds[k - 1]), len(kinds)]
    return [(a, b - 1, kinds[a]) for a, b in pairwise(edges) if kinds[a] != NONE]


def _narrowed(near: Near, drafts: list[Run], ends: list[tuple[int, int, float, float]], limits: Limits) -> list[Run]:
    """The runs with their ends found."""
    crowded: set[tuple[int, int]] = set()
    last: dict[tuple[int, int], float] = {}
    for _ in range(_ROUNDS):
        if not ends:
            break
        chains = [drafts[number].chain for number, *_ in ends]
        share = np.arange(1, _PARTS) / _PARTS
        looks = [inside + share * (outside - inside) for _, _, inside, outside in ends]
        found = _look(near, chains, looks, limits.reach)
        following = []
        for (number, which, inside, outside), places, openings in zip(ends, looks, found, strict=True):
            run = drafts[number]
            side = run.seen[0][1].side
            for place, there in zip(places.tolist(), openings, strict=True):
                here = _on(side, there, run.chain)
                if here is not None and limits.kind(here, run.owner) == run.kind:
                    inside = place
                    last[number, which] = here.gap
                else:
                    outside = place
                    if here is not None and here.gap <= JOINTS.flush and here.opening < JOINTS.crack:
                        crowded.add((number, which))
                    break
            following.append((number, which, inside, outside))
        ends = following
    for number, which, inside, outside in ends:
        run = drafts[number]
        end = _at_corner(near, run, which, (inside + outside) / 2.0, (number, which) in crowded)
        run = replace(run, start=end) if which == 0 else replace(run, end=end)
        drafts[number] = replace(run, leaving=max(run.leaving, last.get((number, which), 0.0)))
    return drafts


def _at_corner(near: Near, run: Run, which: int, end: float, crowded: bool) -> float:
    """Where a stretch ends: at the corner of its edge where only what is beyond hides the rest, else as found."""
    corner = 0.0 if which == 0 else run.chain.length
    if run.chain.closed or run.seen[0 if which == 0 else -1][1].gap > JOINTS.flush:
        return end
    close = abs(corner - end) <= (_CROWDED if crowded else _CORNER) * JOINTS.look
    return corner if close or _sunk(near, run, end, corner) else end


def _sunk(near: Near, run: Run, end: float, corner: float) -> bool:
    """Whether from the end of a flush line to the corner of its edge the edge lies just below the other piece's face.

    So it is where two rounds of one size touch at the cusp of a cope: a tenth of a mm out of place, and one covers the
    other there.
    """
    seen = run.seen[0 if corner < end else -1][1]
    if abs(seen.opening - 180.0) > _FLUSH or abs(corner - end) > _SUNK * run.chain.length:
        return False
    inner = min(max(corner, _INSET), run.chain.length - _INSET)
    points, tangents = run.chain.at(np.linspace(end, inner, max(3, int(abs(corner - end)) + 2)))
    return bool((near.gaps(points, tangents) <= JOINTS.flush).all())


def _round_the_start(runs: list[Run]) -> list[Run]:
    """Runs of closed edges joined where they meet at the edge's first point."""
    out: list[Run] = []
    rings: dict[tuple[int, int, int], list[Run]] = defaultdict(list)
    for run in runs:
        if run.chain.closed and not (run.start == 0.0 and run.end == run.chain.length):
            rings[id(run.chain), run.kind, run.seen[0][1].side].append(run)
        else:
            out.append(run)
    for group in rings.values():
        first = next((r for r in group if r.start == 0.0), None)
        last = next((r for r in group if r.end == r.chain.length), None)
        if first is not None and last is not None and first is not last:
            length = first.chain.length
            seen = (*last.seen, *((s + length, o) for s, o in first.seen))
            group = [r for r in group if r is not first and r is not last]
            leaving = max(first.leaving, last.leaving)
            group.append(replace(last, end=length + first.end, seen=seen, leaving=leaving))
        out += group
    return out
