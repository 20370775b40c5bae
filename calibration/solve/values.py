"""What a calibration takes beside photos, and what it gives: values kept in the rig file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY, Points, xy_tuple

XYZ = tuple[float, float, float]


class LaidCard(Protocol):
    """Anything with chessboard corners at known places on the platen (see `cards.Card`).

    A protocol, so that the solver need not know how cards are printed.
    """

    @property
    def name(self) -> str:
        """The card's name."""

    @property
    def centre(self) -> XY:
        """Its middle, platen frame, mm."""

    def corners(self) -> Points:
        """Its chessboard corners by index, platen frame, mm, shape (K, 2)."""

    def outline(self) -> Points:
        """Its cut edge, platen frame, mm, shape (4, 2)."""


@dataclass(frozen=True)
class CardPlan:
    """Where a card is meant to lie: all that a solution needs to know of it.

    The rig file keeps plans rather than cards, so that an old file can still be solved
    after the printed cards change.

    Attributes
    ----------
    name : str
        "front-left" and so on.
    centre : (x, y)
        Platen frame, mm.
    anchor : (x, y)
        The card's corner that lies in the platen's corner: it keeps its place when
        the card is printed larger or smaller. Platen frame, mm.
    corners : tuple of (x, y)
        Chessboard corners by index, platen frame, mm, at true print scale.
    """

    name: str
    centre: XY
    anchor: XY
    corners: tuple[XY, ...]

    @classmethod
    def of(cls, card: LaidCard) -> Self:
        """Return the plan of a card."""
        x, y = card.centre
        outline = card.outline()
        anchor = outline[np.argmax(np.linalg.norm(outline, axis=1))]
        return cls(
            card.name,
            (float(x), float(y)),
            (float(anchor[0]), float(anchor[1])),
            xy_tuple(card.corners()),
        )


@dataclass(frozen=True)
class Cross:
    """A projected cross that the operator has moved on to a known point of the platen.

    Attributes
    ----------
    point : (x, y)
        The known point, platen frame, mm.
    pixel : (x, y)
        Where the cross then was in the projector's picture, px.
    height : float
        Height of the marked surface above the bare platen, mm.
    """

    point: XY
    pixel: XY
    height: float = 0.0


@dataclass(frozen=True)
class Stated:
    """What the operator states beside the photos.

    Attributes
    ----------
    laid : float
        A card laid by hand lies within this of its place, mm (taken as two standard errors).
    nudge : float
        A projected cross is set on its mark within this, mm (taken as two standard errors).
    bar : float or None
        Measured length of the printed 100 mm check bar, mm.
    throw : float or None
        Throw ratio of the projector: distance over picture width.
    lens : (x, y, z) or None
        Lens position measured with a tape, platen frame, mm.
    tolerance : float
        Largest 95 % bound that the operator accepts at any point, mm. A transfer laid
        1 mm off is not seen on a garment (common practice, no source).
    heights : tuple of float
        Heights at which the tolerance must hold, mm; by default bare platen and fleece.
    """

    laid: float = 0.8
    nudge: float = 0.5
    bar: float | None = None
    throw: float | None = None
    lens: XYZ | None = None
    tolerance: float = 1.0
    heights: tuple[float, ...] = (0.0, 4.0)


@dataclass(frozen=True)
class Inherited:
    """What an earlier calibration tells of a projector that may have been bumped since.

    Attributes
    ----------
    mean : tuple of float, (20,)
        The map's parameters: its pinhole's, in the order `pinhole.PARAMETERS`, its bow's, and
        the bend of its picture (`projector.bend`), which is 0.
    covariance : tuple of tuple of float, (20, 20)
        With the bump allowed for.
    """

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class CardFit:
    """Where one card was, as solved.

    Attributes
    ----------
    name : str
    raised : float
        Stated height of the card above the bare platen, mm.
    shift : (x, y)
        How far its middle was from its planned place, platen frame, mm; on a spacer, from
        its planned place on that spacer.
    turn : float
        Counter-clockwise, radians.
    residual : float
        Root mean square distance between its corners as seen and as solved, mm on the card.
    corners : int
        How many corners were used, over all photos.
    """

    name: str
    raised: float
    shift: XY
    turn: float
    residual: float
    corners: int


@dataclass(frozen=True)
class MapFit:
    """How well a projector map is known.

    Attributes
    ----------
    model : str
        Which projector model the data chose, in words.
    height_from : str
        What the map's behaviour with height rests on, in words.
    covariance : tuple of tuple of float, (20, 20)
        Of the map's parameters, in the order of `Inherited.mean`.
    noise : float
        Standard error of one corner coordinate in the photos, px (by hand: on the platen, mm).
    freedom : int
        Degrees of freedom behind the covariance, for the bounds drawn from it.
    print_scale : float
        Solved size of the printed cards over their planned size.
    cards : tuple of CardFit
    notes : tuple of str
        Sentences for the report.
    """

    model: str
    height_from: str
    covariance: tuple[tuple[float, ...], ...]
    noise: float
    freedom: int
    print_scale: float = 1.0
    cards: tuple[CardFit, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The covariance as an array, shape (20, 20)."""
        return np.array(self.covariance, dtype=np.float64)


def frozen_matrix(matrix: Iterable[Iterable[float]]) -> tuple[tuple[float, ...], ...]:
    """Return a matrix as nested tuples, which hash, compare and write as JSON."""
    return tuple(tuple(float(value) for value in row) for row in matrix)
