"""Answers on how true the work will be, as plain data: worked out once, kept by all that they depend on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from fixture3d.accuracy.blocks import laid_by_hand
from fixture3d.accuracy.figures import Figure, Work
from fixture3d.accuracy.lying import Lying, in_turn
from fixture3d.accuracy.stack import (
    Contributor,
    Loaded,
    MonteCarlo,
    Spread,
    Stack,
    combine,
    greatest,
    monte_carlo,
    stack_up,
)
from fixture3d.cache import content_key
from fixture3d.checks.accuracy_gains import Gain, gains
from fixture3d.checks.locating_answers import Row, can_give, key_of
from fixture3d.checks.locating_answers import answer as located
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.job.figures import Asked, figures_of, works_of
from fixture3d.job.looseness import clamped, looseness, under
from fixture3d.job.put_against import put_against
from fixture3d.job.true_sizes import measured_lines, raised, true_faces
from fixture3d.locating.contact import Contact
from fixture3d.tolerance import ACCURACY

__all__ = ["Answer", "Drawn", "Foreseen", "Setup", "Share", "answer", "setup_of"]

_KIND = "accuracy-8"  # raise the number when the method changes its answers
_STOCK = ("stock size", "squareness", "twist")  # causes that neither a fixture nor a saw takes away
_SHOWN = 0.005  # mm or degrees; less shows as none
_SHARES = 5  # contributors of a figure that are kept by name; how many more there are is kept too


@dataclass(frozen=True, kw_only=True)
class Share:
    """What one contributor does to a figure: its greatest change, in the figure's unit."""

    name: str
    body: str
    cause: str
    size: float


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A figure in many imagined setups: departures from ``drawn`` that all but 0.27 % keep, and the share beyond."""

    mean: float
    low: float
    high: float
    beyond: float | None
    samples: int
    seed: int


@dataclass(frozen=True, kw_only=True)
class Foreseen:
    """One key figure: what it may come to. Departures count from what the drawing says.

    Attributes:
        name: in plain words.
        kind: of it.
        pieces: that it is about.
        unit: mm or degrees.
        at: a place to look at, mm, world.
        drawn: what the drawing says.
        off: of the model from the drawing.
        likely: least and greatest departure by root of the sum of squares.
        worst: least and greatest departure, everything at its limit at once.
        limits: less and more that it may be off; None where there are none.
        by: what gives the limits.
        stated: whether the file asks for them.
        stock: least and greatest departure that is likely by what stock alone may be off that no clamp takes out.
        shares: what moves it most, greatest first, each as much as is shown of it at the least.
        others: how many more contributors move it.
        spoils: the block whose seat spoils most; empty where no seat does.
        gains: what another seat there would give.
        drawn_setups: of a run of imagined setups; None where none was asked for.
    """

    name: str
    kind: str
    pieces: tuple[str, ...]
    unit: str
    at: tuple[float, float, float]
    drawn: float
    off: float
    likely: tuple[float, float]
    worst: tuple[float, float]
    limits: tuple[float, float] | None
    by: str
    stated: bool
    stock: tuple[float, float]
    shares: tuple[Share, ...]
    others: int
    spoils: str
    gains: tuple[Gain, ...]
    drawn_setups: Drawn | None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """All key figures in the order in which they are found, pieces that do not go in, and what is not known."""

    figures: tuple[Foreseen, ...]
    tight: Mapping[str, float]
    unknown: Mapping[str, str]


def answer(job: Job, now: Mapping[str, Seat] | None = None) -> Answer:
    """How true the work of a job will be: from the cache, or worked out.

    Args:
        job: the setup.
        now: how the blocks stand as they were set at the table; as planned when not given.
    """
    key = content_key([*_parts(job), *_as_set(job, now)])
    if job.store is not None:
        kept = _from_dict(job.store.get_json(key, _KIND))
        if kept is not None:
            return kept
    found = _worked_out(job, now)
    if job.store is not None:
        job.store.put_json(key, _KIND, asdict(found))
    return found


def _parts(job: Job) -> Iterator[str]:
    """Of everything that the answer depends on."""
    yield key_of(job)
    yield repr(asdict(ACCURACY))
    table, keys = job.table, job.scene.weldment
    yield repr((table.bore_limits, table.flatness, table.pitch_tolerance, job.spread, job.stage))
    yield repr((job.scene.figures, None if keys is None else keys.iso_13920, job.scene.clamps))
    for seat in job.seats.values():
        yield repr((seat.name, seat.model, seat.slide, seat.notch, seat.stands_on, seat.holes, seat.bolted, seat.shims))
        yield repr((seat.part.pattern, np.round(seat.model_to_world, 6).tolist()))
    lines = measured_lines(job)
    for seat in job.seats.values() if lines else ():
        lower = job.seats.get(seat.stands_on) if seat.stacked else None
        yield repr((seat.name, true_faces(lines, seat), None if lower is None else raised(lines, lower, seat)))
    for piece in job.weldment.pieces if job.weldment is not None else ():
        yield repr((piece.name, piece.section, piece.length, piece.plate, piece.bent is not None))
    if job.stage is not None:
        yield repr([(stage.name, stage.pieces) for stage in job.scene.whole.stages])


def _as_set(job: Job, now: Mapping[str, Seat] | None) -> Iterator[str]:
    """Of what stands otherwise than planned; nothing of a job as planned, whose key is that of old."""
    for name, seat in (now or {}).items():
        if seat.place != job.seats[name].place:
            yield repr((name, seat.slide, seat.notch, sorted(seat.shims.items()), seat.place.shims))


@dataclass(frozen=True, eq=False)
class Setup:
    """All that the figures of a job are worked out from.

    Attributes:
        job: the setup.
        loaded: what is laid in, with the contacts that decide where it lies.
        contributors: all that can be off.
        stands_on: block to the block below it.
        asked: the key figures, with what they are held against.
        figures: the same, of what is laid in: pieces that are one already go by one name.
        hard: what is laid in, with all blocks that cannot give.
        unknown: pieces whose own limits are not known, or not all of them.
    """

    job: Job
    loaded: Sequence[Loaded]
    contributors: Sequence[Contributor]
    stands_on: Mapping[str, str]
    asked: Sequence[Asked]
    figures: Sequence[Figure]
    hard: Sequence[Loaded]
    unknown: Mapping[str, str]


def setup_of(job: Job, now: Mapping[str, Seat] | None = None) -> Setup:
    """What the figures of a job are worked out from. Arguments as ``answer``."""
    works = works_of(job)
    rows, give = located(job).rows, can_give(job)
    by_name = {work.name: work for work in works}
    owner = {name: row.name for row in rows for name in row.pieces}
    more = put_against(job, _leaving(rows))
    lying = [_lying(row, by_name, more.get(row.name, ())) for row in rows]
    loaded = under(job, clamped(job, in_turn(lying, give), owner))
    loose = looseness(job, loaded, [row.name for row in rows if len(row.pieces) == 1], now)
    welded = {row.name for row in rows if len(row.pieces) > 1}
    asked = [one for one in figures_of(job, works) if not _settled(one.figure, owner, welded)]
    stops = [(one, [c for c in one.contacts if c.fixed not in by_name and c.fixed not in give]) for one in lying]
    return Setup(
        job=job,
        loaded=loaded,
        contributors=[*loose.contributors, *_by_hand(rows, by_name)],
        stands_on=loose.stands_on,
        asked=asked,
        figures=[_renamed(one.figure, owner) for one in asked],
        hard=[Loaded(one.name, contacts, size=one.size) for one, contacts in stops if contacts],
        unknown=loose.unknown,
    )


def _worked_out(job: Job, now: Mapping[str, Seat] | None) -> Answer:
    setup = setup_of(job, now)
    stacks, spreads = stack_up(setup.figures, setup.loaded, setup.contributors, setup.stands_on)
    return Answer(
        figures=tuple(
            _foreseen(one, stack, spread, setup)
            for one, stack, spread in zip(setup.asked, stacks, spreads, strict=True)
        ),
        tight=greatest(setup.hard, setup.contributors),
        unknown=dict(setup.unknown),
    )


def _leaving(rows: Sequence[Row]) -> dict[str, list[Array]]:
    """Pieces that contacts with the table do not hold, with the moves by which they leave something all the same."""
    each = {row.name: [np.array(m.twist) for m in row.motions if m.kind == "away"] for row in rows if row.rank < 6}
    return {name: moves for name, moves in each.items() if moves}


def _lying(row: Row, works: Mapping[str, Work], more: Sequence[Contact]) -> Lying:
    corners = np.vstack([works[name].corners for name in row.pieces])
    by = {touch.fixed for touch in row.touches}
    contacts = [*(touch.contact for touch in row.touches), *(c for c in more if c.fixed not in by)]
    return Lying(row.name, contacts, float(np.linalg.norm(np.ptp(corners, axis=0))))


def _by_hand(rows: Sequence[Row], works: Mapping[str, Work]) -> Iterator[Contributor]:
    """Pieces that can still move: each motion once, not once each way."""
    for row in rows:
        corners = np.vstack([works[name].corners for name in row.pieces])
        told: list[Any] = []
        for motion in row.motions:
            twist = np.array(motion.twist)
            if motion.kind == "free" and not any(np.allclose(twist, -other, atol=1e-6) for other in told):
                told.append(twist)
                yield laid_by_hand(row.name, motion.words.partition(" (")[0], twist, corners)


def _settled(figure: Figure, owner: Mapping[str, str], welded: set[str]) -> bool:
    """Whether a figure is of pieces that are one already: nothing in this setup changes it."""
    things = {owner.get(name, name) for name in figure.pieces}
    return len(things) == 1 and things <= welded


def _renamed(figure: Figure, owner: Mapping[str, str]) -> Figure:
    return replace(figure, spots=tuple((owner.get(name, name), at) for name, at in figure.spots))


def _foreseen(one: Asked, stack: Stack, spread: Spread, setup: Setup) -> Foreseen:
    off = stack.nominal - one.drawn
    likely, worst = _spans(one.figure.kind, stack, off)
    spoils = _spoils(stack, setup.job)
    tried: tuple[Gain, ...] = ()
    if one.stated and spoils and one.limits is not None and _beyond(worst, one.limits):
        tried = gains(setup.job, spoils, stack, setup.loaded, setup.stands_on)
    drawn = None
    if setup.job.spread is not None:
        samples, seed = setup.job.spread
        limits = None if one.limits is None else (one.limits[0] - off, one.limits[1] - off)
        drawn = _drawn(monte_carlo(stack.figure, spread, limits=limits, samples=samples, seed=seed), off)
    x, y, z = (round(float(v), 6) + 0.0 for v in one.figure.points.mean(axis=0))
    shown = [t for t in stack.terms if t.size >= _SHOWN or abs(t.bias) >= _SHOWN][:_SHARES]
    return Foreseen(
        name=one.figure.name,
        kind=one.figure.kind,
        pieces=one.figure.pieces,
        unit=one.figure.unit,
        at=(x, y, z),
        drawn=one.drawn,
        off=off,
        likely=likely,
        worst=worst,
        limits=one.limits,
        by=one.by,
        stated=one.stated,
        stock=_of_stock(one.figure.kind, stack, off),
        shares=tuple(Share(name=t.name, body=t.body, cause=t.cause, size=t.size) for t in shown),
        others=len(stack.terms) - len(shown),
        spoils=spoils,
        gains=tried,
        drawn_setups=drawn,
    )


def _spans(kind: str, stack: Stack, off: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest departure from the drawing, likely and at worst; flatness is never below none."""
    low, high = stack.span
    if kind == "flatness":  # never below none
        return (0.0, off + high), (0.0, off + stack.high)
    return (off + low, off + high), (off + stack.low, off + stack.high)


def _of_stock(kind: str, stack: Stack, off: float) -> tuple[float, float]:
    """What is left of the likely departure when blocks, saw and hands are true and all is clamped straight."""
    return _spans(kind, combine(stack.figure, [t for t in stack.terms if t.cause in _STOCK]), off)[0]


def _beyond(span: tuple[float, float], limits: tuple[float, float]) -> bool:
    return span[0] < limits[0] - ACCURACY.even or span[1] > limits[1] + ACCURACY.even


def _spoils(stack: Stack, job: Job) -> str:
    """The block whose seat moves a figure most; empty where none does."""
    each: dict[str, float] = {}
    for term in stack.terms:
        if term.body in job.seats and term.cause in ("seat", "seat turn", "table pitch"):
            each[term.body] = each.get(term.body, 0.0) + term.size**2
    return max(each, key=lambda name: (round(each[name], 12), name)) if each else ""


def _drawn(found: MonteCarlo, off: float) -> Drawn:
    return Drawn(
        mean=found.mean + off,
        low=found.low + off,
        high=found.high + off,
        beyond=found.beyond,
        samples=found.samples,
        seed=found.seed,
    )


def _from_dict(data: Any) -> Answer | None:
    """The answer that was kept; None where it is none."""
    try:
        return Answer(
            figures=tuple(_figure(row) for row in data["figures"]),
            tight={str(k): float(v) for k, v in data["tight"].items()},
            unknown={str(k): str(v) for k, v in data["unknown"].items()},
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _figure(row: Mapping[str, Any]) -> Foreseen:
    pairs = {key: tuple(row[key]) for key in ("pieces", "at", "likely", "worst", "stock")}
    return Foreseen(
        **{
            **row,
            **pairs,
            "limits": None if row["limits"] is None else tuple(row["limits"]),
            "shares": tuple(Share(**one) for one in row["shares"]),
            "gains": tuple(Gain(**one) for one in row["gains"]),
            "drawn_setups": None if row["drawn_setups"] is None else Drawn(**row["drawn_setups"]),
        }
    )
