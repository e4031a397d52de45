"""How a whole setup is mirrored, turned and moved on its table so that every hole comes to lie on a hole.

Places are counted in pitches from A1 along world X and Y; between two holes there are halves.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError, TableError, nearest_name, one_line
from fixture3d.frame import Array
from fixture3d.scene.table import Hole, Table

Spot = tuple[float, float]
Turns = tuple[tuple[int, int], tuple[int, int]]
Mirror = Literal["left-right", "front-back"]
MIRRORS: Final[tuple[Mirror, ...]] = ("left-right", "front-back")

_AS_IT_IS: Final[Turns] = ((1, 0), (0, 1))
_MIRROR: Final[dict[Mirror, Turns]] = {"left-right": ((-1, 0), (0, 1)), "front-back": ((1, 0), (0, -1))}
_TURN: Final[dict[int, Turns]] = {90: ((0, -1), (1, 0)), 180: ((-1, 0), (0, -1)), 270: ((0, 1), (-1, 0))}
WAYS: Final[dict[str, Spot]] = {"right": (1.0, 0.0), "left": (-1.0, 0.0), "back": (0.0, 1.0), "front": (0.0, -1.0)}
_SQUARE: Final = 1e-9  # mm; two pitches that differ by less are one


@dataclass(frozen=True, kw_only=True)
class Change:
    """Takes a place p, in pitches from A1, to ``turns`` p + ``shift``.

    Attributes:
        turns: rows of a (2, 2) matrix of 0, 1 and -1; its determinant is -1 when it mirrors.
        shift: in pitches.
        words: what is done, one phrase a step.
        move: the part of ``shift`` that was asked for as a move.
    """

    turns: Turns = _AS_IT_IS
    shift: Spot = (0.0, 0.0)
    words: tuple[str, ...] = ()
    move: Spot = (0.0, 0.0)

    @property
    def mirrors(self) -> bool:
        """Whether left and right hand change places."""
        (a, b), (c, d) = self.turns
        return a * d - b * c < 0

    @property
    def degrees(self) -> float:
        """The turn about the vertical that is left when X was turned over first, if it mirrors."""
        flip = -1 if self.mirrors else 1
        return float(
            {(1, 0): 0, (0, 1): 90, (-1, 0): 180, (0, -1): 270}[flip * self.turns[0][0], flip * self.turns[1][0]]
        )

    @property
    def quarter(self) -> bool:
        """Whether columns become rows."""
        return self.turns[0][0] == 0

    def spot(self, at: Spot) -> Spot:
        """Where a place comes to lie."""
        (a, b), (c, d) = self.turns
        return a * at[0] + b * at[1] + self.shift[0], c * at[0] + d * at[1] + self.shift[1]

    def then(self, later: Change) -> Change:
        """This, and ``later`` after it."""
        turns = np.array(later.turns) @ np.array(self.turns)
        (a, b), (c, d) = turns.tolist()
        return Change(
            turns=((a, b), (c, d)),
            shift=later.spot(self.shift),
            words=(*self.words, *later.words),
            move=(self.move[0] + later.move[0], self.move[1] + later.move[1]),
        )

    def to_world(self, table: Table) -> Array:
        """The same for world points, (4, 4)."""
        out = frame.identity()
        out[:2, :2] = self.turns
        out[:2, 3] = np.array(self.shift) * np.array(table.pitch)
        return out


def spot_of(table: Table, hole: Hole) -> Spot:
    """A hole of the table top in pitches from A1."""
    half = 0.5 if hole.plus else 0.0
    return table.naming.signs[0] * (hole.i + half), table.naming.signs[1] * (hole.j + half)


def hole_at(table: Table, at: Spot) -> str | None:
    """The name of the hole of the table top at a place; None where there is none."""
    u, v = (sign * c for sign, c in zip(table.naming.signs, at, strict=True))
    plus = u % 1.0 == 0.5
    i, j = u - 0.5 * plus, v - 0.5 * plus
    if i != round(i) or j != round(j) or not table.has(round(i), round(j), plus):
        return None
    return table.hole_name(round(i), round(j), plus)


def change_of(
    table: Table, mirror: Mirror | None = None, turn: int = 0, move: Sequence[str] = (), about: str | None = None
) -> Change:
    """What is asked for, in this order: mirrored, turned, moved.

    Args:
        table: of the scene.
        mirror: which two sides change places.
        turn: degrees counter-clockwise from above: 0, 90, 180 or 270.
        move: such as ``["right", "6", "back", "2"]``, in holes.
        about: hole about which it is mirrored and turned, or two with a stroke between them for the middle of both;
            the middle of the table when None.

    Raises:
        FixtureError: no hole would come to lie on a hole, or the words cannot be read.
    """
    done = Change()
    middle, where = _about(table, about)
    if mirror is not None:
        turns = _MIRROR[mirror]
        line = "column" if mirror == "left-right" else "row"
        words = f"mirrored {mirror.replace('-', ' to ')} about {where if about is None else f'the {line} of {where}'}"
        done = done.then(Change(turns=turns, shift=_shift(turns, middle), words=(words,)))
    if turn:
        done = done.then(_turned(table, turn, middle, where, about))
    if move:
        right, back = read_move(move)
        done = done.then(Change(shift=(right, back), move=(right, back), words=(f"moved {move_words((right, back))}",)))
    return done


def _shift(turns: Turns, middle: Spot) -> Spot:
    moved = Change(turns=turns).spot(middle)
    return middle[0] - moved[0], middle[1] - moved[1]


def _turned(table: Table, turn: int, middle: Spot, where: str, about: str | None) -> Change:
    turns = _TURN[turn]
    shift = _shift(turns, middle)
    if turn != 180 and abs(table.pitch[0] - table.pitch[1]) > _SQUARE:
        raise FixtureError(
            f"--turn {turn}: the holes are {table.pitch[0]:g} mm apart one way and {table.pitch[1]:g} mm the other, so "
            "a quarter turn brings no hole on to a hole; expected --turn 180"
        )
    if shift[0] != round(shift[0]) or shift[1] != round(shift[1]):
        if about is not None:
            what = f"--about {one_line(about)}: a quarter turn about it brings holes between holes"
            raise FixtureError(f"{what}; expected a hole, or the middle of four, as in A1/B2")
        # The table has an odd number of columns and an even one of rows, or the other way about.
        middle = (middle[0] - 0.5 * table.naming.signs[0], middle[1])
        shift, where = _shift(turns, middle), f"{where}, half a pitch aside"
    return Change(turns=turns, shift=shift, words=(f"turned {turn} degrees about {where}",))


def _about(table: Table, about: str | None) -> tuple[Spot, str]:
    if about is None:
        right, back = (
            sign * (n - 1) / 2.0 for sign, n in zip(table.naming.signs, (table.columns, table.rows), strict=True)
        )
        return (right, back), "the middle of the table"
    try:
        holes = [table.find(name) for name in about.split("/")]
    except TableError as error:
        raise FixtureError(f"--about {one_line(about)}: {error}") from error
    if len(holes) > 2 or any(hole.grid for hole in holes):
        raise FixtureError(f"--about {one_line(about)}: expected a hole of the table top, or two as in H4/I4")
    spots = [spot_of(table, hole) for hole in holes]
    middle = (spots[0][0] + spots[-1][0]) / 2.0, (spots[0][1] + spots[-1][1]) / 2.0
    if any((4.0 * c) % 2.0 for c in middle):
        raise FixtureError(f"--about {one_line(about)}: their middle is neither a hole nor halfway between neighbours")
    return middle, "/".join(hole.name for hole in holes)


def read_move(words: Sequence[str], option: str = "--move") -> Spot:
    """Holes to the right and to the back, of ``["right", "6", "back", "2"]``.

    Raises:
        FixtureError: they are other words.
    """
    parts = re.findall(r"[^\s,]+", " ".join(words))
    right = back = 0.0
    if not parts or len(parts) % 2:
        raise FixtureError(f'{option} {one_line(" ".join(words))}: expected pairs, such as "{option} right 6 back 2"')
    for first, second in zip(parts[::2], parts[1::2], strict=True):
        way, number = (second, first) if second.casefold() in WAYS else (first, second)
        if way.casefold() not in WAYS:
            near = nearest_name(way, WAYS)
            raise FixtureError(
                f'{option}: "{one_line(way)}" is no way to move; expected right, left, back or front'
                + (f"; nearest: {near}" if near else "")
            )
        if not re.fullmatch(r"[0-9]{1,4}", number):
            raise FixtureError(f'{option}: "{one_line(number)}" is not a number of holes; expected such as {way} 6')
        right += WAYS[way.casefold()][0] * int(number)
        back += WAYS[way.casefold()][1] * int(number)
    return right, back


def move_words(move: Spot) -> str:
    """``right 6, back 2``, as ``--move`` takes it; ``by nothing``."""
    sides = (("right", "left"), ("back", "front"))
    parts = [f"{plus if n > 0 else minus} {abs(n):g}" for n, (plus, minus) in zip(move, sides, strict=True) if n]
    return " ".join(parts) or "by nothing"


def missing(table: Table, spots: Iterable[Spot]) -> Spot | None:
    """By how much places must be moved to be on the table top, nearest first; zeros when they are.

    Returns:
        None when they are further apart than the table's holes.
    """
    found = np.array(list(spots)).reshape(-1, 2)
    out = [0.0, 0.0]
    for k, count in enumerate((table.columns, table.rows)):
        if not len(found):
            continue
        low, high = sorted((0.0, float(table.naming.signs[k] * (count - 1))))
        least, most = low - found[:, k].min(), high - found[:, k].max()
        if least > most:
            return None
        out[k] = float(min(max(0.0, np.ceil(least)), np.floor(most)))
    return out[0], out[1]
