"""A reader of workshop drawings that has nothing but the DXF: it rebuilds the solid from what a machinist reads.

Sizes come from the text of dimensions, table and notes. The lines of the views only say what lies beside what: every
end of a seen line must be a dimensioned level, a dimensioned level and the leg of a broken edge, or follow from an
angle; an end that is none of these is a missing dimension and an error. Geometry is put together with the CAD kernel's
booleans, from outlines found by shapely.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

NEAR = 2e-3  # mm; two drawn places nearer than this are one
Spot = tuple[float, float]
VIEWS = {"front": (0, 2), "top": (0, 1), "right": (1, 2)}
SIDES = {"left": (0, -1), "right": (0, 1), "front": (1, -1), "back": (1, 1), "bottom": (2, -1), "top": (2, 1)}


class NotDimensioned(Exception):
    """A place of the drawing that no dimension fixes, or that is fixed twice."""


@dataclass
class View:
    """One view: its lines as drawn, and its box."""

    name: str
    lines: list[tuple[Spot, Spot, bool]] = field(default_factory=list)
    arcs: list[tuple[Spot, float, float, float, bool]] = field(default_factory=list)
    box: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


@dataclass
class Row:
    """One line of the table."""

    name: str
    what: str
    size: str
    places: tuple[str, str, str]


@dataclass
class Sheet:
    """All that was read."""

    unit: float
    third: bool
    views: dict[str, View]
    levels: dict[int, list[tuple[float, float]]]
    angles: list[tuple[str, Spot, Spot, Spot, float]]
    diameters: list[tuple[float, float]]
    rows: list[Row]
    notes: list[str]
    turned: bool


def read(path: Path) -> Sheet:
    """Everything on one sheet."""
    import ezdxf

    space = list(ezdxf.readfile(path).modelspace())  # type: ignore[attr-defined,unused-ignore]
    texts = [
        (e.dxf.text, (e.dxf.insert.x, e.dxf.insert.y), e.dxf.height, e.dxf.layer)
        for e in space
        if e.dxftype() == "TEXT"
    ]
    scale = _value(texts, "scale")
    over, under = (float(p) for p in scale.split(":"))
    paper = under / over
    unit = 1.0 if _value(texts, "unit") == "mm" else 25.4
    third = _third(space)
    dims = [e for e in space if e.dxftype() == "DIMENSION"]
    ordinates = [e for e in dims if e.dimtype & 7 == 6]
    diameters = [e for e in dims if e.dimtype & 7 == 0]
    views = _views(space, third, paper, bool(diameters))
    sheet = Sheet(
        unit=unit, third=third, views=views, levels={0: [], 1: [], 2: []}, angles=[], diameters=[],
        rows=_table(texts), notes=_notes(texts), turned=bool(diameters),
    )  # fmt: skip
    for e in ordinates:
        spot = (e.dxf.defpoint2.x, e.dxf.defpoint2.y)
        view = _view_of(views, spot)
        level = bool(e.dxf.dimtype & 64)
        axis = VIEWS[view.name][0 if level else 1]
        place = spot[0 if level else 1] - view.box[0 if level else 1]
        known = sheet.levels[axis]
        value = _number(e.dxf.text) * unit
        if any(abs(place - p) < NEAR for p, _ in known):
            raise NotDimensioned(f"{view.name}: {value} is given twice")
        known.append((place, value))
    for e in dims:
        if e.dimtype & 7 == 2:
            vertex, one, two = ((p.x, p.y) for p in (e.dxf.defpoint2, e.dxf.defpoint3, e.dxf.defpoint))
            view = min(views.values(), key=lambda v: _out(v.box, vertex))
            ways = (_less(one, vertex), _less(two, vertex))
            sheet.angles.append((view.name, vertex, *ways, _number(e.dxf.text)))
    for e in diameters:
        drawn = math.dist((e.dxf.defpoint2.x, e.dxf.defpoint2.y), (e.dxf.defpoint3.x, e.dxf.defpoint3.y))
        sheet.diameters.append((drawn, _number(e.dxf.text.split("Ø")[1]) * unit))
    return sheet


def _number(text: str) -> float:
    """Of a dimension; the middle where it is given as limits."""
    found = re.match(r"(-?[\d.]+)(?: to (-?[\d.]+))?", text)
    assert found is not None, text
    return (float(found[1]) + float(found[2] or found[1])) / 2.0


def _value(texts: list[Any], what: str) -> str:
    """The text under a heading of the title block."""
    (x, y) = next(at for text, at, _, _ in texts if text == what)
    height = next(h for text, _, h, _ in texts if text == what)
    below = [(text, at) for text, at, h, _ in texts if abs(at[0] - x) < height and 0.0 < y - at[1] < 3.0 * height]
    return str(min(below, key=lambda one: y - one[1][1])[0])


def _third(space: list[Any]) -> bool:
    """Where the circles of the symbol stand: left of the cone in the third angle."""
    circles = [e.dxf.center.x for e in space if e.dxftype() == "CIRCLE" and e.dxf.layer == "table"]
    cone = [e for e in space if e.dxftype() == "LWPOLYLINE" and e.dxf.layer == "table" and len(e) == 5]
    return bool(circles[0] < min(p[0] for p in cone[0].get_points()))


def _table(texts: list[Any]) -> list[Row]:
    head = {
        text: at
        for text, at, _, layer in texts
        if layer == "table" and text in ("No.", "Feature", "Size", "X", "Y", "Z")
    }
    if "No." not in head:
        return []
    columns = [head[name][0] for name in ("No.", "Feature", "Size", "X", "Y", "Z")]
    cells: dict[float, dict[int, str]] = {}
    for text, (x, y), height, layer in texts:
        column = next((k for k, c in enumerate(columns) if abs(c - x) < 0.1 * height), None)
        if layer == "table" and column is not None and y < head["No."][1] - 1e-6:
            cells.setdefault(round(y, 3), {})[column] = text
    rows = [cells[y] for y in sorted(cells, reverse=True) if len(cells[y]) == 6]
    return [row for r in rows for row in _apart(Row(r[0], r[1], r[2], (r[3], r[4], r[5])))]


def _apart(row: Row) -> Iterator[Row]:
    """Each of a line of rounds that share a row."""
    k = next((k for k, place in enumerate(row.places) if " by " in place), None)
    if k is None:
        yield row
        return
    count, size = row.size.split(" × ", 1)
    first, last, step = (float(p) for p in re.findall(r"-?[\d.]+", row.places[k]))
    assert abs((last - first) / (int(count) - 1) - step) < 0.011, row
    for n in range(int(count)):
        places = list(row.places)
        places[k] = f"{first + (last - first) * n / (int(count) - 1):.6f}"
        yield Row(row.name, row.what, size, (places[0], places[1], places[2]))


def _notes(texts: list[Any]) -> list[str]:
    words = [(at, text) for text, at, _, layer in texts if layer == "text"]
    starts = sorted((at for at, text in words if re.fullmatch(r"\d+\.", text)), key=lambda p: -p[1])
    if not starts:
        return []
    out = []
    for n, (x, y) in enumerate(starts):
        low = starts[n + 1][1] if n + 1 < len(starts) else -math.inf
        step = starts[0][1] - starts[1][1] if len(starts) > 1 else 10.0
        lines = [
            (at[1], text)
            for at, text in words
            if at[0] > x and low + 1e-6 < at[1] <= y + 1e-6 and at[0] < x + 4.0 * step
        ]
        out.append(" ".join(text for _, text in sorted(lines, reverse=True)))
    return out


def _views(space: list[Any], third: bool, paper: float, turned: bool) -> dict[str, View]:
    """Lines and arcs of each view, found by what touches what; named by where they stand."""
    pieces: list[tuple[Any, Any]] = []
    for e in space:
        if e.dxf.layer not in ("outline", "hidden"):
            continue
        seen = e.dxf.layer == "outline"
        if e.dxftype() == "LINE":
            p, q = (e.dxf.start.x, e.dxf.start.y), (e.dxf.end.x, e.dxf.end.y)
            pieces.append((_box([p, q]), ("line", (p, q, seen))))
        elif e.dxftype() in ("CIRCLE", "ARC"):
            c, r = (e.dxf.center.x, e.dxf.center.y), e.dxf.radius
            a, b = (0.0, 360.0) if e.dxftype() == "CIRCLE" else (e.dxf.start_angle, e.dxf.end_angle)
            spots = [(c[0] + r * math.cos(t), c[1] + r * math.sin(t)) for t in _turns(a, b)]
            pieces.append((_box(spots), ("arc", (c, r, a, b, seen))))
        elif e.dxftype() == "LWPOLYLINE":
            spots = [(p[0], p[1]) for p in e.get_points()]
            for p, q in itertools.pairwise(spots):
                pieces.append((_box([p, q]), ("curve", (p, q, seen))))
    groups: list[tuple[tuple[float, float, float, float], list[Any]]] = []
    for box, piece in pieces:
        joined, members = box, [piece]
        rest = []
        for other, inside in groups:
            if _touch(joined, other, 3.0 * paper):
                joined = _both(joined, other)
                members += inside
            else:
                rest.append((other, inside))
        groups = [*rest, (joined, members)]
    merged = True
    while merged:
        merged = False
        for a, b in itertools.combinations(range(len(groups)), 2):
            if _touch(groups[a][0], groups[b][0], 3.0 * paper):
                one, two = groups[a], groups[b]
                groups = [g for k, g in enumerate(groups) if k not in (a, b)]
                groups.append((_both(one[0], two[0]), one[1] + two[1]))
                merged = True
                break
    names = _named([g[0] for g in groups], third, turned)
    out = {}
    for (box, members), name in zip(groups, names, strict=True):
        view = View(name, box=box)
        for kind, data in members:
            if kind == "arc":
                view.arcs.append(data)
            elif kind == "line":
                view.lines.append(data)
        out[name] = view
    return out


def _named(boxes: list[Any], third: bool, turned: bool) -> list[str]:
    def level(a: Any, b: Any) -> bool:
        return bool(abs(a[1] - b[1]) < NEAR and abs(a[3] - b[3]) < NEAR)

    def above(a: Any, b: Any) -> bool:
        return bool(abs(a[0] - b[0]) < NEAR and abs(a[2] - b[2]) < NEAR)

    if len(boxes) == 1:
        return ["front" if turned else "top"]
    front = None
    for a in boxes:
        mates = [b for b in boxes if b is not a and (level(a, b) or above(a, b))]
        if len(mates) == len(boxes) - 1:
            column = [b for b in mates if above(a, b)]
            if all((b[1] > a[1]) is third for b in column):
                front = a if front is None or column else front
    assert front is not None
    return ["front" if b is front else "top" if above(front, b) else "right" for b in boxes]


def _turns(a: float, b: float, step: float = 2.0) -> Iterator[float]:
    sweep = (b - a) % 360.0 or 360.0
    count = max(8, math.ceil(sweep / step))
    for n in range(count + 1):
        yield math.radians(a + sweep * n / count)


def _box(spots: list[Spot]) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in spots], [p[1] for p in spots]
    return min(xs), min(ys), max(xs), max(ys)


def _touch(a: Any, b: Any, gap: float) -> bool:
    return bool(a[0] <= b[2] + gap and b[0] <= a[2] + gap and a[1] <= b[3] + gap and b[1] <= a[3] + gap)


def _both(a: Any, b: Any) -> tuple[float, float, float, float]:
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _out(box: Any, p: Spot) -> float:
    return float(max(box[0] - p[0], p[0] - box[2], box[1] - p[1], p[1] - box[3], 0.0))


def _view_of(views: dict[str, View], spot: Spot) -> View:
    return min(views.values(), key=lambda v: _out(v.box, spot))


def _less(a: Spot, b: Spot) -> Spot:
    return a[0] - b[0], a[1] - b[1]


# -------------------------------------------------------------------------------------------------------- levels


class Places:
    """From a drawn place to its value, axis by axis, by what is dimensioned and nothing else."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.known = {k: [(p, v, NEAR) for p, v in rows] for k, rows in sheet.levels.items()}
        self.last = 0.0055 if sheet.unit == 1.0 else 0.0006 * sheet.unit  # half of the last decimal that is written
        self.used: set[tuple[int, float]] = set()
        text = " ".join(sheet.notes)
        edges = " ".join(n for n in sheet.notes if n.startswith(("Outer", "Other", "Bevels")))
        found = re.search(r"([\d.]+) × 45°", edges)
        self.leg = float(found[1]) * sheet.unit if found and not sheet.turned else 0.0
        self._rounds()
        self._teeth(text)
        self._slopes()

    def find(self, axis: int, place: float) -> float | None:
        """The value of a drawn offset from the box's low side."""
        for p, value, near in self.known[axis]:
            if abs(p - place) < near:
                self.used.add((axis, p))
                return value
        for p, value, near in self.known[axis]:
            if self.leg and abs(abs(p - place) - self.leg) < max(near, self.last):
                return value + math.copysign(self.leg, place - p)
        return None

    def derived(self, axis: int, place: float) -> float | None:
        """The value where an inclined line of a view passes a place, if the other axis has a known level there."""
        for view in self.sheet.views.values():
            axes = VIEWS[view.name]
            if axis not in axes:
                continue
            k = axes.index(axis)
            for ends in view.lines:
                p, q = (_less(e, view.box[:2]) for e in ends[:2])
                if abs(p[0] - q[0]) < NEAR or abs(p[1] - q[1]) < NEAR or not min(p[k], q[k]) < place < max(p[k], q[k]):
                    continue
                share = (place - p[k]) / (q[k] - p[k])
                other = self.find(axes[1 - k], p[1 - k] + share * (q[1 - k] - p[1 - k]))
                values = [self.find(axes[n], e[n]) for e in (p, q) for n in (0, 1)]
                if other is None or None in values:
                    continue
                a, b = (values[0:2], values[2:4])
                part = (other - a[1 - k]) / (b[1 - k] - a[1 - k])  # type: ignore[operator]
                return a[k] + part * (b[k] - a[k])  # type: ignore[operator]
            for spot in (e for ends in view.lines for e in ends[:2] if abs(e[k] - view.box[k] - place) < NEAR):
                values = [self.find(axes[n], spot[n] - view.box[n]) for n in (0, 1)]
                value = _on_circle(view, self, spot, values)[k]
                if value is not None:
                    return value
        return None

    def zero(self, axis: int) -> float | None:
        """Where the datum is drawn."""
        return next((p for p, v in self.sheet.levels[axis] if abs(v) < 1e-9), None)

    def _rounds(self) -> None:
        for row in self.sheet.rows:
            sizes = [2.0 * r for r in _radii(self.sheet, row)]
            for k, place in enumerate(row.places):
                zero = self.zero(k)
                if zero is None or place == "through":
                    continue
                for value in _span(place, self.sheet.unit):
                    reach = (0.0, *(s / 2.0 for s in sizes), *(-s / 2.0 for s in sizes))
                    if _along(row) == k:
                        legs = [leg for end, leg in _legs(self.sheet, row) if abs(end - value) < 1e-6]
                        reach = (0.0, *legs, *(-leg for leg in legs))
                    self.known[k] += [(zero + value + r, value + r, self.last) for r in reach]

    def _teeth(self, text: str) -> None:
        for t in teeth(text, self.sheet.unit):
            zero_x, zero_z = self.zero(t["along"]), self.zero(t["up"])
            assert zero_x is not None
            assert zero_z is not None
            self.known[t["up"]] += [(zero_z + v, v, self.last) for v in (t["crest"], t["root"])]
            for x, z in outline_of(t):
                self.known[t["along"]].append((zero_x + x, x, self.last))
                self.known[t["up"]].append((zero_z + z, z, self.last))

    def _slopes(self) -> None:
        """Follow the angles until nothing new is found."""
        for _ in range(8):
            if not any([self._slope(*angle) for angle in self.sheet.angles]):
                return

    def _slope(self, name: str, vertex: Spot, one: Spot, two: Spot, degrees: float) -> bool:
        view = self.sheet.views[name]
        found = False
        for way, other in ((one, two), (two, one)):
            lean = _lean(way, other, degrees)
            if lean is None:
                continue
            for p, q, _ in view.lines:
                if _parallel(_less(q, p), way) and abs(_cross(_less(p, vertex), way)) / math.hypot(*way) < NEAR:
                    found |= self._solve(view, p, q, lean)
        return found

    def _solve(self, view: View, p: Spot, q: Spot, lean: float) -> bool:
        axes = VIEWS[view.name]
        spots = [_less(p, view.box[:2]), _less(q, view.box[:2])]
        values = [[self.find(axes[k], s[k]) for k in (0, 1)] for s in spots]
        holes = [(n, k) for n in (0, 1) for k in (0, 1) if values[n][k] is None]
        if len(holes) != 1:
            return False
        (n, k) = holes[0]
        m, j = 1 - n, 1 - k
        rise = values[n][j] - values[m][j]  # type: ignore[operator]
        run = abs(rise) / math.tan(lean) if k == 0 else abs(rise) * math.tan(lean)
        value = values[m][k] + math.copysign(run, spots[n][k] - spots[m][k])  # type: ignore[operator]
        self.known[axes[k]].append((spots[n][k], value, NEAR))
        return True


def _lean(way: Spot, other: Spot, degrees: float) -> float | None:
    """The angle of a drawn line against the level, from the written angle and on which side of what it lies."""
    level = [abs(other[1]) < 1e-6 * math.hypot(*other), abs(other[0]) < 1e-6 * math.hypot(*other)]
    if level[0]:
        return math.radians(min(degrees, 180.0 - degrees))
    if level[1]:
        return math.radians(90.0 - min(degrees, 180.0 - degrees))
    if abs(way[1]) < 1e-6 or abs(way[0]) < 1e-6:
        return None
    middle = (
        way[0] / math.hypot(*way) + other[0] / math.hypot(*other),
        way[1] / math.hypot(*way) + other[1] / math.hypot(*other),
    )
    half = degrees / 2.0
    return math.radians(half if abs(middle[1]) < 1e-6 else 90.0 - half)


def _parallel(a: Spot, b: Spot) -> bool:
    return abs(_cross(a, b)) < 1e-4 * math.hypot(*a) * math.hypot(*b)


def _cross(a: Spot, b: Spot) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _size(row: Row) -> float:
    """Diameter: the nominal one, in the feature's name where it has limits."""
    limits = re.search(r"^([ØR])([\d.]+) to ([\d.]+)", row.size)
    if limits and "Ø" not in row.what:  # a gauge: it is at the middle of its limits
        return (1.0 if limits[1] == "Ø" else 2.0) * (float(limits[2]) + float(limits[3])) / 2.0
    found = re.search(r"Ø([\d.]+)", row.what) or re.search(r"Ø([\d.]+)", row.size)
    if found:
        return float(found[1])
    radius = re.search(r"R([\d.]+)", row.size)
    return 2.0 * float(radius[1]) if radius else _number(row.size)


def _radii(sheet: Sheet, row: Row) -> list[float]:
    """Of a round feature, and of the ends of its cone or its broken edges."""
    size = _size(row) * sheet.unit / 2.0
    ends = re.findall(r"Ø([\d.]+)", row.size) if row.what.startswith("cone") else []
    legs = [leg for _, leg in _legs(sheet, row)]
    out = 1.0 if row.what.startswith("bore") else -1.0
    return [size, *(float(s) * sheet.unit / 2.0 for s in ends), *(size + out * one for one in legs)]


def _legs(sheet: Sheet, row: Row) -> list[Spot]:
    """Broken edges of a pin or bore, from the notes: where they end along its axis, and the leg."""
    out = []
    for names, end, leg in re.findall(r"Edge of ([^:]+?) at [XYZ] (-?[\d.]+): ([\d.]+) × 45°", " ".join(sheet.notes)):
        if row.name in names.split(", "):
            out.append((float(end) * sheet.unit, float(leg) * sheet.unit))
    return out


def _span(text: str, unit: float) -> list[float]:
    return [float(p.split(" ±")[0]) * unit for p in text.split(" to ")]


def _along(row: Row) -> int:
    """Axis of a round feature: where it goes through, or has a span; a slot goes through."""
    for k, place in enumerate(row.places):
        if place == "through":
            return k
    return next(k for k, place in enumerate(row.places) if " to " in place)


def teeth(text: str, unit: float) -> list[dict[str, Any]]:
    """Serrations from the notes."""
    out = []
    pattern = (
        r"Serration ([XYZ]) (\S+) to (\S+): pitch (\S+), (\S+)°; crests at ([XYZ]) (\S+), roots at [XYZ] ([^;\s]+); "
        r"crests (flat [\d.]+|sharp), roots (flat [\d.]+|sharp); the middle of a crest at [XYZ] (-?\d+(?:\.\d+)?)"
    )
    for m in re.finditer(pattern, text):
        flat = [float(s.split()[1]) * unit if s.startswith("flat") else 0.0 for s in (m[9], m[10])]
        out.append(
            {
                "along": "XYZ".index(m[1]), "start": float(m[2]) * unit, "end": float(m[3]) * unit,
                "pitch": float(m[4]) * unit, "angle": float(m[5]), "up": "XYZ".index(m[6]), "crest": float(m[7]) * unit,
                "root": float(m[8]) * unit, "crest_flat": flat[0], "root_flat": flat[1], "middle": float(m[11]) * unit,
            }
        )  # fmt: skip
    return out


def outline_of(t: dict[str, Any]) -> list[Spot]:
    """Corners of the teeth from the first to the last place of their row."""
    tan = math.tan(math.radians(t["angle"] / 2.0))

    def height(x: float) -> float:
        off = abs((x - t["middle"] + t["pitch"] / 2.0) % t["pitch"] - t["pitch"] / 2.0)
        fall = max(0.0, off - t["crest_flat"] / 2.0) / tan
        drop = min(fall, abs(t["crest"] - t["root"]))
        return float(t["crest"] + math.copysign(drop, t["root"] - t["crest"]))

    ends = [t["crest_flat"] / 2.0, t["pitch"] / 2.0 - t["root_flat"] / 2.0]
    first = math.floor((t["start"] - t["middle"]) / t["pitch"]) - 1
    last = math.ceil((t["end"] - t["middle"]) / t["pitch"]) + 1
    xs = {t["middle"] + n * t["pitch"] + s * e for n in range(first, last + 1) for s in (-1, 1) for e in ends}
    inside = sorted(x for x in xs if t["start"] + 1e-6 < x < t["end"] - 1e-6)
    return [(x, height(x)) for x in (t["start"], *inside, t["end"])]


# ------------------------------------------------------------------------------------------------------- rebuild


def rebuild(sheet: Sheet) -> Any:
    """The solid that the sheet describes, in mm about its zero.

    Raises:
        NotDimensioned: a place that no dimension fixes.
    """
    import cadquery as cq

    if sheet.turned:
        return _turned(sheet)
    places = Places(sheet)
    low, high = _extents(sheet, places)
    body = None
    outlines = {name: _outline(view, places) for name, view in sheet.views.items()}
    for view in sheet.views.values():
        prism = _prism(view, outlines[view.name], low, high)
        body = prism if body is None else body.intersect(prism)
    assert body is not None
    body = _broken(body, sheet, places, low, high)
    for view in sheet.views.values():
        for window in _windows(view, sheet, places, low, high):
            body = body.cut(window)
    for tool in _hollows(sheet, places, low, high):
        body = body.cut(tool)
    for row in sheet.rows:
        body = _round(body, row, sheet, outlines, low, high)
    box = body.BoundingBox()
    ends = ((box.xmin, box.ymin, box.zmin), (box.xmax, box.ymax, box.zmax))
    if all(a > b - 1e-6 and c < d + 1e-6 for a, b, c, d in zip(ends[0], low, ends[1], high, strict=True)):
        return body
    size = [h - k for k, h in zip(low, high, strict=True)]
    return body.intersect(cq.Solid.makeBox(*size, pnt=cq.Vector(*low)))


def _extents(sheet: Sheet, places: Places) -> tuple[list[float], list[float]]:
    low, high = [0.0] * 3, [0.0] * 3
    for k in range(3):
        views = [(v, VIEWS[v.name].index(k)) for v in sheet.views.values() if k in VIEWS[v.name]]
        if not views:
            found = re.search(r"Thickness ([\d.]+)\.", " ".join(sheet.notes))
            if found is None:
                raise NotDimensioned(f"{'XYZ'[k]} is in no view")
            low[k], high[k] = 0.0, float(found[1]) * sheet.unit
            continue
        view, n = views[0]
        one, two = places.find(k, 0.0), places.find(k, view.box[n + 2] - view.box[n])
        if one is None or two is None:
            raise NotDimensioned(f"{view.name}: the whole size along {'XYZ'[k]}")
        low[k], high[k] = one, two
    return low, high


def _outline(view: View, places: Places) -> Any:
    """The outline of a view as a polygon of values."""
    from shapely import union_all
    from shapely.geometry import LineString
    from shapely.ops import polygonize, unary_union

    strings = []
    left: NotDimensioned | None = None
    for p, q, seen in view.lines:
        if seen:
            strings.append(LineString([_valued(view, places, p), _valued(view, places, q)]))
    for c, r, a, b, seen in view.arcs:
        if seen:
            try:
                strings.append(_arc_string(view, places, c, r, a, b))
            except NotDimensioned as error:  # a curve where two features cross; the outline must close without it
                left = error
    whole = union_all(list(polygonize(unary_union(strings))))
    if whole.geom_type != "Polygon" or whole.is_empty:
        raise left or NotDimensioned(f"{view.name}: its outline is not closed")
    return whole


def _prism(view: View, outline: Any, low: list[float], high: list[float]) -> Any:
    """The outline of a view, as wide as can be the way that it looks."""
    import cadquery as cq

    axes = VIEWS[view.name]
    away = 3 - sum(axes)
    corners = [cq.Vector(*_in_space(axes, away, x, y, low[away] - 1.0)) for x, y in outline.exterior.coords[:-1]]
    way = [0.0, 0.0, 0.0]
    way[away] = high[away] - low[away] + 2.0
    return cq.Solid.extrudeLinear(cq.Wire.makePolygon(corners, close=True), [], cq.Vector(*way))


def _stands_free(outlines: dict[str, Any], k: int, at: list[float], span: list[float], r: float) -> set[int]:
    """The axes across a pin along axis ``k`` on which a view shows it by itself."""
    from shapely.geometry import LineString

    out = set()
    for name, outline in outlines.items():
        axes = VIEWS[name]
        if k not in axes:
            continue
        n = axes[0] if axes[1] == k else axes[1]
        middle = (span[0] + span[1]) / 2.0
        ends = [(-1e4, middle), (1e4, middle)] if axes[1] == k else [(middle, -1e4), (middle, 1e4)]
        cut = outline.intersection(LineString(ends))
        for piece in getattr(cut, "geoms", [cut]):
            values = sorted(c[0 if axes[1] == k else 1] for c in piece.coords)
            if abs(values[0] - at[n] + r) < 0.03 and abs(values[-1] - at[n] - r) < 0.03:
                out.add(n)
    return out


def _in_space(axes: tuple[int, int], away: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    out = [0.0, 0.0, 0.0]
    out[axes[0]], out[axes[1]], out[away] = x, y, z
    return out[0], out[1], out[2]


def _valued(view: View, places: Places, spot: Spot) -> Spot:
    axes = VIEWS[view.name]
    drawn = _less(spot, view.box[:2])
    values = [places.find(axes[k], drawn[k]) for k in (0, 1)]
    values = [places.derived(axes[k], drawn[k]) if v is None else v for k, v in enumerate(values)]
    values = _on_circle(view, places, spot, values)
    if values[0] is None or values[1] is None:
        k = 0 if values[0] is None else 1
        raise NotDimensioned(f"{view.name}: {'XYZ'[axes[k]]} of the corner drawn at {drawn[0]:.3f}, {drawn[1]:.3f}")
    return round(values[0], 6), round(values[1], 6)


def _on_circle(view: View, places: Places, spot: Spot, values: list[float | None]) -> list[float | None]:
    """The other coordinate of a corner on a circle of the table."""
    if (values[0] is None) is (values[1] is None):
        return values
    k = 0 if values[0] is None else 1
    axes = VIEWS[view.name]
    for c, r, _, _, _ in view.arcs:
        if abs(math.dist(c, spot) - r) > NEAR:
            continue
        centre = [places.find(axes[n], c[n] - view.box[n]) for n in (0, 1)]
        radius = next((s for w in places.sheet.rows for s in _radii(places.sheet, w) if abs(s - r) < 0.02), None)
        if None in centre or radius is None:
            continue
        run = values[1 - k] - centre[1 - k]  # type: ignore[operator]
        values[k] = centre[k] + math.copysign(math.sqrt(max(0.0, radius**2 - run**2)), spot[k] - c[k])  # type: ignore[operator]
        return values
    return values


def _hollows(sheet: Sheet, places: Places, low: list[float], high: list[float]) -> Iterator[Any]:
    """What is not there above the faces that the view from above shows.

    Each face of that view lies at a level that the other views draw a line at, seen or hidden, over the whole width of
    the face. Of several such levels it is the highest, but for two faces side by side, which lie at different ones.
    """
    from shapely import union_all
    from shapely.geometry import LineString
    from shapely.ops import polygonize

    view = sheet.views.get("top")
    others = [v for v in sheet.views.values() if v is not view and 2 in VIEWS[v.name]]
    if view is None or not others:
        return
    strings = [LineString([p, q]) for p, q, seen in view.lines if seen]
    for c, r, a, b, seen in view.arcs:
        if seen:
            strings.append(LineString([(c[0] + r * math.cos(t), c[1] + r * math.sin(t)) for t in _turns(a, b)]))
    every = list(polygonize(union_all(strings, grid_size=1e-3)))
    cells = [c for c in every if not c.buffer(-0.55 * places.leg).is_empty and not _bored(c.exterior, view, places)]
    heights = [_heights(cell, view, others) for cell in cells]
    changed = True
    while changed:
        changed = False
        for a, b in itertools.combinations(range(len(cells)), 2):
            if not (heights[a] and heights[b]) or abs(heights[a][0] - heights[b][0]) > NEAR:
                continue
            lower = [n for n in (a, b) if len(heights[n]) > 1]
            if lower and cells[a].boundary.intersection(cells[b].boundary).length > 10.0 * NEAR:
                heights[min(lower, key=lambda n: cells[n].area)].pop(0)
                changed = True
    known = [(c, places.find(2, h[0])) for c, h in zip(cells, heights, strict=True) if h]
    for cell, level in known:
        if level is not None and level < high[2] - NEAR:
            yield _above(cell, view, places, level, high[2])
    for strip in every:
        if strip in cells or strip.area < places.leg**2:
            continue
        beside = [(level, _shared(strip, cell)) for cell, level in known if level is not None]
        level, line = max((b for b in beside if b[1] is not None), key=lambda b: b[0], default=(0.0, None))
        if line is not None:
            yield _above(strip, view, places, level - places.leg, high[2]).cut(_wedge(strip, line, view, places, level))


def _above(cell: Any, view: View, places: Places, level: float, top: float) -> Any:
    """All above a face of the view from above; what is bored there is left to the table."""
    import cadquery as cq

    rings = [cell.exterior, *(r for r in cell.interiors if not _bored(r, view, places))]
    wires = []
    for ring in rings:
        spots = [_valued_or_on_arc(view, places, s) for s in ring.coords[:-1]]
        wires.append(cq.Wire.makePolygon([cq.Vector(x, y, level) for x, y in spots], close=True))
    return cq.Solid.extrudeLinear(wires[0], wires[1:], cq.Vector(0.0, 0.0, top - level + 1.0))


def _bored(ring: Any, view: View, places: Places) -> bool:
    """Whether a ring is the edge of a bore of the table."""
    sizes = [r for w in places.sheet.rows if w.what.startswith("bore") for r in _radii(places.sheet, w)]
    return any(
        b - a >= 360.0 - 1e-6
        and any(abs(s - r) < 0.02 for s in sizes)
        and all(abs(math.dist(c, p) - r) < 0.01 for p in ring.coords)
        for c, r, a, b, _ in view.arcs
    )


def _shared(strip: Any, cell: Any) -> Any:
    """The straight line, level or upright, along which a bevel lies beside a face."""
    from shapely.ops import linemerge

    line = strip.boundary.intersection(cell.boundary)
    line = linemerge(line) if line.geom_type == "MultiLineString" else line
    if line.geom_type != "LineString" or line.length < 10.0 * NEAR:
        return None
    x0, y0, x1, y1 = line.bounds
    return line if min(x1 - x0, y1 - y0) < NEAR else None


def _wedge(strip: Any, line: Any, view: View, places: Places, level: float) -> Any:
    """What a bevel leaves standing: 45 degrees down from the line that it shares with a face."""
    import cadquery as cq

    x0, y0, x1, y1 = line.bounds
    k = 0 if x1 - x0 < y1 - y0 else 1
    at = _valued(view, places, (x0, y0))[k]
    out = math.copysign(places.leg, strip.centroid.coords[0][k] - (x0, y0)[k])
    corners = [(at - out, level - places.leg), (at - out, level), (at, level), (at + out, level - places.leg)]
    points = [cq.Vector(*((u, -1e4, z) if k == 0 else (-1e4, u, z))) for u, z in corners]
    way = cq.Vector(*((0.0, 2e4, 0.0) if k == 0 else (2e4, 0.0, 0.0)))
    return cq.Solid.extrudeLinear(cq.Wire.makePolygon(points, close=True), [], way)


def _heights(cell: Any, view: View, others: list[View]) -> list[float]:
    """Drawn heights at which every other view has a line as wide as a face, the highest first; the underside not."""
    from shapely.geometry import LineString
    from shapely.ops import unary_union

    out: list[float] = []
    for z in sorted({round(p[1] - v.box[1], 3) for v in others for p, q, _ in v.lines if abs(p[1] - q[1]) < NEAR}):
        wide = []
        for other in others:
            k = VIEWS["top"].index(VIEWS[other.name][0])
            run = [
                LineString([(p[0] - other.box[0], 0.0), (q[0] - other.box[0], 0.0)]).buffer(NEAR)
                for p, q, _ in other.lines
                if abs(p[1] - q[1]) < NEAR and abs(p[1] - other.box[1] - z) < NEAR
            ]
            ends = [(cell.bounds[k + n] - view.box[k], 0.0) for n in (0, 2)]
            wide.append(bool(run) and unary_union(run).buffer(NEAR).covers(LineString(ends)))
        if all(wide) and z > NEAR:
            out.append(z)
    return sorted(out, reverse=True)


def _valued_or_on_arc(view: View, places: Places, spot: Spot) -> Spot:
    """The value of a corner, or of a place on an arc whose centre and size are in the table."""
    try:
        return _valued(view, places, spot)
    except NotDimensioned:
        axes = VIEWS[view.name]
        for c, r, _, _, _ in view.arcs:
            centre = [places.find(axes[k], c[k] - view.box[k]) for k in (0, 1)]
            known = next((s for w in places.sheet.rows for s in _radii(places.sheet, w) if abs(s - r) < 0.02), None)
            if abs(math.dist(c, spot) - r) < 0.01 and None not in centre and known is not None:
                share = known / r
                return centre[0] + share * (spot[0] - c[0]), centre[1] + share * (spot[1] - c[1])  # type: ignore[operator]
        raise


def _windows(view: View, sheet: Sheet, places: Places, low: list[float], high: list[float]) -> Iterator[Any]:
    """Square openings right through: a rectangle within the outline whose sides another view shows from end to end."""
    import cadquery as cq
    from shapely.geometry import LineString, Point
    from shapely.ops import polygonize, unary_union

    axes = VIEWS[view.name]
    away = 3 - sum(axes)
    lines = [LineString([p, q]) for p, q, seen in view.lines if seen]
    rim = _drawn(view)
    if rim is None:
        return
    for cell in polygonize(unary_union(lines)):
        x0, y0, x1, y1 = cell.bounds
        if (
            len(cell.exterior.coords) != 5
            or abs(cell.area - (x1 - x0) * (y1 - y0)) > 1e-3
            or rim.distance(cell) < 4.0 * NEAR
        ):
            continue
        other = next((v for v in sheet.views.values() if v is not view and away in VIEWS[v.name]), None)
        far = None if other is None else _drawn(other)
        if other is None or far is None:
            continue
        along = next(k for k in VIEWS[other.name] if k != away)
        n = VIEWS[other.name].index(along)
        k = axes.index(along)
        ends = [(x0, x1), (y0, y1)][k]
        through = all(
            any(
                abs(p[n] - q[n]) < NEAR
                and abs(p[n] - other.box[n] - (e - view.box[k])) < NEAR
                and all(far.distance(Point(end)) < 4.0 * NEAR for end in (p, q))
                for p, q, seen in other.lines
                if not seen
            )
            for e in ends
        )
        if through:
            a, b = _valued(view, places, (x0, y0)), _valued(view, places, (x1, y1))
            corner = _in_space(axes, away, a[0], a[1], low[away] - 1.0)
            size = _in_space(axes, away, b[0] - a[0], b[1] - a[1], high[away] - low[away] + 2.0)
            yield cq.Solid.makeBox(*size, pnt=cq.Vector(*corner))


def _drawn(view: View) -> Any:
    """The rim of a view as it is drawn, a little wider; None where its lines do not close at corners that round off."""
    from shapely import union_all
    from shapely.geometry import LineString
    from shapely.ops import polygonize

    strings = [LineString([p, q]) for p, q, seen in view.lines if seen]
    for c, r, a, b, seen in view.arcs:
        if seen:
            strings.append(LineString([(c[0] + r * math.cos(t), c[1] + r * math.sin(t)) for t in _turns(a, b)]))
    whole = union_all([cell.buffer(2.0 * NEAR) for cell in polygonize(union_all(strings, grid_size=1e-3))])
    return whole.exterior if whole.geom_type == "Polygon" else None


def _arc_string(view: View, places: Places, c: Spot, r: float, a: float, b: float) -> Any:
    """An arc whose centre and size are in the table; its ends where they are drawn on it."""
    from shapely.geometry import LineString

    axes = VIEWS[view.name]
    drawn = _less(c, view.box[:2])
    centre = tuple(places.find(axes[k], drawn[k]) for k in (0, 1))
    sizes = [(one, row) for row in places.sheet.rows for one in _radii(places.sheet, row)]
    radius, row = next(((s, w) for s, w in sizes if abs(s - r) < 0.02), (None, None))
    if None in centre or radius is None or row is None:
        raise NotDimensioned(f"{view.name}: the arc of radius {r:.3f} about {drawn[0]:.3f}, {drawn[1]:.3f}")
    step = (
        1.0 if row.what.startswith(("round end", "lands")) else 15.0
    )  # what is cut from the body as a true cylinder needs no more
    spots = [(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in _turns(a, b, step)]  # type: ignore[operator]
    ends = []
    for spot, t in ((spots[0], a), (spots[-1], b)):
        end = (c[0] + r * math.cos(math.radians(t)), c[1] + r * math.sin(math.radians(t)))
        values = [places.find(axes[k], _less(end, view.box[:2])[k]) for k in (0, 1)]
        ends.append(tuple(s if v is None else v for s, v in zip(spot, values, strict=True)))
    if (b - a) % 360.0:
        spots[0], spots[-1] = ends[0], ends[1]  # type: ignore[assignment]
    return LineString([(round(x, 6), round(y, 6)) for x, y in spots])


def _broken(body: Any, sheet: Sheet, places: Places, low: list[float], high: list[float]) -> Any:
    """Broken edges of the box by the words of the note, and the flats where three of them meet."""
    note = next((n for n in sheet.notes if n.startswith("Outer ")), None)
    if note is None:
        return body
    edges = set(_edges(note))
    for i, s, j, t in sorted(edges):
        body = _sliced(body, {i: s, j: t}, places.leg, low, high)
    if "cut flat where three meet" in note:
        for signs in itertools.product((-1, 1), repeat=3):
            three = [(i, signs[i], j, signs[j]) for i, j in ((0, 1), (0, 2), (1, 2))]
            if all(e in edges for e in three):
                body = _sliced(body, dict(enumerate(signs)), 2.0 * places.leg, low, high)
    return body


def _edges(note: str) -> Iterator[tuple[int, int, int, int]]:
    if "upright" in note:
        yield from ((0, s, 1, t) for s in (-1, 1) for t in (-1, 1))
    if "upper" in note:
        yield from ((k, s, 2, 1) for k in (0, 1) for s in (-1, 1))
    for one, two in re.findall(r"\b(left|right|front|back)-(\w+)", note):
        (i, s), (j, t) = sorted((SIDES[one], SIDES[two]))
        yield i, s, j, t


def _sliced(body: Any, sides: dict[int, int], off: float, low: list[float], high: list[float]) -> Any:
    """What of a body is at least ``off`` inside of the corner of the box, summed over the sides."""
    import cadquery as cq

    normal = [float(sides.get(k, 0)) for k in range(3)]
    size = math.hypot(*normal)
    corner = [
        (high[k] if sides.get(k, 0) > 0 else low[k]) if k in sides else (low[k] + high[k]) / 2.0 for k in range(3)
    ]
    on = [c - n * off / size**2 for c, n in zip(corner, normal, strict=True)]
    plane = cq.Plane(origin=tuple(on), normal=tuple(normal))
    far = 4.0 * max(h - k for k, h in zip(low, high, strict=True))
    slab = cq.Workplane(plane).box(far, far, far, centered=(True, True, False)).val()
    return body.cut(slab)


def _round(body: Any, row: Row, sheet: Sheet, outlines: dict[str, Any], low: list[float], high: list[float]) -> Any:
    """A bore, pin, cone or slot of the table added to the body or cut from it."""
    import cadquery as cq

    unit = sheet.unit
    k = _along(row)
    span = [low[k] - 1.0, high[k] + 1.0] if row.places[k] == "through" else _span(row.places[k], unit)
    r = _size(row) * unit / 2.0
    i, j = (n for n in range(3) if n != k)
    ends = [_span(row.places[n], unit) for n in (i, j)]
    way, at = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
    way[k], at[k], at[i], at[j] = 1.0, span[0], ends[0][0], ends[1][0]
    long = span[1] - span[0]
    if row.what.startswith("cone"):
        a, b = (float(s) * unit / 2.0 for s in re.findall(r"Ø([\d.]+)", row.size))
        tool = cq.Solid.makeCone(a, b, long, cq.Vector(*at), cq.Vector(*way))
        r = max(a, b)
    else:
        tool = cq.Solid.makeCylinder(r, long, cq.Vector(*at), cq.Vector(*way))
    for end, leg in _legs(sheet, row):
        upper = abs(end - span[1]) < abs(end - span[0])
        start = list(at)
        start[k] = end - leg if upper else end
        out = leg if row.what.startswith("bore") else -leg
        a, b = (r, r + out) if upper else (r + out, r)
        cone = cq.Solid.makeCone(a, b, leg, cq.Vector(*start), cq.Vector(*way))
        ring = cq.Solid.makeCylinder(r, leg, cq.Vector(*start), cq.Vector(*way))
        tool = tool.fuse(cone) if out > 0.0 else tool.cut(ring).fuse(cone)
    if row.what.startswith("slot"):
        far = list(at)
        far[i], far[j] = ends[0][-1], ends[1][-1]
        run = i if far[i] != at[i] else j
        side = j if run == i else i
        corner, size = list(at), [0.0, 0.0, 0.0]
        corner[side] -= r
        size[k], size[run], size[side] = long, far[run] - at[run], 2.0 * r
        end = cq.Solid.makeCylinder(r, long, cq.Vector(*far), cq.Vector(*way))
        return body.cut(tool, end, cq.Solid.makeBox(*size, pnt=cq.Vector(*corner)))
    if row.what.startswith(("bore", "relief")):
        return body.cut(tool)
    if row.what.startswith(("round end", "lands", "cone end")):
        # Where it stands free no outline shows that it is round: what is about it in its band is not there.
        if not (row.what == "cone end" or _stands_free(outlines, k, at, [span[0], span[1]], r)):
            return body
        corner, size = list(at), [2.0 * r] * 3
        size[k] = long
        for n in (i, j):
            corner[n] -= r
        return body.cut(cq.Solid.makeBox(*size, pnt=cq.Vector(*corner)).cut(tool))
    # A pin stands free: the views give the square about it, the table says that it is round.
    size, corner = [0.0, 0.0, 0.0], list(at)
    size[k] = long
    free = _stands_free(outlines, k, at, [span[0], span[1]], r)
    for n in (i, j):
        narrow = n in free or not free
        corner[n], size[n] = (at[n] - r, 2.0 * r) if narrow else (low[n] - 1.0, high[n] - low[n] + 2.0)
    box = cq.Solid.makeBox(*size, pnt=cq.Vector(*corner))
    rest = body.cut(box)
    both = rest.fuse(tool)
    # The kernel's union now and then loses one of two that touch.
    return both if both.Volume() > rest.Volume() + 1e-6 else body.cut(box.cut(tool))


def _turned(sheet: Sheet) -> Any:
    """Turned work: the half outline of its one view, its levels along the axis and its diameters, turned round."""
    import cadquery as cq

    (view,) = sheet.views.values()
    middle = (view.box[1] + view.box[3]) / 2.0
    levels = next(v for v in sheet.levels.values() if v)
    legs: dict[float, float] = {}
    slack = NEAR if sheet.unit == 1.0 else 0.02  # a leg of whole millimetres is no round figure in inches
    for ends, leg in re.findall(r"Edge of Ø[\d.]+ at [XYZ] ([-\d. and]+?): ([\d.]+) × 45°", " ".join(sheet.notes)):
        legs |= {float(e) * sheet.unit: float(leg) * sheet.unit for e in ends.split(" and ")}

    def along(x: float) -> float:
        for p, value in levels:
            if abs(p - (x - view.box[0])) < NEAR:
                return value
        for p, value in levels:
            leg = legs.get(value)
            if leg is not None and abs(abs(p - (x - view.box[0])) - leg) < slack:
                return value + math.copysign(leg, x - view.box[0] - p)
        raise NotDimensioned(f"length at {x - view.box[0]:.3f}")

    def out(y: float) -> float:
        drawn = 2.0 * (y - middle)
        for d, value in sheet.diameters:
            if abs(d - drawn) < 2.0 * NEAR:
                return float(value / 2.0)
        for d, value in sheet.diameters:
            for leg in legs.values():
                if abs(d - drawn - 2.0 * leg) < 2.0 * slack:
                    return value / 2.0 - leg
        raise NotDimensioned(f"diameter drawn {drawn:.3f}")

    upper = [
        (p, q) for p, q, _ in view.lines if p[1] > middle + NEAR and q[1] > middle + NEAR and abs(p[0] - q[0]) > NEAR
    ]
    upper = sorted((min(p, q), max(p, q)) for p, q in upper)
    points: list[Spot] = [(along(upper[0][0][0]), 0.0)]
    for p, q in upper:
        points += [(along(p[0]), out(p[1])), (along(q[0]), out(q[1]))]
    points.append((points[-1][0], 0.0))
    face = [points[0]] + [b for a, b in itertools.pairwise(points) if math.dist(a, b) > 1e-9]
    wire = cq.Wire.makePolygon([cq.Vector(x, y, 0.0) for x, y in face], close=True)
    return cq.Solid.revolve(wire, [], 360.0, cq.Vector(0.0, 0.0, 0.0), cq.Vector(1.0, 0.0, 0.0))
