"""The cut list as data: each distinct piece once, with what the saw, the bender and the drill are set to. No kernel.

A member is seen from its first end along it: its height's end is the top, its Y axis points left, and angles round it
count clockwise from the top. Lengths along it count from its first tip, which is where the tape is hooked on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fixture3d.job.alike import alike
from fixture3d.job.bent import clockwise
from fixture3d.job.endcut import EndCut, Kind, NotchCut, SlotCut
from fixture3d.job.weldment import Piece
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC

_ROUND = ("round tube", "round bar")
_NEARLY = 1e-6  # slope of a cut that is square for a saw
_SAME_LENGTH = 0.02  # mm; longest points nearer than this to one length are told as one length
_SAME_PLACE = 0.5  # degrees round a member
_NEXT = 5.0  # degrees; places nearer than this are one stretch
_ROUND_EDGE = np.linspace(0.0, 1.0, 361)


@dataclass(frozen=True, kw_only=True)
class EndFacts:
    """One end of a member.

    Attributes:
        kind: how it is cut.
        angle: of a flat cut, degrees away from square: the saw's setting. Of a cope, degrees between the two centre
            lines.
        long: where round the member its longest point lies, degrees clockwise from the top; of a cope with two ears
            of one length that face each other, one of them; None of a square end.
        tips: of a cope, where round the member its longest points lie, rising; two where it has two of one length.
        dips: in the same way where its outside is cut deepest.
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
    tips: tuple[float, ...] = ()
    dips: tuple[float, ...] = ()
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

    @property
    def eared(self) -> bool:
        """Whether it is a fish-mouth with two equal ears that face each other, so that half a turn changes nothing."""
        return len(self.tips) == 2 and abs(self.tips[1] - self.tips[0] - 180.0) < _SAME_PLACE


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
            to 180; from or to one of two ears that face each other, 0 to 180. None unless both ends have one.
        bends: of a bent member.
        holes: across a member.
        other_hand: it is made as the mirror image of what is said here, and is not its own.
    """

    mark: str
    pieces: tuple[Piece, ...]
    length: float = 0.0
    ends: tuple[EndFacts, EndFacts] | None = None
    rotation: float | None = None
    bends: tuple[BendFacts, ...] = ()
    holes: tuple[HoleFacts, ...] = ()
    other_hand: bool = False

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


def cut_rows(pieces: Sequence[Piece], mirrored: bool = False) -> tuple[CutRow, ...]:
    """Every distinct piece of a weldment.

    Args:
        pieces: as drawn.
        mirrored: they are made as mirror images of the drawing.
    """
    groups: dict[object, list[Piece]] = {}
    for piece in pieces:
        groups.setdefault((piece.kind, alike(piece)), []).append(piece)
    rows = (_row(f"P{k + 1}", tuple(group)) for k, group in enumerate(groups.values()))
    return tuple(replace(row, other_hand=has_hand(row)) for row in rows) if mirrored else tuple(rows)


def has_hand(row: CutRow) -> bool:
    """Whether a piece may differ from its mirror image, however it is turned.

    A flat plate is turned over. A member is its own image when all that is cut, bent and drilled lies in one plane
    with its centre line that halves its section, or when nothing is: a length of angle is turned end for end.
    """
    piece = row.piece
    if piece.section is None or row.ends is None:
        return piece.plate is None
    plain = all(end.long is None and end.slot is None and end.notch is None for end in row.ends)
    if plain and not row.bends and not row.holes:
        return False
    if any(end.slot is not None or end.notch is not None for end in row.ends):
        return True
    if any(hole.offset for hole in row.holes):
        return True
    # Ears that face each other and a hole through both sides look both ways: across a plane they are their own image.
    both = [end.tips[0] for end in row.ends if end.eared] + [_CLOCK[hole.side] for hole in row.holes if hole.through]
    one = [end.long for end in row.ends if end.long is not None and not end.eared]
    one += [place for end in row.ends if not end.eared for place in (*end.tips, *end.dips)]
    one += [bend.toward for bend in row.bends] + [_CLOCK[hole.side] for hole in row.holes if not hole.through]
    return not any(
        all(_in_plane(clock, at) for clock in one)
        and all(_in_plane(clock, at) or _in_plane(clock, at + 90.0) for clock in both)
        for at in _planes(piece.section, (one or both)[0])
    )


_CLOCK: Final = {"top": 0.0, "right": 90.0, "bottom": 180.0, "left": 270.0}
_HALVES: Final = {"rectangular tube": (0.0, 90.0), "flat": (0.0, 90.0)}


def _planes(section: Section, first: float) -> tuple[float, ...]:
    """Planes through the centre line that halve a section, degrees clockwise from its top."""
    if section.shape in _ROUND:
        return first, first + 90.0
    halves = _HALVES.get(section.shape, ())
    return (*halves, 45.0, 135.0) if halves and section.width == section.height else halves


def _in_plane(clock: float, plane: float) -> bool:
    return abs((clock - plane + 90.0) % 180.0 - 90.0) < _SAME_PLACE


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
        tips = _farthest_places(section, end, 1.0)
        return replace(
            plain,
            angle=end.saddle.angle,
            long=_middle(tips) if len(tips) < 2 or tips[1] - tips[0] != 180.0 else tips[0],
            tips=tips,
            dips=_farthest_places(section, end, -1.0),
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


def _farthest_places(section: Section, end: EndCut, sense: float) -> tuple[float, ...]:
    """Where round the outside an end is longest (sense 1) or shortest (-1), degrees clockwise from the top, rising.

    More than two places that are alike, as on the flat of a square tube, are told as their middle.
    """
    y, z = np.concatenate([edge.at(_ROUND_EDGE)[0] for edge in section.outline()[0]]).T
    along = sense * end.side * end.x(y, z)
    found = sorted(clockwise((float(y[k]), float(z[k]))) for k in np.flatnonzero(along > along.max() - _SAME_LENGTH))
    runs: list[list[float]] = []
    for clock in found:
        if runs and clock - runs[-1][-1] < _NEXT:
            runs[-1].append(clock)
        else:
            runs.append([clock])
    if len(runs) > 1 and runs[0][0] + 360.0 - runs[-1][-1] < _NEXT:
        runs[0] = [clock - 360.0 for clock in runs.pop()] + runs[0]
    middles = sorted(round((run[0] + run[-1]) / 2.0, 1) % 360.0 for run in runs)
    return tuple(middles)


def _middle(places: Sequence[float]) -> float | None:
    """The direction halfway between places round a member, degrees clockwise from the top; None where there is none."""
    turns = np.radians(places)
    y, z = float(np.sin(turns).mean()), float(np.cos(turns).mean())
    return None if math.hypot(y, z) < 1e-3 else round(math.degrees(math.atan2(y, z)) % 360.0, 1) % 360.0


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
    if first.eared or last.eared:
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
