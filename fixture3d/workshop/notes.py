"""The notes of a sheet: all that the workshop is told in words."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from fixture3d.catalogue import limit_words
from fixture3d.part import Gauge, Pad, Part, Thread
from fixture3d.stock.threads import coarse
from fixture3d.tolerance import ACCURACY, DRAWING
from fixture3d.units import Units, from_mm
from fixture3d.workshop.dimensions import Dimensions, cone_legs, diameters
from fixture3d.workshop.layout import Body
from fixture3d.workshop.limits import as_limits, first_to_last, homeless, made_to
from fixture3d.workshop.solid_facts import AXES, Facts, Spot, Teeth, others
from fixture3d.workshop.strip import Order, Row, threaded, use_of
from fixture3d.workshop.uses import Fit, span
from fixture3d.workshop.views import needed
from fixture3d.workshop.words import degrees, number

_SIDES: Final = (("left", "right"), ("front", "back"), ("bottom", "top"))


def notes(
    body: Body, table: Sequence[Row], order: Order, threads: Sequence[Thread], fits: Mapping[str, Fit]
) -> list[str]:
    """What is told in words.

    Args:
        body: that is drawn.
        table: of its round features.
        order: what the shop chose.
        threads: of this body.
        fits: by use.
    """
    facts, d, part, units = body.facts, body.dimensions, body.part, body.units
    out = [f"Zero of all dimensions: {_zero(facts, d, table, units)}. {_ways(body)}"]
    general = order.general or _general(units)
    out.append(f"Dimensions without a tolerance: {general}.")
    gauge = part.gauge()
    if gauge is not None:
        out += _gauge_notes(gauge, part, facts, d, units)
    named = [row for row in table if row.what.startswith(("bore Ø", "shank"))]
    limited = [row for row in table if row.what == "bore" and " to " in row.size]
    if len(named) > 1:
        out.append(f"Bores and shanks with a class: place ±{_small(DRAWING.bore_place, units)}.")
    elif len(limited) > 1:
        out.append(f"Bores with limits: place ±{_small(DRAWING.bore_place, units)}.")
    out += _pins_of(facts, part, fits, units)
    out += _threads(facts, part, threads, units)
    if any(row.what.startswith("slot") for row in table):
        out.append("Places of a slot are those of the centres of its ends.")
    place = _small(DRAWING.stop_place, units)
    if d.locating:
        out.append(f"Faces marked ±{place} locate the work, from zero.")
    out += _inclined(body) if body.main else []
    if any(row.size.startswith("R") and " to " in row.size for row in table):
        out.append("Radii with limits run smoothly into the faces beside them; their centres follow from that.")
    out += _edge_notes(facts, d, table, units)
    for t in facts.teeth:
        out.append(_teeth_note(facts, d, t, part, units))
    out += _blind(facts, table, units)
    out += _true(body)
    if needed(facts) == ("top",):
        thick = facts.high[2] - facts.low[2]
        # A shim is known to a ten-thousandth of an inch, whatever the other sizes are.
        out.append(f"Thickness {number(thick, units) if units == 'mm' else f'{from_mm(thick, units):.4f}'}.")
    rough = [
        f"{metric:g} µm" if units == "mm" else f"{inch} µin" for metric, inch in (DRAWING.finish, DRAWING.bore_finish)
    ]
    fine = DRAWING.gauge_finish
    held = gauge is not None and any(one.of for one in gauge.limits)
    gauging = f", faces with limits of the gauge Ra {f'{fine[0]:g} µm' if units == 'mm' else f'{fine[1]} µin'}"
    out.append(f"Surface Ra {rough[0]}, fitted bores and pins Ra {rough[1]}{gauging if held else ''}.")
    bought = " This sheet shows the room that it takes; it is not made from it." if part.made == "bought" else ""
    out.append(f"Made: {part.made}.{bought}")
    if facts.odd:
        out.append(f"{facts.odd} curved faces are not dimensioned here; the STEP file has them.")
    return out


def _pins_of(facts: Facts, part: Part, fits: Mapping[str, Fit], units: Units) -> Iterator[str]:
    """The pins that go into fitted bores: their class, and that of their other end where it is another."""

    def told(fit: Fit) -> str:
        return f"Ø{number(fit.nominal, units)} {fit.pin_name}, {span(fit.pin, units)}"

    for use in ("dowel", "socket"):
        names = dict.fromkeys(name for name, one in (use_of(r, part) for r in facts.rounds) if one == use)
        if not names or use not in fits:
            continue
        few = ", ".join(names) if len(names) < 9 else f"{next(iter(names))} to {next(reversed(names))}"
        other = fits.get("table") if use == "dowel" else None
        ends = f"; their ends in the table {told(other)}" if other and other.pin != fits[use].pin else ""
        yield f"Pins for bore{'s' * (len(names) > 1)} {few}, not part of this sheet: {told(fits[use])}{ends}."


def _threads(facts: Facts, part: Part, threads: Sequence[Thread], units: Units) -> Iterator[str]:
    """Threads, which are not drawn; and those that a nut below the table wants."""
    for one in threads:
        if any(threaded(r, [one]) for r in facts.rounds):
            screw, size = coarse(one.size, part.pattern.inch), number(one.drawn, units)
            where = f"tapped, {screw.inside}" if one.tapped else f"as long as its diameter is drawn, {screw.outside}"
            plain = f"here and in the STEP file a plain Ø{size} stands for it"
            yield f"{screw.name}: {screw.series}; {where}. Threads are not drawn: {plain}. {one.told}".rstrip()
        elif not one.drawn:
            yield one.told
    for pin in part.pins():
        if pin.nut and any(
            not r.hollow and r.axis == 2 and abs(2.0 * r.radius - part.pattern.bore) < 1e-5
            and abs(r.span[0] + pin.depth) < 3.0 for r in facts.rounds
        ):  # fmt: skip
            name = coarse(part.pattern.bore, part.pattern.inch).name
            yield f"A nut below the table pulls the shank: {name} at its end, longer than drawn to suit table and nut."


def _ways(body: Body) -> str:
    """Which side is which, and where the views stand."""
    if body.facts.turned is not None:
        return f"{AXES[body.facts.turned[0]]} rises to the right."
    names = [look.name for look, _ in body.views]
    sides = "Left is low X, front is low Y" + (", bottom is low Z" if len(names) > 1 else "")
    third = body.projection == "third"
    stands = {
        "top": f"the view from above stands {'above' if third else 'below'} the front view",
        "right": f"the view from the right stands {'right' if third else 'left'} of the front view",
    }
    told = ", ".join(stands[name] for name in names if name in stands and len(names) > 1)
    return f"{sides}; {'third' if third else 'first'} angle: {told}." if told else f"{sides}."


def _inclined(body: Body) -> list[str]:
    """How true inclined faces that the work lies on are: of a V by a bar in it, which can be measured."""
    d, units, place = body.dimensions, body.units, _small(DRAWING.stop_place, body.units)
    pads = [p for p in body.part.pads() if max(map(abs, p.normal)) < 1.0 - 1e-6 and not p.moves and p.width > 0.0]
    wanted = getattr(body.part, "diameter", None)
    told: dict[str, None] = {}
    left = list(pads)
    for one, two in itertools.combinations(pads, 2):
        bar = _bar(one, two, float(wanted) if wanted is not None else None)
        if bar is None:
            continue
        left = [p for p in left if p not in (one, two)]
        (i, j), middle, size, even = bar
        where = ", ".join(
            f"{AXES[k]} {number(v - d.datum[k], units, fine=True)} ±{place}"
            for k, v in zip((i, j), middle, strict=True)
        )
        told[
            f"Bar Ø{number(size, units)} in the V: its middle at {where}; "
            f"{'the V symmetric about it, ' if even else ''}its sides true within {place} over their length."
        ] = None
    if left:
        told[f"Inclined faces that the work lies on: place ±{place} from zero, square to the face."] = None
    return list(told)


def _bar(one: Pad, two: Pad, wanted: float | None) -> tuple[tuple[int, int], Spot, float, bool] | None:
    """The bar that lies on two faces of a V: its plane, middle and diameter, and whether the faces mirror each other.

    The wanted diameter where such a bar touches both pads, else the one that touches them in their middle.
    """
    k = next((k for k in range(3) if max(abs(one.normal[k]), abs(two.normal[k])) < 1e-9), None)
    if k is None:
        return None
    i, j = others(k)
    (nx, ny), (mx, my) = (one.normal[i], one.normal[j]), (two.normal[i], two.normal[j])
    cross = nx * my - ny * mx
    if abs(cross) < 1e-9:
        return None
    dx, dy = two.at[i] - one.at[i], two.at[j] - one.at[j]
    out, back = (dx * my - dy * mx) / cross, (dx * ny - dy * nx) / cross
    if out < 1e-6 or abs(out - back) > 1e-5:
        return None
    middle = (one.at[i] + out * nx, one.at[j] + out * ny)
    even = abs(nx + mx) + abs(ny - my) < 1e-9 or abs(nx - mx) + abs(ny + my) < 1e-9
    if wanted is not None:
        # From bar to bar the middle moves so that it is as much further from either face.
        more = wanted / 2.0 - out
        way = ((my - ny) / cross, (nx - mx) / cross)
        moved = (middle[0] + more * way[0], middle[1] + more * way[1])
        off = abs(more) * math.hypot(way[0] - nx, way[1] - ny)  # of where it touches from the middle of the pad
        if off < min(one.width, two.width) / 2.0:
            return (i, j), moved, wanted, even
    return (i, j), middle, 2.0 * out, even


def _blind(facts: Facts, table: Sequence[Row], units: Units) -> list[str]:
    """How deep blind bores are, and in which a drill's point may go on."""
    pairs = [(r, row) for r, row in zip(facts.rounds, table, strict=False) if row.what.startswith("bore")]
    blind = [(r, row) for r, row in pairs if r.full and " to " in row.places[r.axis]]
    if not blind:
        return []
    shut = [(r, row) for r, row in blind if r.ends != (True, True)]
    deep, corner = _legs(DRAWING.blind_deep, units), _legs(DRAWING.blind_corner, units)
    out = [f"Depths of bores are those of the full diameter, +{deep} 0; a reamer's lead of {corner} may stay."]
    names = [list(dict.fromkeys(row.name for r, row in shut if r.point is one)) for one in (True, False)]
    if names[0]:
        out.append(f"Past the bottom of {', '.join(names[0])} a drill's point of 118° may go.")
    if names[1]:
        out.append(f"Flat bottom in {', '.join(names[1])}: a drill's point has no room there.")
    return out


def _legs(pair: tuple[float, float], units: Units) -> str:
    return f"{pair[0]:g}" if units == "mm" else f"{pair[1]:.3f}"


def _true(body: Body) -> list[str]:
    """How turned work with limits runs, and what is allowed at its shoulders."""
    out, units = [], body.units
    if len(body.fitted) > 1:
        out.append(f"Diameters with limits run true to each other within {_small(DRAWING.runout, units)}.")
    if body.fitted and max(size for size, _ in diameters(body.facts)) > min(body.fitted):
        long, deep = (_legs(one, units) for one in DRAWING.undercut)
        out.append(
            f"Where a diameter with limits meets a shoulder an undercut up to {long} long and {deep} deep is allowed."
        )
    return out


def _gauge_notes(gauge: Gauge, part: Part, facts: Facts, d: Dimensions, units: Units) -> list[str]:
    """What of a gauge stands at no dimension: figures that are read with it."""
    lost = list(homeless(part, facts, d))
    read = [f"{one.name} {limit_words(one, units)}" for one in gauge.limits if not one.of]
    out = [f"It tells: {'; '.join(gauge.sees)}."]
    out += [f"Read with the gauge, no sizes of it: {'; '.join(read)}."] if read else []
    if lost:
        words = "; ".join(f"{one.name} {limit_words(one, units)}" for one in lost)
        out.append(f"Limits of the gauge that belong to no dimension of this sheet: {words}.")
    return out


def _small(mm: float, units: Units) -> str:
    return f"{mm:.2f}" if units == "mm" else f"{from_mm(mm, units):.4f}".rstrip("0")


def stop_place(units: Units) -> str:
    """What stands behind the dimension of a face that locates the work."""
    return f" ±{_small(DRAWING.stop_place, units)}"


def _general(units: Units) -> str:
    if units == "mm":
        return "ISO 2768-mK"
    off = f"{DRAWING.general_in:.3f} in"
    return f"±{off}, angles ±{DRAWING.general_angle:g}°, faces flat and square within {off}"


def _zero(facts: Facts, d: Dimensions, table: Sequence[Row], units: Units) -> str:
    if facts.turned is not None:
        axis, zero = facts.turned[0], d.datum[facts.turned[0]]
        if abs(zero - facts.low[axis]) < 1e-6:
            return f"{AXES[axis]} at the end"
        before = [f"Ø{number(2.0 * r.end_radius, units)}" for r in facts.rounds if abs(r.span[1] - zero) < 1e-6]
        after = [f"Ø{number(2.0 * r.radius, units)}" for r in facts.rounds if abs(r.span[0] - zero) < 1e-6]
        where = f" between {before[0]} and {after[0]}" if before and after else " marked 0"
        return f"{AXES[axis]} at the shoulder{where}"
    parts = []
    for k in range(3):
        on = next(
            (
                f"the first {row.name}" if " by " in row.places[k] else row.name
                for r, row in zip(facts.rounds, table, strict=True)
                if r.axis != k and r.full and abs(r.at[others(r.axis).index(k)] - d.datum[k]) < 1e-6
                if " by " not in row.places[k] or not float(row.places[k].split()[0])
            ),
            None,
        )
        low, high = _SIDES[k]
        if on is not None and k != 2:
            parts.append(f"{AXES[k]} at the axis of {on}")
        elif abs(d.datum[k] - facts.low[k]) < 1e-6:
            parts.append(f"{AXES[k]} at the {low}")
        elif abs(d.datum[k] - facts.high[k]) < 1e-6:
            parts.append(f"{AXES[k]} at the {high}")
        elif abs(facts.low[k] + facts.high[k] - 2.0 * d.datum[k]) < 1e-6:
            parts.append(f"{AXES[k]} in the middle")
        else:
            parts.append(f"{AXES[k]} at the face marked 0")
    return ", ".join(parts)


def _edge_notes(facts: Facts, d: Dimensions, table: Sequence[Row], units: Units) -> list[str]:
    """Broken edges: those of the box by name, the others by their size; and the usual sentence."""
    out = []
    leg = number(facts.leg, units)
    if facts.broken:
        words = _edge_words(facts.broken)
        flat = ", cut flat where three meet, through the ends of the three" if facts.patches else ""
        out.append(f"{words} {leg} × 45°{flat}.")
    if facts.chamfers:
        known = list(dict.fromkeys(w for w in (_corner(c, facts, d, units) for c in facts.chamfers) if w))
        named = f" (that of {', of '.join(known)})" if 0 < len(known) < 4 else ""
        out.append(f"{'Other bevels' if facts.broken else 'Bevels'} drawn without a size{named}: {leg} × 45°.")
    if facts.turned is not None:
        out += _bevels(facts, d, units)
    out += _round_edges(facts, d, table, units)
    small = "0.2 to 0.5 mm" if units == "mm" else "0.010 to 0.020 in"
    out.append(f"{'All other sharp' if out else 'Sharp'} edges broken {small} (not drawn).")
    return out


def _corner(chamfer: tuple[int, Spot, Spot], facts: Facts, d: Dimensions, units: Units) -> str:
    """The two faces that a bevel is between, by their levels; nothing where that is not plain."""
    seen, one, two = chamfer
    i, j = others(seen)
    flat = {(f.square_to, round(f.corners[0][f.square_to], 5)) for f in facts.flats if f.square_to is not None}
    ends = [(a[0], b[1]) for a, b in ((one, two), (two, one))]
    found = [e for e in ends if (i, round(e[0], 5)) in flat and (j, round(e[1], 5)) in flat]
    if len(found) != 1:
        return ""
    return " with ".join(f"{AXES[k]} {number(v - d.datum[k], units)}" for k, v in zip((i, j), found[0], strict=True))


def _round_edges(facts: Facts, d: Dimensions, table: Sequence[Row], units: Units) -> list[str]:
    """Broken edges of pins and bores, by name and by the level at which they end."""
    found: dict[tuple[str, float], list[str]] = {}
    for r, row in zip(facts.rounds, table, strict=False):
        for leg, end in zip(r.legs, r.span, strict=True):
            if leg:
                where = f"{AXES[r.axis]} {number(end - d.datum[r.axis], units)}"
                found.setdefault((where, leg), []).append(row.name)
    return [
        f"Edge of {', '.join(dict.fromkeys(names))} at {where}: {number(leg, units)} × 45°."
        for (where, leg), names in sorted(found.items())
    ]


def _bevels(facts: Facts, d: Dimensions, units: Units) -> list[str]:
    """Broken edges of turned work, each by the level at which it ends."""
    assert facts.turned is not None
    axis = facts.turned[0]
    found: dict[tuple[float, float], list[float]] = {}
    for r, leg in cone_legs(facts).items():
        end = r.span[1] if r.end_radius < r.radius else r.span[0]
        found.setdefault((leg, 2.0 * max(r.radius, r.end_radius)), []).append(end - d.datum[axis])
    return [
        f"Edge of Ø{number(size, units)} at {AXES[axis]} {' and '.join(number(v, units) for v in sorted(ends))}: "
        f"{number(leg, units)} × 45°."
        for (leg, size), ends in sorted(found.items())
    ]


def _edge_words(broken: Sequence[tuple[int, int, int, int]]) -> str:
    upright = {(0, s, 1, t) for s in (-1, 1) for t in (-1, 1)}
    upper = {(k, s, 2, 1) for k in (0, 1) for s in (-1, 1)}
    have = set(broken)
    if have == upright | upper:
        return "Outer upright and outer upper edges"
    if have == upright:
        return "Outer upright edges"
    names = [f"{_SIDES[i][(s + 1) // 2]}-{_SIDES[j][(t + 1) // 2]}" for i, s, j, t in broken]
    return f"Outer edges {', '.join(names)}"


def _teeth_note(facts: Facts, d: Dimensions, t: Teeth, part: Part, units: Units) -> str:
    up = 3 - t.along - t.seen
    on, axis = AXES[up], AXES[t.along]
    crest, root = number(t.crest - d.datum[up], units), number(t.root - d.datum[up], units)
    flats = [
        f"{name} flat {number(v, units)}" if v > 1e-6 else f"{name} sharp"
        for name, v in (("crests", t.crest_flat), ("roots", t.root_flat))
    ]
    a, b = (number(v - d.datum[t.along], units) for v in t.start)
    limit = made_to(part, "teeth", first_to_last(t))
    run = f"; first tooth to last {as_limits(limit, units)}" if limit is not None else ""
    middle = number(t.middle - d.datum[t.along], units)
    off = f" ±{_small(ACCURACY.notch, units)}" if part.gauge() is None else ""
    every = f"; any tooth from any other{off}" if off else ""
    walls = [
        f for f in facts.flats if f.square_to == t.along and any(abs(f.corners[0][t.along] - v) < 1e-6 for v in t.start)
    ]
    side = 1.0 if t.crest > t.root else -1.0
    wall = any(side * (c[up] - t.crest) > 1e-6 for f in walls for c in f.corners)
    stop = "; from the last root to the wall a groove as deep as the roots is allowed" if wall else ""
    return (
        f"Serration {axis} {a} to {b}: pitch {_pitch(t.pitch, units)}, {degrees(t.angle)}; crests at {on} {crest}, "
        f"roots at {on} {root}; {', '.join(flats)}; the middle of a crest at {axis} {middle}{off}{every}{stop}{run}."
    )


def _pitch(mm: float, units: Units) -> str:
    """Finer than other sizes where it is no round one: an error of it adds up over all teeth."""
    rough = number(mm, units)
    return rough if abs(float(rough) - from_mm(mm, units)) < 1e-7 else f"{from_mm(mm, units):.5f}"
