"""What blocks and the table may be off besides their pins, as contributors: faces, settings, shims, the table itself.

The amounts come from the scene or from `tolerance.Accuracy` (common practice, no source). Lengths mm, angles degrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.accuracy.shapes import Shape, shifted, turned
from fixture3d.accuracy.stack import Contributor
from fixture3d.locating.closure import around
from fixture3d.tolerance import ACCURACY

__all__ = [
    "Face",
    "as_set",
    "by_hand",
    "face_off",
    "faces_moved",
    "laid_by_hand",
    "lifted",
    "lifted_by",
    "raised_by",
    "set_off",
    "shims_off",
    "table_off",
]

Array = NDArray[np.float64]

_ON = 1.0  # mm; a contact lies so near to the face that it is on: gaps of contacts are a third of it


@dataclass(frozen=True, eq=False)
class Face:
    """A face of a block that touches work.

    Attributes:
        name: of the pad, or of the side it is on.
        at: (3,) mm, a point of it.
        normal: (3,) unit, out of the block.
    """

    name: str
    at: Array
    normal: Array

    def holds(self, points: Array) -> NDArray[np.bool_]:
        """Which of some points (n, 3) lie on it."""
        result: NDArray[np.bool_] = np.abs((points - self.at) @ self.normal) <= _ON
        return result


def _on(faces: tuple[Face, ...], way: Array) -> Shape:
    """A move of 1 mm of what lies on some faces of a block; the rest of it stays."""

    def moves(points: Array) -> Array:
        there = np.any([face.holds(points) for face in faces], axis=0)
        result: Array = there[:, None] * way
        return result

    return moves


def face_off(block: str, face: Face, limit: float = ACCURACY.block, measured: float | None = None) -> Contributor:
    """A face that stands out or back from where the drawing of the block has it, counted from its pins.

    Args:
        block: its name.
        face: which.
        limit: plus or minus mm.
        measured: how far it stands out, mm, where that was measured.
    """
    words = f"{face.name} of {block}" if measured is None else f"{face.name} of {block}, measured"
    return Contributor(words, block, "block", _on((face,), face.normal), limit, measured or 0.0)


def raised_by(block: str, below: str, up: ArrayLike, measured: float) -> Contributor:
    """A block that stands on a measured one, which is higher by so much, mm."""
    return Contributor(f"height of {below}, measured", block, "block", shifted(up), ACCURACY.gauged, measured)


def set_off(block: str, faces: tuple[Face, ...], axis: ArrayLike, limit: float) -> Contributor:
    """The setting of a stop that can be moved: its moving faces go together, along its axis."""
    way = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    return Contributor(f"setting of {block}", block, "notch", _on(faces, way), limit)


def shims_off(block: str, face: Face, count: int, each: float = ACCURACY.shim) -> Contributor:
    """Shims on a face: plus or minus ``each`` for every one of them."""
    return Contributor(f"shims on {face.name} of {block}", block, "shim", _on((face,), face.normal), each * count)


def lifted(block: str, up: ArrayLike, count: int, each: float = ACCURACY.shim) -> Contributor:
    """Shims under a block."""
    return Contributor(f"shims under {block}", block, "shim", shifted(up), each * count)


def as_set(moves: Sequence[tuple[str, Shape]]) -> Contributor:
    """Blocks that stand otherwise than planned: no error but a known shift, of all of them at once.

    Args:
        moves: block, and how far its points stand from where they are planned, mm.
    """
    (first, shape), *others = moves
    names = list(dict.fromkeys(name for name, _ in moves))
    name = f"{names[0]} as set" if len(names) == 1 else "the blocks as set"
    return Contributor(name, first, "as set", shape, 0.0, bias=1.0, also=tuple(others))


def faces_moved(faces: tuple[Face, ...], way: ArrayLike) -> Shape:
    """Some faces of a block that stand off by a way, (3,) mm; the rest of it stays."""
    return _on(faces, np.asarray(way, dtype=np.float64))


def lifted_by(up: ArrayLike, by: float) -> Shape:
    """A block that stands higher by some mm, with all that is on it."""
    shape = shifted(up)

    def moves(points: Array) -> Array:
        result: Array = by * shape(points)
        return result

    return moves


def table_off(body: str, words: str, up: ArrayLike, flatness: float) -> Contributor:
    """The table under one block or piece, which is up to half of its flatness above or below the middle."""
    return Contributor(words, body, "table flatness", shifted(up), flatness / 2.0, even=True)


def by_hand(
    block: str,
    at: ArrayLike,
    up: ArrayLike,
    *,
    off: float = ACCURACY.measured,
    turn: float = ACCURACY.turned,
) -> list[Contributor]:
    """A block that no pin holds: it is set by tape and square.

    Args:
        block: its name.
        at: (3,) mm, its middle.
        up: (3,) unit normal of the plane that it stands on.
        off: plus or minus mm in the plane, either way.
        turn: plus or minus degrees.
    """
    z = np.asarray(up, dtype=np.float64)
    x, y = around(z[None], 4)[0, :2]
    return [
        Contributor(f"{block} set by tape, one way", block, "seat", shifted(x), off),
        Contributor(f"{block} set by tape, across", block, "seat", shifted(y), off),
        Contributor(f"{block} squared up by eye", block, "seat turn", turned(at, z), turn),
    ]


def laid_by_hand(piece: str, words: str, twist: Array, corners: Array, off: float = ACCURACY.measured) -> Contributor:
    """A piece that nothing stops along one motion: its fastest corner is set by tape.

    Args:
        piece: its name.
        words: of the motion.
        twist: (6,) of it, about the world origin.
        corners: (n, 3) mm, of the piece.
        off: plus or minus mm.
    """
    speed = float(np.linalg.norm(twist[:3] + np.cross(twist[3:], corners), axis=1).max())

    def moves(points: Array) -> Array:
        result: Array = (twist[:3] + np.cross(twist[3:], points)) / speed
        return result

    return Contributor(f"{piece} set by hand, for it {words}", piece, "by hand", moves, off)
