"""Which blocks of a model are tried: hole patterns, and values at the corners of the ranges and between them."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Final

from fixture3d.errors import ModelError
from fixture3d.library import Library
from fixture3d.part import Pattern, build, parameters

PATTERNS: Final[Mapping[str, Pattern]] = {
    "50/16": Pattern(pitch=50.0, bore=16.0),
    "100/28": Pattern(pitch=100.0, bore=28.0),
    "2in/5-8": Pattern(pitch=50.8, bore=15.875, inch=True),
    "2in/3-4": Pattern(pitch=50.8, bore=19.05, inch=True),
}
CORNERS: Final = ("default", "low", "high")
_STEPS: Final = 40  # in which a corner is drawn towards the default
_TRIES: Final = 400


def cases(random_ones: int) -> tuple[str, ...]:
    """The corners, and so many blocks at random between them: names that `values` understands."""
    return (*CORNERS, *(f"random {i}" for i in range(random_ones)))


def values(shop: Library, model: str, pattern: Pattern, case: str) -> dict[str, float]:
    """Parameters of one case; a corner that the model's rules forbid is drawn towards the default.

    Raises:
        ModelError: no block of this case can be made; says why the last one could not.
    """
    made = shop.entry(model).model
    known = parameters(made)
    ends = {k: {w: p.resolved(w, pattern) for w in CORNERS} for k, p in known.items()}
    dice = random.Random(f"{model} {pattern} {case}")
    why = ""
    for attempt in range(_TRIES):
        share = 1.0 if case in ("low", "high") else dice.random()
        given = {}
        for key, end in ends.items():
            if case in CORNERS:
                pull = attempt / _STEPS if attempt <= _STEPS else 1.0
                value = end[case] + (end["default"] - end[case]) * pull * share
            else:
                value = dice.uniform(end["low"], end["high"])
            given[key] = round(value) if known[key].kind == "count" else value
        try:
            build(made, pattern, given)  # rules alone: what else a block does wrong must not be drawn away from
        except ModelError as error:
            why = str(error).splitlines()[0]
            if case == "default":
                break  # it is the same block each time
            continue
        return given
    raise ModelError(f"no block of it can be made: {why}")
