"""A plate's outline from a DXF drawing: which entities are cut, joined into closed loops of lines and arcs, in mm.

Source of the entities and their codes: Autodesk, "DXF Reference" (public). A bulge is the tangent of a quarter of an
arc's angle, positive to the left. ``ezdxf`` is imported inside functions only.
"""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fixture3d.cache import content_key
from fixture3d.errors import ImportFailed, one_line
from fixture3d.job import polygon
from fixture3d.job.biarc import Bit, biarcs
from fixture3d.job.joining import joined
from fixture3d.stock.section import Edge, Loop, backwards
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, length, show

if TYPE_CHECKING:
    from fixture3d.cache import Store

_VERSION: Final = "1"  # of what is made of a drawing; part of the cache key
LARGEST_FILE: Final = 10_000_000  # bytes; a cutting outline is a thousand times smaller
MOST_EDGES: Final = 4000
_FARTHEST: Final = 30_000.0  # mm
_SMALLEST: Final = 0.3  # mm
# $INSUNITS, as far as a drawing of a plate can have them.
_UNITS: Final = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
_NOT_CUT: Final = (
    "TEXT MTEXT ATTDEF ATTRIB DIMENSION ARC_DIMENSION LARGE_RADIAL_DIMENSION LEADER MULTILEADER MLEADER TOLERANCE "
    "ACAD_TABLE POINT VIEWPORT XLINE RAY HATCH MPOLYGON WIPEOUT IMAGE OLE2FRAME "
)
Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Outline:
    """What a drawing says is cut, mm, in the drawing's own X and Y.

    Attributes:
        outline: the outer loop, counter-clockwise.
        holes: round ones, (x, y, diameter).
        openings: other inner loops, clockwise.
        notes: what a reader should know about how it was read.
    """

    outline: Loop
    holes: tuple[polygon.Hole, ...] = ()
    openings: tuple[Loop, ...] = ()
    notes: tuple[str, ...] = ()


def read_outline(
    path: Path, unit: str | None = None, layer: str | None = None, units: Units = "mm", store: Store | None = None
) -> Outline:
    """The outline in a DXF file.

    Args:
        path: the file.
        unit: unit of its numbers, where it says none or a wrong one.
        layer: the one layer that is cut; None for all that are not switched off.
        units: for lengths in messages.
        store: keeps what was read, by the content of the file.

    Raises:
        ImportFailed: one line: it cannot be read, does not say its unit, or is not one closed outline with holes.
    """
    data = _bytes(path)
    key = content_key(["outline", _VERSION, hashlib.sha256(data).hexdigest(), unit or "", layer or ""])
    kept = store.get_json(key, "outline") if store is not None else None
    if kept is not None:
        return _from_json(kept)
    shown = one_line(str(path))
    try:
        found = _Drawing(_document(path, data), unit, layer).outline(units)
    except ImportFailed as error:
        raise ImportFailed(f"{shown}: {error}") from None
    if store is not None:
        store.put_json(key, "outline", _to_json(found))
    return found


def _bytes(path: Path) -> bytes:
    shown = one_line(str(path))
    if path.suffix.casefold() != ".dxf":
        raise ImportFailed(f"{shown}: not a drawing; expected a file that ends in .dxf")
    try:
        if not path.is_file():
            raise ImportFailed(f"{shown}: no such file")
        if path.stat().st_size > LARGEST_FILE:
            raise ImportFailed(f"{shown}: larger than 10 MB; expected a file with nothing but the outline")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ImportFailed(f"{shown}: cannot be read ({one_line(reason)})") from error
    if not data.strip():
        raise ImportFailed(f"{shown}: the file is empty")
    return data


def _document(path: Path, data: bytes) -> Any:
    """The drawing as ezdxf has it.

    A file without its last mark may have lost a hole, so it is not read in part.
    """
    import ezdxf

    if not data.rstrip(b"\x00\r\n\t \x1a").endswith(b"EOF"):
        raise ImportFailed("it is not a DXF drawing or is cut short; expected EOF at its end")
    try:
        return ezdxf.readfile(path)  # type: ignore[attr-defined,unused-ignore]
    except MemoryError:
        raise
    except Exception as error:  # a foreign file: whatever its reader stumbles over is a fault of the file
        reason = one_line(str(error))[:120] or type(error).__name__
        raise ImportFailed(f"it cannot be read as DXF ({reason})") from error


class _Drawing:
    """Reads the entities of one drawing into bits of outline, and joins them.

    Args:
        document: of ezdxf.
        unit: see `read_outline`.
        layer: see `read_outline`.
    """

    def __init__(self, document: Any, unit: str | None, layer: str | None) -> None:
        self.document = document
        self.notes: list[str] = []
        self.scale = length(f"1 {self._unit(unit)}")
        self.layer = layer
        self.heights: list[float] = []
        self.circles: list[polygon.Hole] = []
        self.free = False
        self.left_out: Counter[str] = Counter()

    def _unit(self, unit: str | None) -> str:
        try:
            code = int(self.document.header.get("$INSUNITS", 0))
        except (TypeError, ValueError):
            code = 0
        said = _UNITS.get(code)
        if unit is not None:
            if said is not None and said != unit:
                self.notes.append(f"its drawing says {said}; unit = {unit} was taken")
            return unit
        if code == 0:
            raise ImportFailed('the drawing does not say its unit; expected unit = "mm" or "in" beside dxf')
        if said is None:
            raise ImportFailed(f'the drawing\'s unit ($INSUNITS {code}) is not used; expected unit = "mm" or "in"')
        return said

    def outline(self, units: Units) -> Outline:
        """All of it as one outline with holes."""
        bits = self._bits()
        if max(self.heights, default=0.0) - min(self.heights, default=0.0) > SHOP.outline:
            low, high = (show(z, units) for z in (min(self.heights), max(self.heights)))
            raise ImportFailed(f"the drawing is not flat: heights from {low} to {high}; expected all in one plane")
        if not bits and not self.circles:
            if self.left_out:
                raise ImportFailed(f"nothing in it is cut, only {_counted(self.left_out)}; expected a closed outline")
            raise ImportFailed("the drawing is empty; expected a closed outline")
        loops, twice = joined(bits, units)
        circles = list(dict.fromkeys(self.circles))
        twice += len(self.circles) - len(circles)
        if twice:
            self.notes.append(f"{twice} line{'s' if twice > 1 else ''} drawn twice in its drawing count once")
        if self.free:
            self.notes.append(f"free curves of its drawing are cut as arcs, true to {SHOP.outline:g} mm")
        if self.left_out:
            self.notes.append(f"not cut from its drawing: {_counted(self.left_out)}")
        rings = [polygon.left_turning(polygon.ring(circle)) for circle in circles]
        return _sorted([*loops, *rings], tuple(self.notes), units)

    def _bits(self) -> list[Bit]:
        out: list[Bit] = []
        layers = self._check_layer()
        for entity in self.document.modelspace():
            kind = str(entity.dxftype())
            name = str(entity.dxf.get("layer", "0")).casefold()
            if self.layer is not None and name != self.layer.casefold():
                continue
            if entity.dxf.get("invisible", 0) or (self.layer is None and layers.get(name, False)):
                self.left_out["hidden entities"] += 1
            elif kind in _NOT_CUT.split():
                self.left_out[kind.lower().replace("_", " ")] += 1
            else:
                out += self._read(entity, kind)
            if len(out) + len(self.circles) > MOST_EDGES:
                raise ImportFailed(f"more than {MOST_EDGES} lines and arcs; expected the outline of one plate")
        return out

    def _check_layer(self) -> dict[str, bool]:
        """Layers by name, and whether each is switched off or frozen."""
        layers = {}
        for layer in self.document.layers:
            layers[str(layer.dxf.name).casefold()] = bool(layer.is_off() or layer.is_frozen())
        used = {str(entity.dxf.get("layer", "0")) for entity in self.document.modelspace()}
        if self.layer is not None and self.layer.casefold() not in {name.casefold() for name in used}:
            names = ", ".join(f'"{one_line(name[:40])}"' for name in sorted(used)[:8])
            raise ImportFailed(f'nothing in the drawing is on layer "{one_line(self.layer)}"; expected one of {names}')
        return layers

    def _read(self, entity: Any, kind: str) -> list[Bit]:
        reader: Callable[[Any], Iterable[Bit]] | None = getattr(self, f"_{kind.lower()}", None)
        if kind == "INSERT":
            name = one_line(str(entity.dxf.get("name", ""))[:40])
            raise ImportFailed(f'it uses the block "{name}"; expected plain lines and arcs: explode it, or layer = ...')
        if kind not in ("LINE", "ARC", "CIRCLE", "LWPOLYLINE", "POLYLINE", "SPLINE", "ELLIPSE") or reader is None:
            raise ImportFailed(f"it has a {one_line(kind[:40])}, which cannot be cut; expected lines, arcs and splines")
        try:
            bits = list(reader(entity))
        except ImportFailed:
            raise
        except (ValueError, TypeError, ArithmeticError, LookupError, AttributeError, RecursionError) as error:
            raise ImportFailed(f"a {kind} in it cannot be read ({one_line(str(error))[:80]})") from error
        for bit in bits:
            self._check_size(*bit.start, *bit.end, bit.bulge)
        return bits

    def _check_size(self, *numbers: float) -> None:
        if not all(abs(v) <= _FARTHEST for v in numbers):  # also refuses what is not a number
            raise ImportFailed("a point in it is further than 30 m from its origin: a wrong unit?; expected a plate")

    def _at(self, point: Any, mirrored: bool = False, flat: bool = False) -> Point:
        """A point of the drawing in mm; of an entity that looks down, X runs the other way."""
        x, y, z = (float(v) * self.scale for v in (point[0], point[1], 0.0 if flat else point[2]))
        self._check_size(x, y, z)
        if not flat:
            self.heights.append(-z if mirrored else z)
        return (-x if mirrored else x, y)

    @staticmethod
    def _mirrored(entity: Any) -> bool:
        x, y, z = (float(v) for v in entity.dxf.get("extrusion", (0.0, 0.0, 1.0)))
        if math.hypot(x, y) > NUMERIC.zero * abs(z) or z == 0.0:
            raise ImportFailed(f"a {entity.dxftype()} in it does not lie in the XY plane; expected a flat drawing")
        return z < 0.0

    def _line(self, entity: Any) -> Iterator[Bit]:
        yield Bit(self._at(entity.dxf.start), self._at(entity.dxf.end), 0.0)

    def _circle(self, entity: Any) -> Iterator[Bit]:
        x, y = self._at(entity.dxf.center, self._mirrored(entity))
        self._add_circle(x, y, float(entity.dxf.radius) * self.scale)
        yield from ()

    def _add_circle(self, x: float, y: float, radius: float) -> None:
        self._check_size(radius)
        if radius < SHOP.outline:
            raise ImportFailed(f"a circle in it has the radius {radius:g} mm; expected a hole that can be cut")
        self.circles.append((x, y, 2.0 * radius))

    def _arc(self, entity: Any) -> Iterator[Bit]:
        mirrored = self._mirrored(entity)
        x, y = self._at(entity.dxf.center, mirrored)
        radius = float(entity.dxf.radius) * self.scale
        first, last = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
        self._check_size(radius, first, last)
        sweep = (last - first) % (2 * math.pi)
        if radius < SHOP.outline:
            raise ImportFailed(f"an arc in it has the radius {radius:g} mm; expected one that can be cut")
        if min(sweep, 2 * math.pi - sweep) * radius < NUMERIC.merge:
            self._add_circle(x, y, radius)
            return
        side = -1.0 if mirrored else 1.0
        count = 1 if sweep <= math.pi else 2
        for k in range(count):
            a, b = (first + sweep * (k + j) / count for j in (0, 1))
            yield Bit(
                (x + side * radius * math.cos(a), y + radius * math.sin(a)),
                (x + side * radius * math.cos(b), y + radius * math.sin(b)),
                side * math.tan(sweep / count / 4),
            )

    def _lwpolyline(self, entity: Any) -> Iterator[Bit]:
        mirrored = self._mirrored(entity)
        self.heights.append(float(entity.dxf.get("elevation", 0.0)) * self.scale * (-1.0 if mirrored else 1.0))
        points = [(self._at((x, y, 0.0), mirrored, flat=True), float(b)) for x, y, b in entity.get_points("xyb")]
        yield from self._chain(points, bool(entity.closed), mirrored)

    def _polyline(self, entity: Any) -> Iterator[Bit]:
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            raise ImportFailed("it has a mesh, which cannot be cut; expected lines and arcs")
        mirrored = self._mirrored(entity) if entity.is_2d_polyline else False
        corners = [v for v in entity.vertices if not int(v.dxf.get("flags", 0)) & 16]  # 16: of a spline's frame
        points = [(self._at(v.dxf.location, mirrored), float(v.dxf.get("bulge", 0.0))) for v in corners]
        yield from self._chain(points, bool(entity.is_closed), mirrored)

    @staticmethod
    def _chain(points: list[tuple[Point, float]], closed: bool, mirrored: bool) -> Iterator[Bit]:
        for k in range(len(points) if closed else len(points) - 1):
            (a, bulge), (b, _) = points[k], points[(k + 1) % len(points)]
            if not abs(bulge) <= 1e4:
                raise ImportFailed("a bulge in it is a full circle; expected arcs of less")
            yield from Bit(a, b, -bulge if mirrored else bulge).halved()

    def _ellipse(self, entity: Any) -> Iterator[Bit]:
        mirrored = self._mirrored(entity)
        x, y = self._at(entity.dxf.center)
        ax, ay = self._at(entity.dxf.major_axis, flat=True)
        ratio = float(entity.dxf.ratio) * (-1.0 if mirrored else 1.0)
        bx, by = -ay * ratio, ax * ratio
        first, last = float(entity.dxf.start_param), float(entity.dxf.end_param)
        self._check_size(first, last, bx, by)
        sweep = (last - first) % (2 * math.pi) or 2 * math.pi
        if math.hypot(bx, by) < SHOP.outline:
            raise ImportFailed("an ellipse in it is flat; expected one that encloses something")

        def at(t: float) -> tuple[Point, Point]:
            c, s = math.cos(t), math.sin(t)
            return (x + ax * c + bx * s, y + ay * c + by * s), (bx * c - ax * s, by * c - ay * s)

        self.free = True
        count = max(1, math.ceil(sweep / (math.pi / 2) - 1e-9))
        for k in range(count):
            yield from biarcs(at, first + sweep * k / count, first + sweep * (k + 1) / count, SHOP.outline)

    def _spline(self, entity: Any) -> Iterator[Bit]:
        if max(len(entity.control_points), len(entity.fit_points), len(entity.knots)) > MOST_EDGES:
            raise ImportFailed(f"a spline in it has more than {MOST_EDGES} points; expected the outline of one plate")
        curve = entity.construction_tool()
        for point in curve.control_points:
            self._at(point)  # the curve lies inside of their hull
        knots = sorted({float(k) for k in curve.knots()})
        order = int(curve.order)
        inner = [float(k) for k in curve.knots()]
        low, high = inner[order - 1], inner[len(inner) - order]

        def at(t: float) -> tuple[Point, Point]:
            p, d = curve.derivative(t, 1)
            return (float(p.x) * self.scale, float(p.y) * self.scale), (float(d.x), float(d.y))

        self.free = self.free or order > 2
        spans = [k for k in knots if low <= k <= high]
        for a, b in pairwise(spans):
            yield from biarcs(at, a, b, SHOP.outline)


def _counted(found: Counter[str]) -> str:
    return ", ".join(f"{count} {name}" for name, count in sorted(found.items()))


def _sorted(loops: list[Loop], notes: tuple[str, ...], units: Units) -> Outline:
    """The largest loop is the outline; the others lie inside of it or the drawing is refused."""
    if not loops:
        raise ImportFailed(f"every line in it is shorter than {SHOP.outline:g} mm: a wrong unit?; expected a plate")
    by_size = sorted(loops, key=lambda loop: -polygon.signed_area(loop))
    outer, inner = by_size[0], by_size[1:]
    if max(polygon.box(outer)[1] - polygon.box(outer)[0]) < _SMALLEST:
        raise ImportFailed(f"its outline is smaller than {_SMALLEST:g} mm: a wrong unit?; expected a plate")
    for loop in inner:
        if not polygon.inside(outer, loop[0].start):
            x, y = (show(v, units) for v in loop[0].start)
            raise ImportFailed(
                f"two outlines: one more at ({x}, {y}); expected one with its holes, or layer = that of the plate"
            )
    holes, openings = [], []
    for loop in inner:
        round_one = _as_circle(loop)
        if round_one is not None:
            holes.append(round_one)
        else:
            openings.append(backwards(loop))
    return Outline(outline=outer, holes=tuple(holes), openings=tuple(openings), notes=notes)


def _as_circle(loop: Loop) -> polygon.Hole | None:
    """The round hole that a loop of arcs about one centre makes."""
    centre, radius = loop[0].centre, loop[0].radius
    if centre is None:
        return None
    for edge in loop:
        if edge.centre is None or math.dist(edge.centre, centre) + abs(edge.radius - radius) > NUMERIC.merge:
            return None
    return centre[0], centre[1], 2.0 * radius


def _to_json(found: Outline) -> Any:
    def loop(edges: Loop) -> list[Any]:
        return [[*e.start, *e.end, e.centre, e.left] for e in edges]

    return [loop(found.outline), found.holes, [loop(edges) for edges in found.openings], found.notes]


def _from_json(kept: Any) -> Outline:
    def loop(edges: Any) -> Loop:
        return tuple(Edge((a, b), (c, d), tuple(m) if m is not None else None, left) for a, b, c, d, m, left in edges)

    outline, holes, openings, notes = kept
    return Outline(
        outline=loop(outline),
        holes=tuple((x, y, d) for x, y, d in holes),
        openings=tuple(loop(edges) for edges in openings),
        notes=tuple(notes),
    )
