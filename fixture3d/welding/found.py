"""What `find_welds` answers with: the welds, and what was seen but is not one, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fixture3d.frame import Array

WeldType = Literal["fillet", "butt", "corner", "lap", "edge", "flare"]
State = Literal["open", "tight", "closed"]
RemarkKind = Literal["near miss", "overlap", "too narrow", "no line", "not read", "too short"]


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundWeld:
    """One line along which two pieces can be welded.

    Attributes:
        joins: the two pieces; the first is the non-butting one, whose face runs on past the root. Where neither or
            both do, the one that was named first.
        type: fillet, butt, corner, lap (a fillet along the edge of a thin piece that lies on another), edge (flush
            edges of two thin pieces that lie on each other) or flare (along a round).
        opening: degrees between the two faces, in the middle of the line; for a flare where each round has turned
            45 degrees.
        openings: least and greatest opening along the line, degrees.
        length: mm.
        path: (n, 3) mm, in the frame of the solids; a closed line ends where it starts.
        normals: (n - 1, 2, 3) outward unit normals of the two faces at each part of the path, as in ``joins``.
        bisector: (n - 1, 3) unit vector from the root into the middle of the open space.
        root_gap: greatest gap between the pieces along the root, mm.
        state: open; tight when the opening is below 40 degrees; closed when no torch comes in, as inside a tube.
        through: whether the first piece is the non-butting one; where it is not, neither or both are.
        ambiguous: what a welder would want to settle, one sentence each; mostly empty.
        aim: (n - 1, 3) mm from the root to where the arc is aimed at each part of the path, of a flare and in a tight
            opening (`aim`); None where that is the root.
    """

    joins: tuple[str, str]
    type: WeldType
    opening: float
    openings: tuple[float, float]
    length: float
    path: Array
    normals: Array
    bisector: Array
    root_gap: float
    state: State
    through: bool = False
    ambiguous: tuple[str, ...] = ()
    aim: Array | None = None

    @property
    def closed_loop(self) -> bool:
        """Whether the line ends where it starts."""
        return bool(np.linalg.norm(self.path[0] - self.path[-1]) < 1e-6)


@dataclass(frozen=True, kw_only=True)
class Remark:
    """Something between two pieces that is not counted as a weld, so that nothing is passed over in silence.

    Attributes:
        joins: the pieces, in the order in which they were given.
        kind: near miss (gap over the limit), overlap (model error), too narrow (opening too small), no line (they
            touch at a place without an edge), not read (a free-form face), too short (a flare).
        text: one sentence with its figure.
        measured: that figure: mm, degrees for an opening, mm3 for an overlap.
        at: (x, y, z) mm, a place where it can be seen.
    """

    joins: tuple[str, str]
    kind: RemarkKind
    text: str
    measured: float
    at: tuple[float, float, float]


class FoundWelds(list[FoundWeld]):
    """The welds that were found, with `remarks`: what was seen and not counted, pair by pair."""

    def __init__(self, welds: Iterable[FoundWeld], remarks: Iterable[Remark]) -> None:
        super().__init__(welds)
        self.remarks: tuple[Remark, ...] = tuple(remarks)
