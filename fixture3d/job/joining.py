"""Lines and arcs of a drawing, in any order, joined into closed loops where their ends meet."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fixture3d.errors import ImportFailed
from fixture3d.job import polygon
from fixture3d.job.biarc import Bit
from fixture3d.stock.section import Edge, Loop
from fixture3d.tolerance import SHOP
from fixture3d.units import Units, show

Point = tuple[float, float]


def joined(bits: list[Bit], units: Units) -> tuple[list[Loop], int]:
    """Closed loops of bits whose ends meet, and how many bits lay on another one.

    Args:
        bits: in any order and direction, mm.
        units: for lengths in messages.

    Raises:
        ImportFailed: one line with the place: an end is open, or more than two bits meet.
    """
    nodes = _Nodes()
    ends = [(nodes.of(bit.start), nodes.of(bit.end)) for bit in bits]
    unique: list[tuple[int, int, float]] = []
    touching: dict[int, list[int]] = {}
    twice = 0
    for bit, (a, b) in zip(bits, ends, strict=True):
        if a == b:
            continue  # shorter than the join
        sag = bit.bulge * bit.chord / 2 if a < b else -bit.bulge * bit.chord / 2
        lies_on = (unique[k] for k in touching.get(a, ()) if {a, b} == set(unique[k][:2]))
        if any(abs(_sag(nodes, *one) - sag) < SHOP.outline for one in lies_on):
            twice += 1
            continue
        for node in (a, b):
            touching.setdefault(node, []).append(len(unique))
        unique.append((a, b, bit.bulge))
    _check_closed(nodes, touching, units)
    return list(_loops(nodes, unique, touching)), twice


def _sag(nodes: _Nodes, a: int, b: int, bulge: float) -> float:
    """How far an arc leaves its chord, mm; to the right of the way from the lower to the higher corner."""
    return (1.0 if a < b else -1.0) * bulge * math.dist(nodes.points[a], nodes.points[b]) / 2


class _Nodes:
    """Corners: ends that are nearer than the join are one, found by squares of that size."""

    def __init__(self) -> None:
        self.points: list[Point] = []
        self._squares: dict[tuple[int, int], list[int]] = {}

    def of(self, point: Point) -> int:
        """The number of the corner at a point."""
        i, j = (math.floor(v / SHOP.outline) for v in point)
        for key in ((i + a, j + b) for a in (-1, 0, 1) for b in (-1, 0, 1)):
            for node in self._squares.get(key, ()):
                if math.dist(self.points[node], point) <= SHOP.outline:
                    return node
        self.points.append(point)
        self._squares.setdefault((i, j), []).append(len(self.points) - 1)
        return len(self.points) - 1


def _check_closed(nodes: _Nodes, touching: dict[int, list[int]], units: Units) -> None:
    """Refuse open ends, with the place and the size of the smallest gap, and corners where more than two lines meet."""

    def place(node: int) -> str:
        x, y = (show(v, units) for v in nodes.points[node])
        return f"({x}, {y})"

    loose = [node for node, at in touching.items() if len(at) == 1]
    if loose:
        pairs = ((math.dist(nodes.points[a], nodes.points[b]), a, b) for k, a in enumerate(loose) for b in loose[:k])
        gap, b, a = min(pairs, default=(0.0, loose[0], loose[0]))
        more = f" and at {len(loose) - 2} more ends" if len(loose) > 2 else ""
        if a == b:
            raise ImportFailed(f"a line of the drawing ends in nothing at {place(a)}; expected a closed outline")
        raise ImportFailed(
            f"the outline is open: a gap of {show(gap, units)} between {place(a)} and {place(b)}{more}; "
            f"expected ends within {SHOP.outline:g} mm"
        )
    crowded = next((node for node, at in touching.items() if len(at) > 2), None)
    if crowded is not None:
        count = len(touching[crowded])
        raise ImportFailed(f"{count} lines of the drawing meet at {place(crowded)}; expected two at every corner")


def _loops(nodes: _Nodes, bits: list[tuple[int, int, float]], touching: dict[int, list[int]]) -> Iterator[Loop]:
    left = set(range(len(bits)))
    while left:
        k = min(left)
        at = bits[k][0]
        edges: list[Edge] = []
        while k in left:
            left.discard(k)
            a, b, bulge = bits[k]
            start, end, turn = (a, b, bulge) if a == at else (b, a, -bulge)
            edges.append(Bit(nodes.points[start], nodes.points[end], turn).edge())
            at = end
            k = next((j for j in touching[at] if j in left), k)
        yield polygon.left_turning(tuple(edges))
