"""What was found in photos, before anything is solved: corners in pixels with their identity.

These values are stored in the rig file, so that uncertainty and drift can be
recomputed later without the photos.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.geometry import XY


@dataclass(frozen=True)
class Corner:
    """One chessboard corner found in a photo.

    Attributes
    ----------
    board : str
        Which chessboard it belongs to: a card's name ("front-left", ...) or "pattern".
        (Called so in rig files.)
    index : int
        The corner's number on that chessboard (see `cards.Card` and `pattern.Pattern`).
    pixel : tuple of float
        Position in the photo after EXIF rotation, px, (0, 0) at the centre of the
        top-left pixel, x right, y down.
    """

    board: str
    index: int
    pixel: XY


@dataclass(frozen=True)
class PhotoObservation:
    """Everything one photo contributes to a calibration.

    Attributes
    ----------
    name : str
        File name, for messages.
    size : tuple of int
        Width and height after EXIF rotation, px.
    camera : str
        Key that tells cameras apart (make, model, lens, focal length, pixel count);
        photos that share it share intrinsics.
    focal_hint : float or None
        Focal length in px from EXIF, where the photo gives one.
    raised : float
        Height of the cards' face (and of the surface the pattern falls on) above
        the bare platen, mm.
    cards : tuple of Corner
        Corners of printed cards.
    pattern : tuple of Corner
        Corners of the projected pattern.
    """

    name: str
    size: tuple[int, int]
    camera: str
    focal_hint: float | None
    raised: float
    cards: tuple[Corner, ...]
    pattern: tuple[Corner, ...]
