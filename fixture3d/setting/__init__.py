"""How to set a face to a wanted place with what there is: bare numbers, no scene and no blocks.

A face stands where a start puts it (a hole, an offset, a number of notches) and as much further as the pieces measure
that are laid in front of it. All of it is counted in whole grains (:mod:`fixture3d.setting.grain`), so that sums are
exact and an error of 0 is no matter of rounding.
"""

from fixture3d.setting.grain import GRAIN, grains, mm
from fixture3d.setting.reach import Reach, reach
from fixture3d.setting.search import Setting, Starts, fewest_first, search
from fixture3d.setting.sums import Sums, TooMany

__all__ = ["GRAIN", "Reach", "Setting", "Starts", "Sums", "TooMany", "fewest_first", "grains", "mm", "reach", "search"]
