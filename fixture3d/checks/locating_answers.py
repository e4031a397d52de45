"""Answers on locating as plain data: worked out once, kept by all that they depend on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from fixture3d.cache import content_key
from fixture3d.checks.locating_kinds import SHIPPED
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.going_in import Loading, going_in
from fixture3d.job.table_body import plates
from fixture3d.locating.contact import Contact
from fixture3d.locating.over import fights
from fixture3d.locating.words import Motion
from fixture3d.shrinkage.rules import HANDBOOK
from fixture3d.tolerance import LEAVING, LOCATING, NUMERIC, SHRINKING

__all__ = ["Answer", "Free", "Meeting", "Row", "Touch", "answer", "can_give", "key_of"]

_KIND = "locating-11"  # raise the number when the method changes its answers

Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Free:
    """One motion that is left to a piece; see ``locating.words.Motion``.

    Attributes:
        kind: free, away, lift or falls.
        twist: unit twist about the world origin.
        words: as at the table.
        stop: where a stop would end it, mm, which way that pushes, and the face in words; empty where none is known.
    """

    kind: str
    twist: tuple[float, ...]
    words: str
    at: Triple | None = None
    push: Triple | None = None
    face: str = ""


@dataclass(frozen=True, kw_only=True)
class Meeting:
    """Something to be said about blocks that locate: what is wrong, which blocks, the remedy, a place and a figure."""

    kind: str
    fixed: tuple[str, ...]
    words: str
    remedy: str
    at: Triple | None = None
    figure: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Touch:
    """One place where a piece is located; see ``locating.contact.Contact``: mm, world, the normal into the piece."""

    fixed: str
    kind: str
    normal: Triple
    points: tuple[Triple, ...]
    gap: float

    @property
    def contact(self) -> Contact:
        """The record that geometry works with."""
        normal, points = np.array(self.normal), np.array(self.points).reshape(-1, 3)
        return Contact(self.fixed, self.kind, normal, points, gap=self.gap)  # type: ignore[arg-type]


@dataclass(frozen=True, kw_only=True)
class Row:
    """One thing that is laid in; see ``locating_laid.Laid``; ``touches`` are all contacts that count."""

    name: str
    pieces: tuple[str, ...]
    rank: int
    rests: bool
    by: tuple[str, ...]
    touches: tuple[Touch, ...]
    motions: tuple[Free, ...]
    over: tuple[Meeting, ...]
    doubts: tuple[Meeting, ...]
    unread: tuple[str, ...]
    mass: Triple
    stop: str


@dataclass(frozen=True, kw_only=True)
class Answer:
    """All pieces in the order in which they are laid in, and the work as a whole: rank, motions, opposed blocks.

    ``loading`` is that order with the ways in, and the clamps.
    """

    rows: tuple[Row, ...]
    rank: int
    motions: tuple[Free, ...]
    opposed: tuple[Meeting, ...]
    loading: Loading


def answer(job: Job) -> Answer:
    """How every piece of a job is located: from the cache, or worked out."""
    key = key_of(job)
    if job.store is not None:
        kept = _from_dict(job.store.get_json(key, _KIND))
        if kept is not None:
            return kept
    found = _worked_out(job)
    if job.store is not None:
        job.store.put_json(key, _KIND, asdict(found))
    return found


def key_of(job: Job) -> str:
    """Of everything that the answer and its remedies depend on: bodies, plates, welds, seats, and what is joined."""
    table = job.table
    parts: list[str | bytes] = [repr(asdict(LOCATING)), repr(job.joined), repr(sorted(can_give(job)))]
    parts += [job.scene.units, repr((table.blocked, table.pitch, table.bore)), repr(job.scene.places)]
    parts += [job.library.entries[name].digest for name in SHIPPED if name in job.library.entries]
    parts.append(repr([(line.record, line.units) for line in job.scene.stock]))
    # The remedies ask what shrinkage and the torch make of a new stop.
    parts.append(repr((asdict(SHRINKING), asdict(HANDBOOK), job.scene.torches, job.scene.techniques)))
    for weld in job.welds:
        parts += [repr((weld.name, weld.type, weld.joins, weld.size, weld.passes, weld.technique)), weld.path.tobytes()]
    for body in job.bodies:
        pose = np.round(body.body_to_world / NUMERIC.key) * NUMERIC.key + 0.0
        parts += [body.name, body.item, body.role, body.shape.key, pose.tobytes()]
        if body.open_to_world is not None:
            parts.append((np.round(body.open_to_world / NUMERIC.key) * NUMERIC.key + 0.0).tobytes())
    parts += [repr(asdict(LEAVING)), repr([(s.name, getattr(s.place, "presses", "")) for s in job.seats.values()])]
    for plate in plates(job.table):
        vertices, _ = plate.box()
        parts += [plate.name, vertices.tobytes()]
    return content_key(parts)


def can_give(job: Job) -> frozenset[str]:
    """Blocks that can give way: adjustable or shimmed ones, and those that are set by measuring."""
    return frozenset(
        seat.name
        for seat in job.seats.values()
        if seat.clamp or seat.shims or seat.holds != "pins" or _adjustable(job, seat.name)
    )


def _adjustable(job: Job, name: str) -> bool:
    seat = job.seats[name]
    if seat.part.move() is not None:
        return True
    return seat.stacked and seat.stands_on in job.seats and _adjustable(job, seat.stands_on)


def _worked_out(job: Job) -> Answer:
    from fixture3d.checks.locating_laid import Table
    from fixture3d.checks.locating_stops import Stops

    give = can_give(job)
    table = Table(job, give)
    by_name = {one.name: one for one in table.loose}
    stops = Stops(job, table)
    rows = []
    for name in table.order:
        laid = table.laid(by_name[name])
        rows.append(
            Row(
                name=name,
                pieces=laid.loose.pieces,
                rank=laid.rank,
                rests=laid.rests,
                by=laid.by,
                touches=_touches(table.counted[name]),
                motions=_free(laid.motions),
                over=tuple(
                    Meeting(
                        kind=o.kind, fixed=o.fixed, words=o.words, remedy=o.remedy, at=_first(o.at), figure=o.factor
                    )
                    for o in laid.over
                ),
                doubts=tuple(
                    Meeting(
                        kind="doubt", fixed=(d.fixed,), words=d.words, remedy=d.remedy, at=_three(d.at), figure=d.amount
                    )
                    for d in laid.doubts
                ),
                unread=laid.unread,
                mass=_three(laid.lie.mass),
                stop=stops.against(laid),
            )
        )
    whole = table.whole()
    if whole is None:
        return Answer(rows=(), rank=0, motions=(), opposed=(), loading=Loading())
    hard = [pair for pair in whole.opposed if not give & set(pair.fixed) and pair.fixed[0] != pair.fixed[1]]
    told = tuple(
        Meeting(
            kind="inside" if "from inside" in o.words else "opposed",
            fixed=o.fixed,
            words=o.words,
            remedy=o.remedy,
            at=_first(o.at),
        )
        for o in fights(hard)
    )
    return Answer(
        rows=tuple(rows),
        rank=whole.rank,
        motions=_free(whole.motions),
        opposed=told,
        loading=going_in(job, table.loading, table.lies),
    )


def _free(motions: tuple[Motion, ...]) -> tuple[Free, ...]:
    return tuple(
        Free(
            kind=m.kind,
            twist=tuple(float(v) for v in m.twist),
            words=m.words,
            at=None if m.stop is None else _three(m.stop.point),
            push=None if m.stop is None else _three(m.stop.normal),
            face="" if m.stop is None else m.stop.words,
        )
        for m in motions
    )


def _touches(contacts: Sequence[Contact]) -> tuple[Touch, ...]:
    return tuple(
        Touch(
            fixed=c.fixed,
            kind=c.kind,
            normal=_three(c.normal),
            points=tuple(_three(at) for at in c.points),
            gap=float(c.gap),
        )
        for c in contacts
    )


def _three(at: Array) -> Triple:
    x, y, z = (float(v) + 0.0 for v in at)
    return x, y, z


def _first(at: Array) -> Triple | None:
    return _three(at[0]) if len(at) else None


def _from_dict(data: Any) -> Answer | None:
    """The answer that was kept; None where it is none."""
    try:
        return Answer(
            rows=tuple(
                Row(
                    **{
                        **row,
                        "pieces": tuple(row["pieces"]),
                        "by": tuple(row["by"]),
                        "unread": tuple(row["unread"]),
                        "mass": tuple(row["mass"]),
                        "touches": _met(row["touches"]),
                        "motions": _frees(row["motions"]),
                        "over": _meetings(row["over"]),
                        "doubts": _meetings(row["doubts"]),
                    }
                )
                for row in data["rows"]
            ),
            rank=int(data["rank"]),
            motions=_frees(data["motions"]),
            opposed=_meetings(data["opposed"]),
            loading=Loading.of(data["loading"]),
        )
    except (KeyError, TypeError, ValueError):
        return None


def _frees(rows: list[Mapping[str, Any]]) -> tuple[Free, ...]:
    return tuple(
        Free(**{**one, "twist": tuple(one["twist"]), "at": _back(one["at"]), "push": _back(one["push"])})
        for one in rows
    )


def _met(rows: list[Mapping[str, Any]]) -> tuple[Touch, ...]:
    return tuple(
        Touch(
            fixed=one["fixed"],
            kind=one["kind"],
            normal=_three(np.asarray(one["normal"])),
            points=tuple(_three(np.asarray(at)) for at in one["points"]),
            gap=float(one["gap"]),
        )
        for one in rows
    )


def _meetings(rows: list[Mapping[str, Any]]) -> tuple[Meeting, ...]:
    return tuple(Meeting(**{**one, "fixed": tuple(one["fixed"]), "at": _back(one["at"])}) for one in rows)


def _back(at: Any) -> Triple | None:
    return None if at is None else _three(np.asarray(at, dtype=np.float64))
