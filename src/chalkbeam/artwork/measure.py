"""From an artwork file to an `Artwork` at true size."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points, xy_tuple
from calibration.refusal import Refusal
from chalkbeam.artwork.files import Picture, read_picture
from chalkbeam.artwork.ink import Ink, bounds, centroid, find_baseline, find_ink
from chalkbeam.artwork.outline import outline
from chalkbeam.artwork.values import Artwork, Box, CentreRule, convex_hull, optical_centre
from chalkbeam.sentences import Sentence, literal
from chalkbeam.units import MM_PER_INCH

NARROWEST, WIDEST = 5.0, 1200.0
"""No transfer for a garment is smaller or larger than this, mm; beyond it the unit was mistaken."""
FEWEST_PIXELS = 16
"""Ink of fewer pixels each way has no shape to place."""
SAME_SHAPE = 0.02
"""Width and height given together must keep the picture's proportions within this share."""
COARSE_DPI = 100
"""Fewer pixels to the inch print with visible steps."""


GANG_GAP = 12.0
"""Ink further apart than this on a sheet belongs to different artworks, mm."""

Part = TypeVar("Part")


class SizeUnknown(Refusal):
    """The file does not say how large it is printed, and nobody else did."""


@dataclass(frozen=True)
class Size:
    """How large the artwork is to be: at most one of these, or both ink measures if they agree.

    Attributes
    ----------
    width, height : float or None
        Of the ink, mm.
    sheet_width : float or None
        Of the whole picture, mm: the way a sheet of several artworks is measured.
    """

    width: float | None = None
    height: float | None = None
    sheet_width: float | None = None


def load_artwork(
    path: Path | str,
    *,
    width: float | None = None,
    height: float | None = None,
    sheet_width: float | None = None,
    sheet_margin: float | None = None,
    mirrored: bool = False,
    centre: CentreRule = CentreRule.AUTO,
    page: int = 1,
    whole: bool = False,
    usual: Callable[[float, float], float] | None = None,
) -> Artwork:
    """Read one artwork at true size.

    Parameters
    ----------
    path : path
        PNG, JPEG, WebP, TIFF, SVG or PDF.
    width, height : float, optional
        Of the **ink**, mm. Without either, a PDF or an SVG in physical units keeps
        its own true size.
    sheet_width : float, optional
        Of the whole picture, mm, in place of the ink's.
    sheet_margin : float, optional
        Blank carrier around the ink, mm. Without it the picture's own edge is the
        sheet's edge.
    mirrored : bool
        The picture is printed in mirror image and seen through its carrier.
    centre : CentreRule
        Which centre of the art the rules lay on their lines.
    page : int
        Page of a PDF.
    whole : bool
        A picture without transparency is all ink, its background too.
    usual : callable, optional
        Given width and height of ink, the factor that brings it to the size usual where it
        goes (`chalkbeam.locations.Location.usual_for`). Asked only where no size is given
        and the file does not say its own.

    Raises
    ------
    SizeUnknown
        If no size is given, the file does not say its own, and there is no usual one.
    Refusal
        If the file is unreadable, has no ink, or its size is absurd.
    """
    picture = _as_seen(read_picture(Path(path), page), mirrored)
    check_margin(picture.name, sheet_margin)
    ink = find_ink(picture.name, picture.rgba, whole)
    scale = _pixels_per_mm(picture, ink, Size(width, height, sheet_width), usual)
    return _artwork(picture, ink, scale, sheet_margin, mirrored, centre)


def load_gang(
    path: Path | str,
    *,
    sheet_width: float | None = None,
    gap: float = GANG_GAP,
    sheet_margin: float | None = None,
    mirrored: bool = False,
    centre: CentreRule = CentreRule.AUTO,
    page: int = 1,
) -> tuple[Artwork, ...]:
    """Read several artworks ganged on one sheet, row by row, each row left to right.

    Parameters
    ----------
    sheet_width : float, optional
        Width of the whole sheet, mm; a PDF or an SVG in physical units knows its own.
    gap : float
        Ink further apart than this belongs to different artworks, mm.
    sheet_margin : float, optional
        Carrier left around each artwork when cut apart, mm; half the gap if not given.

    Other parameters and refusals as in `load_artwork`.
    """
    picture = _as_seen(read_picture(Path(path), page), mirrored)
    check_margin(picture.name, sheet_margin)
    scale, inks = ganged_inks(picture, sheet_width, gap)
    margin = gap / 2 if sheet_margin is None else sheet_margin
    artworks = [_artwork(picture, ink, scale, margin, mirrored, centre) for ink in inks]
    return tuple(
        replace(artwork, name=f"{artwork.name} #{number}")
        for number, artwork in enumerate(artworks, start=1)
    )


def ganged_inks(
    picture: Picture, sheet_width: float | None = None, gap: float = GANG_GAP
) -> tuple[float, tuple[Ink, ...]]:
    """Return a ganged sheet's pixels to the mm, and the ink of each artwork in reading order.

    Parameters and refusals as in `load_gang`.
    """
    ink = find_ink(picture.name, picture.rgba)
    if sheet_width is None and picture.pixels_per_mm is None:
        raise SizeUnknown(
            f"{picture.name} does not say how large its sheet is printed: give the width of the "
            "whole sheet, such as --sheet-width 22in."
        )
    scale = _pixels_per_mm(picture, ink, Size(sheet_width=sheet_width))
    inks = (
        Ink(np.where(mask, ink.cover, np.float32(0)), mask, ink.source, 0)
        for mask in _apart(ink.mask, gap * scale)
    )
    return scale, tuple(inks)


def picked(name: str, found: Sequence[Part], number: int) -> Part:
    """Return one of the artworks of a ganged sheet, counted from 1.

    Raises
    ------
    Refusal
        If there are not so many.
    """
    if not 1 <= number <= len(found):
        count = len(found)
        held = "1 artwork" if count == 1 else f"{count} artworks"
        raise Refusal(f"{name} holds {held}: there is no number {number}.")
    return found[number - 1]


def check_size(name: str, width: float, height: float) -> None:
    """Refuse ink of an absurd size.

    Raises
    ------
    Refusal
        If the size cannot be that of a transfer.
    """
    if not all(math.isfinite(side) and side > 0 for side in (width, height)):
        raise Refusal(f"{name}: the artwork's size must be larger than zero.")
    if max(width, height) > WIDEST or max(width, height) < NARROWEST:
        raise Refusal(
            f"{name} would be {width:.0f} x {height:.0f} mm, which is no transfer for a garment: "
            "check the width and its unit."
        )


def check_margin(name: str, margin: float | None) -> None:
    """Refuse a sheet margin that no sheet has.

    Raises
    ------
    Refusal
        If the margin is negative or absurdly wide.
    """
    if margin is not None and not 0 <= margin <= WIDEST / 4:
        raise Refusal(
            f"{name}: a margin of {margin:.0f} mm around the ink is none: write 0 mm or more."
        )


def _as_seen(picture: Picture, mirrored: bool) -> Picture:
    if not mirrored:
        return picture
    return replace(picture, rgba=np.ascontiguousarray(picture.rgba[:, ::-1]))


def _pixels_per_mm(
    picture: Picture, ink: Ink, size: Size, usual: Callable[[float, float], float] | None = None
) -> float:
    left, top, right, bottom = bounds(ink.mask)
    if not picture.drawn and max(right - left, bottom - top) < FEWEST_PIXELS:
        raise Refusal(
            f"{picture.name} has ink only {right - left} x {bottom - top} pixels large: export "
            "the artwork at 300 dpi."
        )
    given = [
        (pixels, length)
        for pixels, length in (
            (right - left, size.width),
            (bottom - top, size.height),
            (ink.mask.shape[1], size.sheet_width),
        )
        if length is not None
    ]
    for _, length in given:
        if not (math.isfinite(length) and length > 0):
            raise Refusal(f"{picture.name}: the artwork's size must be larger than zero.")
    if not given:
        scale = picture.pixels_per_mm
        if scale is None and usual is not None:
            scale = 1 / usual(right - left, bottom - top)
        if scale is None:
            raise SizeUnknown(
                f"{picture.name} does not say how large it is printed: give its width, "
                "such as --width 10in."
            )
    else:
        scales = [pixels / length for pixels, length in given]
        if max(scales) > min(scales) * (1 + SAME_SHAPE):
            raise Refusal(
                f"{picture.name} has ink {right - left} x {bottom - top} pixels large, which does "
                "not have the proportions of the sizes given: give one of them."
            )
        scale = sum(scales) / len(scales)
    check_size(picture.name, (right - left) / scale, (bottom - top) / scale)
    return scale


def _artwork(
    picture: Picture,
    ink: Ink,
    scale: float,
    sheet_margin: float | None,
    mirrored: bool,
    centre: CentreRule,
) -> Artwork:
    left, top, right, bottom = bounds(ink.mask)
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    def in_frame(points: Points) -> Points:
        return np.asarray((points - middle) / scale, dtype=np.float64)

    box = Box.around(in_frame(np.array([[left, top], [right, bottom]], dtype=np.float64)))
    height, width = ink.mask.shape
    canvas = Box.around(in_frame(np.array([[0, 0], [width, height]], dtype=np.float64)))
    cropped = ink.mask[top:bottom, left:right]
    rings = outline(cropped, scale)
    corner = (box.left, box.top)
    balance = in_frame(np.array([centroid(ink.cover)]))[0]
    weighed = (float(balance[0]), float(balance[1]))
    baseline = find_baseline(ink.mask)
    return Artwork(
        name=Path(picture.name).stem,
        ink=box,
        sheet=canvas if sheet_margin is None else box.grown(sheet_margin),
        optical_centre=optical_centre(box, weighed, centre),
        centroid=weighed,
        baseline=None if baseline is None else (baseline - middle[1]) / scale,
        outline=tuple(xy_tuple(np.array(ring) + corner) for ring in rings),
        hull=convex_hull(in_frame(_rim(ink.mask))),
        mirrored=mirrored,
        notes=_notes(picture, ink, scale, mirrored),
        remarks=_remarks(picture, ink),
    )


def _rim(mask: NDArray[np.bool_]) -> Points:
    """Return the pixel-edge corners of the first and last ink of every row, shape (4 R, 2)."""
    rows = np.nonzero(mask.any(axis=1))[0]
    first = mask[rows].argmax(axis=1)
    last = mask.shape[1] - mask[rows, ::-1].argmax(axis=1)
    return np.vstack(
        [np.column_stack([x, y]) for x in (first, last) for y in (rows, rows + 1)]
    ).astype(np.float64)


def _notes(picture: Picture, ink: Ink, scale: float, mirrored: bool) -> tuple[Sentence, ...]:
    notes: list[str] = []
    if mirrored:
        notes.append("The sheet is printed in mirror image: shown here as seen from its back.")
    dpi = scale * MM_PER_INCH
    if not picture.drawn and dpi < COARSE_DPI:
        notes.append(f"At this size the picture has only {dpi:.0f} pixels to the inch.")
    return tuple(Sentence(literal(note)) for note in notes)


def _remarks(picture: Picture, ink: Ink) -> tuple[Sentence, ...]:
    remarks = list(picture.remarks)
    if ink.source == "background":
        remarks.append(
            f"The picture has no transparency: its rim's colour, {ink.paper}, counts as bare "
            "carrier, and what differs from it as ink. If the background is printed too, say "
            "--whole."
        )
    if ink.source == "whole":
        remarks.append(
            "The picture has neither transparency nor an even rim: all of it counts as ink. If "
            "the background is not printed, make it transparent."
        )
    if ink.specks:
        specks = "1 lonely speck was" if ink.specks == 1 else f"{ink.specks} lonely specks were"
        remarks.append(f"{specks} left out.")
    return tuple(Sentence(literal(remark)) for remark in remarks)


def _apart(mask: NDArray[np.bool_], gap: float) -> Sequence[NDArray[np.bool_]]:
    """Split ink into parts more than `gap` pixels apart, in reading order."""
    # Work small: the gap needs no more than some ten pixels of resolution.
    reduce = max(1, int(gap / 12))
    height, width = mask.shape
    padded = np.pad(mask, ((0, -height % reduce), (0, -width % reduce)))
    rows, columns = padded.shape[0] // reduce, padded.shape[1] // reduce
    blocks = padded.reshape(rows, reduce, columns, reduce)
    small: NDArray[np.uint8] = np.asarray(blocks.any(axis=(1, 3)), dtype=np.uint8)
    reach = max(1, round(gap / reduce / 2) * 2 - 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    count, labels = cv2.connectedComponents(cv2.dilate(small, kernel))
    large = np.repeat(np.repeat(labels, reduce, axis=0), reduce, axis=1)[:height, :width]
    parts = [mask & (large == label) for label in range(1, count)]
    parts = [part for part in parts if part.any()]
    return _reading_order(parts)


def _reading_order(parts: list[NDArray[np.bool_]]) -> list[NDArray[np.bool_]]:
    boxes = [bounds(part) for part in parts]
    order: list[int] = []
    waiting = sorted(range(len(parts)), key=lambda index: boxes[index][1])
    while waiting:
        # A row: everything whose middle lies above the foot of the topmost part.
        foot = boxes[waiting[0]][3]
        row = [i for i in waiting if (boxes[i][1] + boxes[i][3]) / 2 < foot]
        order += sorted(row, key=lambda index: boxes[index][0])
        waiting = [i for i in waiting if i not in row]
    return [parts[index] for index in order]
