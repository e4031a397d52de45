"""Welds found from the geometry of bare solids: which edges lie along another piece, and what joint they make there."""

from fixture3d.welding.find import find_welds
from fixture3d.welding.found import FoundWeld, FoundWelds, Remark

__all__ = ["FoundWeld", "FoundWelds", "Remark", "find_welds"]
