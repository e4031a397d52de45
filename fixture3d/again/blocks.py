"""Where each block comes to stand when the whole setup is changed, as the keys of the scene file say it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from fixture3d import frame
from fixture3d.again.change import Change, hole_at, spot_of
from fixture3d.again.hands import Hand, hand_of
from fixture3d.errors import Problem
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.job.resolve import block_plane
from fixture3d.part import FACES, Face, face_down
from fixture3d.scene import Scene, problem
from fixture3d.scene.schema import Clamp, Place
from fixture3d.tolerance import SHOP
from fixture3d.units import from_mm

_LEVEL: Final = 1e-6
_DIGITS: Final = 9  # of a length in the file
_FLIPPED_X: Final = {"front": "front", "back": "back", "left": "right", "right": "left"}
_TURNED: Final = {"right": "back", "back": "left", "left": "front", "front": "right"}
Keys = dict[str, Any]


@dataclass
class Moved:
    """What changes in the blocks.

    Attributes:
        keys: for each block, the keys with their new values; None takes one out.
        seats: how each block stands then, by name.
        problems: what cannot be done.
        notes: what the reader should look at.
    """

    keys: dict[str, Keys] = field(default_factory=dict)
    seats: dict[str, Seat] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class _Cannot(Exception):
    """A block cannot be said to stand where it should: the key, what is wrong, what was expected."""

    def __init__(self, key: str, what: str, expected: str = "") -> None:
        super().__init__(what)
        self.key, self.what, self.expected = key, what, expected


def moved_blocks(scene: Scene, jobs: Sequence[Job], change: Change) -> Moved:
    """Every block and clamp of the scene in its new place.

    Args:
        scene: with all its stages.
        jobs: of its stages.
        change: what is done.
    """
    out = Moved()
    todo = {item.name: (kind, k, item) for kind, k, item in _items(scene)}
    there: dict[str, tuple[Seat, Hand | None]] = {}
    for job in jobs:
        for seat in sorted(job.seats.values(), key=lambda s: _level(job.seats, s)):
            if seat.name in there:
                continue
            kind, k, _ = todo[seat.name]
            hand = hand_of(job, seat, change.to_world(scene.table)) if change.mirrors else None
            try:
                keys, new = _stood(scene, change, seat, hand, there)
            except _Cannot as cannot:
                out.problems.append(problem(scene, (kind, k), cannot.key, cannot.what, cannot.expected))
                there[seat.name] = (seat, hand)
                continue
            out.keys[seat.name], there[seat.name] = keys, (new, hand)
            out.seats[seat.name] = new
            if hand is not None and hand.other:
                what = f"{seat.name} ({seat.model}) has a hand: {', '.join(hand.other)}"
                out.notes.append(
                    f"{what} would be the other way round in a true mirror image; it stands as near as can be"
                )
    return out


def used_spots(jobs: Iterable[Job]) -> dict[str, tuple[float, float]]:
    """Every hole of the table top that a block or the weldment stands over, in pitches from A1, by what uses it."""
    out: dict[str, tuple[float, float]] = {}
    for job in jobs:
        for seat in job.seats.values():
            if seat.holds == "pins" and not seat.stacked and not seat.stands_on:
                holes = {*seat.holes, *((seat.place.hole,) if seat.place.hole else ())}
                for name in sorted(holes):
                    hole = job.table.find(name)
                    out[f"{seat.name}: {hole.name}"] = spot_of(job.table, hole)
    return out


def _items(scene: Scene) -> Iterable[tuple[str, int, Place]]:
    for kind, group in (("place", scene.places), ("clamp", scene.clamps)):
        for k, item in enumerate(group):
            yield kind, k, item


def _level(seats: Mapping[str, Seat], seat: Seat) -> int:
    return 0 if not seat.stacked else 1 + _level(seats, seats[seat.stands_on])


def _stood(
    scene: Scene, change: Change, seat: Seat, hand: Hand | None, there: Mapping[str, tuple[Seat, Hand | None]]
) -> tuple[Keys, Seat]:
    """The keys of one block, and its seat as far as blocks on it need to know."""
    world, flip = change.to_world(scene.table), hand.flip if hand is not None else frame.identity()
    if seat.stands_on and not seat.stacked:
        raise _Cannot(
            "hole", f'it stands on grid "{seat.stands_on}", which stays where it is', "blocks on the table top"
        )
    pose = frame.chain(world, seat.model_to_world, flip)
    keys: Keys = {}
    plane, sockets = frame.identity(), list[tuple[str, tuple[float, float]]]()
    if seat.stacked:
        lower, lower_hand = there[seat.stands_on]
        named = seat.place.socket
        found = block_plane(lower, named if named is None or lower_hand is None else lower_hand.socket(named))
        plane = lower.plane_to_world if found is None else found.to_world
        sockets = [] if found is None else list(found.sockets)
    face, turn = _lies(frame.chain(frame.inverse(plane), pose), seat)
    if face != seat.face:
        keys["face"] = face
    aimed = seat.clamp and seat.place.model_fields_set.isdisjoint({"turn"}) and _presses(seat.place)
    if not aimed and seat.holds != "measured" and seat.holds != "magnet":
        keys |= _turn_key(seat, turn)
    keys |= _where(scene, change, seat, hand, pose, face, turn, bool(aimed), (plane, sockets))
    keys |= _names(seat, hand)
    stands = plane if seat.stacked else seat.plane_to_world
    return keys, replace(seat, model_to_world=pose, plane_to_world=stands, turn=turn, face=face)


def _presses(item: Place) -> bool:
    return isinstance(item, Clamp) and item.presses is not None


def _lies(pose: Array, seat: Seat) -> tuple[Face, float]:
    """Which face is down and how far the block is turned, of its pose on a plane."""
    for face in (seat.face, *FACES):
        level = pose[:3, :3] @ face_down(face)[:3, :3].T
        if float(np.abs(level[2] - (0.0, 0.0, 1.0)).max()) <= _LEVEL:
            turn = round(math.degrees(math.atan2(level[1, 0], level[0, 0])), 9) % 360.0
            return face, turn
    raise _Cannot("face", "no face of it would lie on the table")


def _turn_key(seat: Seat, turn: float) -> Keys:
    """``turn`` where it is said already, or is no longer 0; at an edge only where it is said."""
    said = "turn" in seat.place.model_fields_set
    if seat.holds in ("edge", "slot") and not said:
        return {}
    if not said and turn == 0.0:
        return {}
    return {"turn": _plain(turn)}


def _where(
    scene: Scene,
    change: Change,
    seat: Seat,
    hand: Hand | None,
    pose: Array,
    face: Face,
    turn: float,
    aimed: bool,
    below: tuple[Array, Sequence[tuple[str, tuple[float, float]]]],
) -> Keys:
    item = seat.place
    if seat.holds in ("measured", "magnet"):
        z = item.free[2] if item.free is not None else 0.0
        stood = (float(pose[0, 3]), float(pose[1, 3]), z)
        return {"free": [*(_length(v, scene) for v in stood), _plain(turn)]}
    if seat.holds == "edge":
        return _at_edge(scene, change, seat, pose)
    if seat.holds == "slot":
        return _in_slot(scene, change, seat)
    if not seat.anchor:
        if seat.stacked:
            return {}
        hole = _hole_under(scene, pose[:3, 3])
        if hole is None:
            raise _Cannot("hole", "it stands without a pin, and its mirror image would stand between holes", "a pin")
        return {"hole": hole}
    partner = hand.pin(seat.anchor, seat.face) if hand is not None else seat.anchor
    known = {p.name: p.at for p in seat.part.pins() if p.face == face}
    names = [partner] if aimed or partner not in known else list(dict.fromkeys([seat.anchor, partner]))
    for name in names:
        if name not in known:
            continue
        keys = {} if name == item.pin or (name == seat.anchor and "pin" not in item.model_fields_set) else {"pin": name}
        spot = frame.points(pose, known[name])
        if seat.stacked:
            flat = frame.points(frame.inverse(below[0]), spot)[:2]
            for k, (socket, xy) in enumerate(below[1]):
                if math.dist(flat, xy) <= SHOP.contact:
                    same = socket == item.socket or (item.socket is None and k == 0)
                    return keys if same else {"socket": socket, **keys}
            continue
        if (hole := _hole_under(scene, spot)) is not None:
            return {"hole": hole, **keys}
    if seat.stacked:
        if not below[1]:
            return {}  # its block below has no sockets to name; the checks say so
        raise _Cannot("on", f"none of its pins would stand in a socket of {seat.stands_on}")
    raise _Cannot("hole", "none of its pins would stand in a hole")


def _hole_under(scene: Scene, spot: Array) -> str | None:
    """The hole of the table top under a point of the world; None where there is none."""
    at = [2.0 * float(v) / pitch for v, pitch in zip(spot, scene.table.pitch, strict=False)]
    if any(abs(v - round(v)) > _LEVEL for v in at):
        return None
    return hole_at(scene.table, (round(at[0]) / 2.0, round(at[1]) / 2.0))


def _at_edge(scene: Scene, change: Change, seat: Seat, pose: Array) -> Keys:
    """The edge that it hooks over then, and how far along it."""
    item, table = seat.place, scene.table
    edge = str(item.edge)
    new = _FLIPPED_X[edge] if change.mirrors else edge
    for _ in range(round(change.degrees / 90.0)):
        new = _TURNED[new]
    x0, y0, x1, y1 = table.size or table.box
    rims = {"left": (0, x0), "right": (0, x1), "front": (1, y0), "back": (1, y1)}
    k, rim = rims[edge]
    before = np.array([0.0, 0.0, 0.0])
    before[k] = rim
    after = frame.points(change.to_world(table), before)
    k, rim = rims[new]
    if abs(float(after[k]) - rim) > SHOP.contact:
        what = f"it hooks over the {edge} edge, and the work would go {abs(float(after[k]) - rim):g} mm away from that"
        raise _Cannot("edge", what, "a move along that edge, or a mirror image about the middle of the table")
    along = 1 - k
    keys: Keys = {} if new == edge else {"edge": new}
    if item.along is not None:
        keys["along"] = _length(float(pose[along, 3]) * table.naming.signs[along], scene)
    return keys


def _in_slot(scene: Scene, change: Change, seat: Seat) -> Keys:
    """The slot of the table that lies where its slot would come to lie, and how far along it."""
    item, table = seat.place, scene.table
    assert isinstance(item, Clamp)
    old, world = table.slot(str(item.slot)), change.to_world(table)
    ends = [tuple(float(v) for v in frame.points(world, (*end, 0.0))[:2]) for end in (old.start, old.end)]
    for slot in table.slots:
        for turned in (False, True):
            pair = (slot.end, slot.start) if turned else (slot.start, slot.end)
            if abs(slot.width - old.width) <= SHOP.contact and all(
                math.dist(a, b) <= SHOP.contact for a, b in zip(ends, pair, strict=True)
            ):
                keys: Keys = {} if slot.name == old.name else {"slot": slot.name}
                if item.along is not None and turned:
                    keys["along"] = _length(slot.length - item.along, scene)
                return keys
    raise _Cannot(
        "slot", f'it stands in the slot "{item.slot}", and no slot of the table lies where that would come to lie'
    )


def _names(seat: Seat, hand: Hand | None) -> Keys:
    """Pins and pads by the names that they have in the mirror image."""
    item, keys = seat.place, Keys()
    if hand is None:
        return keys
    if item.pins is not None:
        pins = [hand.pin(name, seat.face) for name in item.pins]
        if pins != list(item.pins):
            keys["pins"] = pins
    if any(hand.pad(shim.pad) != shim.pad for shim in item.shims):
        keys["shims"] = [hand.pad(shim.pad) for shim in item.shims]
    return keys


def _plain(degrees: float) -> float | int:
    return int(degrees) if degrees == int(degrees) else degrees


def _length(mm: float, scene: Scene) -> float | int:
    value = round(from_mm(mm, scene.units), _DIGITS) + 0.0
    return int(value) if value == int(value) else value
