"""From stretches of edges to weld lines: each place once, stretches in a row as one, and a type for each line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.found import WeldType
from fixture3d.welding.runs import WELD, Run
from fixture3d.welding.section import Opening, axes, cut
from fixture3d.welding.surface import Surface

_NARROW = 60.0  # degrees; below, a line along a round is a flare
_STEP = 0.05  # mm; parts of one face nearer than this in a section hang together


@dataclass(frozen=True, eq=False)
class Judged:
    """A stretch with what its middle says: its type, and how far off the outer faces are where they do not touch."""

    run: Run
    type: WeldType
    at_face: float


def once(runs: Sequence[Run]) -> list[Run]:
    """The runs without those that repeat another one: a mitre has the same line on both pieces.

    Of two the one with the smaller gap is kept, then the longer one. A near miss beside a weld that looks the same way
    is that weld seen from the other piece.
    """
    kept: list[tuple[Run, Array, Array, Array]] = []
    order = sorted(range(len(runs)), key=lambda k: (runs[k].kind, round(_gap(runs[k]), 2), -runs[k].length, k))
    for k in order:
        run = runs[k]
        places = np.array([s for s, _ in run.seen])
        bisectors = np.stack([o.bisector for _, o in run.seen])
        points, _ = run.chain.at(places % run.chain.length if run.chain.closed else places)
        near = max(JOINTS.same, JOINTS.look_gap * _gap(run))
        low, high = points.min(axis=0) - near, points.max(axis=0) + near
        for _, path, at, middle in kept:
            if (path.min(axis=0) > high).any() or (path.max(axis=0) < low).any():
                continue
            distance = _to_line(points, path)
            nearest = np.linalg.norm(points[:, None] - at[None], axis=2).argmin(axis=1)
            alike = np.einsum("ij,ij->i", bisectors, middle[nearest]) > 0.5
            if float(((distance <= near) & alike).mean()) > 0.5:
                break
        else:
            kept.append((run, run.path(), points, bisectors))
    keep = {id(run) for run, *_ in kept}
    return [run for run in runs if id(run) in keep]


def _gap(run: Run) -> float:
    return float(np.median([o.gap for _, o in run.seen]))


def _to_line(points: Array, path: Array) -> Array:
    """Distance (k,) of points from a path of straight parts."""
    a, step = path[:-1], np.diff(path, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", step, step), 1e-30)
    off = points[:, None, :] - a[None]
    share = np.clip(np.einsum("kij,ij->ki", off, step) / square, 0.0, 1.0)
    out: Array = np.linalg.norm(off - share[:, :, None] * step[None], axis=2).min(axis=1)
    return out


def in_rows(runs: Sequence[Run]) -> list[list[tuple[Run, bool]]]:
    """Runs that go on into one another without a corner, as rows of (run, backwards)."""
    ends = [_ends(run) for run in runs]
    cos = float(np.cos(np.deg2rad(JOINTS.bend)))
    links: dict[tuple[int, int], tuple[int, int]] = {}
    options = []
    for i in range(len(runs)):
        for j in range(i + 1, len(runs)):
            for p in (0, 1):
                for q in (0, 1):
                    (a, ta, ba), (b, tb, bb) = ends[i][p], ends[j][q]
                    apart = float(np.linalg.norm(a - b))
                    if apart <= JOINTS.join and float(ta @ tb) < -cos and float(ba @ bb) > cos:
                        options.append((apart, (i, p), (j, q)))
    for _, one, other in sorted(options):
        if one not in links and other not in links:
            links[one], links[other] = other, one
    rows: list[list[tuple[Run, bool]]] = []
    left = set(range(len(runs)))
    starts = [i for i in range(len(runs)) if ((i, 0) in links) != ((i, 1) in links) or (i, 0) not in links]
    for start in [*starts, *range(len(runs))]:
        if start not in left:
            continue
        row = []
        at, entered = start, 1 if (start, 0) in links and (start, 1) not in links else 0
        while at in left:
            left.discard(at)
            row.append((runs[at], entered == 1))
            following = links.get((at, 1 - entered))
            if following is None:
                break
            at, entered = following
        rows.append(row)
    return rows


def _ends(run: Run) -> tuple[tuple[Array, Array, Array], tuple[Array, Array, Array]]:
    """Both ends: point, unit direction out of the run, bisector."""
    path = run.path()
    first, last = path[0] - path[1], path[-1] - path[-2]
    return (
        (path[0], first / float(np.linalg.norm(first)), run.seen[0][1].bisector),
        (path[-1], last / float(np.linalg.norm(last)), run.seen[-1][1].bisector),
    )


def judged(run: Run, line: float, own: Surface, other: Surface) -> Judged:
    """A run with its type, from the section through its middle; ``line`` is the length of its whole row, mm."""
    place, seen = run.middle()
    point, tangent = run.chain.at(np.array([place % run.chain.length if run.chain.closed else place]))
    section = _Section(own, other, point, tangent)
    at_face = section.gap_at_face(seen)
    opening = middle_opening([run])
    if opening < _NARROW and _along_round(seen, own, other, tangent[0]):
        return Judged(run, "flare", at_face)
    # How far the two lie on each other, behind the root and along it, against how far their outer faces reach.
    behind, toward = section.behind(seen)
    behind = min(behind, line)
    outer = _extent(own, seen.faces[0], point[0], seen.along[0])
    if opening <= JOINTS.fillet:
        lap = 60.0 <= opening <= 120.0 and behind >= JOINTS.thin * outer
        return Judged(run, "lap" if lap else "fillet", at_face)
    if opening <= JOINTS.butt:
        both = max(outer, _extent(other, seen.faces[1], point[0], seen.along[1]))
        edge = behind >= JOINTS.thin * both and toward
        return Judged(run, "edge" if edge else "butt", at_face)
    return Judged(run, "corner", at_face)


def _extent(surface: Surface, face: int, point: Array, direction: Array) -> float:
    """How far a face reaches from a point in one direction, mm."""
    corners = surface.corners[surface.face == face].reshape(-1, 3)
    return float(((corners - point) @ direction).max())


def middle_opening(runs: Sequence[Run]) -> float:
    """The opening that half of a line's length is below, degrees."""
    openings, weights = [], []
    for run in runs:
        inner = run.inner()
        openings += [o.opening for o in inner]
        weights += [run.length / len(inner)] * len(inner)
    order = np.argsort(openings, kind="stable")
    total = np.cumsum(np.array(weights)[order])
    return float(np.array(openings)[order][np.searchsorted(total, total[-1] / 2.0)])


def plain_type(opening: float) -> WeldType:
    """Fillet, butt or corner by the opening alone, degrees."""
    return "fillet" if opening <= JOINTS.fillet else "butt" if opening <= JOINTS.butt else "corner"


def _along_round(seen: Opening, own: Surface, other: Surface, tangent: Array) -> bool:
    """Whether one of the faces is a round that the weld runs along."""
    rounds = [r for s, face in ((own, seen.faces[0]), (other, seen.faces[1])) if (r := s.rounds.get(face)) is not None]
    return any(r.solid and abs(float(r.axis @ tangent)) > np.cos(np.deg2rad(5.0)) for r in rounds)


def by_type(row: Sequence[tuple[Run, bool]], types: dict[int, Judged]) -> list[tuple[WeldType, list[tuple[Run, bool]]]]:
    """A row cut where its type changes; a row that is curved throughout stays whole and has its middle opening.

    A round mitre opens from 90 to 270 degrees without a place where one weld ends; a square one has flat sides of one
    type each, with corners that go with whichever side they open like.
    """
    kinds = [types[id(run)].type for run, _ in row]
    if "flare" in kinds:  # a wall that stands over a round goes round its own corner there
        narrow = [middle_opening([run]) < _NARROW for run, _ in row]
        kinds = ["flare" if so else kind for so, kind in zip(narrow, kinds, strict=True)]
    if len(set(kinds)) == 1:
        return [(kinds[0], list(row))]
    if not any(run.chain.straight for run, _ in row):
        opening = middle_opening([run for run, _ in row])
        fit = plain_type(opening)
        return [(fit if fit in kinds else kinds[0], list(row))]
    first = 0
    if len(row) > 1 and _meets(row[-1], row[0]):  # a ring starts where its type changes
        first = next((k for k in range(len(row)) if kinds[k] != kinds[k - 1]), 0)
    turned = [*row[first:], *row[:first]]
    out: list[tuple[WeldType, list[tuple[Run, bool]]]] = []
    for (run, backwards), kind in zip(turned, [*kinds[first:], *kinds[:first]], strict=True):
        if out and out[-1][0] == kind:
            out[-1][1].append((run, backwards))
        else:
            out.append((kind, [(run, backwards)]))
    return out


def _meets(last: tuple[Run, bool], first: tuple[Run, bool]) -> bool:
    end = _ends(last[0])[0 if last[1] else 1][0]
    start = _ends(first[0])[1 if first[1] else 0][0]
    return float(np.linalg.norm(end - start)) <= JOINTS.join


class _Section:
    """The whole section of both pieces through one point of an edge."""

    def __init__(self, own: Surface, other: Surface, point: Array, tangent: Array) -> None:
        self.u, self.w = (v[0] for v in axes(tangent))
        self.cuts = [cut(s, np.arange(len(s.corners)), point, tangent, None) for s in (own, other)]
        self.faces = [s.face[c.triangle] for s, c in zip((own, other), self.cuts, strict=True)]

    def flat(self, direction: Array) -> Array:
        """A direction (3,) in the plane's axes, (2,)."""
        return np.array([float(direction @ self.u), float(direction @ self.w)])

    def reach(self, piece: int, face: int, direction: Array) -> float:
        """How far a face runs from the root along a direction (3,) without a break, mm."""
        return self._reach(piece, face, self.flat(direction))

    def _reach(self, piece: int, face: int, way: Array) -> float:
        mine = self.faces[piece] == face
        a, b = self.cuts[piece].a[mine], self.cuts[piece].b[mine]
        size = float(np.hypot(*way))
        if not len(a) or size < 1e-6:
            return 0.0
        way = way / size
        aside = np.array([-way[1], way[0]])
        level = np.maximum(np.abs(a @ aside), np.abs(b @ aside)) <= 2.0
        spans = np.sort(np.stack([a @ way, b @ way], axis=1)[level], axis=1)
        end = 0.0
        for low, high in spans[np.argsort(spans[:, 0], kind="stable")].tolist():
            if low <= (end if end else JOINTS.gap) + _STEP:
                end = max(end, high)
        return end

    def behind(self, seen: Opening) -> tuple[float, bool]:
        """How far the two lie on each other behind the root, mm, and whether they do."""
        mine = self.faces[0] == seen.backs[0]
        a, b = self.cuts[0].a[mine], self.cuts[0].b[mine]
        if not len(a):
            return 0.0, False
        away = np.maximum(np.hypot(*a.T), np.hypot(*b.T))
        near = np.minimum(np.hypot(*a.T), np.hypot(*b.T))
        k = int(near.argmin())
        far = a[k] if float(np.hypot(*a[k])) == float(away[k]) else b[k]
        depth = min(self._reach(0, seen.backs[0], far), self._reach(1, seen.backs[1], far))
        return depth, depth > JOINTS.join

    def gap_at_face(self, seen: Opening) -> float:
        """How far the other piece is from the far end of the own face beside the root, mm."""
        way = self.flat(seen.along[0])
        point = way * self._reach(0, seen.faces[0], way)
        a, step = self.cuts[1].a - point, self.cuts[1].b - self.cuts[1].a
        if not len(a):
            return 0.0
        square = np.maximum(np.einsum("ij,ij->i", step, step), 1e-30)
        share = np.clip(-np.einsum("ij,ij->i", a, step) / square, 0.0, 1.0)
        return float(np.hypot(*(a + share[:, None] * step).T).min())


def selected(runs: Sequence[Run], kind: int = WELD) -> list[Run]:
    """Those of one kind."""
    return [run for run in runs if run.kind == kind]
