"""Whether the work as a whole is off: one shift that would bring it to (nearly) all the faces that it should meet.

A wrong lift or offset shows as one fault at every block. The gaps of all pads along their normals give the shift; it
is worked out anew with the work in its new place before it is named. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad
from fixture3d.job.contact import near_pads
from fixture3d.tolerance import SHOP
from fixture3d.units import Units, from_mm, length

REACH = 13.0  # mm, a little over 1/2 in; a pad further from the work than this is not taken to be meant for it
SAME = 0.05  # mm; two faces that are off by no more than this from each other are off by the same
_LEAST_PADS = 3
_LEAST_BLOCKS = 2  # with less it is as well the block that is wrong
_NEARLY_ALL = 0.7  # of the blocks at the work; a few may have faults of their own
_CONTRARY = 0.2  # of the blocks that speak for the shift: as many may be right now and wrong then
_PARALLEL = 1.0 - 1e-6  # cosine


@dataclass(frozen=True, kw_only=True)
class Misplaced:
    """One shift of the work that mends what is wrong at several blocks.

    Attributes:
        shift: (3,) how the work has to move, world, as exactly as the keys below say.
        keys: the lines of ``[weldment]`` that do it, such as ``"lift = 85"``.
        blocks: that are off now and right then, in file order.
        sunk: whether the work is in one of them.
        at: (3,) middle of the faces that are off.
    """

    shift: Array
    keys: tuple[str, ...]
    blocks: tuple[str, ...]
    sunk: bool
    at: Array


@dataclass(frozen=True, kw_only=True)
class Alike:
    """All stops of one side off by the same, while others hold the work where it is.

    Attributes:
        blocks: in file order.
        gap: what each of them stands short, mm; negative when the work is in them.
        way: (3,) unit, world: how they look at the work.
        at: (3,) middle of their faces.
    """

    blocks: tuple[str, ...]
    gap: float
    way: Array
    at: Array


@dataclass(frozen=True, kw_only=True)
class _Row:
    pad: PlacedPad
    gap: float


def misplaced(job: Job) -> Misplaced | None:
    """The shift that explains (nearly) all that is wrong between blocks and work; None when there is no such."""
    rows = _rows(job, np.zeros(3), REACH)
    shift = _fitted(rows)
    if shift is None:
        return None
    keys, shift = _written(job, shift)
    fitting = [row for row in rows if abs(row.gap + float(row.pad.normal @ shift)) <= SAME]
    off = [row for row in fitting if _off(row, rows, shift)]
    blocks = tuple(dict.fromkeys(row.pad.item for row in off))
    near = {row.pad.item for row in rows}
    contrary = {r.pad.item for r in rows if abs(r.gap) <= SHOP.contact and abs(float(r.pad.normal @ shift)) > SAME}
    if (
        not keys
        or len(fitting) < _LEAST_PADS
        or len(blocks) < _LEAST_BLOCKS
        or len({row.pad.item for row in fitting}) < _NEARLY_ALL * len(near)
        or len(contrary) > _CONTRARY * len(blocks)
    ):
        return None
    then = {(row.pad.item, row.pad.pad.name) for row in _rows(job, shift, SAME)}
    if not {(row.pad.item, row.pad.pad.name) for row in fitting} <= then:
        return None
    return Misplaced(
        shift=shift,
        keys=keys,
        blocks=blocks,
        sunk=any(row.gap < -SHOP.contact for row in off),
        at=np.mean([row.pad.at for row in off], axis=0),
    )


def alike(job: Job, told: Sequence[str] = ()) -> list[Alike]:
    """The sides of the work whose stops are all off by one and the same amount: one length is wrong, not the stops.

    Args:
        job: the setup.
        told: blocks that a misplaced work explains already.
    """
    rows = _rows(job, np.zeros(3), REACH)
    left = [row for row in rows if row.pad.item not in told]
    out: list[Alike] = []
    while left:
        way = left[0].pad.normal
        group = [row for row in left if float(row.pad.normal @ way) >= _PARALLEL]
        left = [row for row in left if float(row.pad.normal @ way) < _PARALLEL]
        gap = float(np.median([row.gap for row in group]))
        off = [row for row in group if abs(row.gap - gap) <= SAME and _off(row, rows, -gap * way)]
        blocks = tuple(dict.fromkeys(row.pad.item for row in off))
        held = any(abs(row.gap) <= SHOP.contact and float(row.pad.normal @ way) <= -_PARALLEL for row in rows)
        if held and len(blocks) >= _LEAST_BLOCKS and len(blocks) == len({row.pad.item for row in group}):
            out.append(Alike(blocks=blocks, gap=gap, way=way, at=np.mean([row.pad.at for row in off], axis=0)))
    return out


def _rows(job: Job, shift: Array, within: float) -> list[_Row]:
    """Every pad with its gap to the piece nearest to its plane."""
    best: dict[tuple[str, str], _Row] = {}
    for pad, gap in near_pads(job, within, shift):
        key = (pad.item, pad.pad.name)
        if key not in best or abs(gap) < abs(best[key].gap):
            best[key] = _Row(pad=pad, gap=gap)
    return list(best.values())


def _off(row: _Row, rows: Sequence[_Row], shift: Array) -> bool:
    """Whether a face is wrong now: the work is in it, or no face of its block touches the work."""
    if abs(row.gap) <= SHOP.contact or abs(float(row.pad.normal @ shift)) <= SHOP.contact:
        return False
    mine = [other for other in rows if other.pad.item == row.pad.item]
    return row.gap < 0.0 or not any(abs(other.gap) <= SHOP.contact for other in mine)


def _fitted(rows: Sequence[_Row]) -> Array | None:
    """The least shift that closes the gaps that most blocks agree on; None when there is nothing to close.

    Directions that most blocks speak for go first, and those along an axis before others: what a sloping pad feels of
    a round piece is only as good as the mesh. A direction that the ones before it settle adds nothing.
    """
    normals: list[Array] = []
    amounts: list[float] = []
    for _, normal, amount in sorted(_lines(rows), key=lambda line: (-line[0], -round(float(abs(line[1]).max()), 6))):
        if np.linalg.matrix_rank(np.array([*normals, normal]), tol=1e-3) > len(normals):
            normals.append(normal)
            amounts.append(amount)
    if not normals:
        return None
    shift: Array = np.linalg.lstsq(np.array(normals), np.array(amounts), rcond=1e-6)[0]
    return shift if float(np.linalg.norm(shift)) > SHOP.contact else None


def _lines(rows: Sequence[_Row]) -> Iterator[tuple[int, Array, float]]:
    """For each direction of pads how many blocks, two at least, ask for which shift along it."""
    left = list(rows)
    while left:
        normal = left[0].pad.normal
        group = [row for row in left if abs(float(row.pad.normal @ normal)) >= _PARALLEL]
        left = [row for row in left if abs(float(row.pad.normal @ normal)) < _PARALLEL]
        asked = [(-row.gap / float(row.pad.normal @ normal), row.pad.item) for row in group]
        best: tuple[int, float, list[float]] = (0, 0.0, [])
        for value, _ in asked:
            agree = [(v, item) for v, item in asked if abs(v - value) <= SAME]
            best = max(best, (len({item for _, item in agree}), -abs(value), [v for v, _ in agree]))
        if best[0] >= _LEAST_BLOCKS:
            yield best[0], normal, float(np.mean(best[2]))


def _written(job: Job, shift: Array) -> tuple[tuple[str, ...], Array]:
    """The keys of ``[weldment]`` that move the work so, and the shift that they make, rounded as a file has it."""
    keys, units = job.scene.weldment, job.scene.units
    offset, lift = (keys.offset, keys.lift) if keys is not None else ((0.0, 0.0), 0.0)
    grid = job.table if keys is None else job.table.hole_to_point(keys.hole)[0]
    normal = np.asarray(grid.normal, dtype=np.float64)
    if abs(float(normal[2])) < 0.1:  # the lift of an upright plate goes sideways
        return (), shift
    rise = float(shift[2] / normal[2])
    x, y = (float(v) for v in (shift - normal * rise)[:2])
    new = [_neat(offset[0] + x, units), _neat(offset[1] + y, units), _neat(lift + rise, units)]
    made = np.array([length(v, units) for v in new]) - np.array([*offset, lift])
    out = []
    if abs(float(made[2])) > SHOP.contact / 2.0:
        out.append(f"lift = {new[2]:g}")
    if float(np.abs(made[:2]).max()) > SHOP.contact / 2.0:
        out.append(f"offset = [{new[0]:g}, {new[1]:g}]")
    return tuple(out), np.array([made[0], made[1], 0.0]) + normal * float(made[2])


def _neat(mm: float, units: Units) -> float:
    """A value of a key in the file's units, with no more digits than the gaps are known to."""
    value = from_mm(mm, units)
    digits = (1, 2, 3) if units == "mm" else (3, 4)
    for places in digits:
        if abs(round(value, places) - value) <= 10.0 ** -digits[-1] * 4.0:
            return round(value, places) + 0.0
    return round(value, digits[-1]) + 0.0
