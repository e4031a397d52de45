"""What shrinkage does between the stops: which ones the work closes on, and which should give way by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.frame import Array
from fixture3d.job.shrink_stops import Stops
from fixture3d.shrinkage.band import Band
from fixture3d.shrinkage.effect import Effect
from fixture3d.shrinkage.stops import BackOff, Opposed, Stop, back_off, by_lot, grips, opposed, settle
from fixture3d.tolerance import LOCATING, SHRINKING

__all__ = ["Closing", "Short", "closings", "shortest"]

_SLACK = 0.1  # length of the mean of normals below which a block is pressed from both sides
_ALONG = 0.9  # cosine; faces of a block that come free as it backs off
_AXIS = 0.3  # cosine; a block whose faces all stand squarer to the way does not stop it
_ONE_SIDE = 0.99  # cosine; stops that give way in one direction are told together


@dataclass(frozen=True, kw_only=True, eq=False)
class Closing:
    """Work that closes on stops.

    Attributes:
        give: blocks that should give way, in one direction.
        against: the blocks that it is pressed on at the other end.
        direction: (3,) unit, the way in which they give way.
        by: mm by which the work closes on both ends together, over what gap there is.
        sure: by the least estimate as well.
        moves: each of ``give`` can be backed off as it stands.
        pieces: that are pressed.
        at: (3,) mm, where the first of ``give`` is.
    """

    give: tuple[str, ...]
    against: tuple[str, ...]
    direction: Array
    by: Band
    sure: bool
    moves: bool
    pieces: tuple[str, ...]
    at: Array

    @property
    def room(self) -> Band:
        """How far to back off: from the greatest estimate to `Shrinking.room` times that, mm."""
        return Band(self.by.high, self.by.high * SHRINKING.room)


@dataclass(frozen=True, kw_only=True, eq=False)
class Short:
    """Work that comes away from the stops that it lies between.

    Attributes:
        first: one block.
        second: the other.
        axis: (3,) unit, from the one to the other.
        length: mm between the two.
        change: mm by which the work comes out shorter than that.
        at: (3,) mm, at the first.
    """

    first: str
    second: str
    axis: Array
    length: float
    change: Band
    at: Array


def closings(effect: Effect, stops: Stops) -> list[Closing]:
    """Where the work sits fast by the greatest estimate, one entry for the stops that give way to one side."""
    out: list[Closing] = []
    for lot in by_lot(effect, stops.corners):
        corners = [stops.corners[k] for k in lot]
        if len({stop.piece for stop in corners}) < 2 or grips(effect, corners) == "free":
            continue
        pieces = {stop.piece for stop in corners}
        pairs = opposed(effect, [stop for stop in stops.faces if stop.piece in pieces])
        faces = [stop for stop in stops.faces if stop.piece in pieces]
        least = settle(effect, corners, greatest=False).pressed
        most = settle(effect, corners, greatest=True).pressed
        made = []
        for one in _giving(effect, corners):
            by = _closing(one, pairs, Stops(faces=tuple(faces), corners=(), backing={})) or Band(2 * least, 2 * most)
            backing = stops.backing.get(one.block)
            moves = backing is not None and backing.room >= by.high
            mine = [stop for stop in faces if stop.block == one.block and float(stop.normal @ one.direction) < 0.0]
            touched = [stop.piece for stop in faces if stop.block in (one.block, *one.against)]
            made.append(
                Closing(
                    give=(one.block,),
                    against=_along(one, corners),
                    direction=one.direction,
                    by=by,
                    sure=by.low > SHRINKING.felt,
                    moves=moves,
                    pieces=tuple(dict.fromkeys(touched)),
                    at=mine[0].point if mine else faces[0].point,
                )
            )
        out += _merged(made)
    return out


def _giving(effect: Effect, corners: Sequence[Stop]) -> list[BackOff]:
    """The one block that frees the work by itself, if there is one, or else what `back_off` finds.

    Of several the first in this order: one that can move; one with few contacts, for the others locate the work; the
    last.
    """
    held = settle(effect, corners, greatest=True)
    blocks = dict.fromkeys(corners[k].block for k in held.holding)

    def rank(name: str) -> tuple[bool, int]:
        mine = [stop for stop in corners if stop.block == name]
        return not any(stop.moves for stop in mine), len(mine)

    for name in sorted(reversed(blocks), key=rank):
        way = -np.mean([corners[k].normal for k in held.holding if corners[k].block == name], axis=0)
        size = float(np.linalg.norm(way))
        if size < _SLACK:
            continue  # pressed from both sides: it cannot go one way
        way /= size
        backs = [stop.block == name and float(stop.normal @ way) < -_ALONG for stop in corners]
        if grips(effect, corners, room=np.where(backs, SHRINKING.shift, 0.0)) == "free":
            against = tuple(block for block in blocks if block != name)
            return [BackOff(name, way + 0.0, 2.0 * held.pressed * SHRINKING.room, against)]
    return back_off(effect, corners)


def _along(one: BackOff, corners: Sequence[Stop]) -> tuple[str, ...]:
    """Of the blocks that a giving one is pressed against those that stop the work along its way."""
    facing = {stop.block for stop in corners if abs(float(stop.normal @ one.direction)) > _AXIS}
    return tuple(block for block in one.against if block in facing) or one.against


def _closing(one: BackOff, pairs: Sequence[Opposed], stops: Stops) -> Band | None:
    """How far the work closes on a block and those it is pressed against, over the gaps that there are."""
    found: list[Band] = []
    for pair in pairs:
        first, second = stops.faces[pair.first], stops.faces[pair.second]
        blocks = {first.block, second.block}
        if one.block in blocks and blocks & set(one.against):
            gap = first.gap + second.gap - SHRINKING.felt
            found.append(Band(max(-pair.change.high - gap, 0.0), max(-pair.change.low - gap, 0.0)))
    found = [band for band in found if band.high > SHRINKING.felt]
    return max(found, key=lambda band: band.high, default=None)


def _merged(made: Sequence[Closing]) -> list[Closing]:
    out: list[Closing] = []
    for one in made:
        for k, known in enumerate(out):
            if known.moves == one.moves and float(known.direction @ one.direction) > _ONE_SIDE:
                out[k] = Closing(
                    give=(*known.give, *one.give),
                    against=tuple(dict.fromkeys((*known.against, *one.against))),
                    direction=known.direction,
                    by=known.by.hull(one.by),
                    sure=known.sure or one.sure,
                    moves=known.moves,
                    pieces=tuple(dict.fromkeys((*known.pieces, *one.pieces))),
                    at=known.at,
                )
                break
        else:
            out.append(one)
    return out


def shortest(effect: Effect, stops: Stops) -> list[Short]:
    """For each direction the pair of outside stops that the work comes away from most, of each weldment."""
    best: dict[int, Short] = {}
    keys: list[tuple[int, Array]] = []
    touching = [stop for stop in stops.faces if stop.gap <= LOCATING.contact + SHRINKING.felt / 2.0]
    for pair in opposed(effect, touching):
        first, second = touching[pair.first], touching[pair.second]
        if pair.kind != "outside" or pair.change.high <= 0.0:
            continue
        lot = effect.lots[first.piece]
        along = [k for k, (of, axis) in enumerate(keys) if of == lot and abs(float(axis @ pair.axis)) > _ONE_SIDE]
        if not along:
            keys.append((lot, pair.axis))
        key = along[0] if along else len(keys) - 1
        # Pairs that differ by rounding alone are told by the first of them.
        if key not in best or pair.change.middle > best[key].change.middle + 1e-6:
            best[key] = Short(
                first=first.block,
                second=second.block,
                axis=pair.axis,
                length=round(pair.length, 6),
                change=pair.change,
                at=np.asarray(first.point),
            )
    return list(best.values())
