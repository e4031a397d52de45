"""The cut list as data: each distinct piece once, with what the saw, the bender and the drill are set to. No kernel.

A member is seen from its first end along it: its height's end is the top, its Y axis points left, and angles round it
count clockwise from the top. Lengths along it count from its first tip, which is where the tape is hooked on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixture3d.job.alike import alike
from fixture3d.job.bent import clockwise
from fixture3d.job.endcut import EndCut, Kind, NotchCut, SlotCut
from fixture3d.job.weldment import Piece
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC

_ROUND = ("round tube", "round bar")
_NEARLY = 1e-6  # slope of a cut that is square for a saw


@dataclass(frozen=True, kw_only=True)
class EndFacts:
    """One end of a member.

    Attributes:
        kind: how it is cut.
        angle: of a flat cut, degrees away from square: the saw's setting. Of a cope, degrees between the two centre
            lines.
        long: where round the member its longest point lies, degrees clockwise from the top; of a cope one of its two
            ears, square to both centre lines; None of a square end.
        marks: of a flat cut askew to a flat-sided section, degrees off square that its line runs on top and bottom,
            and on left and right; else None.
        to: name of the other piece that it goes by; empty for none, and where several pieces are alike.
        onto: its stock.
        gap: root gap to it, mm.
        passes: how far the two centre lines of a cope pass each other, mm.
        deep: from the tip to the bottom of the cut along the member, mm, on its outside.
        inside: of a cope in a tube, how far its edge on the inside differs from that on the outside, mm at most.
        slot: sawn into it.
        notch: taken away at it.
    """

    kind: Kind
    angle: float = 0.0
    long: float | None = None
    marks: tuple[float, float] | None = None
    to: str = ""
    onto: str = ""
    gap: float = 0.0
    passes: float = 0.0
    deep: float = 0.0
    inside: float = 0.0
    slot: SlotCut | None = None
    notch: NotchCut | None = None

    @property
    def coped(self) -> bool:
        """Whether it is a fish-mouth."""
        return self.kind == "cope"


@dataclass(frozen=True, kw_only=True)
class BendFacts:
    """One bend of a member, in the order of the length.

    Attributes:
        start: of the arc on the straight length, from the first tip, mm.
        straight: length of the leg before it, mm, from the tip or the bend before.
        radius: of the centre line, mm.
        angle: degrees.
        arc: its length on the centre line, mm.
        toward: where its centre lies round the member, degrees clockwise from the top.
        rotation: degrees that the length is turned clockwise, seen from its first end, from the plane of the bend
            before to its plane, -180 to 180; 0 for the first.
    """

    start: float
    straight: float
    radius: float
    angle: float
    arc: float
    toward: float
    rotation: float


@dataclass(frozen=True, kw_only=True)
class HoleFacts:
    """One hole across a member: its axis from the first tip, mm; the side that it is drilled from, and the rest."""

    at: float
    diameter: float
    side: str
    offset: float
    through: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class CutRow:
    """All pieces that are alike.

    Attributes:
        mark: ``P1``, ``P2``, ... in the order of the scene.
        pieces: those that are alike, in the order of the scene.
        length: of a member, from tip to tip, mm: what is cut off the bar; 0 for others.
        ends: of a member.
        rotation: degrees clockwise, seen from the first end, from the first end's longest point to the last one's, -180
            to 180; between an ear of a cope and anything, 0 to 180. None unless both ends have one.
        bends: of a bent member.
        holes: across a member.
    """

    mark: str
    pieces: tuple[Piece, ...]
    length: float = 0.0
    ends: tuple[EndFacts, EndFacts] | None = None
    rotation: float | None = None
    bends: tuple[BendFacts, ...] = ()
    holes: tuple[HoleFacts, ...] = ()

    @property
    def piece(self) -> Piece:
        """The first of them."""
        return self.pieces[0]

    @property
    def count(self) -> int:
        """How many are made."""
        return len(self.pieces)


@dataclass(frozen=True, kw_only=True)
class StockTotal:
    """All members of one stock: pieces, length from tip to tip, mm, without saw kerfs and ends of bars, and kg."""

    stock: str
    count: int
    length: float
    mass: float


def cut_rows(pieces: Sequence[Piece]) -> tuple[CutRow, ...]:
    """Every distinct piece of a weldment."""
    groups: dict[object, list[Piece]] = {}
    for piece in pieces:
        groups.setdefault((piece.kind, alike(piece)), []).append(piece)
    return tuple(_row(f"P{k + 1}", tuple(group)) for k, group in enumerate(groups.values()))


def totals(rows: Sequence[CutRow]) -> tuple[StockTotal, ...]:
    """What is needed of each stock, in the order in which it first occurs."""
    found: dict[str, list[CutRow]] = {}
    for row in rows:
        if row.piece.section is not None:
            found.setdefault(row.piece.section.designation, []).append(row)
    return tuple(
        StockTotal(
            stock=stock,
            count=sum(row.count for row in same),
            length=sum(row.count * row.length for row in same),
            mass=sum(row.count * (row.piece.mass or 0.0) for row in same),
        )
        for stock, same in found.items()
    )


def _row(mark: str, pieces: tuple[Piece, ...]) -> CutRow:
    piece = pieces[0]
    if piece.section is None or piece.end_cuts is None:
        return CutRow(mark=mark, pieces=pieces)
    first, last = (_end(piece.section, end) for end in piece.end_cuts)
    if len(pieces) > 1:  # each goes by another piece, of the same stock
        first, last = replace(first, to=""), replace(last, to="")
    tip = piece.end_cuts[0].tip(piece.section)
    return CutRow(
        mark=mark,
        pieces=pieces,
        length=piece.cut_length,
        ends=(first, last),
        rotation=_rotation(first, last),
        bends=_bends(piece, tip),
        holes=tuple(
            HoleFacts(at=hole.x - tip, diameter=hole.diameter, side=hole.side, offset=hole.offset, through=hole.through)
            for hole in sorted(piece.holes, key=lambda hole: hole.x)
        ),
    )


def _end(section: Section, end: EndCut) -> EndFacts:
    plain = EndFacts(
        kind=end.kind,
        to=end.to,
        onto=end.onto,
        gap=end.gap,
        deep=abs(end.tip(section) - end.throat(section)),
        slot=end.slot,
        notch=end.notch,
    )
    if end.saddle is not None:
        return replace(
            plain,
            angle=end.saddle.angle,
            long=clockwise(end.saddle.across),
            passes=abs(end.saddle.offset),
            inside=_inside(section, end),
        )
    g, h = end.plane.slope
    askew = min(abs(g), abs(h)) > _NEARLY and section.shape not in _ROUND
    return replace(
        plain,
        angle=end.plane.mitre,
        long=clockwise((end.side * g, end.side * h)) if math.hypot(g, h) > _NEARLY else None,
        marks=(math.degrees(math.atan(abs(g))), math.degrees(math.atan(abs(h)))) if askew else None,
    )


def _inside(section: Section, end: EndCut) -> float:
    """How far the edge inside a round tube is from that outside, along the member at one place round it, mm."""
    if section.shape != "round tube":
        return 0.0
    theta = np.linspace(0.0, 2.0 * math.pi, 721)
    radii = (section.height / 2.0, section.height / 2.0 - section.wall)
    edges = [end.x(r * np.cos(theta), r * np.sin(theta)) for r in radii]
    return float(np.abs(edges[0] - edges[1]).max())


def _rotation(first: EndFacts, last: EndFacts) -> float | None:
    if first.long is None or last.long is None:
        return None
    turn = (last.long - first.long) % 360.0
    if first.coped or last.coped:
        return turn % 180.0
    return turn - 360.0 if turn > 180.0 + 1e-9 else turn


def _bends(piece: Piece, tip: float) -> tuple[BendFacts, ...]:
    if piece.bent is None:
        return ()
    out = []
    before, toward = tip, None
    for arc, way in zip(piece.bent.arcs, piece.bent.rotations, strict=True):
        turn = 0.0 if toward is None else math.remainder(way - toward, 360.0)
        out.append(
            BendFacts(
                start=arc.start - tip,
                straight=max(arc.start - before, 0.0),
                radius=piece.bent.radius,
                angle=arc.angle,
                arc=arc.length,
                toward=way,
                rotation=0.0 if abs(turn) < NUMERIC.angle else turn,
            )
        )
        before, toward = arc.start + arc.length, way
    return tuple(out)
