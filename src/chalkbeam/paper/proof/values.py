"""What a proof is made from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chalkbeam.basics.units import Unit
from chalkbeam.paper.worn import BELLY
from chalkbeam.placement import Placement


@dataclass(frozen=True, eq=False)
class Proof:
    """One imprint to be agreed on.

    Attributes
    ----------
    placement : Placement
    art : ndarray, shape (h, w, 4), uint8
        The ink alone (`chalkbeam.paper.proof.picture`).
    cloth : (red, green, blue)
        The fabric's colour, 0 to 255.
    fabric : str
        The fabric's name; empty if none was chosen.
    unit : Unit
        What lengths are written in.
    customer, order, date : str
        Written at the head as given; empty ones are left out.
    belly : float
        How full the wearer's belly is in the worn views, 0 to 1.
    """

    placement: Placement
    art: NDArray[np.uint8]
    cloth: tuple[int, int, int]
    fabric: str = ""
    unit: Unit = Unit.INCH
    customer: str = ""
    order: str = ""
    date: str = ""
    belly: float = BELLY
