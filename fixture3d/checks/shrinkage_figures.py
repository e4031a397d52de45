"""The figures of shrinkage for the report: bands of each weld, of the whole, of each cut length, between stops."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.shrink_stops import Stops
from fixture3d.job.shrink_welds import Shrunk
from fixture3d.shrinkage.band import Band
from fixture3d.shrinkage.effect import Effect, allowances
from fixture3d.shrinkage.rules import RULES
from fixture3d.shrinkage.stops import opposed

__all__ = ["figures"]

_TIP = 0.5  # share of the widest piece at an end of the work that another must have to count there
_END = 0.5  # mm; points that are this near the end of the work are its end
_ALIGNED = 0.9999  # cosine from which an axis of the weldment is one of the table


def figures(job: Job, shrunk: Shrunk, stops: Stops) -> dict[str, list[dict[str, Any]]]:
    """Tables by name; bands are (low, high), mm or degrees, to be rounded where they are shown, and only there."""
    return {
        "shrink_welds": _welds(job, shrunk),
        "shrink_axes": _axes(job, shrunk.effect),
        "shrink_lengths": _lengths(job, shrunk.so_far),
        "shrink_stops": _between(shrunk.effect, stops),
        "shrink_rules": _rules(shrunk),
    }


def _ends(band: Band) -> list[float]:
    return [band.low, band.high]


def _welds(job: Job, shrunk: Shrunk) -> list[dict[str, Any]]:
    here = {weld.name for weld in job.welds}
    return [
        {
            "name": weld.name,
            "type": weld.type,
            "joins": list(weld.joins),
            "transverse": _ends(one.transverse),
            "longitudinal": _ends(one.longitudinal),
            "angular": _ends(one.angular),
            "rules": list(one.rules),
            "remarks": list(one.remarks),
            "covered": one.covered,
        }
        for weld, one in zip(shrunk.effect.welds, shrunk.effect.bands, strict=True)
        if weld.name in here
    ]


def _rules(shrunk: Shrunk) -> list[dict[str, Any]]:
    used = {name for one in shrunk.effect.bands for name in one.rules}
    keys = ("name", "formula", "source", "mark", "holds")
    return [{key: getattr(rule, key) for key in keys} for name, rule in RULES.items() if name in used]


def _lengths(job: Job, effect: Effect) -> list[dict[str, Any]]:
    """By how much each straight member is to be cut longer, for the welds up to this stage."""
    assert job.weldment is not None
    to_world = job.weldment.weldment_to_world
    straight = {
        piece.name: piece
        for piece in job.weldment.pieces
        if piece.name in effect.lots and piece.section is not None and piece.bent is None and piece.cut_length > 0.0
    }
    axes = {name: frame.directions(to_world @ p.piece_to_weldment, (1.0, 0.0, 0.0)) for name, p in straight.items()}
    longer = allowances(effect, axes)
    return [
        {"name": name, "cut_length": straight[name].cut_length, "longer": _ends(band)} for name, band in longer.items()
    ]


def _between(effect: Effect, stops: Stops) -> list[dict[str, Any]]:
    """Pairs of blocks that face each other: by how much the gap opens, and where to set them for a true size."""
    rows = []
    for pair in opposed(effect, stops.faces):
        first, second = stops.faces[pair.first], stops.faces[pair.second]
        rows.append(
            {
                "first": first.block,
                "second": second.block,
                "kind": pair.kind,
                "axis": (np.round(pair.axis, 9) + 0.0).tolist(),
                "length": round(pair.length, 6),
                "gap": _ends(pair.change),
            }
        )
    return rows


def _axes(job: Job, effect: Effect) -> list[dict[str, Any]]:
    """By how much each weldment changes along its own axes, end to end."""
    assert job.weldment is not None
    bodies = {body.name: body for body in job.pieces()}
    joined: dict[int, list[str]] = {}
    for name, lot in effect.lots.items():
        joined.setdefault(lot, []).append(name)
    rows = []
    for names in joined.values():
        if len(names) < 2:
            continue
        world = {n: frame.points(bodies[n].body_to_world, bodies[n].shape.mesh.vertices) for n in names}
        for k, letter in enumerate("XYZ"):
            axis = frame.directions(job.weldment.weldment_to_world, np.eye(3)[k])
            length, change = _along(effect, world, axis)
            rows.append(
                {
                    "axis": _axis_name(axis, letter),
                    "direction": (np.round(axis, 9) + 0.0).tolist(),
                    "pieces": names,
                    "length": round(length, 3),
                    "change": _ends(change),
                }
            )
    return rows


def _axis_name(axis: Array, letter: str) -> str:
    """Of the table where the weldment stands along it, else the weldment's own."""
    nearest = int(np.argmax(np.abs(axis)))
    return "XYZ"[nearest] if abs(float(axis[nearest])) > _ALIGNED else f"the work's own {letter}"


def _along(effect: Effect, world: dict[str, Array], axis: Array) -> tuple[float, Band]:
    """Length along an axis, and by how much it changes, from each piece at one end to what lies opposite it."""
    heights = {name: points @ axis for name, points in world.items()}
    low, high = min(h.min() for h in heights.values()), max(h.max() for h in heights.values())
    starts = _ends_of(world, {name: h < low + _END for name, h in heights.items()})
    ends = _ends_of(world, {name: h > high - _END for name, h in heights.items()})
    pairs = {(k, _opposite(one, ends, axis)) for k, one in enumerate(starts)}
    pairs |= {(_opposite(other, starts, axis), k) for k, other in enumerate(ends)}
    bands = [effect.apart(starts[one], ends[other], axis) for one, other in sorted(pairs)]
    change = bands[0]
    for band in bands[1:]:
        change = change.hull(band)
    return float(high - low), change


def _ends_of(world: dict[str, Array], at: dict[str, NDArray[np.bool_]]) -> list[tuple[str, Array]]:
    """The pieces that make up one end of the work, each with the middle of what is there: not the mere tip of one."""
    boxes = {
        name: np.stack([points[at[name]].min(axis=0), points[at[name]].max(axis=0)])
        for name, points in world.items()
        if at[name].any()
    }
    wide = {name: float(np.linalg.norm(box[1] - box[0])) for name, box in boxes.items()}
    most = max(wide.values())
    return [(name, box.mean(axis=0)) for name, box in boxes.items() if wide[name] >= _TIP * most]


def _opposite(one: tuple[str, Array], others: list[tuple[str, Array]], axis: Array) -> int:
    """Which of others lies most nearly straight across; the first of those that do so alike."""
    steps = np.array([other[1] - one[1] for other in others])
    aside = np.linalg.norm(steps - np.outer(steps @ axis, axis), axis=1)
    return int(np.argmin(np.round(aside, 3)))
