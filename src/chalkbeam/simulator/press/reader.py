"""Reads what lies at a press in software, with a stated error, in place of a burst's pictures."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibration.geometry import Isometry
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.garment import GarmentFound
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.transfer import Tolerance
from chalkbeam.eye.values import (
    ColourSeen,
    FaceSeen,
    GarmentSeen,
    HeightSeen,
    Reading,
    RigSeen,
    SizeSeen,
    TransferSeen,
)
from chalkbeam.simulator.press.stage import LaidGarment, Stage
from chalkbeam.station.eye_reader import OrderedPiece, PrintLaid
from overlay.colour.colorimetry import lab_from_linear, srgb_from_linear

_UNCHANGED = RigSeen(0.1, "unchanged")
_SHAKY = 3.0  # so many times worse is a pose that is not sure


@dataclass(frozen=True)
class StatedError:
    """What the analytic reader adds to the truth.

    Attributes
    ----------
    pose : (mm, degrees)
        Of a garment, standard deviation along an axis, where it is sure.
    transfer : (mm, degrees)
    sure : float
        How often a garment is sure: what is measured of rendered ones, camera over the platen.
    seconds : (float, float)
        How long reading a garment takes, and a transfer, s: what is measured of the real ones.
    """

    pose: tuple[float, float] = (0.8, 0.25)
    transfer: tuple[float, float] = (0.25, 0.12)
    sure: float = 0.65
    seconds: tuple[float, float] = (1.3, 0.7)


class StageReader:
    """Reads the stage with a stated error.

    Parameters
    ----------
    stage : callable
        What is on the stage now.
    rng : Generator
    error : StatedError
    """

    def __init__(
        self,
        stage: Callable[[], Stage],
        rng: np.random.Generator,
        error: StatedError | None = None,
    ) -> None:
        self._stage, self._rng, self.error = stage, rng, error or StatedError()

    def check(self, rig: Rig, burst: Burst) -> RigSeen:
        """Say whether the platen is bare."""
        if self._stage().garment is not None:
            return RigSeen(None, "cannot see", "Something lies on the platen.")
        return _UNCHANGED

    def piece(
        self, rig: Rig, burst: Burst, empty: Burst, piece: OrderedPiece, laid: PrintLaid | None
    ) -> PieceRead:
        """Return what a reading would be; see `BurstReader`."""
        stage, rng = self._stage(), self._rng
        pose = piece.usual if laid is None else laid.lies
        lies = stage.garment
        if lies is None:
            why = "Nothing lies on the platen: lay the garment on it."
            nothing = GarmentSeen(False, False, why=why)
            size = SizeSeen(None, False, why)
            reading = Reading(nothing, size, None, None, None, _UNCHANGED)
            return PieceRead(reading, GarmentFound(nothing, size), pose)
        wrong = _other(lies, piece)
        hidden = bool(stage.arms) or stage.head > 0
        sure = bool(rng.random() < self.error.sure) and not wrong and not hidden
        far, degrees = (each * (1 if sure else _SHAKY) for each in self.error.pose)
        true = lies.platen_from_garment
        found = Isometry(
            true.x + far * float(rng.normal()), true.y + far * float(rng.normal()),
            true.angle + math.radians(degrees * float(rng.normal())), mirrored=True,
        )  # fmt: skip
        why = "The collar, the shoulders and the sides agree."
        if not sure:
            why = "Not sure where it lies: the collar and the shoulders disagree."
        size = SizeSeen(None, sure, f"Check the piece: {wrong}." if wrong else why)
        face: FaceSeen = "front" if lies.face == "front" else "back"
        seen = GarmentSeen(True, sure, (found.x, found.y), found.angle, face=face, why=why)
        linear = np.array([lies.colour])
        colour = ColourSeen(
            "#" + "".join(f"{int(code):02x}" for code in srgb_from_linear(linear)[0]),
            tuple(lab_from_linear(linear)[0]), "the stage",
        )  # fmt: skip
        transfer = None if laid is None else self.laid(rig, burst, piece, laid, None)
        reading = Reading(seen, size, None, colour, transfer, _UNCHANGED)
        return PieceRead(reading, GarmentFound(seen, size, platen_from_garment=found), pose)

    def laid(
        self,
        rig: Rig,
        burst: Burst,
        piece: OrderedPiece,
        laid: PrintLaid,
        height: HeightSeen | None,
    ) -> TransferSeen:
        """Return what a reading of a transfer would be; see `BurstReader`."""
        stage, within = self._stage(), piece.tolerance
        target = laid.lies @ laid.wanted.garment_from_art
        near = [
            sheet for sheet in stage.sheets
            if float(np.abs(sheet.ink_corners.mean(axis=0) - (target.x, target.y)).max()) < 40
        ]  # fmt: skip
        if not near or stage.arms or stage.head > 0:
            why = "Neither the ink nor its sheet shows: look at it yourself, against the light."
            return TransferSeen(False, False, None, None, "cannot see", why)
        return self._measured(near[-1].ink_corners, target, within)

    def _measured(self, corners: np.ndarray, target: Isometry, within: Tolerance) -> TransferSeen:
        far, degrees = self.error.transfer
        middle, along = corners.mean(axis=0), corners[1] - corners[0]
        turned = math.atan2(along[1], along[0]) - target.angle
        off = middle - (target.x, target.y) + far * self._rng.normal(size=2)
        turned = math.remainder(turned, 2 * math.pi) + math.radians(
            degrees * float(self._rng.normal())
        )
        good = float(np.hypot(*off)) <= within.distance and abs(turned) <= within.turn
        why = "It lies right, measured by its ink." if good else "Move it along the arrow."
        place = float(off[0]), float(off[1])
        return TransferSeen(True, True, place, turned, "good" if good else "move", why)


def _other(lies: LaidGarment, piece: OrderedPiece) -> str:
    """Return in words what lies there in place of what was ordered; empty if it is right."""
    if lies.garment.size != piece.garment.size:
        return f"it looks like {lies.garment.size}, the order says {piece.garment.size}"
    if lies.face != piece.face:
        return f"its {lies.face} lies up, the order says {piece.face}"
    return ""
