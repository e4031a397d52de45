"""How to set a face that carries to a wanted height: blocks on blocks, and shims under them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError
from fixture3d.job.owned import is_shim
from fixture3d.job.seat import face_pins, model_to_plane
from fixture3d.job.set_question import Answer, Question, Ranked, with_block, with_shim
from fixture3d.job.shop_blocks import Owned
from fixture3d.part import Face, Pad, Part
from fixture3d.setting import Reach, Setting, Starts, Sums, grains, mm, reach, search
from fixture3d.tolerance import SETTING, SHOP


@dataclass(frozen=True, kw_only=True, eq=False)
class _Top:
    """One block with one of its faces level: the uppermost of a stack."""

    owned: Owned
    face: Face
    pad: Pad
    height: float
    stacks: bool
    step: float = 0.0
    notches: int = 0
    slide: float = 0.0


def carries(part: Part) -> float | None:
    """How high a block carries the next one: two sockets over two dowels, a pitch apart; None when it carries none.

    The pair is that of the grid, which every block stands on; so any two blocks that carry stack in any order.
    """
    pitch = part.pattern.pitch
    below = {(round(p.at[0], 3), round(p.at[1], 3)) for p in face_pins(part, "bottom") if not p.integral}
    above = [s for s in part.sockets() if s.face == "top" and (round(s.at[0], 3), round(s.at[1], 3)) in below]
    first = next((s for s in above if abs(s.at[0]) < 1e-3 and abs(s.at[1]) < 1e-3), None)
    pair = any(abs(s.at[0] - pitch) < 1e-3 and abs(s.at[1]) < 1e-3 for s in above)
    return None if first is None or not pair else float(first.at[2])


def _stacks(part: Part, face: Face) -> bool:
    """It can stand on a block that carries: two bores a pitch apart along X."""
    pitch, pins = part.pattern.pitch, [p for p in face_pins(part, face) if not p.integral]
    return any(
        abs(abs(a.at[0] - b.at[0]) - pitch) < SHOP.contact and abs(a.at[1] - b.at[1]) < SHOP.contact
        for a in pins
        for b in pins
    )


def _level(top: _Top, part: Part) -> float | None:
    """How high the same face of a block of other sizes lies."""
    pad = next((pad for pad in part.pads() if pad.name == top.pad.name), None)
    pose = model_to_plane(part, top.face, None, (0.0, 0.0), 0.0)
    return None if pad is None else float(frame.points(pose, pad.at)[2])


class Upward:
    """The search of one question whose distance is a height.

    Args:
        question: whose datum looks up.

    Raises:
        FixtureError: no block can stand on the datum.
    """

    def __init__(self, question: Question) -> None:
        self.question = question
        self._shims = question.shop.shims
        self._owned = [one for one in question.shop.blocks if one.free]
        seat = question.datum.seat
        if seat is not None:
            level = carries(seat.part) if seat.face == "bottom" else None
            place = question.datum.at[2] - question.datum.measured
            if (
                level is None
                or abs(float(frame.points(seat.model_to_world, (0.0, 0.0, level))[2]) - place) > SHOP.contact
            ):
                raise FixtureError(
                    f"--from {question.datum.name}: no block can stand on that face; expected the top of a block with "
                    "sockets, or A1.z for a height above the table"
                )
        self._tops = [top for one in self._owned if not is_shim(one.part) for top in self._of(one)]

    def with_shim(self, thickness: float) -> Upward:
        """The same search in a shop with one shim more."""
        return Upward(with_shim(self.question, thickness))

    def with_block(self, part: Part) -> Upward:
        """The same search in a shop with one block and nothing else."""
        return Upward(with_block(self.question, part))

    def _of(self, owned: Owned) -> Iterator[_Top]:
        part = owned.part
        if part.tip() is not None or part.stands != "pins":
            return
        for face in dict.fromkeys(pin.face for pin in part.pins()):
            pose = model_to_plane(part, face, None, (0.0, 0.0), 0.0)
            stacks = _stacks(part, face)
            if self.question.datum.seat is not None and not stacks:
                continue
            for pad in part.pads():
                if float(frame.directions(pose, pad.normal)[2]) < 1.0 - 1e-9:
                    continue
                step, notches, slide, move = 0.0, 0, 0.0, part.move()
                if pad.moves and move is not None:
                    lean = float(frame.directions(pose, move.axis)[2])
                    if abs(lean) > 1e-9 and move.notch is not None:
                        step, notches = move.notch * lean, move.notches
                    elif abs(lean) > 1e-9:
                        slide = move.travel * lean
                height = float(frame.points(pose, pad.at)[2])
                yield _Top(
                    owned=owned,
                    face=face,
                    pad=pad,
                    height=height,
                    stacks=stacks,
                    step=step,
                    notches=notches,
                    slide=slide,
                )

    @cached_property
    def _carriers(self) -> list[tuple[Owned, float]]:
        found = [(one, carries(one.part)) for one in self._owned if one.part.stands == "pins"]
        return [(one, height) for one, height in found if height is not None]

    def _sums(self, top: Owned) -> Sums:
        """Of what can lie under a block: the others that carry, and the shims."""
        sizes = [grains(height) for _, height in self._carriers] + [grains(size) for size, _ in self._shims]
        counts = [one.free - (one is top) for one, _ in self._carriers] + [count for _, count in self._shims]
        return Sums(sizes, counts, most=self.question.shims, upto=2 * max(grains(self.question.wanted), 1))

    def _starts(self, tops: Sequence[_Top]) -> tuple[Starts, list[tuple[_Top, int]]]:
        rows = [(top, notch) for top in tops for notch in range(top.notches + 1)]
        n = len(rows)
        starts = Starts(
            at=np.array([grains(top.height) + notch * grains(top.step) for top, notch in rows], dtype=np.int64),
            way=np.ones(n, dtype=np.int64),
            packed=np.array([top.stacks for top, _ in rows], dtype=bool),
            loose=np.zeros(n),
            blocks=np.ones(n, dtype=np.int64),
        )
        return starts, rows

    def _each(self) -> Iterator[tuple[Starts, list[tuple[_Top, int]], Sums]]:
        """Starts and sums for every sort of block that may be uppermost."""
        for owned in dict.fromkeys(id(top.owned) for top in self._tops):
            tops = [top for top in self._tops if id(top.owned) == owned]
            yield (*self._starts(tops), self._sums(tops[0].owned))

    def ranked(self, least: int) -> list[Ranked]:
        """Good settings in order of merit; with none, the nearest ones."""
        asked, out = self.question, []
        for starts, rows, sums in self._each():
            for one in search(grains(asked.wanted), starts, sums, grains(asked.good), least):
                out.append(Ranked(one.error, one.pieces, partial(self._answer, one, *rows[one.start], sums)))
        out.sort(key=lambda one: (abs(one.error), one.pieces))
        good = [one for one in out if abs(one.error) <= grains(asked.good)]
        return good if len(good) >= least else out[:least]

    def _answer(self, setting: Setting, top: _Top, notch: int, sums: Sums) -> Answer:
        taken = sums.pieces(setting.pack)
        number = len(self._carriers)
        below = [one for (one, _), count in zip(self._carriers, taken[:number], strict=True) for _ in range(count)]
        shims = [size for (size, _), count in zip(self._shims, taken[number:], strict=True) for _ in range(count)]
        return Answer(
            owned=top.owned,
            face=top.face,
            pad=top.pad.name,
            notch=notch if top.step else None,
            shims=tuple(sorted(shims, reverse=True)),
            below=tuple(sorted(below, key=lambda one: -float(carries(one.part) or 0.0))),
            error=mm(setting.error),
            pieces=setting.pieces,
            loose=0.0,
        )

    def measured(self) -> Iterator[Answer]:
        """Settings by a slide or a screw without notches, alone on the table."""
        asked = self.question
        for top in self._tops:
            share = (asked.wanted - top.height) / top.slide if top.slide else -1.0
            if -1e-9 <= share <= 1.0 + 1e-9:
                yield Answer(
                    owned=top.owned,
                    face=top.face,
                    pad=top.pad.name,
                    slide=min(max(share, 0.0), 1.0) * abs(top.slide),
                    error=0.0,
                    pieces=1,
                    loose=0.0,
                )

    def missing(self) -> list[float]:
        """What is lacking under each block, with the pieces that leave least of it; mm, the least first."""
        found: set[int] = set()
        for starts, _, sums in self._each():
            room = (grains(self.question.wanted) - starts.at)[starts.packed]
            room = room[room > 0]
            listed = sums.listed
            found.update((room - listed[np.searchsorted(listed, room, side="right") - 1]).tolist())
        return [mm(one) for one in sorted(found) if one >= grains(SETTING.thinnest)]

    def bare(self) -> Iterator[tuple[Owned, float, Callable[[Part], float | None]]]:
        """Single blocks, those nearest to the wanted height first; as ``AlongTable.bare``."""
        wanted = self.question.wanted
        rows = [(wanted - top.height - notch * top.step, top) for top in self._tops for notch in range(top.notches + 1)]
        for lacking, top in sorted(rows, key=lambda row: abs(row[0])):
            yield top.owned, lacking, partial(_level, top)

    def reach(self) -> Reach:
        """What lies out of reach from half a pitch below the wanted height to half a pitch above it.

        Raises:
            TooMany: the pieces have too many sums to list them.
        """
        wanted, half = grains(self.question.wanted), grains(min(self.question.table.pitch)) // 2
        groups = ((starts, sums) for starts, _, sums in self._each())
        return reach(groups, max(0, wanted - half), wanted + half, grains(self.question.good))
