"""What the press's camera saw of an imprint, kept until the imprint goes on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.values import RigSeen, TransferSeen
from chalkbeam.station.following import Follow


@dataclass
class SeenAtPress:
    """What was seen last of garment, transfer, press and rig.

    Attributes
    ----------
    piece : PieceRead or None
    follow : Follow or None
        What became of it.
    transfer : TransferSeen or None
        As it was laid.
    drift : RigSeen or None
    seconds : float or None
        How long the press was closed.
    """

    piece: PieceRead | None = None
    follow: Follow | None = None
    transfer: TransferSeen | None = None
    drift: RigSeen | None = None
    seconds: float | None = None

    def plain(self) -> dict[str, Any]:
        """Return it as plain values; what belongs to one imprint alone is then forgotten."""
        seen: dict[str, Any] = {}
        if self.piece is not None:
            seen["garment"] = self.piece.reading.garment.plain()
            colour = self.piece.reading.colour
            seen["colour"] = None if colour is None else colour.plain()
        if self.follow is not None:
            seen["height_mm"] = self.follow.cloth.height
        if self.transfer is not None:
            seen["transfer"] = self.transfer.plain()
        if self.seconds is not None:
            seen["closed_s"] = round(self.seconds, 1)
        if self.drift is not None:
            seen["rig"] = self.drift.plain()
        self.transfer = self.seconds = None
        return seen
