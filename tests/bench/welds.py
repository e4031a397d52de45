"""Welds found between two pieces, against the modelling kernel alone in the same run: ms a pair, and joints right.

Run alone: ``python tests/bench/welds.py``. The joints are those of ``tests/weld_cases.py``, solids made beforehand;
for both, all that is done with them is timed (the finder checks, meshes and reads them first). Baseline: every edge of
either piece is asked for its distance from the other solid at the places where the finder looks first (7 at least, 4 mm
apart), and counts as far as it lies within the root gap. It knows no type, no opening, and not which of two equal
edges is the line; so its length is right where the greater of both pieces' sums, or the length of the kernel's own
section of the pair, is within 0.5 % and 0.5 mm of all lines that are expected, open and closed. Where there are three
pieces, all their pairs are looked at and the time is shared out among them.

The last line is one JSON object: ``figure`` and ``baseline`` are the medians of ms a pair (processor time, so that a
busy machine changes little), ``most`` the finder's slowest pair, ``right`` and ``baseline_right`` joints of ``joints``.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d.solid import kernel
from fixture3d.tolerance import JOINTS
from fixture3d.welding import find_welds
from tests.weld_cases import CASES, faults, near


def edges(solid: Any) -> list[Any]:
    """The edges of a solid, each once."""
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedMapOfShape

    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(solid, TopAbs_EDGE, found)
    return [TopoDS.Edge_s(found.FindKey(k + 1)) for k in range(found.Extent())]


def length_of(edge: Any) -> float:
    """Mm."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GCPnts import GCPnts_AbscissaPoint

    return float(GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(edge)))


def edges_near(own: Any, other: Any, gap: float) -> float:
    """Length of the edges of one solid that lies within the gap of another, mm, by the kernel's distance query."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.GCPnts import GCPnts_UniformAbscissa

    total = 0.0
    for edge in edges(own):
        query = BRepExtrema_DistShapeShape(edge, other)
        if not query.IsDone() or query.Value() > gap:
            continue
        curve, length = BRepAdaptor_Curve(edge), length_of(edge)
        parts = max(7, int(length / JOINTS.step) + 1)
        places = GCPnts_UniformAbscissa(curve, 2 * parts + 1, 1e-6)
        within = 0
        for k in range(parts):
            point = curve.Value(places.Parameter(2 * k + 2))
            distance = BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(point).Vertex(), other)
            within += distance.IsDone() and distance.Value() <= gap
        total += length * within / parts
    return total


def section_length(a: Any, b: Any) -> float:
    """Length of the kernel's section of two solids, mm."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section

    return sum(length_of(edge) for edge in edges(BRepAlgoAPI_Section(a, b).Shape()))


def main() -> None:
    """Time and score both."""
    ours: list[float] = []
    theirs: list[float] = []
    right = baseline_right = 0
    for name in CASES:
        case = replace(CASES[name](), name=name)
        pieces = {key: kernel.one_solid(body) for key, body in case.pieces.items()}
        start = time.process_time()
        found = find_welds(pieces, case.gap)
        pairs = list(combinations(pieces.values(), 2))
        ours.append(1e3 * (time.process_time() - start) / len(pairs))
        right += not faults(case, found)
        start = time.process_time()
        lengths = [
            sum(max(edges_near(a, b, case.gap), edges_near(b, a, case.gap)) for a, b in pairs),
            sum(section_length(a, b) for a, b in pairs),
        ]
        theirs.append(1e3 * (time.process_time() - start) / len(pairs))
        wanted = sum(length for _, length in case.open) + sum(case.closed)
        baseline_right += any(near(length, wanted) for length in lengths)
    figure, baseline = statistics.median(ours), statistics.median(theirs)
    print(f"found: {figure:.0f} ms a pair (most {max(ours):.0f}), {right} of {len(ours)} right, with types")
    print(f"kernel alone: {baseline:.0f} ms a pair (most {max(theirs):.0f}), {baseline_right} right by length alone")
    print(f"{baseline / figure:.1f} times as fast")
    result = {
        "figure": figure,
        "baseline": baseline,
        "ratio": baseline / figure,
        "most": max(ours),
        "right": right,
        "baseline_right": baseline_right,
        "joints": len(ours),
    }
    print(json.dumps({key: round(value, 2) for key, value in result.items()}))


if __name__ == "__main__":
    main()
