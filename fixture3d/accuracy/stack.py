"""What every small error does to the figures of a weldment: worst case, root of the sum of squares, Monte Carlo.

Each error is tried by itself, both ways: pieces are laid against their moved blocks one after the other in the order
they are loaded (`locating.pose.settle`), and each figure is worked out again. Effects then add up. With six points of
contact a piece that is exact; patches on redundant supports depart from it by a few parts in a hundred.

Rigid bodies, small moves, no spring-back, no shrinkage of welds. A clearance that is always pushed the same way is a
bias: it moves the middle and widens nothing (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fixture3d.accuracy.extremes import Bounds, is_paired, pairs_that_count, starts_of
from fixture3d.accuracy.figures import Figure
from fixture3d.accuracy.shapes import Shape
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.pose import moved, settle
from fixture3d.tolerance import ACCURACY

__all__ = [
    "Cause",
    "Contributor",
    "Loaded",
    "MonteCarlo",
    "Spread",
    "Stack",
    "Term",
    "combine",
    "greatest",
    "monte_carlo",
    "stack_up",
    "tight",
    "with_limit",
]

Array = NDArray[np.float64]
_NOTHING = 1e-9  # mm or degrees; what arithmetic leaves
_AT_ONCE = 2000  # imagined setups that are drawn at once: some tens of megabytes for a large frame
Cause = Literal[
    "seat", "seat turn", "notch", "shim", "block", "table flatness", "table pitch",
    "by hand", "stock size", "squareness", "cut length", "mitre", "bow", "twist", "as set",
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Contributor:
    """One thing that can be off.

    Attributes:
        name: in plain words.
        body: the block or piece that is off.
        cause: of what kind.
        shape: how the body's points move for an error of 1.
        limit: plus or minus, about ``bias``; mm or degrees as ``shape`` has it.
        bias: where the middle lies: a clearance that a clamp always pushes one way.
        even: every value inside the limits is as likely, as of a clearance; otherwise the limits are three standard
            deviations.
        also: other bodies that move at the same time, each with how its points do.
    """

    name: str
    body: str
    cause: Cause
    shape: Shape
    limit: float
    bias: float = 0.0
    even: bool = False
    also: tuple[tuple[str, Shape], ...] = ()


@dataclass(frozen=True, eq=False)
class Loaded:
    """One piece in its place.

    Attributes:
        name: of the piece.
        contacts: with blocks, and with pieces that were loaded before it.
        pressed: (n,) N at each locator point; each contact alike when not given.
        size: mm, of the piece; the contacts' box when not given.
    """

    name: str
    contacts: Sequence[Contact]
    pressed: Array | None = None
    size: float | None = None


@dataclass(frozen=True, kw_only=True)
class Term:
    """What one contributor does to one figure, in the figure's unit.

    Attributes:
        name: of the contributor.
        body: block or piece.
        cause: of what kind.
        plus: change at its upper limit, counted from its middle.
        minus: change at its lower limit.
        rocks: more either way, because the piece rocks on what then carries it.
        bias: change at its middle.
        limit: of the contributor.
    """

    name: str
    body: str
    cause: Cause
    plus: float
    minus: float
    rocks: float
    bias: float
    limit: float

    @property
    def up(self) -> float:
        """The most that it adds."""
        return max(self.plus, self.minus, 0.0) + self.rocks

    @property
    def down(self) -> float:
        """The most that it takes away, zero or less."""
        return min(self.plus, self.minus, 0.0) - self.rocks

    @property
    def size(self) -> float:
        """The greater of its two changes, with what rocks."""
        return max(abs(self.plus), abs(self.minus)) + self.rocks


@dataclass(frozen=True, eq=False)
class Stack:
    """What a figure may come to.

    Attributes:
        figure: which.
        nominal: as drawn.
        terms: what moves it, greatest first.
        bias: sum of the biases: the middle of what is to be expected lies at ``nominal + bias``.
        high: worst case, above nominal.
        low: worst case, below nominal (negative).
        rss: root of the sum of squares of the terms, about the middle; for independent, centred errors.
        floor: below which it likely does not come, whatever the terms say: an overall length is never shorter than any
            two of its outermost points.
    """

    figure: Figure
    nominal: float
    terms: tuple[Term, ...]
    bias: float
    high: float
    low: float
    rss: float
    floor: float = -np.inf

    @property
    def span(self) -> tuple[float, float]:
        """Least and greatest change from nominal by root of the sum of squares, of what takes away and of what adds."""
        low, high = (float(np.sqrt(sum(one**2 for one in part))) for part in zip(*self._parts, strict=True))
        return max(self.bias - low, self.floor), self.bias + high

    @property
    def _parts(self) -> list[tuple[float, float]]:
        return [(t.down, t.up) for t in self.terms] or [(0.0, 0.0)]

    @property
    def worst(self) -> float:
        """The greatest departure from nominal, either way."""
        return max(abs(self.high), abs(self.low))

    @property
    def likely(self) -> float:
        """The departure from nominal with errors as root of the sum of squares."""
        return abs(self.bias) + self.rss

    @property
    def spoiler(self) -> Term | None:
        """The contributor that adds most; None when nothing moves the figure."""
        return self.terms[0] if self.terms else None


@dataclass(frozen=True, kw_only=True)
class MonteCarlo:
    """A figure in many imagined setups.

    Attributes:
        mean: departure from nominal.
        sigma: standard deviation.
        low: one in 740 is below (0.135 %, as three standard deviations).
        high: one in 740 is above.
        beyond: share with a greater departure than the limit asked about; None without one.
        samples: how many.
        seed: of the random numbers.
    """

    mean: float
    sigma: float
    low: float
    high: float
    beyond: float | None
    samples: int
    seed: int


@dataclass(frozen=True, eq=False)
class Spread:
    """What moves the spots of one figure.

    Attributes:
        contributors: those that do.
        moves: (2 c, n, 3) mm, of its spots: at all upper limits, then at all lower ones.
    """

    contributors: tuple[Contributor, ...]
    moves: Array


@dataclass(frozen=True, eq=False)
class Moves:
    """How a piece answers the contributors that move it, at their limits.

    Attributes:
        which: indices (k,) of the contributors.
        twists: (2 k, 6): at all upper limits, then at all lower ones.
        rocks: (2 k, m, 6).
        squeeze: (2 k,) mm by which it does not go in between what holds it.
    """

    which: NDArray[np.int64]
    twists: Array
    rocks: Array
    squeeze: Array


class _Errors:
    """The contributors by body, and what has been found of the pieces so far.

    A block that stands on another one goes with it, so it has the errors of both.
    """

    def __init__(self, contributors: Sequence[Contributor], stands_on: Mapping[str, str] | None = None) -> None:
        self.all = contributors
        self.done: dict[str, Moves] = {}
        own: dict[str, list[tuple[int, Shape]]] = {}
        for k, one in enumerate(contributors):
            for body, shape in ((one.body, one.shape), *one.also):
                own.setdefault(body, []).append((k, shape))
        below = dict(stands_on or {})
        self.of: dict[str, list[tuple[int, Shape]]] = {}
        for body in {**own, **below}:
            chain = [body]
            while chain[-1] in below:
                chain.append(below[chain[-1]])
            self.of[body] = [each for one in chain for each in own.get(one, [])]

    def moving(self, bodies: Sequence[str]) -> NDArray[np.int64]:
        """Indices of the contributors that may move any of some bodies."""
        found = {k for body in bodies for k, _ in self.of.get(body, [])}
        found.update(int(k) for body in bodies if body in self.done for k in self.done[body].which)
        return np.array(sorted(found), dtype=np.int64)

    def moves(self, body: str, points: Array, which: NDArray[np.int64]) -> Array:
        """How points of a body move under some contributors, (2 k, n, 3): off by itself, and as a piece that lies."""
        k = len(which)
        out = np.zeros((2 * k, len(points), 3))
        if body in self.done and len(self.done[body].which):
            mine = self.done[body]
            rows = np.searchsorted(which, mine.which)
            out[np.concatenate([rows, k + rows])] = moved(mine.twists, points)
        for index, shape in self.of.get(body, []):
            at = int(np.searchsorted(which, index))
            step = _amount(self.all[index]) * shape(points)
            out[at] += step
            out[k + at] -= step
        return out


def stack_up(
    figures: Sequence[Figure],
    pieces: Sequence[Loaded],
    contributors: Sequence[Contributor],
    stands_on: Mapping[str, str] | None = None,
) -> tuple[list[Stack], list[Spread]]:
    """What each figure may come to.

    A contact with a piece that is loaded later is taken to stand still, and what a piece rocks is not carried on to the
    pieces that lie against it.

    Args:
        figures: their pieces are among ``pieces``; a piece that is not is taken to stand still.
        pieces: in the order in which they are loaded.
        contributors: all that can be off.
        stands_on: block to the block that it stands on and goes with.

    Returns:
        One stack a figure, and what :func:`monte_carlo` needs of each.
    """
    errors = _Errors(contributors, stands_on)
    for piece in pieces:
        errors.done[piece.name] = _answer(piece, errors)
    stacks, spreads = [], []
    for figure in figures:
        which = errors.moving(figure.pieces)
        at = figure.points
        shift = np.zeros((2 * len(which), len(at), 3))
        for name in figure.pieces:
            mine = [i for i, (owner, _) in enumerate(figure.spots) if owner == name]
            shift[:, mine] = errors.moves(name, at[mine], which)
        mine_all = [contributors[k] for k in which]
        stacks.append(_stack(figure, mine_all, shift, _rocking(figure, errors, which)))
        spreads.append(Spread(tuple(mine_all), shift))
    return stacks, spreads


def tight(pieces: Sequence[Loaded], contributors: Sequence[Contributor]) -> dict[str, dict[str, float]]:
    """Pieces that do not go in when one thing is at its limit: by piece, then contributor, mm that it is too tight.

    A piece between two hard stops that leave it no room is told for each size that is above nominal.
    """
    errors = _Errors(contributors)
    out: dict[str, dict[str, float]] = {}
    for piece in pieces:
        moves = errors.done[piece.name] = _answer(piece, errors)
        each = moves.squeeze.reshape(2, -1).max(axis=0)
        found = {contributors[k].name: 2.0 * float(mm) for k, mm in zip(moves.which, each, strict=True) if mm > 0.0}
        if found:
            out[piece.name] = found
    return out


def greatest(pieces: Sequence[Loaded], contributors: Sequence[Contributor]) -> dict[str, float]:
    """Pieces that do not go in between their stops when they are as large as they may be, mm too much altogether.

    Everything that a piece may be off by itself and that makes it tighter is at its limit at once, its stops stand
    where they should, and the gaps that are drawn are there.

    Args:
        pieces: with all their stops.
        contributors: those of pieces count.
    """
    out = {}
    for piece in pieces:
        own = [c for c in contributors if c.body == piece.name]
        points, normals, owner = locators(list(piece.contacts))
        if not own or not len(points):
            continue
        each = np.array([c.shape(points) * _amount(c) for c in own])
        offsets = -(each * normals).sum(axis=2)
        both = settle(piece.contacts, np.vstack([offsets, -offsets]), pressed=piece.pressed, size=piece.size).squeeze
        up, down = both.reshape(2, -1)
        sense = np.where((up <= 0.0) & (down <= 0.0), 0.0, np.where(up >= down, 1.0, -1.0))
        gaps = np.array([max(piece.contacts[k].gap, 0.0) for k in owner])
        if not sense.any():
            continue
        whole = settle(piece.contacts, (sense @ offsets - gaps)[None], pressed=piece.pressed, size=piece.size)
        if float(whole.squeeze[0]) > 0.0:
            out[piece.name] = 2.0 * float(whole.squeeze[0])
    return out


def _answer(piece: Loaded, errors: _Errors) -> Moves:
    """How one piece moves under every contributor alone, at its upper and its lower limit."""
    points, normals, _ = locators(list(piece.contacts))
    which = errors.moving([piece.name, *dict.fromkeys(c.fixed for c in piece.contacts)])
    offsets = -np.einsum("kni,ni->kn", errors.moves(piece.name, points, which), normals)
    start = 0
    for contact in piece.contacts:
        end = start + len(contact.points)
        offsets[:, start:end] += errors.moves(contact.fixed, contact.points, which) @ contact.normal
        start = end
    moving = np.abs(offsets).reshape(2, len(which), len(points)).max(axis=(0, 2), initial=0.0) > 0.0
    both = np.concatenate([moving, moving])
    settled = settle(piece.contacts, offsets[both], pressed=piece.pressed, size=piece.size)
    return Moves(which[moving], settled.twists, settled.rocks, settled.squeeze)


def _stack(
    figure: Figure,
    contributors: Sequence[Contributor],
    shift: Array,
    rocking: Sequence[tuple[NDArray[np.int64], Array]],
) -> Stack:
    """The stack of one figure.

    Args:
        figure: which.
        contributors: the k that move it.
        shift: (2 k, n, 3) mm, of its spots.
        rocking: moves of its spots, (r, n, 3), as pieces rock, and the rows of ``shift`` that they belong to.
    """
    c = len(contributors)
    if is_paired(figure) and c:
        heights, rocks = figure.heights(shift), [figure.heights(one) for _, one in rocking]
        pairs = pairs_that_count(figure, np.vstack([heights, *rocks]))
        effects, moves = _apart(heights, pairs), [_apart(one, pairs) for one in rocks]
        starts = starts_of(figure, pairs)
    else:
        at, nominal = figure.points[None], figure.nominal
        effects = (figure.value(at + shift) - nominal)[:, None]
        moves = [(figure.value(at + one) - nominal)[:, None] for _, one in rocking]
        starts = np.zeros(1)
    turned = np.zeros_like(effects)
    for (rows, _), one in zip(rocking, moves, strict=True):
        turned[rows] += np.abs(one)
    tried = np.array([_amount(one) or 1.0 for one in contributors])[:, None]
    share = np.array([one.limit for one in contributors])[:, None] / tried
    bias = np.array([one.bias for one in contributors])[:, None] / tried
    middle = starts + (np.where(bias > 0.0, effects[:c], effects[c:]) * np.abs(bias)).sum(axis=0)
    rock = np.maximum(turned[:c], turned[c:]) * share
    up = np.maximum(np.maximum(effects[:c], effects[c:]), 0.0) * share + rock
    down = np.minimum(np.minimum(effects[:c], effects[c:]), 0.0) * share - rock
    bounds = Bounds.of(middle, up, down)
    pair = bounds.governing
    effect, beside = effects[:, pair], turned[:, pair]
    moving = np.flatnonzero((np.abs(effect) + beside).reshape(2, c).max(axis=0, initial=0.0) > _NOTHING)
    terms = [_term(contributors[int(k)], int(k), effect, beside, c) for k in moving]
    stack = combine(figure, terms, float(starts[pair]))
    return replace(stack, low=max(stack.low, bounds.low), floor=bounds.floor)


def _apart(heights: Array, pairs: NDArray[np.int64]) -> Array:
    """By how much pairs of spots move apart, (k, m)."""
    result: Array = heights[:, pairs[:, 1]] - heights[:, pairs[:, 0]]
    return result


def combine(figure: Figure, terms: Sequence[Term], start: float = 0.0) -> Stack:
    """The stack of some terms: worst case ``sum |t|``, likely ``sqrt(sum t^2)``, about ``start`` from nominal."""
    kept = sorted((t for t in terms if t.size > 0.0 or t.bias != 0.0), key=lambda t: (-round(t.size, 12), t.name))
    bias = start + float(sum(t.bias for t in kept))
    return Stack(
        figure=figure,
        nominal=figure.nominal,
        terms=tuple(kept),
        bias=bias,
        high=bias + float(sum(t.up for t in kept)),
        low=bias + float(sum(t.down for t in kept)),
        rss=float(np.sqrt(sum(t.size**2 for t in kept))),
    )


def with_limit(stack: Stack, limits: Mapping[str, float]) -> Stack:
    """The stack with other limits on some contributors, by name: what a better seat would gain."""
    terms = []
    for t in stack.terms:
        share = limits[t.name] / t.limit if t.name in limits and t.limit > 0.0 else 1.0
        terms.append(
            replace(t, plus=t.plus * share, minus=t.minus * share, rocks=t.rocks * share, limit=t.limit * share)
        )
    return combine(stack.figure, terms)


def monte_carlo(
    figure: Figure,
    spread: Spread,
    *,
    limits: tuple[float, float] | None = None,
    samples: int = ACCURACY.samples,
    seed: int = ACCURACY.seed,
) -> MonteCarlo:
    """A figure in many imagined setups, each contributor drawn by itself.

    Args:
        figure: which.
        spread: of it, as :func:`stack_up` gives it.
        limits: departures from nominal that are asked about, less and more.
        samples: how many.
        seed: of the random numbers.
    """
    rng = np.random.default_rng(seed)
    contributors, moves = spread.contributors, spread.moves
    c, n = len(contributors), moves.shape[1]
    even = np.array([one.even for one in contributors], dtype=bool)
    bounds = np.array([one.limit for one in contributors])
    middles, tried = (
        np.array([one.bias for one in contributors]),
        np.array([_amount(one) or 1.0 for one in contributors]),
    )
    flat = moves.reshape(2, c, 3 * n)
    parts = []
    for first in range(0, samples, _AT_ONCE):
        k = min(_AT_ONCE, samples - first)
        drawn = np.where(even, rng.uniform(-1.0, 1.0, (k, c)), rng.normal(0.0, 1.0 / 3.0, (k, c)))
        share = (drawn * bounds + middles) / tried
        shift = np.maximum(share, 0.0) @ flat[0] + np.maximum(-share, 0.0) @ flat[1]
        parts.append(figure.value(figure.points[None] + shift.reshape(k, n, 3)) - figure.nominal)
    change = np.concatenate(parts)
    low, high = np.quantile(change, [0.00135, 0.99865])
    return MonteCarlo(
        mean=float(change.mean()),
        sigma=float(change.std()),
        low=float(low),
        high=float(high),
        beyond=None if limits is None else float(((change < limits[0]) | (change > limits[1])).mean()),
        samples=samples,
        seed=seed,
    )


def _amount(one: Contributor) -> float:
    """The error at which a contributor is tried: its limit, or its bias where it has no limit."""
    return one.limit if one.limit > 0.0 else abs(one.bias)


def _rocking(figure: Figure, errors: _Errors, which: NDArray[np.int64]) -> list[tuple[NDArray[np.int64], Array]]:
    """Moves of a figure's spots (r, n, 3) as each of its pieces rocks, and which of the 2 k cases they are of (r,)."""
    k, at = len(which), figure.points
    out = []
    for name in figure.pieces:
        if name not in errors.done:
            continue
        moves = errors.done[name]
        places = np.searchsorted(which, moves.which)
        rows = np.concatenate([places, k + places])
        mine = np.array([owner == name for owner, _ in figure.spots])
        for way in range(moves.rocks.shape[1]):
            rocking = np.flatnonzero(np.any(moves.rocks[:, way], axis=1))
            if len(rocking):
                out.append((rows[rocking], moved(moves.rocks[rocking, way], at) * mine[None, :, None]))
    return out


def _term(one: Contributor, k: int, effect: Array, rocks: Array, c: int) -> Term:
    tried = _amount(one) or 1.0
    share, up = one.limit / tried, one.bias / tried
    middle = (effect[k] if up > 0.0 else effect[c + k]) * abs(up)
    return Term(
        name=one.name,
        body=one.body,
        cause=one.cause,
        plus=_tidy(effect[k] * share),
        minus=_tidy(effect[c + k] * share),
        rocks=_tidy(max(rocks[k], rocks[c + k]) * share),
        bias=_tidy(middle),
        limit=one.limit,
    )


def _tidy(value: float) -> float:
    """Zero where arithmetic left a millionth of a micrometre."""
    return 0.0 if abs(value) < _NOTHING else float(value)
