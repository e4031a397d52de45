"""Names for the arrays that torch access passes round."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
