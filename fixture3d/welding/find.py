"""Welds from geometry: where two pieces touch, or nearly touch, and what kind of line that makes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS, SHOP
from fixture3d.welding.aim import aims
from fixture3d.welding.covered import uncovered, uncovered_flares
from fixture3d.welding.flare import Flare, flares
from fixture3d.welding.found import FoundWeld, FoundWelds, Remark, RemarkKind, State, WeldType
from fixture3d.welding.lines import Judged, by_type, in_rows, judged, middle_opening, once, selected
from fixture3d.welding.reach import Triangles, reachable, walled_off
from fixture3d.welding.runs import BESIDE, MISS, NARROW, WELD, Limits, Run, lying, runs_along
from fixture3d.welding.section import Near
from fixture3d.welding.surface import Surface, surface_of

if TYPE_CHECKING:
    from fixture3d.welding.surface import Ints


_LEAVING = 0.7  # of the gap's limit: a line that ends there ends because the pieces come apart
_MUCH = 0.8  # of a straight edge: more of it within the gap is as good as all
_END = 3.0  # an edge across a round whose flare is so many times as long is the end of that flare


def find_welds(pieces: Mapping[str, object], gap: float = JOINTS.gap) -> FoundWelds:
    """The lines along which pieces can be welded to one another.

    The sharp edges of each piece that lie within the gap of another one are followed; in the plane square to the
    edge the space between the two materials gives type, opening and middle. Rounds that lie along a flat or a round
    give flares. Names are only passed on.

    Limits: read from triangles within 0.02 mm, so lengths are good to about 0.02 mm and gaps to 0.04 mm. A step of up
    to 0.3 mm counts as flush. Openings below 20 degrees are told as remarks, not found; edges that bend less than 25
    degrees (8 between planes and cylinders) are none; walls are taken to be 1 mm or more. A piece that is a mesh has
    flares only where its triangles fit a cylinder within 0.02 mm. Whether a torch comes in is a coarse test (`reach`):
    only ``closed`` is meant to be relied on. Intent, access and order are not judged. What was seen and is not a weld
    stands in ``remarks`` of the list.

    Args:
        pieces: cadquery shapes, ``TopoDS_Shape`` or trimesh meshes by name, all in one frame, mm.
        gap: greatest root gap, mm, 0 to 5.

    Returns:
        The welds, pair by pair in the order of ``pieces``.

    Raises:
        BadSolid: a piece is not one closed solid.
        ValueError: the gap is not a number from 0 to 5.
    """
    if not (math.isfinite(gap) and 0.0 <= gap <= JOINTS.most_gap):
        raise ValueError(f"the gap is {gap}; expected 0 to {JOINTS.most_gap:g} mm")
    names = list(pieces)
    surfaces = [surface_of(pieces[name]) for name in names]
    reach = gap + JOINTS.near
    boxes = [s.box for s in surfaces]
    welds: list[FoundWeld] = []
    remarks: list[Remark] = []
    triangles = Triangles(np.concatenate([s.corners for s in surfaces])) if surfaces else Triangles(np.zeros((0, 3, 3)))
    for i in range(len(names)):
        for j in range(i + 1, len(names)):
            if (boxes[i][0] > boxes[j][1] + reach).any() or (boxes[j][0] > boxes[i][1] + reach).any():
                continue
            pair = _Pair((names[i], names[j]), (surfaces[i], surfaces[j]), gap)
            thirds = [s for k, s in enumerate(surfaces) if k not in (i, j)]
            welds += pair.welds(triangles, thirds)
            remarks += pair.remarks
    return FoundWelds(welds, remarks)


class _Pair:
    """Two pieces whose boxes are near one another."""

    def __init__(self, names: tuple[str, str], surfaces: tuple[Surface, Surface], gap: float) -> None:
        self.names = names
        self.surfaces = surfaces
        self.gap = gap
        # Gaps of curved faces are read from triangles.
        self.limit = gap + SHOP.contact
        self.reach = gap + JOINTS.near
        self.remarks: list[Remark] = []

    def welds(self, everything: Triangles, thirds: Sequence[Surface]) -> list[FoundWeld]:
        """Its welds; what is not one goes to `remarks`.

        Args:
            everything: of all pieces, which may stand in a torch's way.
            thirds: those of them that are not of the pair, and may lie over its lines.
        """
        a, b = self.surfaces
        margin = 2.0 * JOINTS.look_gap * self.reach
        box = np.stack([np.maximum(a.box[0], b.box[0]) - margin, np.minimum(a.box[1], b.box[1]) + margin])
        near = (a.within(box), b.within(box))
        along = flares(a, b, self.gap, self.reach)
        limits = Limits(self.limit, self.reach, frozenset(one.faces for one in along if one.counts))
        runs: list[Run] = []
        for owner in (0, 1):
            look = Near(self.surfaces[owner], self.surfaces[1 - owner], near[owner], near[1 - owner])
            runs += runs_along(look, owner, limits)
        runs = uncovered(_standing(runs, along), thirds, self.gap)
        along = uncovered_flares(along, thirds)
        beside, every = selected(runs, BESIDE), selected(runs, WELD)
        runs = once([run for run in runs if run.kind != BESIDE])
        found = self._lines(selected(runs, WELD), everything)
        found += self._flares(along, everything)
        self._beside(beside, along, found)
        self._misses(runs, every, along, found)
        self._overlap()
        if not found and not self.remarks:
            self._touching(box)
        self._unread(near)
        return found

    def _lines(self, runs: Sequence[Run], everything: Triangles) -> list[FoundWeld]:
        out = []
        for row in in_rows(runs):
            length = sum(run.length for run, _ in row)
            types = {id(run): self._judged(run, length) for run, _ in row}
            for kind, part in by_type(row, types):
                if self._is_bit([run for run, _ in part]):
                    continue
                out.append(self._weld(kind, part, [types[id(run)] for run, _ in part], everything))
        return out

    def _is_bit(self, runs: Sequence[Run]) -> bool:
        """Whether a line is short and tight, as where a wall runs out over a round: told, not counted."""
        length, opening = sum(run.length for run in runs), middle_opening(runs)
        if length >= JOINTS.flare or opening >= JOINTS.tight:
            return False
        text = f"{length:.1f} mm of line open by {opening:.0f} degrees only; not counted as a weld"
        self._remark("too short", text, length, runs[0].path().mean(axis=0))
        return True

    def _judged(self, run: Run, length: float) -> Judged:
        return judged(run, length, self.surfaces[run.owner], self.surfaces[1 - run.owner])

    def _weld(
        self, kind: WeldType, row: Sequence[tuple[Run, bool]], types: Sequence[Judged], everything: Triangles
    ) -> FoundWeld:
        order, through = _order([run for run, _ in row])
        path, normals, bisector, openings = _assembled(row, order)
        seen = [o for run, _ in row for o in run.inner()]
        length = sum(run.length for run, _ in row)
        rounded = float(np.linalg.norm(path[0] - path[-1])) <= JOINTS.join
        opening = middle_opening([run for run, _ in row]) if rounded else _in_the_middle(path, openings)
        root_gap = max(o.gap for run, _ in row for _, o in run.seen)
        words = []
        span = (min(opening, *(o.opening for o in seen)), max(opening, *(o.opening for o in seen)))
        if span[1] - span[0] > 30.0:
            words.append(f"the opening varies from {span[0]:.0f} to {span[1]:.0f} degrees along the line")
        if kind == "flare":
            nearest, face = min(o.gap for o in seen), max(one.at_face for one in types)
            if nearest > JOINTS.flush:
                words.append(
                    f"the walls do not touch: nearest {nearest:.1f} mm, {face:.1f} mm at the face; a flare weld there "
                    "needs filling: give a [[weld]] with its size, or skip = true"
                )
        state = self._state(kind, path, bisector, openings, opening, everything, words)
        return FoundWeld(
            joins=(self.names[order[0]], self.names[order[1]]),
            type=kind,
            opening=opening,
            openings=span,
            length=length,
            path=path,
            normals=normals,
            bisector=bisector,
            root_gap=root_gap,
            state=state,
            through=through,
            ambiguous=tuple(words),
            aim=self._aims(kind, path, bisector, opening, state),
        )

    def _aims(self, kind: WeldType, path: Array, bisector: Array, opening: float, state: State) -> Array | None:
        """Where the arc is aimed, of a flare and in a tight opening."""
        narrow = kind == "flare" or (kind in ("fillet", "lap", "butt") and opening < JOINTS.tight)
        return aims(self.surfaces, path, bisector, opening) if narrow and state != "closed" else None

    def _state(
        self,
        kind: WeldType,
        path: Array,
        bisector: Array,
        openings: Array,
        opening: float,
        everything: Triangles,
        words: list[str],
    ) -> State:
        """Open, tight or closed, looked at in three places."""
        parts = np.diff(path, axis=0)
        sizes = np.linalg.norm(parts, axis=1)
        ends = np.cumsum(sizes)
        free, bore = [], []
        for share in (0.5, 0.15, 0.85):
            part = int(np.searchsorted(ends, share * ends[-1]))
            within = (share * ends[-1] - (ends[part] - sizes[part])) / sizes[part]
            point, along = path[part] + within * parts[part], parts[part] / sizes[part]
            free.append(reachable(point, along, bisector[part], float(openings[part]), everything))
            bore.append(not free[-1] and walled_off(point, along, bisector[part], everything))
        if all(bore):
            return "closed"
        if any(bore):
            words.append("part of it is closed in; check which part a torch comes to")
        if kind != "flare" and opening < JOINTS.tight:
            words.append(f"the opening of {opening:.0f} degrees is tight for a torch")
            return "tight"
        return "open"

    def _flares(self, found: Sequence[Flare], everything: Triangles) -> list[FoundWeld]:
        out = []
        for one in found:
            if one.gap > self.limit:
                continue
            if not one.counts:
                continue  # told with what lies beside it
            kind: WeldType = "fillet" if one.fillet else "flare"
            order = (0, 1) if one.faces[0] in self.surfaces[0].flats else (1, 0)
            words: list[str] = []
            bisector = one.bisector[None, :]
            opening = 90.0 if one.fillet else one.opening
            mouth = one.path + one.mouth
            state = self._state("flare", mouth, bisector, np.array([opening]), opening, everything, words)
            out.append(
                FoundWeld(
                    joins=(self.names[order[0]], self.names[order[1]]),
                    type=kind,
                    opening=opening,
                    openings=(opening, opening),
                    length=one.length,
                    path=one.path,
                    normals=one.normals[list(order)][None],
                    bisector=bisector,
                    root_gap=max(one.gap, 0.0),
                    state=state,
                    through=one.faces[0] in self.surfaces[0].flats or one.faces[1] in self.surfaces[1].flats,
                    ambiguous=tuple(words),
                    aim=self._aims(kind, one.path, bisector, opening, state),
                )
            )
        return out

    def _beside(self, runs: Sequence[Run], along: Sequence[Flare], welds: Sequence[FoundWeld]) -> None:
        """Where an edge comes near only because a round has not yet turned away, and rounds that touch briefly."""
        runs = once(runs)
        # Where there are welds, the edges that cross a short contact are among them.
        short = [one for one in along if one.gap <= self.limit and not one.counts and (one.slot or not welds)]
        if runs:
            length = sum(run.length for run in runs)
            whole = sum({id(run.chain): run.chain.length for run in runs}.values())
            share = f", {100.0 * length / whole:.0f} % of it," if all(run.chain.closed for run in runs) else ""
            text = f"{length:.0f} mm of edge{share} lie within the gap beside a round that turns away; not a weld"
            self._remark("too short", text, length, runs[0].path().mean(axis=0))
        elif short:
            length = max(one.length for one in short)
            where = "under the end of the other piece" if any(one.slot for one in short) else "along the other piece"
            text = f"a round lies {where} over {length:.1f} mm only; not counted as a weld"
            self._remark("too short", text, length, short[0].path.mean(axis=0))

    def _misses(
        self, runs: Sequence[Run], welds: Sequence[Run], along: Sequence[Flare], found: Sequence[FoundWeld]
    ) -> None:
        """Near misses and cracks, each kind in one sentence with its length and figure.

        Args:
            runs: each line once.
            welds: also those that lie on another one.
            along: flares, also over the limit.
            found: the welds of the pair.
        """
        lines: list[tuple[float, float, Array]] = []
        for run in selected(runs, MISS):
            if run.length <= JOINTS.flare and any(_follow(run, one) for one in welds):
                continue  # where a weld fades out, be it told of the other piece's edge
            gaps = [o.gap for _, o in run.seen]
            lines.append((min(gaps), run.length, run.path().mean(axis=0)))
        lines += [(one.gap, one.length, one.path.mean(axis=0)) for one in along if one.gap > self.limit]
        rim = self._of_the_rim(runs, lines=bool(lines))
        if lines:
            least, _, at = min(lines, key=lambda one: one[0])
            total = sum(length for _, length, _ in lines)
            text = f"near miss {least:.3g} mm: {total:.0f} mm of line lie beyond the root gap of {self.gap:g} mm"
            if found and not rim:
                within = 1.0 - total / (total + sum(weld.length for weld in found))
                rim = f"{100.0 * within:.0f} % of the line is within the gap"
            self._remark("near miss", f"{text}; {rim}" if rim else text, least, at)
        elif rim:
            at = found[0].path.mean(axis=0)
            self._remark("near miss", f"{rim} of {self.gap:g} mm; beyond it the pieces stand apart", self.gap, at)
        narrow = selected(runs, NARROW)
        if narrow:
            least = min(o.opening for run in narrow for _, o in run.seen)
            total = sum(run.length for run in narrow)
            text = f"{total:.0f} mm of line open by {least:.0f} degrees only; expected {JOINTS.least:.0f} or more"
            self._remark("too narrow", text, least, narrow[0].path().mean(axis=0))

    def _of_the_rim(self, runs: Sequence[Run], lines: bool) -> str:
        """How much of an end that stands on a round is within the gap; empty where none leaves it.

        Args:
            runs: of the pair.
            lines: whether near misses are told as well, and with them the share of straight edges.
        """
        rims: dict[int, tuple[float, float]] = {}
        for run in selected(runs, WELD):
            leaving = max(run.seen[0][1].gap, run.seen[-1][1].gap, run.leaving) > _LEAVING * self.limit
            if run.chain.closed or (run.chain.straight and not lines):
                most = 0.99 if run.chain.closed else _MUCH
                if leaving and run.length < most * run.chain.length:
                    whole, within = rims.get(id(run.chain), (run.chain.length, 0.0))
                    rims[id(run.chain)] = whole, within + run.length
        whole, within = (sum(one[k] for one in rims.values()) for k in (0, 1))
        return f"{100.0 * within / whole:.0f} % of the rim is within the gap" if whole else ""

    def _overlap(self) -> None:
        """A common solid thicker than rounding is a model error."""
        a, b = (s.solid for s in self.surfaces)
        if a is None or b is None:
            middle = self.surfaces[0].box.mean(axis=0)
            self._remark("not read", "the triangles do not close, so that overlap was not looked for", 0.0, middle)
            return
        common = a ^ b
        volume, area = float(common.volume()), float(common.surface_area())
        if volume <= 0.0 or area <= 0.0 or 2.0 * volume / area <= JOINTS.overlap:
            return
        low, high = np.array(common.bounding_box()[:3]), np.array(common.bounding_box()[3:])
        text = f"model error: the two overlap by {volume:.0f} mm3, {2.0 * volume / area:.2f} mm thick on average"
        self._remark("overlap", text, volume, (low + high) / 2.0)

    def _touching(self, box: Array) -> None:
        """A pair that is near without any line: said, with its distance."""
        a, b = (s.solid for s in self.surfaces)
        if a is None or b is None:
            return
        apart = float(a.min_gap(b, self.reach))
        if apart >= self.reach:
            return
        if apart > self.limit:
            kind: RemarkKind = "near miss"
            text = f"near miss {apart:.3g} mm at one place, beyond the root gap of {self.gap:g} mm"
        else:
            kind = "no line"
            text = f"they come within {apart:.2f} mm at one place only, without an edge or a line of contact"
        self._remark(kind, text, apart, box.mean(axis=0))

    def _unread(self, near: tuple[Ints, Ints]) -> None:
        for name, surface, chosen in zip(self.names, self.surfaces, near, strict=True):
            faces = sorted({int(f) for f in surface.face[chosen]} & surface.unread)
            if faces:
                first = chosen[surface.face[chosen] == faces[0]][0]
                count = f"{len(faces)} free-form face{'s' if len(faces) > 1 else ''}"
                text = f"{name}: {count} near the other piece: welds are found at sharp edges there, no flares"
                self._remark("not read", text, float(len(faces)), surface.corners[first].mean(axis=0))

    def _remark(self, kind: RemarkKind, text: str, measured: float, at: Any) -> None:
        x, y, z = (float(v) for v in at)
        self.remarks.append(Remark(joins=self.names, kind=kind, text=text, measured=measured, at=(x, y, z)))


def _follow(one: Run, other: Run) -> bool:
    """Whether two stretches of one edge lie end to end."""
    return one.chain is other.chain and min(abs(one.start - other.end), abs(other.start - one.end)) <= JOINTS.join


def _in_the_middle(path: Array, openings: Array) -> float:
    """The opening that half of the middle third of a line is below, degrees."""
    sizes = np.linalg.norm(np.diff(path, axis=0), axis=1)
    ends = np.cumsum(sizes)
    third = ends[-1] / 3.0
    shares = np.clip(np.minimum(ends, 2.0 * third) - np.maximum(ends - sizes, third), 0.0, None)
    order = np.argsort(openings, kind="stable")
    total = np.cumsum(shares[order])
    return float(openings[order][np.searchsorted(total, total[-1] / 2.0)])


def _standing(runs: Sequence[Run], along: Sequence[Flare]) -> list[Run]:
    """Runs beside a round that lies along the other piece: the long ones are welds, the short ones only its ends.

    A round bar lies on a plate: its flares are what is welded, not the bit of its end circle that is still near. A
    bar stands on a round one of its own width: across the crown it is welded as well.
    """
    lengths = {one.faces: one.length for one in along if one.counts}
    out = []
    for run in runs:
        if run.kind == BESIDE:
            flare = max(lengths.get(key, 0.0) for _, o in run.seen for key in lying(o, run.owner))
            goes_on = any(_follow(run, one) for one in selected(runs, WELD))
            if run.length * _END > flare and (goes_on or run.length >= JOINTS.flare):
                run = replace(run, kind=WELD)
        out.append(run)
    return out


def _order(runs: Sequence[Run]) -> tuple[tuple[int, int], bool]:
    """The non-butting piece, whose face runs on past the root, before the other, and whether there is such a one."""
    tally = 0.0
    for run in runs:
        seen = run.middle()[1]
        # A face that runs on bounds its material on both sides of the root; one that a line parts is as flat as ever.
        own, other = (seen.faces[k] == seen.backs[k] or seen.spans[k] >= 150.0 for k in (0, 1))
        tally += run.length * (float(other) - float(own)) * (1.0 if run.owner == 0 else -1.0)
    return (1, 0) if tally > 0.0 else (0, 1), tally != 0.0


def _assembled(row: Sequence[tuple[Run, bool]], order: tuple[int, int]) -> tuple[Array, Array, Array, Array]:
    """Path, and for each of its parts the normals in the order of ``joins``, the bisector and the opening."""
    points: list[Array] = []
    looks: list[Any] = []
    for run, backwards in row:
        path = run.path()
        along = run.start + np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
        middles = (along[:-1] + along[1:]) / 2.0
        places = np.array([s for s, _ in run.seen])
        mine = [(run.seen[int(np.abs(places - m).argmin())][1], run.owner) for m in middles]
        if backwards:
            path, mine = path[::-1], mine[::-1]
        if points:
            if float(np.linalg.norm(points[-1] - path[0])) > 1e-3:
                points[-1] = (points[-1] + path[0]) / 2.0
            path = path[1:]
        points += list(path)
        looks += mine
    if len(row) > 1 and float(np.linalg.norm(points[0] - points[-1])) <= JOINTS.join:
        points[-1] = points[0]
    flip = [order if owner == 0 else (1 - order[0], 1 - order[1]) for _, owner in looks]
    return (
        np.stack(points),
        np.stack([o.normals[list(f)] for (o, _), f in zip(looks, flip, strict=True)]),
        np.stack([o.bisector for o, _ in looks]),
        np.array([o.opening for o, _ in looks]),
    )
