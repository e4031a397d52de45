"""What is drawn of how the work lies: where it is located, how it can still move, and how it comes off the table.

Places are world mm. How long an arrow is, is asked of whoever draws: it belongs to the picture, not to the work.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, Literal

import numpy as np

from fixture3d.checks.base import Finding
from fixture3d.checks.locating import senses_of, without_sense
from fixture3d.errors import listed
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.report import Report

Role = Literal["under", "beside", "over"]
Row = Mapping[str, Any]

Shown = Literal["none", "places", "points"]
"""How much of the contacts a picture shows: nothing, a mark a place, or every locator point."""
_UPRIGHT: Final = 0.7  # vertical part of a normal above which a block carries, and below its negative holds down
_TOLD: Final = ("piece-free", "piece-falls", "unsupported")  # rules by which the report tells that a piece can move
_GRIPS: Final = "grips-work"  # of shrinkage
_NEAR: Final = 0.3  # share of half a piece's size within which an axis goes through it
_ROUND: Final = np.deg2rad(220.0)  # of a curved arrow about an axis through the piece
_MOST: Final = np.deg2rad(100.0)  # of one about an axis beside it
_STEPS: Final = 32


@dataclass(frozen=True, kw_only=True, eq=False)
class Touch:
    """One place where a piece is located.

    Attributes:
        piece: name of the piece, or of the first of those that are one.
        fixed: block, plate or other piece that locates it there.
        by_piece: that is a piece.
        kind: face, line or point.
        role: the other is under it and carries it, beside it, or over it.
        normal: (3,) unit, into the piece.
        points: (n, 3) locator points.
    """

    piece: str
    fixed: str
    by_piece: bool
    kind: str
    role: Role
    normal: Array
    points: Array

    @property
    def at(self) -> Array:
        """The middle of its points, (3,)."""
        found: Array = self.points.mean(axis=0)
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Motion:
    """One way in which a piece can still move.

    Attributes:
        piece: name of the piece.
        words: "can slide along its length".
        whole: the same with its senses, "can slide along its length (+Y and -Y)".
        turns: about an axis.
        told: the report tells it as a finding.
        twists: unit twists about the world origin, (6,), one or its two senses.
        box: (2, 3) of the piece.
    """

    piece: str
    words: str
    whole: str
    turns: bool
    told: bool
    twists: tuple[Array, ...]
    box: Array

    def arrows(self, long: float) -> list[Arrow]:
        """How it is drawn, with arrows about ``long`` mm long."""
        middle, half = self.box.mean(axis=0), np.ptp(self.box, axis=0) / 2.0
        if self.turns:
            return [_curved(self.twists, middle, half, long)]
        out = []
        for twist in self.twists:
            way = twist[:3]
            # From the side that goes first, so that the arrow stands clear of the piece.
            start = middle + way * (float(np.abs(way) @ half) + 0.15 * long)
            out.append(Arrow(line=np.stack([start, start + way * long]), ends=1))
        return out


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrow:
    """A line (n, 3) with a head at its end, or with one at either end where ``ends`` is 2."""

    line: Array
    ends: int


@dataclass(frozen=True, kw_only=True, eq=False)
class WayOut:
    """How work that is one comes off the table.

    Attributes:
        pieces: names.
        words: "lift it straight up".
        direction: (3,) unit.
        first_off: blocks and clamps that must go before, in that order, each with what is done to it ("take off").
        box: (2, 3) of the work.
        grips: stops that it draws on to as it is welded, so that it does not come off by hand.
    """

    pieces: tuple[str, ...]
    words: str
    direction: Array
    first_off: tuple[tuple[str, str], ...]
    box: Array
    grips: tuple[str, ...] = ()

    @property
    def start(self) -> Array:
        """Where an arrow begins: on the work's side that goes first, (3,)."""
        middle, half = self.box.mean(axis=0), np.ptp(self.box, axis=0) / 2.0
        found: Array = middle + self.direction * float(np.abs(self.direction) @ half)
        return found

    @property
    def told(self) -> str:
        """All of it in words: "take off S1 and S2, then lift it straight up"."""
        same = [(verb, [name for name, _ in some]) for verb, some in groupby(self.first_off, key=lambda one: one[1])]
        done = [f"{verb} {listed(names)}" for verb, names in same]
        said = f"{', '.join(done)}, then {self.words}" if done else self.words
        return f"{said}; an estimate: once welded it grips {listed(self.grips)}" if self.grips else said


@dataclass(frozen=True, kw_only=True, eq=False)
class Located:
    """All of it for one stage; what was not judged is not there."""

    touches: tuple[Touch, ...] = ()
    motions: tuple[Motion, ...] = ()
    ways_out: tuple[WayOut, ...] = ()


def located(job: Job, figures: Mapping[str, Sequence[Row]], findings: Sequence[Finding] = ()) -> Located:
    """What the checks on locating and unloading found, ready to be drawn.

    Args:
        job: the setup.
        figures: tables of the report: ``pieces`` of locating, ``unloading``; either may be absent.
        findings: those that the scene does not accept; a motion that one of them tells is drawn as a warning.
    """
    boxes = {body.name: body.box for body in job.pieces()}
    rows = [row for row in figures.get("pieces", ()) if row["name"] in boxes]
    told = {name for finding in findings if finding.rule in _TOLD for name in finding.subjects[:1]}
    first, lots = _first_of(rows), figures.get("unloading", ())
    grips = dict.fromkeys(name for finding in findings if finding.rule == _GRIPS for name in finding.subjects)
    return Located(
        touches=tuple(touch for row in first for touch in _touches(row, boxes)),
        motions=tuple(motion for row in first for motion in _motions(row, boxes, told)),
        ways_out=tuple(
            _way_out(row, boxes, tuple(grips) if len(lots) == 1 else ())
            for row in lots
            if row["ways"] and boxes.keys() >= set(row["pieces"])
        ),
    )


def located_in(part: Report) -> Located:
    """The same of the report of one stage."""
    return located(part.job, {name: part.figures(name) for name in ("pieces", "unloading")}, part.findings)


def _first_of(rows: Sequence[Row]) -> list[Row]:
    """The rows without pieces that are one with a piece before them."""
    seen: set[str] = set()
    out = []
    for row in rows:
        if row["name"] not in seen:
            out.append(row)
            seen |= set(row["with"])
    return out


def _touches(row: Row, pieces: Collection[str]) -> list[Touch]:
    out = []
    for one in row["touches"]:
        normal = np.asarray(one["normal"], dtype=np.float64)
        role: Role = "under" if normal[2] > _UPRIGHT else "over" if normal[2] < -_UPRIGHT else "beside"
        points = np.asarray(one["points"], dtype=np.float64).reshape(-1, 3)
        name, fixed = row["name"], one["fixed"]
        out.append(
            Touch(
                piece=name,
                fixed=fixed,
                by_piece=fixed in pieces,
                kind=one["kind"],
                role=role,
                normal=normal,
                points=points,
            )
        )
    return out


def _motions(row: Row, boxes: Mapping[str, Array], told: set[str]) -> list[Motion]:
    """What it can do: how it falls where it does, else each free motion with both of its senses as one."""
    falls = [m for m in row["free_motions"] if m["kind"] == "falls"]
    kept = falls if falls and not row["rests"] else [m for m in row["free_motions"] if m["kind"] == "free"]
    own = [row["name"], *row["with"]]
    box = np.stack([np.min([boxes[name][0] for name in own], axis=0), np.max([boxes[name][1] for name in own], axis=0)])
    is_told = bool(told & set(own))
    out = []
    for words in senses_of(m["words"] for m in kept):
        alike = [m for m in kept if without_sense(m["words"])[0] == words]
        twists = [np.asarray(m["twist"], dtype=np.float64) for m in alike]
        left = list(range(len(alike)))
        while left:
            # Two slides that are called alike, and are no two senses of one, are drawn as two.
            one = twists[left[0]]
            pair = [k for k in left if np.allclose(twists[k], one) or np.allclose(twists[k], -one)]
            left = [k for k in left if k not in pair]
            senses = [sense for sense in senses_of(alike[k]["words"] for k in pair)[words] if sense]
            out.append(
                Motion(
                    piece=row["name"],
                    words=words,
                    whole=f"{words} ({' and '.join(senses)})" if senses else words,
                    turns=bool(np.linalg.norm(one[3:]) > 0.5),
                    told=is_told,
                    twists=tuple(twists[k] for k in pair),
                    box=box,
                )
            )
    return out


def _curved(twists: Sequence[Array], middle: Array, half: Array, long: float) -> Arrow:
    """A turn as part of a circle: about its axis where that goes through the piece, else through the piece's middle."""
    velocity, axis = twists[0][:3], twists[0][3:]
    foot = np.cross(axis, velocity)
    pivot = foot + axis * float((middle - foot) @ axis)
    beside = middle - pivot
    if float(np.linalg.norm(beside)) < max(_NEAR * float(half.max()), 0.3 * long):
        # At the end of the axis that is nearer to the eye, clear of the piece.
        end = axis if axis[np.argmax(np.abs(axis))] > 0.0 else -axis
        if abs(float(end[1])) > _UPRIGHT:
            end = -end  # pictures are taken from the front
        centre = pivot + end * (float(np.abs(axis) @ half) + 0.1 * long)
        radius, span = 0.55 * long, _ROUND
        across = np.cross(axis, (0.0, 0.0, 1.0) if abs(float(axis[2])) < _UPRIGHT else (1.0, 0.0, 0.0))
        start = across / np.linalg.norm(across)
        turn = np.linspace(-span / 2.0, span / 2.0, _STEPS)
    else:
        away = float(np.linalg.norm(beside))
        radius = max(away, 0.55 * long)  # a smaller one would be all head
        centre, start, span = pivot, beside / away, min(1.2 * long / radius, _MOST)
        turn = np.linspace(-span / 2.0, span / 2.0, _STEPS)
    side = np.cross(axis, start)
    line = centre + radius * (np.cos(turn)[:, None] * start + np.sin(turn)[:, None] * side)
    return Arrow(line=line, ends=len(twists))


def _way_out(row: Row, boxes: Mapping[str, Array], grips: tuple[str, ...]) -> WayOut:
    way = row["ways"][0]
    own = [boxes[name] for name in row["pieces"]]
    return WayOut(
        pieces=tuple(row["pieces"]),
        words=way["words"],
        direction=np.asarray(way["direction"], dtype=np.float64),
        first_off=tuple((one["name"], one["verb"]) for one in row["first_off"]),
        box=np.stack([np.min([box[0] for box in own], axis=0), np.max([box[1] for box in own], axis=0)]),
        grips=grips,
    )
