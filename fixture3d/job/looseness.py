"""What can be off in a job: how every locating block sits and what it is made to, the table, and the pieces themselves.

Contributors are found block by block and piece by piece; `accuracy.stack` carries them to the figures.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.accuracy.blocks import (
    Face,
    as_set,
    by_hand,
    face_off,
    faces_moved,
    lifted,
    lifted_by,
    raised_by,
    set_off,
    shims_off,
    table_off,
)
from fixture3d.accuracy.pins import Pins, hole_contributors, one_pin_contributors, seat_contributors
from fixture3d.accuracy.pressing import pressed_home
from fixture3d.accuracy.shapes import Shape, shifted
from fixture3d.accuracy.stack import Contributor, Loaded
from fixture3d.accuracy.stock_limits import member_contributors, missing, plate_contributors
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat, placed_pads
from fixture3d.job.clamping import placed_tip
from fixture3d.job.figures import axis_of
from fixture3d.job.resolve import dowel_fit
from fixture3d.job.true_sizes import TrueFace, measured_lines, raised, true_faces
from fixture3d.locating.contact import Contact
from fixture3d.scene.schema import Clamp
from fixture3d.tolerance import ACCURACY

__all__ = ["Looseness", "clamped", "looseness", "pins_of", "under"]

_SAME = 0.99  # cosine of 8 degrees: a contact's normal and its pad's
_SQUARE = 0.01  # degrees; an end that is cut at less is a square one
_LEVEL = 0.5  # sine; a clamp that presses steeper than 30 degrees pushes no block along the table


@dataclass(frozen=True, eq=False)
class Looseness:
    """All that can be off.

    Attributes:
        contributors: of blocks, of the table and of pieces.
        stands_on: block to the block below it.
        unknown: pieces whose own limits are not known, or not all of them: name to what is not counted.
    """

    contributors: tuple[Contributor, ...]
    stands_on: Mapping[str, str]
    unknown: Mapping[str, str]


def under(job: Job, loaded: Sequence[Loaded]) -> list[Loaded]:
    """The same pieces, but each with a stretch of the table of its own: it is not as high everywhere."""
    out = []
    for piece in loaded:
        mine = [c if c.fixed in job.seats else _own(c, piece.name, loaded) for c in piece.contacts]
        out.append(Loaded(piece.name, mine, piece.pressed, piece.size))
    return out


def clamped(job: Job, loaded: Sequence[Loaded], owner: Mapping[str, str]) -> list[Loaded]:
    """The same pieces, each pressed by the clamps that press it.

    Args:
        job: the setup.
        loaded: what is laid in.
        owner: piece to what is laid in with it.
    """
    pushes: dict[str, list[tuple[Array, Array]]] = {}
    for seat in job.seats.values():
        tip = seat.part.tip() if seat.clamp else None
        if tip is not None and isinstance(seat.place, Clamp) and seat.place.presses is not None:
            presses = seat.place.presses
            pushes.setdefault(owner.get(presses, presses), []).append(placed_tip(seat, tip))
    return [pressed_home(piece, pushes.get(piece.name, ())) for piece in loaded]


def _own(contact: Contact, piece: str, loaded: Sequence[Loaded]) -> Contact:
    if any(contact.fixed == one.name for one in loaded):
        return contact
    name = f"{contact.fixed} under {piece}"
    return Contact(name, contact.kind, contact.normal, contact.points, contact.area, contact.gap, contact.doubt)


def looseness(
    job: Job, loaded: Sequence[Loaded], whole: Sequence[str], now: Mapping[str, Seat] | None = None
) -> Looseness:
    """What can be off in a job.

    Args:
        job: the setup.
        loaded: the pieces with the contacts that decide, as ``under`` gives them.
        whole: pieces that lie by themselves; those welded together before keep the form that they have.
        now: how the blocks stand as they were set at the table; as planned when not given.
    """
    out: list[Contributor] = []
    moved: list[tuple[str, Shape]] = []
    names = {piece.name for piece in loaded}
    touching: dict[str, list[Contact]] = {}
    for contact in (c for piece in loaded for c in piece.contacts if c.fixed not in names):
        touching.setdefault(contact.fixed, []).append(contact)
    stands_on = _below(job, touching)
    lines = measured_lines(job)
    for name in (n for n in job.seats if n in touching or n in stands_on.values()):
        seat = job.seats[name]
        out += _of_block(job, seat, touching.get(name, []), (now or {}).get(name, seat), true_faces(lines, seat))
        if now is not None and name in now:
            moved += _as_set(seat, now[name], touching.get(name, []))
    if moved:
        out.append(as_set(moved))
    for upper, lower in stands_on.items():
        off = raised(lines, job.seats[lower], job.seats[upper])
        if off is not None:
            out.append(raised_by(upper, lower, job.seats[upper].plane_to_world[:3, 2], off))
    flatness = _flatness(job)
    for name in (n for n in touching if n not in job.seats):
        normal = touching[name][0].normal
        out.append(table_off(name, f"flatness of the {name}", normal, flatness))
    pieces, unknown = _of_pieces(job, whole)
    return Looseness((*out, *pieces), stands_on, unknown)


def _below(job: Job, used: Mapping[str, object]) -> dict[str, str]:
    out: dict[str, str] = {}
    for name in used:
        while name in job.seats and job.seats[name].stacked and job.seats[name].stands_on in job.seats:
            out[name] = name = job.seats[name].stands_on
    return out


def _flatness(job: Job) -> float:
    return ACCURACY.flatness if job.table.flatness is None else job.table.flatness


def pins_of(job: Job, seat: Seat) -> Pins | None:
    """The two dowels of a block that are furthest apart; None where it has fewer."""
    seated = [p.at for p in seat.pins if p.state == "seated"]
    if len(seated) < 2:
        return None
    first, second = max(itertools.combinations(seated, 2), key=lambda ends: float(np.linalg.norm(ends[1] - ends[0])))
    most = dowel_fit(job, seat).most
    return Pins(first, second, seat.plane_to_world[:3, 2], (most, most))


def _of_block(
    job: Job, seat: Seat, contacts: Sequence[Contact], now: Seat, true: Mapping[str, TrueFace]
) -> Iterator[Contributor]:
    name, up = seat.name, seat.plane_to_world[:3, 2]
    yield from _seat(job, seat)
    if not seat.stacked:
        yield table_off(name, f"flatness of the table under {name}", up, _flatness(job))
    by_pad = {shim.pad: len(shim.by) for shim in now.place.shims}
    if "seat" in by_pad:
        yield lifted(name, up, by_pad["seat"])
    faces = _faces(seat, contacts)
    for face, _ in faces:
        yield _face(name, face, true.get(face.name))
        if by_pad.get(face.name):
            yield shims_off(name, face, by_pad[face.name])
    move, moving = seat.part.move(), tuple(face for face, moves in faces if moves)
    if move is not None and moving:
        meshes = move.notch is not None and now.notch is not None
        axis = frame.directions(seat.model_to_world, frame.unit(move.axis))
        yield set_off(name, moving, axis, ACCURACY.notch if meshes else ACCURACY.slide)


def _as_set(seat: Seat, now: Seat, contacts: Sequence[Contact]) -> Iterator[tuple[str, Shape]]:
    """How far a block, or faces of it, stand from where they are planned."""
    faces, move = _faces(seat, contacts), seat.part.move()
    more = {pad: now.shims.get(pad, 0.0) - seat.shims.get(pad, 0.0) for pad in {**seat.shims, **now.shims}}
    if more.get("seat"):
        yield seat.name, lifted_by(seat.plane_to_world[:3, 2], more["seat"])
    moving = tuple(face for face, moves in faces if moves)
    if move is not None and moving and now.slide != seat.slide:
        axis = frame.directions(seat.model_to_world, frame.unit(move.axis))
        yield seat.name, faces_moved(moving, axis * (now.slide - seat.slide))
    for face, _ in faces:
        if more.get(face.name):
            yield seat.name, faces_moved((face,), face.normal * more[face.name])


def _face(block: str, face: Face, true: TrueFace | None) -> Contributor:
    """A face of a block: as loose as any, or where it was measured."""
    if true is None:
        return face_off(block, face)
    return face_off(block, face, ACCURACY.gauged if true.sure else ACCURACY.block, true.off)


def _seat(job: Job, seat: Seat) -> Iterator[Contributor]:
    """How a block sits in its holes, and how true these are."""
    name, up = seat.name, seat.plane_to_world[:3, 2]
    pins = pins_of(job, seat)
    pitch = 0.0 if seat.stacked else ACCURACY.pitch if job.table.pitch_tolerance is None else job.table.pitch_tolerance
    if pins is not None:
        yield from seat_contributors(name, pins, _pushed(job, seat))
        if pitch > 0.0:
            yield from hole_contributors(name, pins, pitch / 2.0)
        return
    single = next((p.at for p in seat.pins if p.state == "seated"), None)
    if single is None:
        middle = frame.points(seat.model_to_world, np.mean(np.array(seat.part.box()), axis=0))
        yield from by_hand(name, middle, up)
        return
    yield from one_pin_contributors(name, single, up, dowel_fit(job, seat).most, ACCURACY.turned)
    if pitch > 0.0:
        for words, way in (("one way", seat.plane_to_world[:3, 0]), ("across", seat.plane_to_world[:3, 1])):
            yield Contributor(f"the hole of {name}, {words}", name, "table pitch", shifted(way), pitch / 2.0)


def _pushed(job: Job, seat: Seat) -> Array | None:
    """The way in which a clamp always pushes a block in its holes, (3,) unit; None where none does.

    A bolt that is pulled first holds the block wherever it then is.
    """
    if seat.bolted:
        return None
    up = seat.plane_to_world[:3, 2]
    for other in job.seats.values():
        tip = other.part.tip() if other.clamp else None
        if tip is None or not isinstance(other.place, Clamp) or other.place.toward != seat.name:
            continue
        way = placed_tip(other, tip)[1]
        level = way - up * float(way @ up)
        size = float(np.linalg.norm(level))
        if size > _LEVEL:
            return level / size
    return None


def _faces(seat: Seat, contacts: Sequence[Contact]) -> list[tuple[Face, bool]]:
    """The faces of a block that work lies against, each once, and whether the face goes with its move."""
    pads = placed_pads(seat)
    out: list[tuple[Face, bool]] = []
    for contact in contacts:
        middle = contact.points.mean(axis=0)
        if any(float(f.normal @ contact.normal) > _SAME and f.holds(middle[None])[0] for f, _ in out):
            continue
        pad = next((p for p in pads if _is_on(p, contact, middle)), None)
        name = pad.pad.name if pad is not None else "face"
        moves = pad.pad.moves if pad is not None else seat.part.move() is not None
        out.append((Face(name, middle, contact.normal), moves))
    return out


def _is_on(pad: PlacedPad, contact: Contact, middle: Array) -> bool:
    return float(pad.normal @ contact.normal) > _SAME and abs(float((middle - pad.at) @ pad.normal)) <= 1.0


def _of_pieces(job: Job, whole: Sequence[str]) -> tuple[list[Contributor], dict[str, str]]:
    assert job.weldment is not None
    out: list[Contributor] = []
    unknown: dict[str, str] = {}
    for piece in (p for p in job.weldment.pieces if p.name in set(whole)):
        to_world = frame.chain(job.weldment.weldment_to_world, piece.piece_to_weldment)
        ends = axis_of(piece)
        if ends is not None and piece.section is not None:
            start, end = (frame.points(job.weldment.weldment_to_world, one) for one in ends)
            first, last = (ACCURACY.mitre if abs(angle) > _SQUARE else ACCURACY.square for angle in piece.mitres)
            up = to_world[:3, 2]
            out += member_contributors(piece.name, start, end, up, piece.section, mitre=(first, last))
            if gone := missing(piece.section):
                unknown[piece.name] = ", ".join(gone)
        elif piece.plate is not None:
            (x, y), z = piece.plate.size, piece.plate.thickness
            low, high = _plate_box(job, piece.name)
            middle = (low + high) / 2.0
            out += plate_contributors(piece.name, middle, to_world[:3, 0], to_world[:3, 2], (x, y, z))
        else:
            unknown[piece.name] = "size and straightness"
    return out, unknown


def _plate_box(job: Job, name: str) -> Array:
    result: Array = next(body for body in job.pieces() if body.name == name).box
    return result
