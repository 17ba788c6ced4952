"""What all arrays of the core are: floats, with time on axis 0 and NaN where nothing is known."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]

HOUR_S = 3600
"""One hour [s]."""
