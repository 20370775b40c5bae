"""Arrays of pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    pass

BGR = tuple[float, float, float]
U8 = NDArray[np.uint8]
