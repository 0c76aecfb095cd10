"""Array types that every stage names alike."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Instants = NDArray[np.int64]
"""UTC microseconds."""
Flags = NDArray[np.bool_]
