"""Pieces that stand aslant or upright: stops at 45 degrees, V-blocks lying down, tilt blocks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d.errors import FixtureError
from fixture3d.frame import Array
from fixture3d.job import PlacedPad, Seat, placed_pads
from fixture3d.need.corner import Candidate
from fixture3d.need.ways import DIAGONAL, LEVEL, ROOT2, TURNS, diagonal_pin, is_diagonal, is_square, nearest_turns
from fixture3d.part import parameters
from fixture3d.tolerance import LOCATING, SHOP

if TYPE_CHECKING:
    from fixture3d.need.designs import Designs

_EACH: Final = 12  # places of one size that are tried
_ROWS: Final = 8  # lines of holes that are looked at for one that lies at a distance that can be made


def diagonal_stop(designs: Designs) -> Iterator[Candidate]:
    """A stop block at 45 degrees, as deep as the next line of holes asks for."""
    spot = designs.spots[0]
    if not is_diagonal(spot.out):
        degrees = float(np.rad2deg(np.arctan2(spot.out[1], spot.out[0]))) % 180.0
        low, high = nearest_turns(degrees)
        designs.note(
            f"its face looks {degrees:.4g} degrees to the rows, and a stop stands at {low:g} or {high:g}; nearest: the "
            "work turned so that it does ([weldment] turn), or --from below"
        )
        return
    if not designs.wanted("stop_block"):
        designs.note("at 45 degrees to the rows the stop is a stop_block; leave the model out")
        return
    pattern = designs.pattern
    height = designs.height
    if height is None:
        height = pattern.neat(float(spot.point[2]) + LOCATING.over)
    usual = designs.place("stop_block", {"height": height})
    if usual is None:
        return
    # Its back lies half of what the depth is more than the usual one further from the bores for 45 degrees.
    try:
        row = next(pin for pin in usual[1].pins() if pin.name == diagonal_pin(usual[1]))
    except FixtureError as error:
        designs.note(str(error))
        return
    depth, behind = float(getattr(usual[1], "depth", 0.0)), usual[1].box()[1][1] - row.at[1]
    face, line = float(spot.point @ spot.out), pattern.pitch / ROOT2
    for k in range(1, _ROWS):
        away = (np.floor(face / line + LEVEL) + k) * line - face
        sizes = {"height": height, "depth": depth + 2.0 * (away - behind)}
        noted = len(designs.notes)
        thick = sizes["depth"] >= depth - 2.0 * behind + 2.0 * pattern.bore
        made = designs.place("stop_block", sizes) if thick else None
        if made is None:
            del designs.notes[noted:]  # too near or too far; the next line may do
            continue
        try:
            place = made[0].model_copy(update={"pin": diagonal_pin(made[1])})
        except FixtureError:
            continue
        where = designs.holes(place, DIAGONAL, lambda seat: _against(seat, spot.out), [spot.out])
        for one in islice(where, _EACH):
            yield Candidate(places=(one,), words="made to the distance, at 45 degrees")


def upright_vee(designs: Designs) -> Iterator[Candidate]:
    """A V-block lying on its side for a round post: its middle as far from the holes as the post is."""
    spot = designs.spots[0]
    if designs.model != "vee_block" or not spot.diameter or spot.axis is None:
        return
    if abs(float(spot.axis[2])) < 1.0 - LEVEL:
        designs.note(
            f"{spot.piece} lies level there, and the V of a vee_block on its side stands upright; nearest: --from "
            "below, or a stop (leave the model out)"
        )
        return
    if not is_square(spot.out):
        return
    pattern, axis = designs.pattern, spot.axis
    known = parameters(designs.job.library.entries["vee_block"].model)["depth"]
    most, wanted = known.resolved("high", pattern), pattern.neat(float(spot.point[2]) + LOCATING.over)
    sizes: dict[str, float | int] = {"diameter": spot.diameter}
    if "depth" not in designs.given and wanted > known.resolved("default", pattern):
        sizes["depth"] = min(wanted, most)  # as high as it reaches when it lies down
    across = np.array([-spot.out[1], spot.out[0], 0.0])
    usual = designs.place("vee_block", sizes)
    if usual is None:
        return
    middles = [(bores - 1) * pattern.pitch / 2.0 for bores in (2, 3)]
    at = float(spot.centre @ across)
    offs = [min((at - middle) % pattern.pitch, (middle - at) % pattern.pitch) for middle in middles]
    if min(offs) > SHOP.contact:
        designs.note(
            f"the middle of {spot.piece} is {designs.show(min(offs))} off every line of holes and off the middle "
            "between two, so no V-block lies beside it; nearest: a stop (leave the model out)"
        )
        return
    bores = 2 + offs.index(min(offs))
    row = next(pin for pin in usual[1].pins() if pin.face == "front").at[2]
    centre = float(spot.centre @ spot.out)

    def tangent(pads: Sequence[PlacedPad]) -> Array:
        """Where the middle of the flats has to be for both to touch."""
        normals = np.array([pad.normal for pad in pads])[:, :2]
        gaps = [float((spot.centre - pad.at) @ pad.normal) - spot.diameter / 2.0 for pad in pads]
        middle: Array = np.mean([pad.at for pad in pads], axis=0)
        middle[:2] += np.linalg.solve(normals, gaps)
        return middle

    noted = len(designs.notes)
    for k in range(1, _ROWS):
        away = (np.floor(centre / pattern.pitch + LEVEL) + k) * pattern.pitch - centre
        made = designs.place("vee_block", {**sizes, "centre_height": away + row, "bores": bores})
        if made is None:
            continue
        pin = next(pin for pin in made[1].pins() if pin.face == "front")
        place = made[0].model_copy(update={"face": "front", "pin": pin.name})
        where = designs.holes(place, TURNS, lambda seat: _cradling(seat, spot.out, axis), [across, spot.out], tangent)
        for one in islice(where, _EACH):
            del designs.notes[noted:]  # those of rows that were too near
            words = (
                f"a V for {designs.show(spot.diameter)} on its side, its middle {designs.show(away)} from its dowels"
            )
            yield Candidate(places=(one,), words=words)


def on_slope(designs: Designs) -> Iterator[Candidate]:
    """A tilt block under a face that slopes: its angle, its height, and how far out the stop at its foot lies."""
    spot = designs.spots[0]
    angle = float(np.rad2deg(np.arccos(min(1.0, -float(spot.out[2])))))
    level = np.array([spot.out[0], spot.out[1], 0.0])
    rise = level / np.linalg.norm(level)
    if not designs.wanted("tilt_block") or "tilt_block" not in designs.job.library.entries:
        designs.note(f"its underside slopes by {angle:.4g} degrees, which takes a tilt_block; leave the model out")
        return
    if not is_square(rise):
        degrees = float(np.rad2deg(np.arctan2(rise[1], rise[0]))) % 180.0
        designs.note(
            f"its underside slopes by {angle:.4g} degrees, at {degrees:.4g} degrees to the rows, and a tilt_block "
            "stands along them or square to them; nearest: the work turned so that it slopes along a row"
        )
        return
    up = np.array([*(rise[:2] * -spot.out[2]), float(np.hypot(*spot.out[:2]))])  # (3,) unit, up the slope
    body = next(body for body in designs.job.pieces() if body.name == spot.piece)
    foot = float((body.triangles.reshape(-1, 3) @ up).min())
    corner = spot.point + up * (foot - float(spot.point @ up))
    height, pitch, begins = float(corner[2]), designs.pattern.pitch, float(corner @ rise)
    turn = float(np.rad2deg(np.arctan2(rise[1], rise[0])) - 90.0) % 360.0
    offered, told = False, len(designs.notes)

    def in_plane(pads: Sequence[PlacedPad]) -> Array:
        """Where the middle of the slope has to be: beside the place, and so far along that it lies in the face."""
        at = pads[0].at
        along = float(at @ rise) + float((spot.point - at) @ spot.out) / float(rise @ spot.out)
        wanted: Array = spot.point + rise * (along - float(spot.point @ rise))
        return wanted

    known = parameters(designs.job.library.entries["tilt_block"].model)
    least, shallow = (known[key].resolved("low", designs.pattern) for key in ("height", "depth"))
    deep = known["depth"].resolved("high", designs.pattern)
    if height < least - SHOP.contact:
        designs.note(
            f"the foot of its slope lies {designs.show(height)} above the table, and that of a tilt_block "
            f"{designs.show(least)} or more; nearest: the work lifted by {designs.show(least - height)} "
            "(lift in [weldment])"
        )
        return
    for k in range(1, _ROWS):
        depth = 2.0 * ((np.floor(begins / pitch + LEVEL) + k) * pitch - begins)
        if not shallow <= depth <= deep:
            continue
        made = designs.place("tilt_block", {"angle": round(angle, 6), "height": height, "depth": depth})
        if made is None:
            continue
        where = designs.holes(made[0], (turn,), lambda seat: _against(seat, spot.out), [rise], in_plane)
        for one in islice(where, _EACH):
            offered = True
            words = f"its slope at {angle:.4g} degrees, its foot stop against the lower end of {spot.piece}"
            yield Candidate(places=(one,), words=words)
    if offered:
        del designs.notes[told:]


def _against(seat: Seat, out: Array) -> list[PlacedPad]:
    """The pad that looks against a face."""
    return [pad for pad in placed_pads(seat) if float(pad.normal @ out) < -1.0 + LEVEL][:1]


def _cradling(seat: Seat, out: Array, axis: Array) -> list[PlacedPad]:
    """The two flats of a V that opens against a round face, along its axis; empty where they do not."""
    flats = [
        pad
        for pad in placed_pads(seat)
        if -1.0 + LEVEL < float(pad.normal @ out) < -0.1 and abs(float(pad.normal @ axis)) < LEVEL
    ]
    return flats if len(flats) == 2 else []
