"""A reading on the terminal: a few calm sentences."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calibration.geometry import Isometry
    from chalkbeam.eye.read import PieceRead
    from chalkbeam.garments import Garment


def reading_words(piece: PieceRead, usual: Isometry, garment: Garment) -> list[str]:
    """Return what was read, line by line, to be read at 80 columns.

    Parameters
    ----------
    piece : PieceRead
    usual : Isometry
        platen_from_garment of the standard load.
    garment : Garment
        As ordered.
    """
    reading = piece.reading
    said = [*_garment(piece, usual, garment), *_cloth(piece)]
    if reading.transfer is not None:
        word = {
            "good": "good", "move": "move it", "wrong": "the wrong one", "cannot see": "cannot see",
        }  # fmt: skip
        verdict = reading.transfer.verdict
        placed = not reading.transfer.sure and verdict in ("good", "move")
        said.append(
            f"Transfer: {word[verdict]}{', unsure' if placed else ''}. {reading.transfer.why}"
        )
    if reading.rig.verdict != "unchanged":
        said.append(f"Rig: {reading.rig.why}")
    return [line for each in said for line in textwrap.wrap(each, 80, subsequent_indent="  ")]


def _garment(piece: PieceRead, usual: Isometry, garment: Garment) -> list[str]:
    from chalkbeam.eye.moving import how_to_move

    seen = piece.reading.garment
    if not seen.seen:
        return [f"Garment: {seen.why}"]
    size = piece.reading.size
    wide = "" if size.half_chest is None else f", {size.half_chest:.0f} mm wide under the arms"
    label = f"{garment.label}, {seen.face} up{wide}"
    pose = piece.found.platen_from_garment
    move = None if pose is None else how_to_move(pose, usual)
    if not seen.sure:
        said = [f"Garment: {label}, if it is that. {seen.why}"]
        if move not in (None, "leave it"):
            said.append(f"As it looks, to the standard load: {move}.")
        return said
    words = (
        "it lies as the standard load" if move == "leave it" else f"to the standard load: {move}"
    )
    return [f"Garment: {label}; sure. {seen.why}", f"Place: {words}."]


def _cloth(piece: PieceRead) -> list[str]:
    import numpy as np

    reading, said = piece.reading, []
    if reading.height is not None and reading.garment.seen:
        known = reading.height.heights[np.isfinite(reading.height.heights)]
        if len(known):
            low, middle, high = np.percentile(known, [5, 50, 95])
            said.append(
                f"Height: {middle:.1f} mm over the bare platen, {low:.1f} to {high:.1f} mm mostly."
            )
    if reading.colour is not None:
        lightness, a, b = reading.colour.lab
        said.append(
            f"Colour: {reading.colour.hex} (L* {lightness:.0f}, a* {a:.0f}, b* {b:.0f}), against "
            f"{reading.colour.against}."
        )
    return said
