"""How to set the face of a stop to a wanted distance, along the table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property, partial

import numpy as np

from fixture3d import frame
from fixture3d.job.hole_lines import HoleLines
from fixture3d.job.plane import GridPlane
from fixture3d.job.seat import model_to_plane, seat_pins
from fixture3d.job.set_question import Answer, Question, Ranked, with_block, with_shim
from fixture3d.job.shop_blocks import Owned
from fixture3d.job.stop_kinds import Kind, aside, kinds_of
from fixture3d.part import Part
from fixture3d.setting import Reach, Setting, Starts, Sums, grains, mm, reach, search
from fixture3d.tolerance import SETTING


class AlongTable:
    """The search of one question along the table.

    Args:
        question: whose datum is no height.
        kinds: what the blocks of the shop can do, where that is known already.
    """

    def __init__(self, question: Question, kinds: Sequence[Kind] | None = None) -> None:
        self.question = question
        self.way = (question.datum.way[0], question.datum.way[1])
        self.lines = HoleLines(question.table, self.way)
        self._shims = question.shop.shims
        made = (kind for one in question.shop.blocks if one.free for kind in self._fit(one))
        self.kinds = tuple(made if kinds is None else kinds)
        self._places: dict[tuple[int, float], str] = {}

    def with_shim(self, thickness: float) -> AlongTable:
        """The same search in a shop with one shim more."""
        return AlongTable(with_shim(self.question, thickness), self.kinds)

    def with_block(self, part: Part) -> AlongTable:
        """The same search in a shop with one block and nothing else."""
        return AlongTable(with_block(self.question, part))

    def _fit(self, owned: Owned) -> Iterator[Kind]:
        asked = self.question
        side = {"toward": -1, "away": 1, "either": 0}[asked.facing]
        for kind in kinds_of(owned, asked.table, self.way, asked.dowel_fit):
            high = asked.height
            if (not side or kind.way == side) and (high is None or kind.span[0] <= high <= kind.span[1]):
                yield kind

    @cached_property
    def sums(self) -> Sums:
        """Of the shims."""
        sizes = [grains(size) for size, _ in self._shims]
        return Sums(sizes, [count for _, count in self._shims], most=self.question.shims)

    @cached_property
    def _rows(self) -> tuple[Starts, np.ndarray, tuple[float, float] | None]:
        """Starts near enough to matter; (n, 3) kind, number of the line, notch; and the ends of all."""
        asked = self.question
        origin = asked.datum.along
        at, numbers = self.lines.at, self.lines.numbers
        far = grains(2.0 * self.lines.step + asked.good) + self.sums.upto
        wanted, low, high = grains(asked.wanted), np.inf, -np.inf
        rows, places = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
        for k, kind in enumerate(self.kinds):
            first, last = kind.ends(self.way)
            on = (at + first >= at[0] - 1e-6) & (at + last <= at[-1] + 1e-6)
            if not on.any():
                continue
            lines = np.array([grains(v) for v in at[on] - origin], dtype=np.int64) + grains(kind.offset)
            notches = np.arange(kind.notches + 1 if kind.step else 1)
            place = lines[:, None] + notches[None, :] * grains(kind.step)
            low, high = min(low, float(place.min())), max(high, float(place.max()))
            near = np.abs(place - wanted) <= far
            if not near.any():
                near = np.abs(place - wanted) == np.abs(place - wanted).min()
            i, m = np.nonzero(near)
            rows.append(np.stack([np.full(len(i), float(k)), numbers[on][i], m.astype(np.float64)], axis=1))
            places.append(place[near])
        row, place = np.concatenate(rows), np.concatenate(places)
        of = row[:, 0].astype(np.int64)
        starts = Starts(
            at=place,
            way=np.array([kind.way for kind in self.kinds], dtype=np.int64)[of],
            packed=np.array([kind.packed for kind in self.kinds], dtype=bool)[of],
            loose=np.array([kind.loose for kind in self.kinds], dtype=np.float64)[of],
            blocks=np.ones(len(of), dtype=np.int64),
        )
        return starts, row, (mm(int(low)), mm(int(high))) if len(of) else None

    @property
    def starts(self) -> Starts:
        """Where faces stand without shims."""
        return self._rows[0]

    @property
    def ends(self) -> tuple[float, float] | None:
        """The first and the last place of any face without shims, mm."""
        return self._rows[2]

    def kind_of(self, start: int) -> tuple[Kind, float, int]:
        """The kind, the number of the line of holes and the notch of a start."""
        k, number, notch = self._rows[1][start].tolist()
        return self.kinds[int(k)], number, int(notch)

    def ranked(self, least: int) -> list[Ranked]:
        """Good settings in order of merit, each place of a block once; with fewer than ``least``, the nearest ones."""
        out, seen = [], set()
        for one in search(grains(self.question.wanted), self.starts, self.sums, grains(self.question.good), least):
            kind, _, _ = self.kind_of(one.start)
            key = (id(kind.owned), int(self.starts.at[one.start]), kind.way, one.pack, kind.span)
            if key not in seen:
                seen.add(key)
                out.append(Ranked(one.error, one.pieces, partial(self._answer, one)))
        return out

    def hole(self, kind: Kind, number: float) -> str:
        """The hole of a line, nearest to the datum, in which it stands on all its dowels; empty when there is none."""
        key = (self.kinds.index(kind), number)
        if key not in self._places:
            self._places[key] = self._look(kind, number)
        return self._places[key]

    def _look(self, kind: Kind, number: float) -> str:
        asked, part = self.question, kind.owned.part
        plane = GridPlane(asked.table, asked.table)
        names = {pin.name for pin in kind.pins}
        for hole in self.lines.holes(number, aside(self.way, asked.datum.at)):
            pose = model_to_plane(part, kind.face, kind.anchor, hole.xy, kind.turn)
            pins = seat_pins(part, kind.face, pose, plane, asked.dowel_fit, anchor=kind.anchor, asked=None)
            seated = [pin for pin in pins if pin.state == "seated"]
            if {pin.pin.name for pin in seated} == names and not any(pin.hole in asked.taken for pin in seated):
                return hole.name
        return ""

    def _answer(self, setting: Setting) -> Answer | None:
        """A setting in words of the table; None where no hole of the line takes the block."""
        kind, number, notch = self.kind_of(setting.start)
        hole = self.hole(kind, number)
        if not hole:
            return None
        taken = self.sums.pieces(setting.pack)
        shims = [size for (size, _), count in zip(self._shims, taken, strict=True) for _ in range(count)]
        return replace(
            _standing(kind, hole),
            notch=notch if kind.step else None,
            shims=tuple(sorted(shims, reverse=True)),
            error=mm(setting.error),
            pieces=setting.pieces,
            loose=setting.loose,
        )

    def measured(self) -> Iterator[Answer]:
        """Settings by slides without notches."""
        asked = self.question
        for kind in self.kinds:
            if not kind.slide:
                continue
            for place, number in zip(self.lines.at - asked.datum.along + kind.offset, self.lines.numbers, strict=True):
                slide = (asked.wanted - place) / kind.slide
                travel = kind.owned.part.move().travel  # type: ignore[union-attr]
                if -1e-9 <= slide <= 1.0 + 1e-9 and (hole := self.hole(kind, float(number))):
                    yield replace(_standing(kind, hole), slide=min(max(slide, 0.0), 1.0) * travel)

    def missing(self) -> list[float]:
        """What is lacking before each face, with the shims that leave least of it; mm, the least first."""
        starts, wanted = self.starts, grains(self.question.wanted)
        room = (starts.way * (wanted - starts.at))[starts.packed]
        room = room[room > 0]
        if not len(room):
            return []
        sums = self.sums.listed
        left = room - sums[np.searchsorted(sums, room, side="right") - 1]
        return [mm(one) for one in np.unique(left) if one >= grains(SETTING.thinnest)][:_TRIES]

    def bare(self) -> Iterator[tuple[Owned, float, Callable[[Part], float | None]]]:
        """Faces without shims, those nearest to the wanted place first.

        Yields:
            The block, what its face lacks along the direction in mm, and how far that face lies from its anchor in a
            block of other sizes (None where it has no such face).
        """
        lacking = grains(self.question.wanted) - self.starts.at
        for start in np.argsort(np.abs(lacking), kind="stable").tolist():
            kind, _, _ = self.kind_of(start)
            yield kind.owned, mm(int(lacking[start])), partial(self._offset, kind)

    def _offset(self, kind: Kind, part: Part) -> float | None:
        pad = next((pad for pad in part.pads() if pad.name == kind.pad.name), None)
        anchor = next((p for p in part.pins() if p.name == kind.anchor.name and p.face == kind.face), None)
        if pad is None or anchor is None:
            return None
        pose = model_to_plane(part, kind.face, anchor, (0.0, 0.0), kind.turn)
        return float(frame.points(pose, pad.at)[:2] @ np.asarray(self.way))

    def bare_reach(self) -> Reach:
        """What lies out of reach within half a pitch of the wanted place without shims."""
        return self._reach(Sums([], []))

    def reach(self) -> Reach:
        """What lies out of reach within half a pitch of the wanted place.

        Raises:
            TooMany: the shims have too many sums to list them.
        """
        return self._reach(self.sums)

    def _reach(self, sums: Sums) -> Reach:
        wanted, half = grains(self.question.wanted), grains(self.lines.step) // 2
        return reach([(self.starts, sums)], wanted - half, wanted + half, grains(self.question.good))


_TRIES = 20  # thicknesses of a shim that is lacking; the thinnest nearly always does


def _standing(kind: Kind, hole: str) -> Answer:
    """A block in its hole with nothing before its face, which stands where it is wanted."""
    return Answer(
        owned=kind.owned,
        face=kind.face,
        turn=kind.turn,
        anchor=kind.anchor.name,
        hole=hole,
        dowels=len(kind.pins),
        pad=kind.pad.name,
        looks=kind.way,
        error=0.0,
        pieces=1,
        loose=kind.loose,
        span=kind.span,
    )
