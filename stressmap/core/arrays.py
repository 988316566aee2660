"""Types of arrays that pass between rooms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
