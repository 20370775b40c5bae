"""What reads a burst for the station: a seam, so that a rehearsal brings its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calibration.geometry import Isometry, Points
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.drift import check_dots
from chalkbeam.eye.read import PieceRead, WantedPrint, read_piece
from chalkbeam.eye.surface import between
from chalkbeam.eye.transfer import Target, Tolerance, find_transfer
from chalkbeam.eye.values import HeightSeen, RigSeen, TransferSeen
from chalkbeam.garments import Garment


@dataclass(frozen=True, eq=False)
class OrderedPiece:
    """What is on the platen by the order, and how it is to be judged.

    Attributes
    ----------
    garment : Garment
    face : str
    usual : Isometry
        platen_from_garment of the planned load.
    others : sequence of (Garment, str)
        What it might be instead, and its face.
    tolerance : Tolerance
        Of its transfer.
    """

    garment: Garment
    face: str
    usual: Isometry
    others: Sequence[tuple[Garment, str]]
    tolerance: Tolerance


@dataclass(frozen=True, eq=False)
class PrintLaid:
    """A print that was laid on a garment whose place is known."""

    wanted: WantedPrint
    lies: Isometry
    """platen_from_garment."""


class BurstReader(Protocol):
    """Reads bursts."""

    def check(self, rig: Rig, burst: Burst) -> RigSeen:
        """Return whether the bare platen is where the rig has it."""

    def piece(
        self, rig: Rig, burst: Burst, empty: Burst, piece: OrderedPiece, laid: PrintLaid | None
    ) -> PieceRead:
        """Return all that a burst tells of a garment, and of the transfer on it if one is laid."""

    def laid(
        self,
        rig: Rig,
        burst: Burst,
        piece: OrderedPiece,
        laid: PrintLaid,
        height: HeightSeen | None,
    ) -> TransferSeen:
        """Return how a print lies on a garment that was read before."""


class RealReader:
    """Reads bursts from their pictures."""

    def check(self, rig: Rig, burst: Burst) -> RigSeen:
        """See `BurstReader`."""
        return check_dots(rig, burst)

    def piece(
        self, rig: Rig, burst: Burst, empty: Burst, piece: OrderedPiece, laid: PrintLaid | None
    ) -> PieceRead:
        """See `BurstReader`."""
        return read_piece(
            rig, burst, empty, piece.garment, piece.face, usual=piece.usual, others=piece.others,
            wanted=None if laid is None else laid.wanted, lies=None if laid is None else laid.lies,
            tolerance=piece.tolerance,
        )  # fmt: skip

    def laid(
        self,
        rig: Rig,
        burst: Burst,
        piece: OrderedPiece,
        laid: PrintLaid,
        height: HeightSeen | None,
    ) -> TransferSeen:
        """See `BurstReader`."""
        wanted = laid.wanted
        pose = laid.lies @ wanted.garment_from_art
        target = Target.of(wanted.artwork, wanted.ink, pose, wanted.sheet_known)
        over = _heights(height)
        return find_transfer(burst, eye_of(rig).camera, target, over, piece.tolerance)


def _heights(seen: HeightSeen | None) -> float | Callable[[Points], Points]:
    """Return the cloth's height over platen points, of what was measured of it."""
    if seen is None or not np.isfinite(seen.heights).any():
        return 0.0
    grid = np.where(np.isfinite(seen.heights), seen.heights, np.nanmedian(seen.heights))
    return lambda points: between(grid, (np.asarray(points) - seen.origin) / seen.step)
