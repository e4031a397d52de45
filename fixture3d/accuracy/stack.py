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
    "monte_carlo",
    "stack_up",
    "tight",
    "with_limit",
]

Array = NDArray[np.float64]
Cause = Literal[
    "seat", "seat turn", "notch", "shim", "block", "table flatness", "table pitch",
    "stock size", "squareness", "cut length", "mitre", "bow", "twist",
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
    """

    name: str
    body: str
    cause: Cause
    shape: Shape
    limit: float
    bias: float = 0.0
    even: bool = False


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
    """

    figure: Figure
    nominal: float
    terms: tuple[Term, ...]
    bias: float
    high: float
    low: float
    rss: float

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
    """The contributors by body, and what has been found of the pieces so far."""

    def __init__(self, contributors: Sequence[Contributor]) -> None:
        self.all = contributors
        self.done: dict[str, Moves] = {}
        self.of: dict[str, list[int]] = {}
        for k, one in enumerate(contributors):
            self.of.setdefault(one.body, []).append(k)

    def moving(self, bodies: Sequence[str]) -> NDArray[np.int64]:
        """Indices of the contributors that may move any of some bodies."""
        found = {k for body in bodies for k in self.of.get(body, [])}
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
        for index in self.of.get(body, []):
            at = int(np.searchsorted(which, index))
            step = _amount(self.all[index]) * self.all[index].shape(points)
            out[at] += step
            out[k + at] -= step
        return out


def stack_up(
    figures: Sequence[Figure], pieces: Sequence[Loaded], contributors: Sequence[Contributor]
) -> tuple[list[Stack], list[Spread]]:
    """What each figure may come to.

    A contact with a piece that is loaded later is taken to stand still, and what a piece rocks is not carried on to the
    pieces that lie against it.

    Args:
        figures: their pieces are among ``pieces``; a piece that is not is taken to stand still.
        pieces: in the order in which they are loaded.
        contributors: all that can be off.

    Returns:
        One stack a figure, and what :func:`monte_carlo` needs of each.
    """
    errors = _Errors(contributors)
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
        rocks = _rocking(figure, errors, which)
        effect = figure.value(at[None] + shift) - figure.nominal
        mine_all = [contributors[k] for k in which]
        terms = [_term(one, k, effect, rocks, len(which)) for k, one in enumerate(mine_all)]
        stacks.append(combine(figure, terms))
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
    moving = np.abs(offsets).reshape(2, len(which), -1).max(axis=(0, 2), initial=0.0) > 0.0
    both = np.concatenate([moving, moving])
    settled = settle(piece.contacts, offsets[both], pressed=piece.pressed, size=piece.size)
    return Moves(which[moving], settled.twists, settled.rocks, settled.squeeze)


def combine(figure: Figure, terms: Sequence[Term]) -> Stack:
    """The stack of some terms: worst case ``sum |t|``, likely ``sqrt(sum t^2)``."""
    kept = sorted((t for t in terms if t.size > 0.0 or t.bias != 0.0), key=lambda t: (-round(t.size, 12), t.name))
    bias = float(sum(t.bias for t in kept))
    return Stack(
        figure=figure,
        nominal=figure.nominal,
        terms=tuple(kept),
        bias=bias,
        high=bias + float(sum(max(t.plus, t.minus, 0.0) + t.rocks for t in kept)),
        low=bias + float(sum(min(t.plus, t.minus, 0.0) - t.rocks for t in kept)),
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
    limit: float | None = None,
    samples: int = ACCURACY.samples,
    seed: int = ACCURACY.seed,
) -> MonteCarlo:
    """A figure in many imagined setups, each contributor drawn by itself.

    Args:
        figure: which.
        spread: of it, as :func:`stack_up` gives it.
        limit: a departure from nominal that is asked about.
        samples: how many.
        seed: of the random numbers.
    """
    rng = np.random.default_rng(seed)
    contributors, moves = spread.contributors, spread.moves
    c, n = len(contributors), moves.shape[1]
    even = np.array([one.even for one in contributors], dtype=bool)
    limits = np.array([one.limit for one in contributors])
    drawn = np.where(even, rng.uniform(-1.0, 1.0, (samples, c)), rng.normal(0.0, 1.0 / 3.0, (samples, c)))
    errors = drawn * limits + np.array([one.bias for one in contributors])
    share = errors / np.array([_amount(one) or 1.0 for one in contributors])
    flat = moves.reshape(2, c, 3 * n)
    shift = np.maximum(share, 0.0) @ flat[0] + np.maximum(-share, 0.0) @ flat[1]
    change = figure.value(figure.points[None] + shift.reshape(samples, n, 3)) - figure.nominal
    low, high = np.quantile(change, [0.00135, 0.99865])
    return MonteCarlo(
        mean=float(change.mean()),
        sigma=float(change.std()),
        low=float(low),
        high=float(high),
        beyond=None if limit is None else float((np.abs(change) > limit).mean()),
        samples=samples,
        seed=seed,
    )


def _amount(one: Contributor) -> float:
    """The error at which a contributor is tried: its limit, or its bias where it has no limit."""
    return one.limit if one.limit > 0.0 else abs(one.bias)


def _rocking(figure: Figure, errors: _Errors, which: NDArray[np.int64]) -> Array:
    """By how much a figure changes as its pieces rock, (2 k,)."""
    k, at = len(which), figure.points
    out = np.zeros(2 * k)
    for name in figure.pieces:
        if name not in errors.done:
            continue
        moves = errors.done[name]
        places = np.searchsorted(which, moves.which)
        rows = np.concatenate([places, k + places])
        mine = np.array([owner == name for owner, _ in figure.spots])
        for way in range(moves.rocks.shape[1]):
            rocking = np.flatnonzero(np.any(moves.rocks[:, way], axis=1))
            shift = moved(moves.rocks[rocking, way], at) * mine[None, :, None]
            out[rows[rocking]] += np.abs(figure.value(at[None] + shift) - figure.nominal)
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
    return 0.0 if abs(value) < 1e-9 else float(value)
