"""A body on a sheet: its views in place, their dimensions beside them, table, notes and title block in a strip."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from fixture3d.errors import FixtureError
from fixture3d.part import Part
from fixture3d.units import Units
from fixture3d.workshop.dimensions import Dimensions, Slope, diameters
from fixture3d.workshop.limits import as_deviation, as_limits, made_to
from fixture3d.workshop.page import Box, Dimension, Ink, Page, Word, arrow, meet, run_through
from fixture3d.workshop.solid_facts import AXES, Facts, Round, Spot, others
from fixture3d.workshop.views import Look, Stroke, shadow
from fixture3d.workshop.words import degrees, minus, number, width

Projection = Literal["first", "third"]
Side = Literal["left", "right", "bottom", "top"]
SCALES: Final = (5.0, 2.0, 1.0, 1 / 2, 1 / 5, 1 / 10, 1 / 20)  # ISO 5455
PAPERS: Final[dict[str, tuple[Spot, float]]] = {
    "a4": ((297.0, 210.0), 98.0),
    "letter": ((279.4, 215.9), 98.0),
    "a3": ((420.0, 297.0), 118.0),
    "tabloid": ((431.8, 279.4), 118.0),
    "a2": ((594.0, 420.0), 150.0),
    "ansi-c": ((558.8, 431.8), 150.0),
}
"""Size on its long side, and the width of the strip for words, mm."""

MARGIN: Final = 10.0
HEIGHT: Final = 2.5  # of type, mm; the least of ISO 3098 for A4 and A3
_SMALL: Final = 1.8  # of the names of rounds that stand close
_STEP: Final = 4.0  # between two ordinates
_JOG: Final = 10.0  # from a view to the text of its ordinates
_LETTER: Final = 8.0  # beside a view for the letter of its axis
_GAP: Final = 12.0  # between two views
_APART: Final = 4.0  # between the numbers of one and of the next
_BARE: Final = 2.0  # beside a view without numbers
_LONG: Final = 0.3  # of a view: where an extension line runs through more of it, the other side is looked at


@dataclass(kw_only=True)
class _View:
    """One view on its way to the paper.

    Attributes:
        look: from where.
        strokes: of it, mm.
        box: of them.
        rows: ordinates by side: axis, level or None for the bare zero, feature, text.
        at: paper place of the view's own zero.
    """

    look: Look
    strokes: list[Stroke]
    box: Box
    rows: dict[Side, list[tuple[int, float, Spot, str]]] = field(default_factory=dict)
    at: Spot = (0.0, 0.0)

    @property
    def size(self) -> Spot:
        return self.box[2] - self.box[0], self.box[3] - self.box[1]

    def room(self, side: Side) -> float:
        """What its ordinates need on that side, mm of paper."""
        rows = self.rows.get(side)
        return _JOG + 3.0 + max(width(row[3], HEIGHT) for row in rows) if rows else _BARE


@dataclass(frozen=True, kw_only=True)
class Body:
    """What is drawn.

    Attributes:
        part: the block.
        main: it is the block's main body.
        facts: of the solid.
        dimensions: that it needs.
        views: look and strokes, front first.
        labels: what the rounds of the table are called.
        units: of the numbers.
        projection: of the views.
        stop_place: text behind the levels of faces that locate.
        fitted: text of the diameters of turned work that have limits.
        threaded: text of those that are threads.
    """

    part: Part
    main: bool
    facts: Facts
    dimensions: Dimensions
    views: tuple[tuple[Look, tuple[Stroke, ...]], ...]
    labels: tuple[str, ...]
    units: Units
    projection: Projection
    stop_place: str
    fitted: Mapping[float, str]
    threaded: Mapping[float, str]


def sides(name: str, projection: Projection, alone: bool) -> dict[int, Side]:
    """On which side of a view the levels of an axis stand: away from the other views."""
    if alone:
        return {0: "bottom", 1: "left" if name == "top" else "bottom", 2: "left"}
    third: dict[str, dict[int, Side]] = {
        "front": {0: "bottom", 2: "left"},
        "top": {0: "top", 1: "left"},
        "right": {1: "bottom", 2: "right"},
    }
    first: dict[str, dict[int, Side]] = {
        "front": {0: "top", 2: "right"},
        "top": {0: "bottom", 1: "right"},
        "right": {1: "top", 2: "left"},
    }
    return (third if projection == "third" else first)[name]


def lay_out(body: Body, room: Spot) -> tuple[float, list[_View], Spot] | None:
    """The largest scale at which the views fit, the views in place, and how much room they take; None if none."""
    views = _views(body)
    for scale in SCALES:
        if scale > 2.0 and max(max(v.size) for v in views.values()) > 15.0:
            continue
        size = _placed(views, scale, body.projection)
        if size[0] <= room[0] and size[1] <= room[1]:
            return scale, list(views.values()), size
    return None


def _views(body: Body) -> dict[str, _View]:
    views: dict[str, _View] = {k.name: _View(look=k, strokes=list(s), box=shadow(s)) for k, s in body.views}
    if body.facts.turned is not None:
        (view,) = views.values()
        axis = body.facts.turned[0]
        for _, _, text in _diameters(body):
            _add(view, "top", axis, 0.0, (0.0, 0.0), text)
        for level in body.dimensions.levels[axis]:
            _add(view, "bottom", axis, level, (0.0, 0.0), _level(body, axis, level))
        return views
    alone = len(views) == 1
    d = body.dimensions
    for axis in range(3):
        names = [n for n in ({0: ("front", "top"), 1: ("top", "right"), 2: ("front", "right")}[axis]) if n in views]
        if not names:
            continue
        zero = d.datum[axis]
        used: list[tuple[str, Side]] = []
        for level in d.levels[axis]:
            name, side, feature = _shown(views, names, axis, level, body.projection, alone)
            text = _level(body, axis, level)
            _add(views[name], side, axis, level, feature, text)
            used.append((name, side))
        if not any(abs(v - zero) < 1e-6 for v in d.levels[axis]):
            usual = [(n, sides(n, body.projection, alone)[axis]) for n in names]
            name, side = max([*usual, *used], key=used.count)
            view = views[name]
            feature = _edge_spot(view, axis, zero, side)
            _add(view, side, axis, zero, feature, number(0.0, body.units))
    return views


def _level(body: Body, axis: int, level: float) -> str:
    """A level as written: as limits where a gauge has some for it, with its tolerance where it locates the work."""
    value = level - body.dimensions.datum[axis]
    if (axis, level) in body.dimensions.locating and abs(value) > 1e-6:
        return number(value, body.units, fine=True) + body.stop_place
    limit = made_to(body.part, AXES[axis], value) if body.main else None
    return as_limits(limit, body.units) if limit is not None else number(value, body.units)


def _diameters(body: Body) -> list[tuple[float, float, str]]:
    """Diameters of turned work: size, where it is shown, and text; those of a shank with limits apart from others."""
    assert body.facts.turned is not None
    shank = sum(body.dimensions.levels[body.facts.turned[0]][:2]) / 2.0
    out = []
    for size, places in diameters(body.facts):
        plain = body.threaded.get(size, "Ø" + number(size, body.units))
        fitted = body.fitted.get(size)
        if fitted is not None:
            first = min(places, key=lambda at: abs(at - shank))
            out.append((size, first, fitted))
            places = tuple(at for at in places if at != first)
        if places:
            count = f"{len(places)} × " if len(places) > 1 else ""
            out.append((size, places[0], count + plain))
    return sorted(out, key=lambda one: one[1])


def _add(view: _View, side: Side, axis: int, level: float, feature: Spot, text: str) -> None:
    view.rows.setdefault(side, []).append((axis, level, feature, minus(text)))


def _edge_spot(view: _View, axis: int, level: float, side: Side) -> Spot:
    x0, y0, x1, y1 = view.box
    if axis == view.look.right:
        return level, {"bottom": y0, "top": y1}.get(side, y0)
    return {"left": x0, "right": x1}.get(side, x0), level


def _shown(
    views: dict[str, _View], names: Sequence[str], axis: int, level: float, projection: Projection, alone: bool
) -> tuple[str, Side, Spot]:
    """The view that shows a level best, the side for its ordinate, and the corner there that is nearest to that.

    The side away from the other views, but where the extension line would run through much of the view, and through
    little from the other side.
    """
    for hidden in (False, True):
        for name in names:
            view = views[name]
            k = 0 if view.look.right == axis else 1
            spots = [
                p
                for s in view.strokes
                if s.hidden is hidden and s.kind == "line"
                for p in s.points
                if abs(p[k] - level) < 1e-4
            ]
            if spots:
                side = sides(name, projection, alone)[axis]
                other = 1 - k
                low, high = min(spots, key=lambda p: p[other]), max(spots, key=lambda p: p[other])
                long = {True: low[other] - view.box[other], False: view.box[other + 2] - high[other]}
                first = side in ("left", "bottom")
                inside = view.box[k] + 1e-4 < level < view.box[k + 2] - 1e-4
                if inside and long[first] > _LONG * view.size[other] and long[not first] < 0.5 * long[first]:
                    side, first = _OTHER[side], not first
                return name, side, low if first else high
    name = names[0]
    side = sides(name, projection, alone)[axis]
    return name, side, _edge_spot(views[name], axis, level, side)


_OTHER: Final[dict[Side, Side]] = {"left": "right", "right": "left", "bottom": "top", "top": "bottom"}


def _placed(views: dict[str, _View], scale: float, projection: Projection) -> Spot:
    """Put the views in place about the front, lower left corner of it all at zero; how much room they take."""
    if len(views) == 1 or "front" not in views:
        (view,) = views.values()
        left, low = max(_LETTER, view.room("left")), view.room("bottom")
        view.at = (left - scale * view.box[0], low - scale * view.box[1])
        return left + scale * view.size[0] + view.room("right"), low + scale * view.size[1] + view.room("top")
    front, top, right = views["front"], views.get("top"), views.get("right")
    third = projection == "third"
    columns = [[v for v in (front, top) if v is not None], [right] if right is not None else []]
    bands = [[v for v in (front, right) if v is not None], [top] if top is not None else []]
    if not third:  # the view from above stands below the front, that from the right left of it
        columns, bands = columns[::-1], bands[::-1]
    ends = []
    ways: tuple[tuple[int, list[list[_View]], float, Side, Side], ...] = (
        (0, [c for c in columns if c], _LETTER, "left", "right"),
        (1, [r for r in bands if r], _LETTER - 2.0, "bottom", "top"),
    )
    for k, lines, least, near, far in ways:
        at = max(least, *(v.room(near) for v in lines[0]))
        for n, line in enumerate(lines):
            for view in line:
                own = at - scale * view.box[k]
                view.at = (own, view.at[1]) if k == 0 else (view.at[0], own)
            at += max(scale * v.size[k] for v in line)
            beyond = max(v.room(far) for v in line)
            if n + 1 < len(lines):
                before = max(v.room(near) for v in lines[n + 1])
                beyond = max(_GAP, beyond + before + _APART if max(beyond, before) > _BARE else 0.0)
            at += beyond
        ends.append(at)
    return ends[0], ends[1]


def draw_views(page: Page, body: Body, views: Sequence[_View], corner: Spot) -> None:
    """Put views, centre lines, labels, ordinates and angles on the page."""
    for view in views:
        view.at = (view.at[0] + corner[0], view.at[1] + corner[1])
        _strokes(page, view)
        x0, y0 = _on(page, view, (view.box[0], view.box[1]))
        x1, y1 = _on(page, view, (view.box[2], view.box[3]))
        page.views[view.look.name] = (x0, y0, x1, y1)
        _centres(page, view, body.facts)
    if body.facts.turned is not None:
        _turned(page, body, views[0])
        return
    for view in views:
        for side, rows in view.rows.items():
            _ordinates(page, view, side, rows, body)
    for slope in body.dimensions.slopes:
        for view in views:
            if view.look.away == slope.seen:
                _angle(page, view, slope)
    for view in views:
        _labels(page, view, body)


def _on(page: Page, view: _View, spot: Spot) -> Spot:
    return view.at[0] + page.scale * spot[0], view.at[1] + page.scale * spot[1]


def _strokes(page: Page, view: _View) -> None:
    for s in view.strokes:
        layer: Literal["hidden", "outline"] = "hidden" if s.hidden else "outline"
        if s.kind == "arc":
            page.inks.append(
                Ink(layer=layer, centre=_on(page, view, s.centre), radius=s.radius * page.scale, turn=s.turn)
            )
        else:
            page.inks.append(Ink(layer=layer, points=tuple(_on(page, view, p) for p in s.points)))


def _centres(page: Page, view: _View, facts: Facts) -> None:
    """Centre lines: crosses where something round is seen on end, lines where it is seen from the side."""
    drawn: set[tuple[Spot, Spot]] = set()
    over = 2.0 / page.scale
    for r in facts.rounds:
        i, j = others(r.axis)
        reach = max(r.radius, r.end_radius) + over
        if not r.full:  # a small cross: the rest of the circle is not there
            reach = min(reach, 2.0 * over)
        if r.axis == view.look.away:
            if not r.full and r.radius * page.scale < 3.0:
                continue
            for at in (r.at,) if r.far is None else (r.at, r.far):
                for dx, dy in ((reach, 0.0), (0.0, reach)):
                    drawn.add(((at[0] - dx, at[1] - dy), (at[0] + dx, at[1] + dy)))
            continue
        if not r.full or r.far is not None:
            continue
        at_i, at_j = r.at
        side = {i: at_i, j: at_j}[view.look.up if r.axis == view.look.right else view.look.right]
        low, high = r.span[0] - over, r.span[1] + over
        drawn.add(((low, side), (high, side)) if r.axis == view.look.right else ((side, low), (side, high)))
    for start, end in sorted(drawn):
        page.line("centre", _on(page, view, start), _on(page, view, end))


def _ordinates(page: Page, view: _View, side: Side, rows: Sequence[tuple[int, float, Spot, str]], body: Body) -> None:
    """A row of ordinates: from each feature straight out, with a bend to where its text has room."""
    from fixture3d.workshop.words import spread

    k = 0 if side in ("bottom", "top") else 1
    sign = -1.0 if side in ("left", "bottom") else 1.0
    ordered = sorted(rows, key=lambda r: r[1])
    wanted = [_on(page, view, r[2])[k] for r in ordered]
    places = spread(wanted, _STEP)
    box = page.views[view.look.name]
    edge = box[{"left": 0, "right": 2, "bottom": 1, "top": 3}[side]]
    zero = _on(page, view, (body.dimensions.datum[view.look.right], body.dimensions.datum[view.look.up]))
    for (which, level, feature, text), want, place in zip(ordered, wanted, places, strict=True):
        start = _on(page, view, feature)[1 - k] + sign * 1.0
        bend, end = edge + sign * 3.0, edge + sign * (_JOG - 1.5)

        def at(along: float, out: float, k: int = k) -> Spot:
            return (along, out) if k == 0 else (out, along)

        points = (at(want, start), at(want, bend), at(place, end - sign * 1.5), at(place, end))
        where = at(place + HEIGHT / 2.0 if k == 0 else place - HEIGHT / 2.0, end + sign * 2.0)
        word = Word(
            text=text,
            at=where,
            height=HEIGHT,
            anchor="end" if sign < 0.0 else "start",
            upright=k == 0,
            layer="dimensions",
        )
        page.dimensions.append(
            Dimension(
                kind="ordinate",
                value=level - body.dimensions.datum[which],
                word=word,
                inks=(Ink(layer="dimensions", points=points),),
                points=(_on(page, view, feature), at(place, end)),
                zero=zero,
                level=k == 0,
            )
        )
    # Beside the lines and not beside the numbers, of which it is no part.
    letter = (
        (places[0] - 2.0 * HEIGHT, edge + sign * 5.0 - HEIGHT / 2.0)
        if k == 0
        else (edge + sign * (_JOG + 2.0), places[0] - 2.4 * HEIGHT)
    )
    axis = ordered[0][0]
    anchor: Literal["start", "middle", "end"] = "middle" if k == 0 else ("end" if sign < 0.0 else "start")
    page.words.append(Word(text=AXES[axis], at=letter, height=HEIGHT, anchor=anchor, layer="dimensions", bold=True))


def _angle(page: Page, view: _View, slope: Slope) -> None:
    """An angle with its arc and arrows, where it crosses nothing else."""
    a, b = (_on(page, view, p) for p in slope.line)
    if slope.other is None:
        vertex, ways = a, ((b[0] - a[0], b[1] - a[1]), slope.toward)
    else:
        c, d = (_on(page, view, p) for p in slope.other)
        vertex = _crossing(a, b, c, d)
        far, near = max((a, b), key=lambda p: math.dist(p, vertex)), max((c, d), key=lambda p: math.dist(p, vertex))
        ways = ((far[0] - vertex[0], far[1] - vertex[1]), (near[0] - vertex[0], near[1] - vertex[1]))
    turns = [math.atan2(w[1], w[0]) for w in ways]
    sweep = (turns[1] - turns[0] + math.pi) % (2.0 * math.pi) - math.pi
    start, sweep = (turns[0], sweep) if sweep > 0.0 else (turns[1], -sweep)
    best: tuple[int, Dimension] | None = None
    long = math.dist(a, b)
    for radius in (0.6 * long, 9.0, 12.0, 16.0, 20.0, 7.0, 0.85 * long, 26.0, 34.0):
        if radius < 5.0:
            continue
        beside = (width(_angle_text(slope), HEIGHT) + 3.0) / radius / sweep
        for share in (0.5, 0.3, 0.7, 0.2, 0.8, 1.0 + beside, -beside):
            made = _angle_at(slope, vertex, ways, start, sweep, radius, share)
            taken = [w.box for w in page.every_word()]
            own = made.word.box
            if any(meet(own, other, 0.4) for other in taken):
                continue
            lines = [i for d in page.dimensions for i in d.inks]
            cost = 3 * run_through(lines, own) + run_through(page.inks, own)
            cost += 4 * sum(run_through(made.inks, other) for other in taken) + 6 * run_through(made.inks, own)
            if best is None or cost < best[0]:
                best = (cost, made)
    assert best is not None
    page.dimensions.append(best[1])


def _angle_text(slope: Slope) -> str:
    return degrees(slope.degrees) if slope.limit is None else as_deviation(slope.limit, "mm")


def _angle_at(
    slope: Slope, vertex: Spot, ways: Sequence[Spot], start: float, sweep: float, radius: float, share: float
) -> Dimension:
    text = _angle_text(slope)
    middle = start + sweep * share
    half = width(text, HEIGHT) / 2.0
    out = (
        radius
        + 1.5
        + half * abs(math.cos(middle))
        + HEIGHT * (0.5 if math.sin(middle) >= 0.0 else 1.0) * abs(math.sin(middle))
    )
    at = (vertex[0] + out * math.cos(middle), vertex[1] + out * math.sin(middle) - HEIGHT / 2.0)
    word = Word(text=text, at=at, height=HEIGHT, anchor="middle", layer="dimensions")
    inks = [Ink(layer="dimensions", centre=vertex, radius=radius, turn=(math.degrees(start), math.degrees(sweep)))]
    if slope.other is None:
        way = ways[1]
        end = (vertex[0] + (radius + 2.0) * way[0], vertex[1] + (radius + 2.0) * way[1])
        inks.append(Ink(layer="dimensions", points=(vertex, end)))
    else:
        for way in ways:
            long = math.hypot(*way)
            reach = radius + 2.0
            if reach > long:
                points = tuple((vertex[0] + way[0] / long * t, vertex[1] + way[1] / long * t) for t in (long, reach))
                inks.append(Ink(layer="dimensions", points=points))
    for angle, sign in ((start, -1.0), (start + sweep, 1.0)):
        tip = (vertex[0] + radius * math.cos(angle), vertex[1] + radius * math.sin(angle))
        inks.append(arrow(tip, (-sign * math.sin(angle), sign * math.cos(angle))))
    ends = [(vertex[0] + w[0] / math.hypot(*w), vertex[1] + w[1] / math.hypot(*w)) for w in ways]
    return Dimension(
        kind="angle", value=slope.degrees, word=word, inks=tuple(inks), points=(vertex, ends[0], vertex, ends[1])
    )


def _crossing(a: Spot, b: Spot, c: Spot, d: Spot) -> Spot:
    (ux, uy), (vx, vy) = (b[0] - a[0], b[1] - a[1]), (d[0] - c[0], d[1] - c[1])
    t = ((c[0] - a[0]) * vy - (c[1] - a[1]) * vx) / (ux * vy - uy * vx)
    return a[0] + t * ux, a[1] + t * uy


def _labels(page: Page, view: _View, body: Body) -> None:
    """The name of every row of the table beside what it names, where it covers nothing."""
    shown: set[str] = set()
    for r, label in zip(body.facts.rounds, body.labels, strict=True):
        if r.axis != view.look.away or label in shown:
            continue
        shown.add(label)
        centre = _on(page, view, r.at)
        reach = max(r.radius, r.end_radius) * page.scale
        arc = next((s for s in view.strokes if s.kind == "arc" and _same_arc(s, r)), None)
        whole = r.full or arc is None or arc.turn[1] >= 360.0
        first = 45.0 if whole or arc is None else arc.turn[0] + arc.turn[1] / 2.0
        page.words.append(_beside(page, label, centre, reach, first, whole))


def _same_arc(s: Stroke, r: Round) -> bool:
    return math.dist(s.centre, r.at) < 1e-3 and abs(s.radius - r.radius) < 1e-3


def _beside(page: Page, label: str, centre: Spot, reach: float, first: float, whole: bool) -> Word:
    """The name in the round or outside of it, in small type where it is crowded."""
    tries = [_beside_in(page, label, centre, reach, first, whole, HEIGHT)]
    if tries[0] is None or tries[0][0] > 1.5:
        tries.append(_beside_in(page, label, centre, reach, first, whole, _SMALL))
    found = [one for one in tries if one is not None]
    if not found:
        raise FixtureError(f"the drawing has no room for the name {label} of a bore; expected a larger --paper")
    return min(found, key=lambda one: one[0])[1]


def _beside_in(
    page: Page, label: str, centre: Spot, reach: float, first: float, whole: bool, height: float
) -> tuple[float, Word] | None:
    """The best place in type of that height, of a part of a round outside of that part; and how bad it is."""
    best: tuple[float, Word] | None = None
    taken = [w.box for w in page.every_word()]
    lines = [i for d in page.dimensions for i in d.inks]
    half = width(label, height, True) / 2.0
    for out in (0.55 * reach, reach + 1.2, reach + 3.0, reach + 5.5, reach + 9.0, reach + 14.0):
        inner = out < reach
        if inner and (reach < 5.0 or not whole):
            continue
        for step in (0, 90, 270, 180, 335, 115, 25, 65, 295, 155, 245, 205) if whole else (0, 20, 340, 40, 320):
            a = math.radians(first + step)
            extra = 0.0 if inner else half * abs(math.cos(a)) + height / 2.0 * abs(math.sin(a))
            x = centre[0] + (out + extra) * math.cos(a)
            y = centre[1] + (out + extra) * math.sin(a) - height / 2.0
            word = Word(text=label, at=(x, y), height=height, anchor="middle", bold=True, layer="table")
            box = word.box
            if any(meet(box, other, 0.4) for other in taken):
                continue
            cost = 4.0 * run_through(lines, box) + 2.0 * run_through(page.inks, box) + 0.3 * max(0.0, out - reach)
            cost += 0.0 if height == HEIGHT else 0.5
            if best is None or cost < best[0] - 1e-9:
                best = (cost, word)
    return best


def _turned(page: Page, body: Body, view: _View) -> None:
    """Lengths below, diameters above: both straight out from where they are, spread where they crowd."""
    from fixture3d.workshop.words import spread

    facts, d = body.facts, body.dimensions
    assert facts.turned is not None
    axis = facts.turned[0]
    rows = []
    for level in d.levels[axis]:
        spots = [p for s in view.strokes if s.kind == "line" for p in s.points if abs(p[0] - level) < 1e-4]
        feature = min(spots, key=lambda p: p[1], default=(level, view.box[1]))
        rows.append((axis, level, feature, minus(_level(body, axis, level))))
    _ordinates(page, view, "bottom", rows, body)
    middle = (view.box[1] + view.box[3]) / 2.0
    found = _diameters(body)
    wanted = [_on(page, view, (place, 0.0))[0] for _, place, _ in found]
    top = page.views[view.look.name][3]
    for (size, place, text), want, x in zip(found, wanted, spread(wanted, _STEP), strict=True):
        high, low = (_on(page, view, (place, middle + s * size / 2.0)) for s in (1.0, -1.0))
        bend, end = top + 3.0, top + _JOG - 1.5
        word = Word(text=text, at=(x + HEIGHT / 2.0, end + 2.0), height=HEIGHT, upright=True, layer="dimensions")
        inks = (
            Ink(layer="dimensions", points=(high, (want, bend), (x, end - 1.5), (x, end))),
            arrow(high, (0.0, -1.0)),
        )
        page.dimensions.append(Dimension(kind="diameter", value=size, word=word, inks=inks, points=(high, low)))
