"""Welds as lines of a picture: each cut into stretches by how well the torch reaches them, with a pattern for each.

| what | pattern | colour |
| ---- | ------- | ------ |
| the torch reaches it | full line | green |
| a stretch that it does not reach, of a weld that it reaches in part | dashes | amber |
| a weld of which it reaches no point | crosses | red |
| nothing was tried | thin line | ink |

All of them lie on a white band, so that they stand out from work and blocks of any colour. mm, world.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.tolerance import NUMERIC

State = Literal["reached", "part", "blocked", "unchecked"]

STYLE: Final[dict[State, tuple[str, str]]] = {
    "reached": ("#1d6b3a", "weld the torch reaches"),
    "part": ("#9a5b00", "stretch it does not reach"),
    "blocked": ("#a3201d", "weld it reaches nowhere"),
    "unchecked": ("#22282b", "weld not tried"),
}
"""Colour and words of each state; each has a contrast of 4.5 to white or more (WCAG 2.2, 1.4.3)."""
DASH: Final = 12.0
GAP: Final = 8.0
PITCH: Final = 18.0
ARM: Final = 7.0
"""Length of dashes, of the gaps between them, from cross to cross and of half a cross's stroke, pixels of a picture
1200 pixels high."""
DOUBT: Final = "weld to be settled, see the report"


@dataclass(frozen=True, kw_only=True, eq=False)
class WeldLine:
    """One weld as it is drawn.

    Attributes:
        name: of the weld.
        state: of the whole weld; part when only some of it is reached.
        stretches: state and polyline (n, 3) of each stretch, in order along the weld. The stretches of a weld that is
            reached in part are "reached" and "part".
        doubtful: what it is was found and is to be settled.
    """

    name: str
    state: State
    stretches: tuple[tuple[State, Array], ...]
    doubtful: bool = False

    @property
    def middle(self) -> Array:
        """The point half way along it."""
        whole = np.concatenate([points for _, points in self.stretches])
        return point_along(whole, length_of(whole) / 2.0)


def weld_lines(job: Job, rows: Sequence[Mapping[str, Any]] = ()) -> list[WeldLine]:
    """Every weld of a job.

    Args:
        job: the setup.
        rows: the figures of the check of torch access, one a weld; none when it was not run.
    """
    known = {row["name"]: row for row in rows}
    out = []
    for weld in job.welds:
        row = known.get(weld.name)
        reachable = row["reachable"] if row is not None else None
        unreached = row["unreached"] if row is not None else ()
        path = np.asarray(weld.path, dtype=np.float64)
        state, parts = stretches(path, reachable, unreached or ())
        doubtful = job.found is not None and bool(job.found.doubts(weld.name))
        out.append(WeldLine(name=weld.name, state=state, stretches=parts, doubtful=doubtful))
    return out


def stretches(
    path: Array, reachable: float | None, unreached: Sequence[Sequence[float]]
) -> tuple[State, tuple[tuple[State, Array], ...]]:
    """The state of a weld, and its stretches.

    Args:
        path: (n, 3) mm.
        reachable: mm of it that the torch reaches; None when it was not tried.
        unreached: from and to, mm along the path, of what it does not reach, in order.
    """
    if reachable is None:
        return "unchecked", (("unchecked", path),)
    if reachable <= NUMERIC.merge:
        return "blocked", (("blocked", path),)
    if not unreached:
        return "reached", (("reached", path),)
    out: list[tuple[State, Array]] = []
    at, end = 0.0, length_of(path)
    for low, high in unreached:
        if low > at + NUMERIC.merge:
            out.append(("reached", between(path, at, low)))
        out.append(("part", between(path, low, high)))
        at = high
    if end > at + NUMERIC.merge:
        out.append(("reached", between(path, at, end)))
    return "part", tuple(out)


def _along(path: Array) -> Array:
    """Distance of each vertex of a path from its start, mm."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])


def length_of(path: Array) -> float:
    """Length of a polyline (n, 3), mm."""
    return float(_along(path)[-1])


def point_along(path: Array, at: float) -> Array:
    """The point (3,) that lies ``at`` mm along a polyline."""
    along = _along(path)
    return np.array([np.interp(at, along, path[:, k]) for k in range(3)])


def between(path: Array, low: float, high: float) -> Array:
    """The part of a polyline from ``low`` to ``high`` mm along it, (m, 3)."""
    along = _along(path)
    inner = path[(along > low + NUMERIC.merge) & (along < high - NUMERIC.merge)]
    return np.vstack([point_along(path, low), inner, point_along(path, high)])


def dashes(path: Array, dash: float, gap: float) -> list[Array]:
    """A polyline cut into dashes of about those lengths, mm; it begins and ends with a dash, at least two of them."""
    long = length_of(path)
    count = max(2, round((long + gap) / (dash + gap)))
    scale = long / (count * dash + (count - 1) * gap)
    return [between(path, s, s + dash * scale) for s in (k * (dash + gap) * scale for k in range(count))]


def crosses(path: Array, pitch: float, arms: Array) -> list[Array]:
    """Strokes (2, 3) of crosses along a polyline, its ends included and at least two, about ``pitch`` apart.

    Args:
        path: (n, 3) mm.
        pitch: mm between crosses.
        arms: (k, 3) from the middle of a cross to the ends of its strokes, one way each.
    """
    long = length_of(path)
    spots = np.linspace(0.0, long, max(2, round(long / pitch) + 1))
    middles = [point_along(path, s) for s in spots]
    return [np.stack([middle - arm, middle + arm]) for middle in middles for arm in np.atleast_2d(arms)]


def strokes(state: State, path: Array, unit: float, arms: Array) -> list[Array]:
    """The lines that draw a stretch in its pattern.

    Args:
        state: which pattern.
        path: (n, 3) mm.
        unit: mm of one pixel of a picture 1200 pixels high.
        arms: of a cross, one pixel long each.
    """
    if state == "part":
        return dashes(path, DASH * unit, GAP * unit)
    if state == "blocked":
        return crosses(path, PITCH * unit, ARM * unit * arms)
    return [path]


def width(state: State) -> float:
    """Width of a pattern's lines, pixels of a picture 1200 pixels high."""
    return {"reached": 6.0, "part": 6.0, "blocked": 3.5, "unchecked": 2.0}[state]


_NEARER: Final = (
    -220.0
)  # of 65,000 parts of the depth of the scene: about 1 cm, so that no face cuts a line in a corner
_BEFORE_ALL: Final = -65_000.0
_FAINT: Final = 0.6


def add_welds(plotter: Any, lines: Sequence[WeldLine], unit: float, pixels: float, arms: Array) -> None:
    """Put welds into a plotter: what is in sight in full, on its white band; what is hidden faintly, through all.

    Args:
        plotter: where to.
        lines: the welds.
        unit: mm of one pixel of a picture 1200 pixels high.
        pixels: pixels of the picture for one of those.
        arms: (k, 3) unit vectors, the strokes of a cross.
    """
    for state in STYLE:
        parts = [points for line in lines for kind, points in line.stretches if kind == state]
        if not parts:
            continue
        drawn = [stroke for points in parts for stroke in strokes(state, points, unit, arms)]
        wide = width(state) * pixels
        band = drawn if state == "blocked" else parts
        _add(plotter, drawn, STYLE[state][0], 0.6 * wide, _BEFORE_ALL, _FAINT)
        _add(plotter, band, "white", wide + 4.0 * pixels, _NEARER)
        _add(plotter, drawn, STYLE[state][0], wide, 1.2 * _NEARER)


def _add(plotter: Any, parts: Sequence[Array], colour: str, wide: float, nearer: float, opacity: float = 1.0) -> None:
    """Lines of one colour, drawn as if they lay a little nearer to the eye than they do: not cut by the faces there."""
    import pyvista

    firsts = np.cumsum([0, *(len(part) for part in parts)])
    cells = [[len(part), *range(first, first + len(part))] for first, part in zip(firsts[:-1], parts, strict=True)]
    mesh = pyvista.PolyData(np.concatenate(parts), lines=np.array([number for cell in cells for number in cell]))
    actor = plotter.add_mesh(mesh, color=colour, line_width=max(1.0, wide), lighting=False, opacity=opacity)
    actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor.mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, nearer)
