"""Welds of the file, with a path of their own, that lie on a weld which was found: one line, counted once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.scene.schema import Weld as WeldKeys
from fixture3d.tolerance import JOINTS
from fixture3d.welding import FoundWeld

_STEP: Final = 1.0  # mm between the places of a path that are held against the other one
_SHARE: Final = 0.5  # of the shorter of the two lines: so much of it lies on the other when both are one weld
_ALONG: Final = float(np.cos(np.deg2rad(30.0)))  # lines that run apart by more only cross
_PAST: Final = 0.25  # mm past the end of a path
_EQUAL: Final = 0.05  # mm; roots that are equally near: both sides of a bar that lies on a plate have one


@dataclass(frozen=True, kw_only=True)
class Doubled:
    """A listed weld on a found one.

    Attributes:
        listed: its name in the file.
        found: name of the found one.
        rest: mm of the found one on which no listed weld lies.
        at: (x, y, z) mm, a place of the found one that is left, or else of the listed one; weldment frame.
    """

    listed: str
    found: str
    rest: float
    at: tuple[float, float, float]


def doubled(listed: Sequence[WeldKeys], found: Mapping[str, FoundWeld]) -> tuple[Doubled, ...]:
    """The listed welds that lie on a found one, within `JOINTS.doubled` over most of the shorter one's length.

    Args:
        listed: of the file; those with a path that are not left out are looked at. Weldment frame.
        found: by name, none of them called as a listed one.
    """
    lines = {name: _places(weld.path) for name, weld in found.items()}
    on: dict[str, list[WeldKeys]] = {}
    for weld in listed:
        if weld.path is None or weld.skip:
            continue
        places, along, lengths = _places(np.asarray(weld.path, dtype=np.float64))
        near = [name for name in found if weld.joins is None or set(weld.joins) == set(found[name].joins)]
        if not near or not len(places):
            continue
        far = np.stack([_distances(places, along, found[name].path, _grooves(found[name])) for name in near])
        # Each place belongs to the nearest line; of lines with one root to the one that is most like the listed weld.
        least = far.min(axis=0)
        order = sorted(range(len(near)), key=lambda k: (near[k] in on, _unlike(weld, found[near[k]]), near[k]))
        owner = np.full(len(places), -1)
        for k in reversed(order):
            owner[(far[k] <= least + _EQUAL) & (far[k] <= JOINTS.doubled)] = k
        for k, name in enumerate(near):
            shorter = min(float(lengths.sum()), float(lines[name][2].sum()))
            if float(lengths[owner == k].sum()) >= _SHARE * shorter:
                on.setdefault(name, []).append(weld)
    out = []
    for name, welds in on.items():
        places, along, lengths = lines[name]
        paths = [np.asarray(weld.path, dtype=np.float64) for weld in welds]
        limit = JOINTS.doubled + (JOINTS.most_leg if found[name].type == "flare" else 0.0)
        bare = np.min([_distances(places, along, path, np.zeros((len(path) - 1, 3))) for path in paths], axis=0) > limit
        rest = float(lengths[bare].sum())
        for weld, path in zip(welds, paths, strict=True):
            at = places[np.flatnonzero(bare)[0]] if bare.any() else path.mean(axis=0)
            out.append(Doubled(listed=weld.name, found=name, rest=rest, at=(float(at[0]), float(at[1]), float(at[2]))))
    return tuple(out)


def _unlike(listed: WeldKeys, found: FoundWeld) -> float:
    """How little a listed weld is like a found one on the same root: by type, and by the side that it looks to."""
    side = 0.0
    if listed.sides is not None:
        look = np.sum(np.asarray(listed.sides, dtype=np.float64), axis=0)
        side = -float(look @ found.bisector.mean(axis=0))
    return side + (10.0 if listed.type is not None and listed.type != found.type else 0.0)


def _places(path: Array) -> tuple[Array, Array, Array]:
    """A path in short parts: their middles (k, 3), unit directions (k, 3) and lengths (k,)."""
    middles, ways, lengths = [], [], []
    for a, b in pairwise(path):
        size = float(np.linalg.norm(b - a))
        if size > 0.0:
            count = max(1, int(np.ceil(size / _STEP)))
            middles.append(a + (np.arange(count)[:, None] + 0.5) / count * (b - a))
            ways.append(np.tile((b - a) / size, (count, 1)))
            lengths.append(np.full(count, size / count))
    if not middles:
        return np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0)
    return np.concatenate(middles), np.concatenate(ways), np.concatenate(lengths)


def _distances(places: Array, along: Array, path: Array, looks: Array) -> Array:
    """Of places (k, 3) from the parts of a path that run their way, (k,) mm; inf where none does, and past an end.

    Args:
        places: of the other line.
        along: its unit directions there, (k, 3).
        path: (n, 3).
        looks: for each part of the path, (n - 1, 3), what leads from its root to the face of a groove; 0 where the root
            is all that counts.
    """
    start, step = path[:-1], np.diff(path, axis=0)
    size = np.linalg.norm(step, axis=1)
    whole = size > 0.0
    start, step, size, looks = start[whole], step[whole], size[whole], looks[whole]
    off = places[:, None] - start[None]
    at = np.einsum("kpi,pi->kp", off, step) / size**2
    beyond = np.zeros(at.shape, dtype=bool)
    if (path[0] != path[-1]).any():
        beyond[:, 0] |= at[:, 0] * size[0] < -_PAST
        beyond[:, -1] |= (at[:, -1] - 1.0) * size[-1] > _PAST
    off = off - np.clip(at, 0.0, 1.0)[..., None] * step[None]
    deep = np.maximum((looks**2).sum(axis=1), 1e-12)
    off = off - np.clip(np.einsum("kpi,pi->kp", off, looks) / deep, 0.0, 1.0)[..., None] * looks[None]
    alike = np.abs(along @ (step / size[:, None]).T) >= _ALONG
    out: Array = np.where(alike & ~beyond, np.linalg.norm(off, axis=2), np.inf).min(axis=1)
    return out


def _grooves(weld: FoundWeld) -> Array:
    """``looks`` of a found weld: a flare's root lies deep between its faces, and is seen and drawn where these end."""
    return weld.bisector * (JOINTS.most_leg if weld.type == "flare" else 0.0)
