"""A thickness made up from shims of the shelf."""

from __future__ import annotations

from collections.abc import Mapping

from fixture3d.setting import Sums, grains, mm
from fixture3d.tolerance import SETTING, SHOP


def made_up(size: float, shims: Mapping[float, int], within: float = SHOP.contact) -> tuple[float, ...]:
    """The fewest shims that make up a thickness, mm, the thickest first; empty where none do."""
    sizes = sorted(one for one, count in shims.items() if count > 0)
    if not sizes:
        return ()
    sums = Sums([grains(one) for one in sizes], [shims[one] for one in sizes], most=SETTING.shims)
    best = int(sums.nearest([grains(size)])[0][0])
    if abs(mm(best) - size) > within:
        return ()
    taken = zip(sizes, sums.pieces(best), strict=True)
    return tuple(sorted((one for one, count in taken for _ in range(count)), reverse=True))
