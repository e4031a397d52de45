"""Clear, touching or overlapping: one pair, or every pair of many placed bodies.

Boxes rule out almost every pair; what is left goes to `pair.relation_of`, in the frame of one of the two and in an
order that does not depend on who comes first, so that the answer is the same to the last digit wherever the two
stand together, and it can be kept by their relative placement.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.cache import Store, content_key
from fixture3d.frame import identity, inverse
from fixture3d.solid.pair import Relation, deep_in, relation_of
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import NUMERIC, SHOP

__all__ = ["Placed", "Relation", "near_pairs", "relate", "relate_all", "relate_placed"]

Array = NDArray[np.float64]
Skip = AbstractSet[frozenset[str]] | AbstractSet[tuple[str, str]] | Callable[[str, str], bool]

_KIND = "pair-2"  # raise the number when the method changes its digits
_TURN_KEY = 1e-9  # rounding of a rotation's entries


@dataclass(frozen=True, eq=False)
class Placed:
    """A shape standing somewhere.

    Attributes:
        name: unique among the bodies compared.
        shape: in its own frame.
        pose: shape_to_world, (4, 4), rigid.
    """

    name: str
    shape: Shape
    pose: Array

    def world_box(self) -> Array:
        """Least and greatest corner in the world, (2, 3) mm, of the mesh grown by its chord."""
        mesh = self.shape.mesh
        points = mesh.vertices @ self.pose[:3, :3].T + self.pose[:3, 3]
        return np.stack([points.min(axis=0) - mesh.chord, points.max(axis=0) + mesh.chord])


def relate(a: object, b: object, contact: float = SHOP.contact) -> Relation:
    """How two solids stand to one another.

    Args:
        a: cadquery shape (Workplane, Solid, ...), ``TopoDS_Shape`` or trimesh mesh, mm.
        b: likewise, in the same frame; a and b may be of different kinds.
        contact: mm; a gap up to this, or an overlap of no more depth than this, is touching. Between curved faces
            less than 0.012 mm counts as 0.012.

    Returns:
        The relation; ``gap`` is always a number, ``way_out`` is how to move b.

    Raises:
        BadSolid: one of the two is open, empty, broken or more than one solid.
        ValueError: ``contact`` is negative or not finite.
    """
    first = Placed("a", Shape.of(a), identity())
    second = Placed("b", Shape.of(b), identity())
    return relate_placed(first, second, contact=contact, reach=math.inf)


def relate_placed(
    a: Placed,
    b: Placed,
    contact: float = SHOP.contact,
    reach: float = SHOP.report_gap,
    want_way_out: bool = True,
    store: Store | None = None,
) -> Relation:
    """How two placed bodies stand to one another; ``gap`` is None when larger than ``reach``.

    Args:
        a: first body.
        b: second body; ``way_out`` is how to move it, in the world frame.
        contact: mm; see `relate`.
        reach: mm; up to where gaps are measured.
        want_way_out: False saves the search for the way out of an overlap.
        store: cache by the pair's relative placement.

    Raises:
        BadSolid: one of the two is not a usable solid.
        ValueError: ``contact`` is negative or not finite.
    """
    if not (math.isfinite(contact) and contact >= 0.0):
        raise ValueError(f"contact is {contact}; expected a length of 0 or more")
    swapped, first, second, relative = _in_order(a, b)
    found: Relation | None = None
    key = ""
    if store is not None:
        asked = f"{contact!r} {reach!r} {want_way_out}"
        key = content_key([first.shape.key, second.shape.key, relative.tobytes(), asked])
        found = _from_json(store.get_json(key, _KIND))
    if found is None:
        found = relation_of(first.shape, second.shape, relative, contact, reach, want_way_out)
        if store is not None:
            store.put_json(key, _KIND, dataclasses.asdict(found))
    if found.way_out is None:
        return found
    move = first.pose[:3, :3] @ np.asarray(found.way_out) * (-1.0 if swapped else 1.0) + 0.0
    return dataclasses.replace(found, way_out=(float(move[0]), float(move[1]), float(move[2])))


def plainly_overlap(a: Placed, b: Placed, contact: float = SHOP.contact) -> bool:
    """Whether two bodies overlap by far more than ``contact``, found quickly; False leaves it open."""
    _, first, second, relative = _in_order(a, b)
    return deep_in(first.shape, second.shape, relative, contact)


def relate_all(
    bodies: Sequence[Placed],
    skip: Skip = frozenset(),
    contact: float = SHOP.contact,
    reach: float = SHOP.report_gap,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
    want_way_out: bool = True,
) -> list[tuple[str, str, Relation]]:
    """Every pair that touches, overlaps or is apart by no more than ``reach``.

    Args:
        bodies: placed bodies; names are unique.
        skip: pairs of names not to compare, as frozensets or tuples in either order; or a function that says so.
        contact: mm; see `relate`.
        reach: mm; pairs further apart are left out.
        store: cache; None computes everything.
        progress: called with pairs done and pairs to do.
        want_way_out: False saves the search for the way out of overlaps.

    Returns:
        (name, name, relation) in the order of ``bodies``; ``way_out`` moves the second.

    Raises:
        BadSolid: a body is not a usable solid.
        ValueError: two bodies of one name.
    """
    if len({body.name for body in bodies}) != len(bodies):
        raise ValueError("Expected bodies of different names")
    skipped = _skipper(skip)
    pairs = [(i, j) for i, j in near_pairs(bodies, reach) if not skipped(bodies[i].name, bodies[j].name)]
    out = []
    for done, (i, j) in enumerate(pairs):
        found = relate_placed(bodies[i], bodies[j], contact, reach, want_way_out, store)
        if found.kind != "clear" or found.gap is not None:
            out.append((bodies[i].name, bodies[j].name, found))
        if progress is not None:
            progress(done + 1, len(pairs))
    return out


def near_pairs(bodies: Sequence[Placed], reach: float) -> list[tuple[int, int]]:
    """Index pairs i < j, sorted, whose boxes come within ``reach`` mm in the world and in each other's frame."""
    if len(bodies) < 2:
        return []
    boxes = np.stack([body.world_box() for body in bodies])
    low, high = boxes[:, 0] - reach / 2.0, boxes[:, 1] + reach / 2.0
    order = np.argsort(low[:, 0], kind="stable")
    # Along X, body k of the order can only meet those that start before it ends.
    until = np.searchsorted(low[order, 0], high[order, 0], side="right")
    found: list[tuple[int, int]] = []
    for k, stop in enumerate(until):
        others = order[k + 1 : stop]
        one = order[k]
        meet = ((low[others] <= high[one]) & (high[others] >= low[one]))[:, 1:].all(axis=1)
        found.extend((min(int(one), int(o)), max(int(one), int(o))) for o in others[meet])
    return [(i, j) for i, j in sorted(found) if _own_boxes_meet(bodies[i], bodies[j], reach)]


def _own_boxes_meet(a: Placed, b: Placed, reach: float) -> bool:
    """Whether b's box, turned into a's frame, comes within reach of a's box, and the other way round."""
    for one, other in ((a, b), (b, a)):
        relative = inverse(one.pose) @ other.pose
        box = other.shape.box
        half = np.abs(relative[:3, :3]) @ ((box[1] - box[0]) / 2.0)
        middle = relative[:3, :3] @ ((box[0] + box[1]) / 2.0) + relative[:3, 3]
        grow = reach + one.shape.mesh.chord + other.shape.mesh.chord
        low, high = one.shape.box
        if (middle - half > high + grow).any() or (middle + half < low - grow).any():
            return False
    return True


def _in_order(a: Placed, b: Placed) -> tuple[bool, Placed, Placed, Array]:
    """The two in the order of their keys, with the rounded second_to_first."""
    forward, backward = _relative(a, b), _relative(b, a)
    first = (a.shape.key, forward.ravel().tolist())
    second = (b.shape.key, backward.ravel().tolist())
    if first <= second:
        return False, a, b, forward
    return True, b, a, backward


def _relative(a: Placed, b: Placed) -> Array:
    """b_to_a, rounded, so that the same placement elsewhere gives the same digits."""
    out = inverse(a.pose) @ b.pose
    out[:3, :3] = np.round(out[:3, :3] / _TURN_KEY) * _TURN_KEY
    out[:3, 3] = np.round(out[:3, 3] / NUMERIC.key) * NUMERIC.key
    result: Array = out + 0.0  # no negative zeros
    return result


def _skipper(skip: Skip) -> Callable[[str, str], bool]:
    if callable(skip):
        return skip
    pairs = {frozenset(pair) for pair in skip}
    return lambda a, b: frozenset((a, b)) in pairs


def _from_json(value: Any) -> Relation | None:
    """A stored relation, or None when it is not one."""
    try:
        way = value["way_out"]
        gap = value["gap"]
        return Relation(
            str(value["kind"]),
            None if gap is None else float(gap),
            float(value["depth"]),
            float(value["volume"]),
            None if way is None else (float(way[0]), float(way[1]), float(way[2])),
        )
    except (TypeError, KeyError, IndexError, ValueError):
        return None
