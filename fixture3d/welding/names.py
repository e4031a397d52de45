"""A name for each weld that was found: which pieces, and on which side of the joint the line lies.

``left leg / rung 1, front``: the non-butting piece, the other one, and the word for the side. Where neither runs on
past the other, as at a mitre, the two stand in the order of the alphabet. A name depends on the two pieces and their
own welds alone: not on the order in which they are given, on other pairs, or on a tenth of a millimetre.

The frame is the table's: X to the right, Y away from the man, Z up.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.found import FoundWeld

_WORDS = (("left", "right"), ("front", "back"), ("bottom", "top"))
_ORDER = (2, 1, 0)  # a place is told as "top front left"
_FIRST = (1, 0, 2)  # of two ways that are as long as each other, front and back is told before left and right
_ALIKE = 0.85  # a way of at least this share of the longest is as long: square joints must not turn on rounding
_LEAD = 0.05  # of all the line: less says nothing about which piece runs on
_ALL_ROUND = "all round"
_INSIDE = "inside"


def weld_names(welds: Sequence[FoundWeld]) -> list[str]:
    """One name for each weld, in the order of ``welds``; no two are the same."""
    pairs: dict[frozenset[str], list[int]] = defaultdict(list)
    for k, weld in enumerate(welds):
        pairs[frozenset(weld.joins)].append(k)
    out = [""] * len(welds)
    for members in pairs.values():
        mine = [welds[k] for k in members]
        title = _title(mine)
        for k, side in zip(members, _sides(mine), strict=True):
            out[k] = f"{title}, {side}" if side else title
    return _apart(out, welds)


def _title(welds: Sequence[FoundWeld]) -> str:
    """Both pieces of a pair: the one that most of its line says runs on, before the other."""
    names = sorted(set(welds[0].joins), key=_natural)
    lead = sum(weld.length * (1.0 if weld.joins[0] == names[0] else -1.0) for weld in welds if weld.through)
    if lead < -_LEAD * sum(weld.length for weld in welds):
        names.reverse()
    return " / ".join(names)


def _natural(name: str) -> tuple[list[tuple[int, int, str]], str]:
    """Names in the order in which a man counts: rung 2 before rung 10."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return [(0, int(p), "") if p.isascii() and p.isdigit() else (1, 0, p) for p in parts], name


def _sides(welds: Sequence[FoundWeld]) -> list[str]:
    """The word for each weld of one pair; empty for the only one."""
    out = [""] * len(welds)
    closed = [k for k, weld in enumerate(welds) if weld.state == "closed"]
    free = [k for k, weld in enumerate(welds) if weld.state != "closed"]
    for group, prefix in ((free, ""), (closed, _INSIDE)):
        if not group:
            continue
        if len(group) == 1:
            out[group[0]] = prefix or (_ALL_ROUND if welds[group[0]].closed_loop else "")
            if not out[group[0]]:
                out[group[0]] = _alone(welds[group[0]])
            continue
        for k, words in zip(group, _told_apart([welds[k] for k in group]), strict=True):
            out[k] = f"{prefix} {words}".strip()
    return out


def _alone(weld: FoundWeld) -> str:
    """The only weld of a pair, by where it looks."""
    look = _mean_look(weld)
    axis = _main(look)
    return _WORDS[axis][int(look[axis] > 0.0)]


def _main(way: Array) -> int:
    """The axis along which a way is longest."""
    return _by_length(np.abs(way))[0]


def _by_length(size: Array) -> list[int]:
    """The axes along which a way (3,) goes at all, longest first; those alike in a fixed order."""
    left = [axis for axis in _FIRST if size[axis] > 0.0]
    out: list[int] = []
    while left:
        longest = max(float(size[axis]) for axis in left)
        out.append(next(axis for axis in left if size[axis] >= _ALIKE * longest))
        left.remove(out[-1])
    return out


def _mean_look(weld: FoundWeld) -> Array:
    """The way into the open, as a mean over the line, (3,), no longer than 1."""
    sizes = np.linalg.norm(np.diff(weld.path, axis=0), axis=1)
    shares = sizes / sizes.sum() if len(weld.bisector) == len(sizes) else np.full(len(weld.bisector), 1.0)
    out: Array = shares @ weld.bisector
    return out


def middle(weld: FoundWeld) -> Array:
    """The middle of a line by its length, (3,) mm."""
    parts = np.diff(weld.path, axis=0)
    sizes = np.linalg.norm(parts, axis=1)
    out: Array = sizes @ ((weld.path[:-1] + weld.path[1:]) / 2.0) / sizes.sum()
    return out


def _told_apart(welds: Sequence[FoundWeld]) -> list[str]:
    """Words for the welds of one pair that tell them apart; numbers only where words do not.

    The first word is that of the way from the middle of all to the middle of the one; more words follow only while two
    welds share theirs.
    """
    # A little way into the open: both sides of a round that lies on a plate have one root.
    spots = np.stack([middle(weld) + _mean_look(weld) for weld in welds])
    centre = (spots.min(axis=0) + spots.max(axis=0)) / 2.0
    away = spots - centre
    marks = [_by_length(np.where(np.abs(way) > JOINTS.side, np.abs(way), 0.0)) for way in away]
    texts: list[str] = []
    for depth in range(1, 4):
        texts = [_text(axes[:depth], way) for axes, way in zip(marks, away, strict=True)]
        if len(set(texts)) == len(texts):
            return [text or "middle" for text in texts]
        # Only those that are not alone get another word.
        alone = [texts.count(text) == 1 for text in texts]
        marks = [axes[:depth] if so else axes for axes, so in zip(marks, alone, strict=True)]
    return _numbered([text or "middle" for text in texts], spots)


def _text(axes: Sequence[int], way: Array) -> str:
    return " ".join(_WORDS[axis][int(way[axis] > 0.0)] for axis in _ORDER if axis in axes)


def _numbered(texts: Sequence[str], spots: Array) -> list[str]:
    """Equal words with numbers, from left to right, then front to back, then upward."""
    out = list(texts)
    for text in sorted(set(texts)):
        mine = [k for k, other in enumerate(texts) if other == text]
        if len(mine) > 1:
            grid = np.round(spots[mine] / JOINTS.side) + 0.0
            for number, k in enumerate(np.lexsort((grid[:, 2], grid[:, 1], grid[:, 0])).tolist(), 1):
                out[mine[k]] = f"{text} {number}"
    return out


def _apart(names: list[str], welds: Sequence[FoundWeld]) -> list[str]:
    """Names of two pairs may be alike where pieces have slashes or commas in theirs: those are numbered by place."""
    out = list(names)
    taken = set(names)
    for name in sorted({n for n in names if names.count(n) > 1}):
        mine = [k for k, other in enumerate(names) if other == name]
        mine.sort(key=lambda k: (sorted(welds[k].joins), np.round(middle(welds[k])).tolist()))
        number = 1
        for k in mine[1:]:
            number += 1
            while f"{name} ({number})" in taken:
                number += 1
            out[k] = f"{name} ({number})"
            taken.add(out[k])
    return out
