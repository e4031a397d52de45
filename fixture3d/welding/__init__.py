"""Welds found from the geometry of bare solids: which edges lie along another piece, and what joint they make there."""

from fixture3d.welding.find import find_welds
from fixture3d.welding.found import FoundWeld, FoundWelds, Remark
from fixture3d.welding.leg_size import default_size, leg_size, walls_at
from fixture3d.welding.names import weld_names

__all__ = ["FoundWeld", "FoundWelds", "Remark", "default_size", "find_welds", "leg_size", "walls_at", "weld_names"]
