"""What is cut at an end of a member: the cut itself, a slot, a notch; and holes across it. No geometry kernel.

All in the frame of the piece: X along the member, the section's width along Y, its height along Z. Everything here is
told by one question: along the line through a point (y, z) of the section, between which X is metal taken away?
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.job.cope import Saddle
from fixture3d.job.cuts import CutPlane
from fixture3d.stock.section import Loop, Section

Kind = Literal["square", "mitre", "mitre_to", "cope", "against"]
Side = Literal["top", "bottom", "left", "right"]
OUTWARD: dict[Side, tuple[float, float]] = {
    "top": (0.0, 1.0),
    "bottom": (0.0, -1.0),
    "left": (1.0, 0.0),
    "right": (-1.0, 0.0),
}
"""Where each side of a section looks, as (y, z)."""

Line = tuple[float, float, float]
"""A line ``a * y + b * z = c`` in the section, where something changes: (a, b, c)."""


@dataclass(frozen=True, kw_only=True)
class SlotCut:
    """A slot at an end, through the whole section, with a square bottom.

    Attributes:
        side: 1 at the end of the member, -1 at its start.
        bottom: X of its bottom, mm.
        depth: from where the end's cut crosses the centre line, mm.
        across: unit direction over its width, as (y, z).
        offset: of its middle from the centre line along ``across``, mm.
        width: mm.
    """

    side: int
    bottom: float
    depth: float
    across: tuple[float, float]
    offset: float
    width: float

    def taken(self, y: Array, z: Array) -> tuple[Array, Array]:
        """Least and greatest X that is taken away on each line; the same twice where nothing is."""
        inside = np.abs(self.across[0] * y + self.across[1] * z - self.offset) < self.width / 2.0
        return _beyond(self.side, self.bottom, inside)

    def lines(self) -> Iterator[Line]:
        """Its two sides."""
        for half in (-self.width / 2.0, self.width / 2.0):
            yield (*self.across, self.offset + half)


@dataclass(frozen=True, kw_only=True)
class NotchCut:
    """A side or a corner of the section taken away at an end.

    Attributes:
        side: 1 at the end of the member, -1 at its start.
        bottom: X of its bottom, mm.
        length: from where the end's cut crosses the centre line, mm.
        faces: the sides of the section that it opens: outward direction as (y, z), and how far from the centre line
            it begins along that, mm.
        name: of the side or corner, as the scene has it.
        depths: how far it goes in from each of these sides, mm, in the order of the name.
    """

    side: int
    bottom: float
    length: float
    faces: tuple[tuple[tuple[float, float], float], ...]
    name: str
    depths: tuple[float, ...]

    def taken(self, y: Array, z: Array) -> tuple[Array, Array]:
        """Least and greatest X that is taken away on each line; the same twice where nothing is."""
        inside = np.ones(np.shape(y), dtype=bool)
        for (a, b), begin in self.faces:
            inside = inside & (a * y + b * z > begin)
        return _beyond(self.side, self.bottom, inside)

    def lines(self) -> Iterator[Line]:
        """Its inner faces."""
        for (a, b), begin in self.faces:
            yield (a, b, begin)


def _beyond(side: int, bottom: float, inside: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Everything beyond a bottom toward an end, where ``inside``."""
    low = np.where(inside & (side < 0), -np.inf, bottom)
    return low, np.where(inside & (side > 0), np.inf, bottom)


@dataclass(frozen=True, kw_only=True)
class HoleCut:
    """A round hole square across a member.

    Attributes:
        x: of its axis, from the origin of the piece, mm.
        diameter: mm.
        side: of the section that it is drilled from.
        offset: of its axis from the centre line: along Y for top and bottom, along Z for left and right, mm.
        through: all the way; or only to the middle of the section.
    """

    x: float
    diameter: float
    side: Side
    offset: float
    through: bool

    @property
    def upright(self) -> bool:
        """Whether its axis runs along the section's height."""
        return self.side in ("top", "bottom")

    def taken(self, y: Array, z: Array) -> tuple[Array, Array]:
        """Least and greatest X that is taken away on each line; the same twice where nothing is."""
        beside = (y if self.upright else z) - self.offset
        half = np.sqrt(np.maximum((self.diameter / 2.0) ** 2 - beside**2, 0.0))
        if not self.through:
            a, b = OUTWARD[self.side]
            half = np.where(a * y + b * z > 0.0, half, 0.0)
        return self.x - half, self.x + half

    def lines(self) -> Iterator[Line]:
        """Its rim, and the middle of the section when it ends there."""
        direction = (1.0, 0.0) if self.upright else (0.0, 1.0)
        for half in (-self.diameter / 2.0, self.diameter / 2.0):
            yield (*direction, self.offset + half)
        if not self.through:
            yield (*OUTWARD[self.side], 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class EndCut:
    """One end of a member.

    Attributes:
        kind: how it is cut.
        side: 1 at the end of the member, -1 at its start.
        plane: the cut; of a cope the flat cut at the same angle through the point where the centre line ends.
        to: name of the other piece that it goes by.
        onto: designation of that piece's stock, or ``plate``; empty for a square cut or a stated mitre.
        gap: root gap left to it, mm.
        saddle: of a cope, else None.
        slot: besides the cut.
        notch: besides the cut.
    """

    kind: Kind
    side: int
    plane: CutPlane
    to: str = ""
    onto: str = ""
    gap: float = 0.0
    saddle: Saddle | None = None
    slot: SlotCut | None = None
    notch: NotchCut | None = None

    def x(self, y: Array, z: Array) -> Array:
        """X in mm at which lines through points (y, z) of the section are cut, slot and notch left aside."""
        if self.saddle is not None:
            return self.saddle.x(y, z)
        g, h = self.plane.slope
        return np.asarray(self.plane.point[0] + g * y + h * z)

    @property
    def openings(self) -> tuple[SlotCut | NotchCut, ...]:
        """Slot and notch, those that are there."""
        return tuple(one for one in (self.slot, self.notch) if one is not None)

    def lines(self) -> Iterator[Line]:
        """Lines in the section where the cut's shape changes."""
        if self.saddle is not None:
            yield from self.saddle.breaks()
        for one in self.openings:
            yield from one.lines()

    def tip(self, section: Section) -> float:
        """X of the outermost point of the cut: where the stock must begin or end, mm."""
        if self.saddle is None:
            y, z = self.plane.slope
            return round(float(self.plane.point[0]) + self.side * section.reach(self.side * y, self.side * z), 9)
        return self.side * farthest(section.outline()[0], lambda y, z: self.side * self.x(y, z))

    def throat(self, section: Section) -> float:
        """X of the innermost point of the cut on the outside of the section, mm."""
        if self.saddle is None:
            y, z = self.plane.slope
            return round(float(self.plane.point[0]) - self.side * section.reach(-self.side * y, -self.side * z), 9)
        return -self.side * farthest(section.outline()[0], lambda y, z: -self.side * self.x(y, z))

    def moved(self, by: float) -> EndCut:
        """The same shifted along the member by so many mm."""

        def along(one: float) -> float:
            return round(one + by, 9) + 0.0

        return replace(
            self,
            plane=self.plane.moved(np.array([by, 0.0, 0.0])),
            saddle=None if self.saddle is None else self.saddle.moved(by),
            slot=None if self.slot is None else replace(self.slot, bottom=along(self.slot.bottom)),
            notch=None if self.notch is None else replace(self.notch, bottom=along(self.notch.bottom)),
        )

    def numbers(self) -> str:
        """Every number that decides its shape, and nothing of names, for cache keys."""
        plane = [tuple(map(float, self.plane.point)), tuple(map(float, self.plane.normal))]
        openings = [repr(self.slot), None if self.notch is None else repr(replace(self.notch, name=""))]
        return repr([repr(self.saddle) if self.saddle is not None else plane, *openings])


def farthest(loop: Loop, height: Callable[[Array, Array], Array]) -> float:
    """The greatest value of a function of (y, z) on an outline, by ever finer looks; true to 1e-6 mm."""
    best = -np.inf
    for edge in loop:
        low, high = 0.0, 1.0
        points, values = 129, np.zeros(0)
        for _ in range(9):
            t = np.linspace(low, high, points)
            at, _ = edge.at(t)
            values = height(at[:, 0], at[:, 1])
            k = int(np.argmax(values))
            low, high = float(t[max(k - 1, 0)]), float(t[min(k + 1, points - 1)])
            points = 17
        best = max(best, float(values.max()))
    return round(best, 6)
