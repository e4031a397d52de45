"""Which stops of a setup are exactly on position, and what would bring the others there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.job.contact import pad_clearances
from fixture3d.job.job import Job, PlacedPad, Seat
from fixture3d.job.true_sizes import measured_lines, true_faces
from fixture3d.setting import Starts, Sums, grains, mm, search
from fixture3d.tolerance import SETTING, SHOP

_UP = 0.9  # of a face's normal along Z: a support, not a stop


@dataclass(frozen=True, kw_only=True)
class Mend:
    """A setting of the same block in the same hole.

    Attributes:
        notch: None where nothing meshes.
        shims: before the face, mm, the thickest first.
        error: what it still misses, mm; below 0 it stands clear of the work.
    """

    notch: int | None
    shims: tuple[float, ...]
    error: float


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One face of a block near the work.

    Attributes:
        item: the block.
        pad: the face.
        piece: the nearest piece.
        gap: how far the face stands clear of it, mm; below 0 it stands in it.
        on: it touches.
        mend: the best other setting in the same hole, where it is nearer.
        measured: the block was measured, and the face stands where that says.
        carries: the face looks up.
    """

    item: str
    pad: str
    piece: str
    gap: float
    on: bool
    mend: Mend | None
    measured: bool = False
    carries: bool = False


def on_position(job: Job, shims: Mapping[float, int]) -> list[Standing]:
    """Every face of a block, clamps left out, that stands within 5 mm of the work: those that miss first.

    Args:
        job: the setup.
        shims: thickness and count of those that are not in use.
    """
    lines = measured_lines(job)
    true = {name: true_faces(lines, seat) for name, seat in job.seats.items()}
    nearest: dict[tuple[str, str], tuple[PlacedPad, str, float, float]] = {}
    for pad, piece, clear, chord in pad_clearances(job, SHOP.report_gap):
        key = (pad.item, pad.pad.name)
        known = true[pad.item].get(pad.pad.name)
        clear -= known.off if known is not None else 0.0
        if not job.seats[pad.item].clamp and (key not in nearest or clear < nearest[key][2]):
            nearest[key] = (pad, piece, clear, chord)
    rows = []
    for (item, name), (pad, piece, clear, chord) in nearest.items():
        on = abs(clear) <= SHOP.contact + chord
        mend = None if on else next(_mends(job.seats[item], pad, clear, shims), None)
        gap, measured = 0.0 if on else clear, name in true[item]
        up = bool(pad.normal[2] > _UP)
        rows.append(
            Standing(item=item, pad=name, piece=piece, gap=gap, on=on, mend=mend, measured=measured, carries=up)
        )
    return sorted(rows, key=lambda row: -abs(row.gap))


def away_from_work(job: Job, rows: Sequence[Standing]) -> list[str]:
    """The blocks, clamps left out, that neither have a face near the work nor carry another block."""
    busy = {row.item for row in rows} | {seat.stands_on for seat in job.seats.values()}
    return [name for name, seat in job.seats.items() if not seat.clamp and name not in busy]


def _mends(seat: Seat, pad: PlacedPad, gap: float, shims: Mapping[float, int]) -> Iterator[Mend]:
    """The best notch and shims, if they bring the face nearer."""
    move, now = seat.part.move(), float(seat.shims.get(pad.pad.name, 0.0))
    lean, number = 0.0, 0
    if pad.pad.moves and move is not None and move.notch is not None and seat.notch is not None:
        lean = float(np.asarray(move.axis) @ np.asarray(pad.pad.normal)) * move.notch
        number = move.notches
    stock = dict(shims)
    for shim in seat.place.shims:
        for by in shim.by if shim.pad == pad.pad.name else ():
            stock[by] = stock.get(by, 0) + 1
    n = number + 1
    starts = Starts(
        at=np.array([grains((m - (seat.notch or 0)) * lean) - grains(now) for m in range(n)], dtype=np.int64),
        way=np.ones(n, dtype=np.int64),
        packed=np.full(n, pad.pad.width > 0.0),
        loose=np.zeros(n),
        blocks=np.ones(n, dtype=np.int64),
    )
    sizes = sorted(stock)
    sums = Sums([grains(size) for size in sizes], [stock[size] for size in sizes], most=SETTING.shims)
    best = search(grains(gap), starts, sums, 0)[0]
    if abs(mm(best.error)) < abs(gap) - SETTING.exact:
        taken = [size for size, count in zip(sizes, sums.pieces(best.pack), strict=True) for _ in range(count)]
        yield Mend(notch=best.start if lean else None, shims=tuple(sorted(taken, reverse=True)), error=mm(best.error))
