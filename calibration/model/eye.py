"""A camera that stands fixed beside the projector and looks at the platen: the press's eye."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.model.pinhole import Array, Pinhole

Matrix = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Eye:
    """The fixed camera: where it stands, its lens, and how well both are known.

    Attributes
    ----------
    camera : Pinhole
        Platen to camera px.
    size : tuple of int
        Width and height of the camera's picture, px.
    covariance : tuple of tuple of float, shape (15, 15)
        Of the camera's parameters, in the order `pinhole.PARAMETERS`, from the noise of what was
        seen, with the projector taken as it is on file.
    by_projector : tuple of tuple of float, shape (15, 20)
        How far those parameters follow an error of the projector's map, whose parameters are
        ordered as `uncertainty.landing_slope` orders them.
    noise : float
        Scatter of what was seen, per axis, px.
    freedom : int
        Degrees of freedom behind the noise.
    points : int
        Points of light that were seen on the bare platen and on what was raised.
    fixed_by : tuple of str
        What told height and lens: sentences for the operator.
    reflectance : (red, green, blue) or None
        Of the bare platen, linear, 1 for a perfect white, where it was stated or measured.
    """

    camera: Pinhole
    size: tuple[int, int]
    covariance: Matrix
    by_projector: Matrix
    noise: float
    freedom: int
    points: int
    fixed_by: tuple[str, ...] = ()
    reflectance: tuple[float, float, float] | None = None

    @property
    def matrix(self) -> Array:
        """The covariance as an array, shape (15, 15)."""
        return np.array(self.covariance, dtype=np.float64)

    @property
    def projector_slope(self) -> Array:
        """`by_projector` as an array, shape (15, 20)."""
        return np.array(self.by_projector, dtype=np.float64)
