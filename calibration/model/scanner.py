"""A laser scanner of two mirrors: from platen millimetres, at any height, to its signals.

The beam meets a first mirror, then a second one, *separation* further on, whose axis is square to
the first's; so its rays have no single centre (Manakov, Seidel, Ihrke 2011, section 3). In the
scanner's frame, whose origin lies on the second mirror's axis and whose c points along the beam
at rest, mirrors that turn it by the angles t1 and t2 let it leave (separation tan t1, 0, 0) along
(sin t1, cos t1 sin t2, cos t1 cos t2). It meets a point (a, b, c) where

    tan t2 = b / c        tan t1 = a / (hypot(b, c) + separation)

A drive turns a signal from -1 to 1, full scale, into an angle; here the other way round, with a
cubic for a drive that is not quite linear: ``signal = gain (t + cubic t^3)``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Self

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points

_NEWTON = 8
"""Steps to undo a cubic; drives bend so little that four reach 1e-12."""


@dataclass(frozen=True)
class ScannerMap:
    """A two-mirror scanner over a platen; the model is in the module's docstring.

    Attributes
    ----------
    rx, ry, rz, tx, ty, tz : float
        Rotation vector, radians, and translation, mm, of ``scanner_from_platen``.
    separation : float
        From the first mirror's axis to the second's, mm.
    gain1, gain2 : float
        Signal for each radian that the first and the second mirror turn the beam.
    cubic1, cubic2 : float
        How the drives bend, per radian squared.
    swapped : bool
        Whether the first mirror is driven by the y signal; usually x drives it.
    """

    rx: float
    ry: float
    rz: float
    tx: float
    ty: float
    tz: float
    separation: float
    gain1: float
    gain2: float
    cubic1: float = 0.0
    cubic2: float = 0.0
    swapped: bool = False

    @classmethod
    def hung(
        cls, place: ArrayLike, full_angle: float, separation: float = 0.0, swapped: bool = False
    ) -> Self:
        """Return a scanner that looks straight down, its y signal away from the operator.

        Parameters
        ----------
        place : array_like, shape (3,)
            Where it hangs, platen frame, mm.
        full_angle : float
            From signal -1 to signal 1, radians, of both axes.
        separation : float
        swapped : bool
        """
        x, y, z = np.asarray(place, dtype=np.float64)
        gain = 2.0 / full_angle
        if swapped:  # the first mirror sweeps along a, which is then platen y
            half = np.pi / np.sqrt(2)
            return cls(half, half, 0.0, -y, -x, z, separation, gain, gain, swapped=True)
        return cls(np.pi, 0.0, 0.0, -x, y, z, separation, gain, -gain)

    @property
    def vector(self) -> NDArray[np.float64]:
        """All parameters but `swapped`, in their order, shape (11,)."""
        return np.array([getattr(self, field.name) for field in fields(self)[:-1]])

    @classmethod
    def from_vector(cls, vector: ArrayLike, swapped: bool) -> Self:
        """Return the scanner with parameters `vector`, shape (11,)."""
        values = (float(value) for value in np.asarray(vector))
        return replace(cls(*values), swapped=swapped)  # type: ignore[arg-type]

    @property
    def rotation(self) -> NDArray[np.float64]:
        """R of ``scanner_from_platen``, shape (3, 3)."""
        return np.asarray(cv2.Rodrigues(np.array([self.rx, self.ry, self.rz]))[0])

    def signal_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return the signals, x and y, that throw the beam on points of or above the platen.

        Parameters
        ----------
        points : array_like, shape (N, 2), platen frame, mm
        height : float or array_like of shape (N,), mm

        Returns
        -------
        ndarray, shape (N, 2), -1 to 1; beyond it the scanner does not reach.
        """
        flat = as_points(points)
        lifted = np.column_stack([flat, np.broadcast_to(np.asarray(height), len(flat))])
        a, b, c = (lifted @ self.rotation.T + (self.tx, self.ty, self.tz)).T
        second = np.arctan2(b, c)
        first = np.arctan2(a, np.hypot(b, c) + self.separation)
        signals = np.column_stack([
            self.gain1 * (first + self.cubic1 * first**3),
            self.gain2 * (second + self.cubic2 * second**3),
        ])  # fmt: skip
        return signals[:, ::-1].copy() if self.swapped else signals

    def platen_from_signal(self, signals: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return where the beam lands at a height, shape (N, 2), platen frame, mm.

        Parameters
        ----------
        signals : array_like, shape (N, 2)
        height : float or array_like of shape (N,), mm
        """
        given = as_points(signals)[:, ::-1] if self.swapped else as_points(signals)
        first = _angle(given[:, 0] / self.gain1, self.cubic1)
        second = _angle(given[:, 1] / self.gain2, self.cubic2)
        start = np.zeros((len(given), 3))
        start[:, 0] = self.separation * np.tan(first)
        along = np.column_stack(
            [np.sin(first), np.cos(first) * np.sin(second), np.cos(first) * np.cos(second)]
        )
        turn = self.rotation
        from_ = (start - (self.tx, self.ty, self.tz)) @ turn
        to = along @ turn
        far = (np.asarray(height) - from_[:, 2]) / to[:, 2]
        return np.asarray(from_[:, :2] + far[:, None] * to[:, :2])


def _angle(bent: NDArray[np.float64], cubic: float) -> NDArray[np.float64]:
    """Return t of ``t + cubic t^3 = bent``."""
    t = bent.copy()
    for _ in range(_NEWTON):
        t = t - (t + cubic * t**3 - bent) / (1 + 3 * cubic * t**2)
    return t
