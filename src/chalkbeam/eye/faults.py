"""What makes a camera's picture useless: black, covered, bleached, frozen, the camera moved."""

from __future__ import annotations

import cv2
import numpy as np

from chalkbeam.eye.blocks import F32, U8, Blocks, Mask, differing, gain_between, share_of

_HIDDEN = 0.85  # share of the platen that differs when it is hidden
_AROUND = 0.6  # share of the surroundings that may differ while the platen is hidden
_ASTIR = 0.08  # share of them that differs when the camera has been moved
_FARTHEST = 16  # px of the small picture over which a moved camera is looked for
_PLAIN = 3.5  # codes by which blocks differ among themselves at least, with anything in view
_DARKEST, _BRIGHTEST = 7.0, 250.0
_FROZEN = 1.5  # s
_BLIND_FOR = 1.0  # s that a fault must last before it is told
_LEAST = 30  # blocks of surroundings that must be known

BLACK = (
    "The camera's picture is black: uncover it and see to the room's light; the keys work as ever."
)
COVERED = "The camera is covered: uncover it; the keys work as ever."
BRIGHT = (
    "The camera's picture of the platen is washed out: lower its exposure or the light in the "
    "room; the keys work as ever."
)
FROZEN = "The camera's picture stands still: plug it in again; the keys work as ever."
MOVED = (
    "The camera was moved: put it back or fit the rig's eye anew; till then the keys work as ever."
)


class FaultWatch:
    """Watches for what makes a picture useless.

    Parameters
    ----------
    on, around : ndarray of bool, shape (rows, columns)
        Blocks on the platen, and well beside it.
    """

    def __init__(self, on: Mask, around: Mask) -> None:
        self._on, self._around = on, around
        self._raw: tuple[int, float] | None = None
        self._since: tuple[str, float] | None = None

    def look(self, picture: U8, now: Blocks, bare: tuple[Blocks, Mask] | None) -> str | None:
        """Return what is wrong with a picture; "" before it has been for a while, None if nothing.

        Parameters
        ----------
        bare : (Blocks, ndarray of bool), optional
            The bare platen as remembered, and the blocks that can be held against it.
        """
        fault = self._plainly(now) or self._frozen(picture, now.at)
        if not fault and bare is not None:
            fault = self._against(now, *bare)
        if not fault:
            self._since = None
            return None
        if self._since is None or self._since[0] != fault:
            self._since = fault, now.at
        return fault if now.at >= self._since[1] + _BLIND_FOR else ""

    def _plainly(self, now: Blocks) -> str:
        if float(np.percentile(now.colour.max(axis=2), 90)) < _DARKEST:
            return BLACK
        if float((now.colour.min(axis=2)[self._on] > _BRIGHTEST).mean()) > 0.4:
            return BRIGHT
        if float(now.colour.mean(axis=2).std()) < _PLAIN:
            return BRIGHT if now.colour.mean() > 200 else COVERED
        return ""

    def _against(self, now: Blocks, bare: Blocks, known: Mask) -> str:
        around = known & self._around
        if around.sum() < _LEAST:
            return ""
        differs = differing(bare, now, gain_between(bare, now, around))
        astir = share_of(differs, around)
        if astir > _ASTIR and self._shifted(bare, now):
            return MOVED
        if astir > _AROUND and share_of(differs, self._on & known) > _HIDDEN:
            return COVERED
        return ""

    def _shifted(self, bare: Blocks, now: Blocks) -> bool:
        """Whether the picture is the remembered one from another place."""
        one, other = (self._aside(each) for each in (bare, now))
        far = _FARTHEST
        fits = cv2.matchTemplate(other, one[far:-far, far:-far], cv2.TM_CCOEFF_NORMED)
        _, best, _, (x, y) = cv2.minMaxLoc(fits)
        stays = float(fits[far - 1 : far + 2, far - 1 : far + 2].max())
        return best > 0.3 and best > stays + 0.1 and max(abs(x - far), abs(y - far)) > 1

    def _aside(self, blocks: Blocks) -> F32:
        """Return the surroundings alone, about nought."""
        size = blocks.grey.shape[1], blocks.grey.shape[0]
        seen = cv2.resize(self._around.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        grey = cv2.GaussianBlur(blocks.grey, (0, 0), 1.0)
        grey = grey - cv2.GaussianBlur(grey, (0, 0), 12.0)
        return np.asarray(np.where(seen, grey, 0.0), np.float32)

    def _frozen(self, picture: U8, at: float) -> str:
        """Tell a picture that comes again and again to the last bit: no camera takes two alike."""
        mark = hash(picture[::7, ::5].tobytes())
        if self._raw is None or self._raw[0] != mark:
            self._raw = mark, at
            return ""
        return FROZEN if at > self._raw[1] + _FROZEN else ""
