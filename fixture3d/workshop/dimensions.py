"""Which dimensions a drawing needs: each level once, from one datum, and no dimension that follows from others.

A level is a coordinate on one axis at which the material has a flat or a corner. Where an inclined flat is given by
its angle, one of the four coordinates of its ends follows from the other three and is left out. What is round is in
the table of round features, broken edges are in a note, teeth in another.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fixture3d.part import Limit, Part
from fixture3d.workshop.limits import made_to
from fixture3d.workshop.solid_facts import Facts, Flat, Round, Spot, Vec, others

Level = tuple[int, float]


@dataclass(frozen=True, kw_only=True)
class Slope:
    """An angle on the drawing.

    Attributes:
        seen: axis that it is seen along.
        line: ends of the flat, in the two other coordinates; the angle is drawn at the first.
        other: ends of the opposite flat of a V; None for an angle against a level or upright line.
        toward: unit vector of that level or upright line, on the side of the air.
        degrees: of the angle.
        limit: of a gauge; None where the general tolerance holds.
    """

    seen: int
    line: tuple[Spot, Spot]
    other: tuple[Spot, Spot] | None
    toward: Spot
    degrees: float
    limit: Limit | None = None


@dataclass(frozen=True, kw_only=True)
class Dimensions:
    """All of them.

    Attributes:
        datum: zero of all coordinates, model frame.
        levels: by axis, in rising order.
        slopes: angles.
        locating: levels of faces that locate the work.
    """

    datum: Vec
    levels: tuple[tuple[float, ...], ...]
    slopes: tuple[Slope, ...]
    locating: frozenset[Level]


def dimensions(facts: Facts, part: Part, main: bool) -> Dimensions:
    """The dimensions of a body.

    Args:
        facts: of its solid.
        part: the block.
        main: it is the block's main body, which has its pins and pads.
    """
    if facts.turned is not None:
        found = _turned(facts)
        return replace(found, locating=frozenset(_locating(part, found.levels))) if main else found
    hard, soft = _levels(facts)
    traces = sorted(
        {(f.runs_along, *f.trace, _flat2(f.normal, f.runs_along)) for f in facts.flats if f.runs_along is not None}
    )
    dropped: set[Level] = set()
    given = []
    working = _working(facts, part) if main else None
    for seen, a, b, normal, lean in _pairs_first(traces, working):
        i, j = others(seen)
        ends: list[Level] = [(i, a[0]), (j, a[1]), (i, b[0]), (j, b[1])]
        if dropped & set(ends):
            continue
        free = [e for e in ends if e in soft and e not in hard]
        mirrored = [e for e in free if not _shared(e, seen, (a, b), traces)]
        if free:
            dropped.add(max(mirrored or free, key=lambda e: (_roughness(e[1]), e[0] == i, -abs(e[1]))))
            given.append((seen, a, b, normal, lean))
    levels = tuple(
        tuple(sorted({v for k, v in hard | soft if k == axis and (k, v) not in dropped})) for axis in range(3)
    )
    return Dimensions(
        datum=_datum(facts, levels),
        levels=levels,
        slopes=tuple(_slopes(given)) if working is None else (working,),
        locating=frozenset(_locating(part, levels)) if main else frozenset(),
    )


_Trace = tuple[int, Spot, Spot, Spot]


def _working(facts: Facts, part: Part) -> Slope | None:
    """The angle that a gauge has limits for: between two flats whose common corner is cut off."""
    found = []
    for seen in range(3):
        flats = [(_trace(f, seen), _flat2(f.normal, seen)) for f in facts.flats if abs(f.normal[seen]) < 1e-9]
        for (one, n), (two, m) in itertools.combinations(flats, 2):
            inside = 180.0 - math.degrees(math.acos(max(-1.0, min(1.0, n[0] * m[0] + n[1] * m[1]))))
            limit = made_to(part, "angle", inside)
            if limit is not None and min(math.dist(p, q) for p in one for q in two) > 1e-6:
                long = math.dist(*one) + math.dist(*two)
                found.append((long, Slope(seen=seen, line=one, other=two, toward=n, degrees=inside, limit=limit)))
    return max(found, key=lambda f: f[0])[1] if found else None


def _trace(f: Flat, seen: int) -> tuple[Spot, Spot]:
    """Ends of the line that a flat is, seen along an axis that lies in it."""
    i, j = others(seen)
    spots = sorted({(round(c[i], 6), round(c[j], 6)) for c in f.corners})
    return spots[0], spots[-1]


def _pairs_first(traces: Sequence[_Trace], working: Slope | None) -> Iterator[tuple[int, Spot, Spot, Spot, float]]:
    """Traces at a plain angle, to half a degree; those of a V before others; of a gauge's angle its sides alone."""
    if working is not None:
        assert working.other is not None
        sides = {frozenset(working.line), frozenset(working.other)}
        yield from ((*t, 0.0) for t in traces if t[0] == working.seen and frozenset(t[1:3]) in sides)
        return
    plain = []
    for seen, a, b, normal in traces:
        lean = math.degrees(math.atan2(abs(b[1] - a[1]), abs(b[0] - a[0])))
        if abs(lean * 2.0 - round(lean * 2.0)) < 1e-4:
            paired = any(o[0] == seen and _facing((a, b, normal), o[1:4]) for o in traces)
            plain.append((not paired, (seen, a, b, normal, round(lean * 2.0) / 2.0)))
    yield from (one for _, one in sorted(plain))


def _shared(level: Level, seen: int, own: tuple[Spot, Spot], traces: Sequence[_Trace]) -> bool:
    """Whether another inclined flat that is seen along the same axis ends at that level too."""
    pick = others(seen).index(level[0])
    others_ = [t for t in traces if t[0] == seen and (t[1], t[2]) != own]
    return any(abs(end[pick] - level[1]) < 1e-6 for t in others_ for end in (t[1], t[2]))


def _flat2(normal: Vec, seen: int) -> Spot:
    i, j = others(seen)
    return normal[i], normal[j]


def _levels(facts: Facts) -> tuple[set[Level], set[Level]]:
    """Levels that a flat square to an axis has, and those that only a corner of an inclined flat has."""
    hard: set[Level] = set()
    soft: set[Level] = set()
    for f in facts.flats:
        k = f.square_to
        if k is not None:
            if not f.round_only:
                hard.add((k, f.corners[0][k]))
        elif f.runs_along is not None:
            i, j = others(f.runs_along)
            for end in f.trace:
                soft |= {(i, end[0]), (j, end[1])}
        else:
            soft |= {(axis, c[axis]) for c in f.corners for axis in range(3)}
    reach = {(k, v) for k in range(3) for v in (facts.low[k], facts.high[k])}
    round_ends = {(r.axis, v) for r in facts.rounds for v in r.span}
    hard |= {e for e in reach if e not in soft and e not in round_ends and not _by_round(e, facts.rounds)}
    # Corners that a broken edge makes are told by its leg.
    legs = {(k, round(v, 6)) for k, v in soft if _by_leg((k, v), hard, facts)}
    return hard, {e for e in soft if (e[0], round(e[1], 6)) not in legs}


def _by_leg(level: Level, hard: set[Level], facts: Facts) -> bool:
    k, v = level
    return (
        facts.leg > 0.0
        and level not in hard
        and any(abs(abs(v - box) - facts.leg) < 1e-5 for box in (facts.low[k], facts.high[k]))
    )


def _by_round(level: Level, rounds: Sequence[Round]) -> bool:
    """Whether a side of the box is the outside of something round."""
    k, v = level
    for r in rounds:
        if r.hollow or r.axis == k:
            continue
        centre = r.at[others(r.axis).index(k)]
        if abs(abs(v - centre) - max(r.radius, r.end_radius)) < 1e-5:
            return True
    return False


def _roughness(value: float) -> int:
    """How many decimals a level needs, up to six."""
    return next((n for n in range(6) if abs(round(value, n) - value) < 1e-7), 6)


def _slopes(given: Sequence[tuple[int, Spot, Spot, Spot, float]]) -> Iterator[Slope]:
    """One angle each; two flats that mirror each other across an opening share the angle between them."""
    left = list(given)
    while left:
        seen, a, b, normal, lean = left.pop(0)
        mate = next((o for o in left if o[0] == seen and _facing((a, b, normal), o[1:4])), None)
        if mate is not None:
            left.remove(mate)
            upright = abs(normal[1] + mate[3][1]) > 1e-6  # the opening is up or down
            opening = 2.0 * (90.0 - lean if upright else lean)
            yield Slope(seen=seen, line=(a, b), other=(mate[1], mate[2]), toward=(0.0, 0.0), degrees=opening)
            continue
        low, far = sorted((a, b), key=lambda p: (p[1], p[0]))
        way = (far[0] - low[0], far[1] - low[1])
        level = (math.copysign(1.0, way[0]), 0.0)
        upright_way = (0.0, math.copysign(1.0, way[1]))
        flat = level[0] * normal[0] > 0.0
        toward = level if flat else upright_way
        yield Slope(seen=seen, line=(low, far), other=None, toward=toward, degrees=lean if flat else 90.0 - lean)


def _facing(one: tuple[Spot, Spot, Spot], two: tuple[Spot, Spot, Spot]) -> bool:
    (a, b, n), (c, d, m) = one, two
    for k in (0, 1):
        j = 1 - k
        mirrored = abs(n[k] + m[k]) < 1e-6 and abs(n[j] - m[j]) < 1e-6
        ends = sorted(p[j] for p in (a, b)), sorted(p[j] for p in (c, d))
        same = all(abs(p - q) < 1e-5 for p, q in zip(*ends, strict=True))
        gap = (c[k] + d[k]) / 2.0 - (a[k] + b[k]) / 2.0
        if mirrored and same and gap * n[k] > 0.0:
            return True
    return False


def _datum(facts: Facts, levels: Sequence[Sequence[float]]) -> Vec:
    """The model's own zero where something lies at it, else the lowest side of the body."""
    out = []
    for k in range(3):
        centres = [r.at[others(r.axis).index(k)] for r in facts.rounds if r.axis != k]
        here = any(abs(v) < 1e-6 for v in (*levels[k], *centres))
        middle = abs(facts.low[k] + facts.high[k]) < 1e-6
        first = min(centres, default=facts.low[k])
        out.append(0.0 if here else first if centres and not middle else facts.low[k])
    return out[0], out[1], out[2]


def _locating(part: Part, levels: Sequence[Sequence[float]]) -> Iterator[Level]:
    for pad in part.pads():
        k = next((k for k in range(3) if abs(abs(pad.normal[k]) - 1.0) < 1e-9), None)
        if k is None or pad.width == 0.0:
            continue
        near = [v for v in levels[k] if abs(v - pad.at[k]) < 1e-5]
        yield from ((k, v) for v in near)


def cone_legs(facts: Facts) -> dict[Round, float]:
    """Cones of turned work that are broken edges: 45 degrees, told as leg × 45°."""
    out = {}
    for r in facts.rounds:
        run, rise = r.span[1] - r.span[0], abs(r.end_radius - r.radius)
        if 1e-6 < run <= 3.0 and abs(run - rise) < 1e-5:
            out[r] = round(run, 5)
    return out


def _turned(facts: Facts) -> Dimensions:
    assert facts.turned is not None
    axis, at = facts.turned
    legs = cone_legs(facts)
    ends = {v for r in facts.rounds if r not in legs for v in r.span} | {facts.low[axis], facts.high[axis]}
    ends |= {f.corners[0][axis] for f in facts.flats}
    # A broken edge ends what it is cut from: its inner end is told by its leg.
    for r in legs:
        inner = r.span[0] if r.end_radius < r.radius else r.span[1]
        ends -= {inner}
    levels: list[tuple[float, ...]] = [(), (), ()]
    levels[axis] = tuple(sorted(ends))
    i, j = others(axis)
    zero = 0.0 if any(abs(v) < 1e-6 for v in ends) else facts.low[axis]
    datum = [0.0, 0.0, 0.0]
    datum[axis], datum[i], datum[j] = zero, at[0], at[1]
    return Dimensions(datum=(datum[0], datum[1], datum[2]), levels=tuple(levels), slopes=(), locating=frozenset())


def diameters(facts: Facts) -> tuple[tuple[float, tuple[float, ...]], ...]:
    """Of turned work: each diameter once, with the places on the axis where it shows, the middle of each stretch.

    The diameters of a cone's ends are at those ends, and count for nothing where a stretch has them too.
    """
    legs = cone_legs(facts)
    stretches: dict[float, list[Spot]] = {}
    ends: dict[float, float] = {}
    for r in sorted(facts.rounds, key=lambda r: r.span):
        if r in legs:
            continue
        if r.radius == r.end_radius:
            stretches.setdefault(round(2.0 * r.radius, 5), []).append(r.span)
        else:
            ends |= {round(2.0 * r.radius, 5): r.span[0], round(2.0 * r.end_radius, 5): r.span[1]}
    found = {d: tuple((a + b) / 2.0 for a, b in spans) for d, spans in stretches.items()}
    return tuple(sorted(({d: (at,) for d, at in ends.items()} | found).items()))
