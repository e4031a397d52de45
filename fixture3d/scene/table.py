"""The hole grid: names, pitch, and the way between a hole's name and its place.

Directions are those of a person who stands at the front of the table: world X to the right, world Y to the back, Z
up, always. The world origin is the centre of hole A1 on the table top. ``Naming.corner`` says in which corner of
the table A1 lies; letters and numbers then count away from that corner. With A1 in the front right corner, B1 lies
to its left, at x = -pitch: X still points right, so the frame stays right-handed and "front" still means low Y.

Nothing here builds a list of all holes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, Literal

import numpy as np

from fixture3d import frame
from fixture3d.errors import TableError, nearest_name, one_line
from fixture3d.frame import Array
from fixture3d.scene.sizes import LONGEST, MOST_HOLES_A_SIDE, SMALLEST_BORE
from fixture3d.scene.slots import TableSlot, slot_faults
from fixture3d.tolerance import SHOP

Corner = Literal["front left", "front right", "back left", "back right"]
CORNERS: Final[tuple[Corner, ...]] = ("front left", "front right", "back left", "back right")
Axis = Literal["letters", "numbers"]

_ALPHABET: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_HOLE: Final = re.compile(r"([A-Za-z]{1,4})([0-9]{1,5})(\+?)", re.ASCII)


@dataclass(frozen=True, kw_only=True)
class Naming:
    """How the holes of one grid are named.

    Attributes:
        x: what counts along the columns, letters or numbers.
        y: the other one, along the rows.
        corner: where A1 lies, seen from the front.
        skip: letters that are left out, often I and O.
    """

    x: Axis = "letters"
    y: Axis = "numbers"
    corner: Corner = "front left"
    skip: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if {self.x, self.y} != {"letters", "numbers"}:
            raise TableError(
                'one axis must be named by letters and the other by numbers, as in { x = "letters", y = "numbers" }'
            )
        if self.corner not in CORNERS:
            raise TableError(f'corner "{one_line(self.corner)}" is not known; expected one of {", ".join(CORNERS)}')
        for letter in self.skip:
            if len(letter) != 1 or letter.upper() not in _ALPHABET:
                raise TableError(f'skip has "{one_line(letter)}"; expected single letters A to Z')
        if len(self.alphabet) < 2:
            raise TableError("skip leaves fewer than two letters to name holes with")

    @cached_property
    def alphabet(self) -> str:
        """The letters in use, in order."""
        skipped = {letter.upper() for letter in self.skip}
        return "".join(c for c in _ALPHABET if c not in skipped)

    @property
    def signs(self) -> tuple[int, int]:
        """Along +X and +Y of the grid: 1 when columns (rows) count that way, -1 when against it."""
        return (1 if self.corner.endswith("left") else -1), (1 if self.corner.startswith("front") else -1)

    def letters(self, index: int) -> str:
        """Letters of column or row ``index`` from 0: A ... Z, AA, AB ... without the skipped ones."""
        base, out = len(self.alphabet), ""
        n = index + 1
        while n > 0:
            n, digit = divmod(n - 1, base)
            out = self.alphabet[digit] + out
        return out

    def index(self, letters: str) -> int | None:
        """The index of ``letters`` from 0, or None when a skipped letter is among them."""
        n = 0
        for c in letters.upper():
            digit = self.alphabet.find(c)
            if digit < 0:
                return None
            n = n * len(self.alphabet) + digit + 1
        return n - 1


@dataclass(frozen=True, kw_only=True)
class Hole:
    """One hole.

    Attributes:
        name: as the user writes it, with the grid: ``C4``, ``C4+``, ``side:B2``.
        grid: name of its grid, empty for the table top.
        i: column from 0, counted from A1.
        j: row from 0.
        plus: in the second grid of a staggered table, half a pitch further along both.
        xy: centre in the grid's own plane, mm.
        xyz: centre in world, mm.
    """

    name: str
    grid: str
    i: int
    j: int
    plus: bool
    xy: tuple[float, float]
    xyz: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Grid:
    """One plane with holes: the table top, a table side, an angle plate.

    Attributes:
        name: empty for the table top.
        origin: (3,) world mm, the centre of its A1.
        x: (3,) world unit vector, to the right along the columns.
        y: (3,) world unit vector, at right angles to ``x``; the plane's normal is x cross y and points out.
        columns: how many holes along x.
        rows: how many along y.
        pitch: (2,) mm between neighbours along x and y.
        bore: nominal diameter, mm.
        thickness: of the plate behind the plane, mm; None when not known.
        edge: (2,) mm from the plate's edge to the first hole centre along x and y; None when not known.
        stagger: a second grid lies half a pitch over and up.
        naming: how holes are named.
        blocked: names of holes that cannot be used, without the grid.
        no_nut: names of holes with a rib or leg behind them, where no nut can be put on.
    """

    name: str = ""
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    x: tuple[float, float, float] = (1.0, 0.0, 0.0)
    y: tuple[float, float, float] = (0.0, 1.0, 0.0)
    columns: int
    rows: int
    pitch: tuple[float, float]
    bore: float
    thickness: float | None = None
    edge: tuple[float, float] | None = None
    stagger: bool = False
    naming: Naming = field(default_factory=Naming)
    blocked: tuple[str, ...] = ()
    no_nut: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _check_sizes(self)
        for attribute in ("x", "y"):
            object.__setattr__(self, attribute, _unit(self, attribute))
        if abs(float(np.dot(self.x, self.y))) > 1e-6:
            raise TableError(f"{self._label}: x and y must be at right angles")
        for attribute in ("blocked", "no_nut"):
            for name in getattr(self, attribute):
                self.hole(name)

    @property
    def _label(self) -> str:
        return f'grid "{self.name}"' if self.name else "the table"

    @property
    def normal(self) -> tuple[float, float, float]:
        """The (3,) world unit vector that points out of the plane: x cross y."""
        nx, ny, nz = np.cross(self.x, self.y)
        return float(nx) + 0.0, float(ny) + 0.0, float(nz) + 0.0

    @property
    def grid_to_world(self) -> Array:
        """The (4, 4) rigid transform: grid plane is z = 0, its A1 the origin, its normal +z."""
        return frame.from_axes(self.origin, self.x, self.y, self.normal)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Low x, low y, high x, high y of the hole centres in the grid's own plane, mm."""
        sx, sy = self.naming.signs
        dx, dy = (self.columns - 1) * self.pitch[0], (self.rows - 1) * self.pitch[1]
        return min(0.0, sx * dx), min(0.0, sy * dy), max(0.0, sx * dx), max(0.0, sy * dy)

    @property
    def size(self) -> tuple[float, float, float, float] | None:
        """The plate's outline: low x, low y, high x, high y in the grid's own plane, mm; None without an edge."""
        if self.edge is None:
            return None
        x0, y0, x1, y1 = self.box
        return x0 - self.edge[0], y0 - self.edge[1], x1 + self.edge[0], y1 + self.edge[1]

    @property
    def ranges(self) -> str:
        """The names that exist, in words: ``columns A to AN, rows 1 to 30``."""
        last_x, last_y = self._label_of(self.naming.x, self.columns - 1), self._label_of(self.naming.y, self.rows - 1)
        first_x, first_y = self._label_of(self.naming.x, 0), self._label_of(self.naming.y, 0)
        return f"columns {first_x} to {last_x}, rows {first_y} to {last_y}"

    def _label_of(self, axis: Axis, index: int) -> str:
        return self.naming.letters(index) if axis == "letters" else str(index + 1)

    def has(self, i: int, j: int, plus: bool = False) -> bool:
        """Whether the grid has this hole."""
        if plus:
            return self.stagger and 0 <= i < self.columns - 1 and 0 <= j < self.rows - 1
        return 0 <= i < self.columns and 0 <= j < self.rows

    def hole_name(self, i: int, j: int, plus: bool = False) -> str:
        """The name of column ``i``, row ``j`` from 0, with the grid in front unless it is the table top.

        Raises:
            TableError: the grid has no such hole.
        """
        if not self.has(i, j, plus):
            raise TableError(f"{self._label} has no column {i + 1}, row {j + 1}{' of the second grid' if plus else ''}")
        letters, number = (i, j) if self.naming.x == "letters" else (j, i)
        short = f"{self.naming.letters(letters)}{number + 1}{'+' if plus else ''}"
        return f"{self.name}:{short}" if self.name else short

    def xy(self, i: int, j: int, plus: bool = False) -> tuple[float, float]:
        """Centre of column ``i``, row ``j`` in the grid's own plane, mm. Not limited to holes that exist."""
        sx, sy = self.naming.signs
        half = 0.5 if plus else 0.0
        return sx * (i + half) * self.pitch[0] + 0.0, sy * (j + half) * self.pitch[1] + 0.0

    def at(self, i: int, j: int, plus: bool = False) -> Hole:
        """The hole of column ``i``, row ``j`` from 0.

        Raises:
            TableError: the grid has no such hole.
        """
        name = self.hole_name(i, j, plus)
        xy = self.xy(i, j, plus)
        world = [o + xy[0] * a + xy[1] * b + 0.0 for o, a, b in zip(self.origin, self.x, self.y, strict=True)]
        return Hole(name=name, grid=self.name, i=i, j=j, plus=plus, xy=xy, xyz=(world[0], world[1], world[2]))

    def hole(self, name: str) -> Hole:
        """The hole called ``name``, without the grid's name; capitals do not matter.

        Raises:
            TableError: no such hole; the message gives the names that exist and the nearest one.
        """
        found = self._parse(name)
        if found is not None and self.has(*found):
            return self.at(*found)
        full = one_line(f"{self.name}:{name}" if self.name else name)
        on = f'grid "{self.name}"' if self.name else "the table"
        if found is not None and found[2] and not self.stagger:
            why = f'hole "{full}" is not on {on}, which has no second grid (stagger = true)'
        else:
            why = f'hole "{full}" is not on {on} ({self.ranges})'
        near = self.nearest_name(name)
        raise TableError(why + (f'; nearest: "{near}"' if near else ""))

    def _parse(self, name: str) -> tuple[int, int, bool] | None:
        match = _HOLE.fullmatch(name.strip())
        if match is None:
            return None
        letters, number = self.naming.index(match[1]), int(match[2]) - 1
        if letters is None or number < 0 or match[2].startswith("0"):
            return None
        i, j = (letters, number) if self.naming.x == "letters" else (number, letters)
        return i, j, bool(match[3])

    def nearest_name(self, name: str) -> str:
        """The hole that the user most likely meant by a name that does not exist; empty when nothing is alike."""
        plain = re.sub(r"[^A-Z0-9]", "", name.upper()) if len(name) <= 20 else ""
        for match in re.finditer(r"(.)\1", plain):  # a key hit twice
            found = self._parse(plain[: match.start()] + plain[match.start() + 1 :])
            if found is not None and self.has(*found):
                return self.hole_name(*found)
        turned = re.fullmatch(r"([0-9]+)([A-Z]+)", plain)
        found = self._parse(turned[2] + turned[1] if turned else plain)
        if found is None and (match_skip := _HOLE.fullmatch(plain)) is not None:
            found = self._past_skipped(match_skip[1], match_skip[2])
        if found is None:
            return ""
        i, j = min(found[0], self.columns - 1), min(found[1], self.rows - 1)
        return self.hole_name(i, j, name.strip().endswith("+") and self.has(i, j, True))

    def _past_skipped(self, letters: str, digits: str) -> tuple[int, int, bool] | None:
        """``letters`` with each skipped one replaced by the next that is in use, and row 0 by row 1."""
        alphabet = self.naming.alphabet
        used = "".join(next((a for a in alphabet if a >= c), alphabet[-1]) for c in letters)
        return self._parse(f"{used}{max(1, int(digits))}")

    def hole_near(self, xy: tuple[float, float], tolerance: float) -> Hole | None:
        """The hole whose centre lies within ``tolerance`` mm of ``xy`` in the grid's own plane, or None."""
        near = self.nearest_holes(xy, 1)
        if near and math.dist(near[0].xy, xy) <= tolerance:
            return near[0]
        return None

    def nearest_holes(self, xy: tuple[float, float], n: int) -> list[Hole]:
        """The ``n`` holes nearest to ``xy`` (grid's own plane, mm), nearest first; equal ones by row, then column.

        Cost grows with ``n`` only, never with the size of the grid.
        """
        if n < 1 or not (math.isfinite(xy[0]) and math.isfinite(xy[1])):
            return []
        found: list[tuple[float, int, int, bool]] = []
        for plus in (False, True) if self.stagger else (False,):
            for i, j in self._window(xy, n, plus):
                distance = math.dist(self.xy(i, j, plus), xy)
                found.append((round(distance, 9), j, i, plus))
        return [self.at(i, j, plus) for _, j, i, plus in sorted(found)[:n]]

    def _window(self, xy: tuple[float, float], n: int, plus: bool) -> Iterator[tuple[int, int]]:
        """Columns and rows that are sure to hold the ``n`` nearest holes of one of the two grids."""
        less = 1 if plus else 0
        if self.columns - less < 1 or self.rows - less < 1:
            return
        middle: list[int] = []
        for k, count in enumerate((self.columns - less, self.rows - less)):
            centre = self.naming.signs[k] * xy[k] / self.pitch[k] - (0.5 if plus else 0.0)
            middle.append(min(max(round(min(max(centre, -1.0), count + 1.0)), 0), count - 1))
        # All holes between the middle one and a hole di, dj steps away are nearer than it, so a hole whose
        # rectangle holds more than n is not among the n nearest; 3 more let equal ones in.
        for di in range(-n - 2, n + 3):
            reach = (n + 3) // (abs(di) + 1) - 1
            for dj in range(-reach, reach + 1):
                i, j = middle[0] + di, middle[1] + dj
                if self.has(i, j, plus):
                    yield i, j


def _unit(grid: Grid, attribute: str) -> tuple[float, float, float]:
    """The axis scaled to length 1, left alone when it has that length already."""
    axis = getattr(grid, attribute)
    norm = math.hypot(*axis)
    if not (math.isfinite(norm) and norm > 0.0):
        raise TableError(f"{grid._label}: {attribute} = {list(axis)} has no direction")
    if abs(norm - 1.0) < 1e-12:
        return float(axis[0]), float(axis[1]), float(axis[2])
    return axis[0] / norm, axis[1] / norm, axis[2] / norm


def _check_sizes(grid: Grid) -> None:
    """Refuse sizes that no table has.

    Raises:
        TableError: the first one found, in one sentence.
    """
    for k, (noun, count) in enumerate((("columns", grid.columns), ("rows", grid.rows))):
        if not 1 <= count <= MOST_HOLES_A_SIDE:
            raise TableError(f"{grid._label} has {count} {noun}; expected 1 to {MOST_HOLES_A_SIDE}")
        pitch = grid.pitch[k]
        if not (math.isfinite(pitch) and pitch > 0.0):
            raise TableError(f"{grid._label}: pitch {pitch} mm; expected more than 0")
        if count * pitch > LONGEST:
            raise TableError(
                f"{grid._label} would be {count * pitch / 1000:.0f} m long with {count} {noun}; expected at most 30 m"
            )
    gap = min(grid.pitch) if not grid.stagger else min(*grid.pitch, math.hypot(*grid.pitch) / 2)
    if not (math.isfinite(grid.bore) and 0.0 < grid.bore < gap):
        raise TableError(
            f"{grid._label}: bore {grid.bore:g} mm; expected more than 0 and less than {gap:g} mm, the next hole"
        )
    if grid.bore < SMALLEST_BORE:
        raise TableError(
            f"{grid._label}: bore {grid.bore:g} mm: a wrong unit?; expected at least {SMALLEST_BORE:g} mm; "
            'a table in inches wants units = "in"'
        )
    if grid.thickness is not None and not 0.0 < grid.thickness <= 1000.0:
        raise TableError(f"{grid._label}: thickness {grid.thickness:g} mm; expected more than 0 and at most 1000 mm")
    if grid.edge is not None and not all(grid.bore / 2 <= e <= LONGEST for e in grid.edge):
        raise TableError(
            f"{grid._label}: edge {min(grid.edge):g} mm; expected at least half the bore, {grid.bore / 2:g} mm"
        )


@dataclass(frozen=True, kw_only=True)
class Table(Grid):
    """The table: its top is the grid with no name, and other grids may be fixed to it.

    Attributes:
        bore_limits: ISO 286 class such as ``"H7"``, or (low, high) deviations from ``bore`` in mm.
        pitch_tolerance: plus or minus between any two neighbours, mm; None when not known.
        flatness: of the top, mm; None when not known.
        others: further grids.
        slots: straight slots through the plate.
        assumed: names of the attributes that the file did not give and that were filled in.
    """

    bore_limits: str | tuple[float, float] = SHOP.default_bore_limits
    pitch_tolerance: float | None = None
    flatness: float | None = None
    others: tuple[Grid, ...] = ()
    slots: tuple[TableSlot, ...] = ()
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.name or self.grid_to_world.tolist() != np.eye(4).tolist():
            raise TableError("the table top lies in the world's XY plane and has no grid name")
        names = [grid.name for grid in self.others]
        if "" in names or len(set(names)) != len(names):
            raise TableError("every further grid needs a name of its own")
        for slot in self.slots:
            lacks = "length" if not slot.length > 0.0 else "width" if not slot.width > 0.0 else ""
            if lacks:
                raise TableError(f'the slot "{one_line(slot.name)}" has no {lacks}')
        for fault in slot_faults(self.slots, self.size or self.box, "{:g} mm".format):
            raise TableError(f"{fault.what}; expected {fault.expected}")

    @property
    def grids(self) -> tuple[Grid, ...]:
        """The table top first, then the others."""
        return (self, *self.others)

    def grid(self, name: str) -> Grid:
        """The grid of that name; the empty name is the table top.

        Raises:
            TableError: no such grid.
        """
        for grid in self.grids:
            if grid.name == name:
                return grid
        known = [grid.name for grid in self.others]
        near = nearest_name(name, known)
        have = f"the grids are {', '.join(known)}" if known else "the table has no further grids"
        raise TableError(f'grid "{one_line(name)}" is not known; {have}' + (f"; nearest: {near}" if near else ""))

    def find(self, name: str) -> Hole:
        """The hole called ``name``: ``C4`` on the table top, ``side:B2`` on another grid.

        Raises:
            TableError: no such grid or hole, with the nearest name.
        """
        grid, colon, short = name.rpartition(":")
        return self.grid(grid.strip() if colon else "").hole(short)

    def hole_to_point(self, name: str) -> tuple[Grid, tuple[float, float, float]]:
        """The grid of the hole called ``name`` and its centre in world, mm.

        Raises:
            TableError: no such grid or hole, with the nearest name.
        """
        hole = self.find(name)
        return self.grid(hole.grid), hole.xyz

    def slot(self, name: str) -> TableSlot:
        """The slot of that name.

        Raises:
            TableError: no such slot, with the nearest name.
        """
        for slot in self.slots:
            if slot.name == name:
                return slot
        near = nearest_name(name, [slot.name for slot in self.slots])
        raise TableError(f'no slot is called "{one_line(name)}"' + (f"; nearest: {near}" if near else ""))

    def cut_by(self, hole: Hole) -> TableSlot | None:
        """The slot that cuts into the hole, if one does."""
        if hole.grid or not self.slots:
            return None
        return next((slot for slot in self.slots if slot.cuts(hole.xy, self.bore)), None)

    def cut_holes(self) -> Iterator[Hole]:
        """The holes of the table top that its slots cut into; only those near a slot are looked at."""
        for slot in self.slots:
            x0, y0, x1, y1 = slot.box
            for plus in (False, True) if self.stagger else (False,):
                spans = []
                for k, ends in enumerate(((x0, x1), (y0, y1))):
                    step, half = self.naming.signs[k] * self.pitch[k], 0.5 if plus else 0.0
                    low, high = sorted(end / step - half for end in ends)
                    spans.append(range(math.floor(low) - 1, math.ceil(high) + 2))
                for j in spans[1]:
                    for i in spans[0]:
                        if self.has(i, j, plus) and self.cut_by(hole := self.at(i, j, plus)) is slot:
                            yield hole

    def is_blocked(self, hole: Hole) -> bool:
        """Whether the hole is listed as blocked, or a slot cuts into it."""
        return _listed(hole, self.grid(hole.grid).blocked) or self.cut_by(hole) is not None

    def has_nut(self, hole: Hole) -> bool:
        """Whether a nut can be put on behind the hole: it is not blocked and not listed under ``no_nut``."""
        return not _listed(hole, self.grid(hole.grid).no_nut) and not self.is_blocked(hole)


def _listed(hole: Hole, names: tuple[str, ...]) -> bool:
    short = hole.name.rpartition(":")[2]
    return any(name.strip().upper() == short for name in names)
