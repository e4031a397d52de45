"""A member bent cold from one length: straight legs and arcs of one radius, and what it measures straightened.

Along the piece ``s`` counts on the centre line from its first point. The centre line is taken to keep its length
(it is the neutral line), so that ``s`` is also the place on the straight length before it is bent, and an arc is
``radius * angle`` long. The frame of the section goes along without twist: straightened, its top is one straight line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job.cuts import CutImpossible, Run
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, show

if TYPE_CHECKING:
    from fixture3d.job.endcut import EndCut, HoleCut

BENT = ("round tube", "round bar")
LEAST_ANGLE, MOST_ANGLE = 0.1, 175.0  # degrees; less is no bend, more is two bends
_SAMPLES = 3000  # points of the centre line that are held against each other


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """A straight leg or an arc of the centre line.

    Attributes:
        start: s of its beginning, mm.
        length: on the centre line, mm.
        to_piece: (4, 4), the frame of the section at its beginning, X ahead.
        angle: degrees of an arc; 0 of a leg.
        toward: of an arc, direction of its centre in the section as (y, z), unit.
    """

    start: float
    length: float
    to_piece: Array
    angle: float = 0.0
    toward: tuple[float, float] = (0.0, 0.0)

    @property
    def radius(self) -> float:
        """Of an arc on the centre line, mm."""
        return self.length / math.radians(self.angle) if self.angle else 0.0

    @property
    def centre(self) -> Array:
        """Centre of an arc in the frame of the piece, (3,) mm."""
        return frame.points(self.to_piece, (0.0, self.radius * self.toward[0], self.radius * self.toward[1]))

    @property
    def axis(self) -> Array:
        """Direction about which an arc turns, right-handed, in the frame of the piece, (3,) unit."""
        return frame.directions(self.to_piece, (0.0, -self.toward[1], self.toward[0]))

    def at(self, s: float) -> Array:
        """Frame of the section at ``s``, X ahead, (4, 4)."""
        if not self.angle:
            return frame.chain(self.to_piece, frame.translation((s - self.start, 0.0, 0.0)))
        turn = frame.rotation(self.axis, math.degrees((s - self.start) / self.radius))
        about = frame.translation(self.centre)
        return frame.chain(about, turn, frame.inverse(about), self.to_piece)


@dataclass(frozen=True, kw_only=True, eq=False)
class Bent:
    """The centre line of a bent member in the frame of its piece.

    Attributes:
        parts: leg, arc, leg, ..., leg; a leg between two arcs may have no length.
        radius: of every arc, mm.
    """

    parts: tuple[Part, ...]
    radius: float

    @property
    def length(self) -> float:
        """Developed length of the centre line, mm, before the ends are cut."""
        return self.parts[-1].start + self.parts[-1].length - self.parts[0].start

    @property
    def arcs(self) -> tuple[Part, ...]:
        """Its bends in order."""
        return self.parts[1::2]

    @property
    def legs(self) -> tuple[Part, ...]:
        """Its straight legs in order."""
        return self.parts[::2]

    def at(self, s: float) -> Array:
        """Frame of the section at ``s``, X ahead, (4, 4); the end legs go on beyond their ends."""
        part = next((p for p in self.parts[:-1] if s <= p.start + p.length), self.parts[-1])
        return part.at(s)

    def bent(self, s: float) -> Array:
        """straight_to_piece at ``s``, (4, 4): where a thing goes that was at its place on the straight length."""
        return frame.chain(self.at(s), frame.translation((-s, 0.0, 0.0)))

    def straight(self, leg: Part) -> Array:
        """straight_to_piece along a leg, (4, 4): X on it counts as on the straight length."""
        return frame.chain(leg.to_piece, frame.translation((-leg.start, 0.0, 0.0)))

    def point(self, s: float) -> Array:
        """Point of the centre line, (3,) mm."""
        return np.asarray(self.at(s)[:3, 3], dtype=np.float64)

    def nearest(self, point: Array) -> float:
        """Where on the centre line is nearest to a point of the piece's frame, mm."""
        best = (math.inf, 0.0)
        for part in self.parts:
            local = frame.points(frame.inverse(part.to_piece), point)
            if part.angle:
                y = float(local[1] * part.toward[0] + local[2] * part.toward[1])
                turned = math.atan2(float(local[0]), part.radius - y)
                along = min(max(turned, 0.0), math.radians(part.angle)) * part.radius
            else:
                along = min(max(float(local[0]), 0.0), part.length)
            s = part.start + along
            best = min(best, (float(np.linalg.norm(self.point(s) - point)), s))
        return best[1]

    def moved(self, by: float) -> Bent:
        """The same with its first leg's X, and so ``s``, counted from a point that lies ``-by`` mm further on."""
        shift = frame.translation((by, 0.0, 0.0))
        parts = (replace(p, start=_round(p.start + by), to_piece=frame.chain(shift, p.to_piece)) for p in self.parts)
        return replace(self, parts=tuple(parts))

    @cached_property
    def rotations(self) -> tuple[float, ...]:
        """Of each bend: where its centre lies round the section, degrees clockwise from its top, seen along it."""
        return tuple(clockwise(arc.toward) for arc in self.arcs)

    def key(self) -> str:
        """All that decides the centre line, for cache keys."""
        return repr((self.radius, self.parts[0].start, [(p.length, p.angle, p.toward) for p in self.parts]))


def clockwise(way: tuple[float, float]) -> float:
    """A direction (y, z) of the section as degrees clockwise from its top, seen along the member, in [0, 360).

    Seen so, Y points to the left.
    """
    return round(math.degrees(math.atan2(-way[0], way[1])) % 360.0, 9) % 360.0


def bend(path: Sequence[Sequence[float]], radius: float, first: Array, section: Section, units: Units = "mm") -> Bent:
    """The centre line through corner points with arcs of one radius.

    Args:
        path: corner points of the centre line, weldment frame, mm.
        radius: of the centre line in every bend, mm.
        first: piece_to_weldment, (4, 4): at the first point, X toward the second.
        section: the stock.
        units: for lengths in messages.

    Raises:
        CutImpossible: it cannot be bent so; in words.
    """
    if section.shape not in BENT:
        article = "an" if section.shape[0] in "aeiou" else "a"
        raise CutImpossible(f"{article} {section.shape} cannot be bent here", "round tube or round bar")
    points = frame.points(frame.inverse(first), np.asarray(path, dtype=np.float64))
    ways = np.diff(points, axis=0)
    lengths = np.linalg.norm(ways, axis=1)
    if float(lengths.min()) < NUMERIC.merge:
        k = int(np.argmin(lengths))
        raise CutImpossible(f"points {k + 1} and {k + 2} of its path are the same", "points that differ")
    ways = ways / lengths[:, None]
    angles = [_angle(ways[k], ways[k + 1], k + 2) for k in range(len(ways) - 1)]
    _check_radius(lengths, angles, radius, units)
    made = Bent(parts=tuple(_parts(ways, lengths, angles, radius)), radius=radius)
    least = max(section.reach(*arc.toward) for arc in made.arcs)
    if radius <= least + SHOP.contact:
        raise CutImpossible(
            f"its bend of radius {show(radius, units)} leaves nothing on the inside of {section.designation}",
            f"a centre-line radius above {show(least, units)}",
        )
    _check_apart(made, section.height / 2.0, units)
    return made


def _angle(before: Array, after: Array, point: int) -> float:
    """Degrees of the bend at a point of the path."""
    angle = math.degrees(math.atan2(float(np.linalg.norm(np.cross(before, after))), float(before @ after)))
    if angle < LEAST_ANGLE:
        raise CutImpossible(f"point {point} of its path is in line with its neighbours", "a path without that point")
    if angle > MOST_ANGLE:
        raise CutImpossible(
            f"it folds back by {angle:.1f} degrees at point {point} of its path",
            f"at most {MOST_ANGLE:g}: a half turn is two bends of 90 at two points",
        )
    return round(angle, 10)


def _check_radius(lengths: Array, angles: list[float], radius: float, units: Units) -> None:
    """Refuse legs that are too short for the arcs at their ends; names the worst and the radius that fits all."""
    tangents = np.tan(np.radians([0.0, *angles, 0.0]) / 2.0)
    fits = lengths / (tangents[:-1] + tangents[1:])
    k = int(np.argmin(fits))
    if radius > float(fits[k]) + NUMERIC.merge:
        needed = radius * float(tangents[k] + tangents[k + 1])
        raise CutImpossible(
            f"leg {k + 1} of its path, {show(float(lengths[k]), units)} long, is too short for bends of radius "
            f"{show(radius, units)}, which take {show(needed, units)} of it",
            f"a radius of at most {show(math.floor(float(fits[k]) * 100.0) / 100.0, units)}, or a longer leg",
        )


def _parts(ways: Array, lengths: Array, angles: list[float], radius: float) -> list[Part]:
    taken = [0.0, *(radius * math.tan(math.radians(a) / 2.0) for a in angles), 0.0]
    here, s = frame.identity(), 0.0
    out: list[Part] = []
    for k, length in enumerate(lengths):
        straight = max(float(length) - taken[k] - taken[k + 1], 0.0)
        leg = Part(start=s, length=_round(straight), to_piece=here)
        out.append(leg)
        s = _round(s + leg.length)
        here = leg.at(s)
        if k == len(angles):
            break
        side = ways[k + 1] @ here[:3, :3]
        size = math.hypot(float(side[1]), float(side[2]))
        toward = (round(float(side[1]) / size, 12) + 0.0, round(float(side[2]) / size, 12) + 0.0)
        arc = Part(
            start=s, length=radius * math.radians(angles[k]), to_piece=here, angle=angles[k], toward=toward
        )  # fmt: skip
        out.append(arc)
        s = _round(s + arc.length)
        here = arc.at(arc.start + arc.length)
    return out


def _round(mm: float) -> float:
    # Far below any tolerance, so that equal pieces get equal numbers and share one solid.
    return round(mm, 9) + 0.0


def _check_apart(made: Bent, reach: float, units: Units) -> None:
    """Refuse a path that runs through itself.

    Two points nearer along the centre line than half a turn are further apart than on a circle of the bends' radius
    (Schur's comparison theorem), so only points further along are held against each other.
    """
    step = max(reach / 4.0, made.length / _SAMPLES)
    stations = np.linspace(0.0, made.length, max(2, math.ceil(made.length / step)))
    points = np.array([made.point(float(s)) for s in stations])
    for k, s in enumerate(stations):
        far = stations > s + math.pi * made.radius
        if not far.any():
            break
        gaps = np.linalg.norm(points[far] - points[k], axis=1)
        j = int(np.argmin(gaps))
        if float(gaps[j]) < 2.0 * reach:
            there = show(float(stations[far][j]), units)
            raise CutImpossible(
                f"its path runs through itself: {show(float(s), units)} and {there} along it are "
                f"{show(float(gaps[j]), units)} apart",
                f"centre lines {show(2.0 * reach, units)} apart or more",
            )


def bend_notes(made: Bent, section: Section, units: Units) -> list[str]:
    """What a reader should know about the bends: the neutral line, and radii that need care."""
    size = max(2.0 * section.reach(*arc.toward) for arc in made.arcs)
    turned = math.radians(sum(arc.angle for arc in made.arcs))
    notes = [
        f"its length is that of the centre line, taken as neutral; a neutral line 1 % of {show(size, units)} further "
        f"in would make it {show(0.01 * size * turned, units)} shorter: bend a trial piece"
    ]
    if made.radius < 2.0 * size:
        ratio = f"{made.radius / size:.1f}"
        notes.append(
            f"its bend radius is {ratio} times its depth; below 2 tube usually needs a mandrel (common practice)"
        )
    return notes


def end_run(run: Run, which: int) -> Run:
    """The straight run in line with one end of a member, X counted as on its straight length."""
    if run.bent is None:
        return run
    last = run.bent.straight(run.bent.parts[-1 if which else 0])
    return replace(run, run_to_weldment=frame.chain(run.run_to_weldment, last), bent=None)


def legs_near(runs: Mapping[str, Run], point: Array) -> dict[str, Run]:
    """The same runs, each bent one as its straight leg that is nearest to a point of the weldment frame."""
    out = dict(runs)
    for name, run in runs.items():
        if run.bent is None:
            continue
        legs = [
            replace(run, run_to_weldment=frame.chain(run.run_to_weldment, leg.to_piece), length=leg.length, bent=None)
            for leg in run.bent.legs
            if leg.length > NUMERIC.merge
        ]
        out[name] = min(legs, key=lambda leg: _off(leg, point), default=run)
    return out


def of_leg(text: str, other: Run | None) -> str:
    """Words about the other member of a joint: of a bent one only its straight leg was looked at."""
    if other is None or other.bent is None:
        return text
    for of_all, of_one in (
        ("beyond its end", "beyond its straight leg"),
        ("past the end of", "past the straight leg of"),
    ):
        text = text.replace(of_all, of_one)
    return text


def _off(leg: Run, point: Array) -> float:
    """Distance of a point from the centre line between a run's ends, mm."""
    (start, back), (end, _) = leg.end(0), leg.end(1)
    along = min(max(float((point - start) @ -back), 0.0), float(np.linalg.norm(end - start)))
    return float(np.linalg.norm(start - back * along - point))


def in_bend(
    made: Bent, section: Section, ends: tuple[EndCut, EndCut], holes: Sequence[HoleCut], units: Units = "mm"
) -> tuple[str, str, str] | None:
    """What of a bent member's cuts and holes does not lie on its straight legs: key, words, expected; None when all do.

    Args:
        made: its centre line in the frame of its piece.
        section: the stock.
        ends: its cuts on the straight length.
        holes: across it, on the straight length.
        units: for lengths in messages.
    """
    first, last = made.legs[0], made.legs[-1]
    inner = [
        max([ends[0].throat(section), *(one.bottom for one in ends[0].openings)]) - (first.start + first.length),
        last.start - min([ends[1].throat(section), *(one.bottom for one in ends[1].openings)]),
    ]
    for over, leg in zip(inner, (1, len(made.legs)), strict=True):
        if over > NUMERIC.merge:
            return "ends", f"the cut of its end runs {show(over, units)} into the bend", f"a longer leg {leg}"
    for k, hole in enumerate(holes):
        near = hole.diameter / 2.0
        if not any(leg.start <= hole.x - near and hole.x + near <= leg.start + leg.length for leg in made.legs):
            return "holes", f"hole {k + 1} lies in a bend", "a hole on a straight leg"
    return None
