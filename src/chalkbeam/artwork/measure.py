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
from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.artwork.files import Picture, read_picture
from chalkbeam.artwork.ink import Ink, bounds, find_ink
from chalkbeam.artwork.ink_measures import InkMeasures, as_seen, measure_picture, measured_ink
from chalkbeam.artwork.outline import outline
from chalkbeam.artwork.values import Artwork, Box, CentreRule, convex_hull, optical_centre
from chalkbeam.basics.sentences import Sentence

NARROWEST, WIDEST = 5.0, 1200.0
"""No transfer for a garment is smaller or larger than this, mm; beyond it the unit was mistaken."""
FEWEST_PIXELS = 16
"""Ink of fewer pixels each way has no shape to place."""
SAME_SHAPE = 0.02
"""Width and height given together must keep the picture's proportions within this share."""


GANG_GAP = 12.0
"""Ink further apart than this on a sheet belongs to different artworks, mm."""

Part = TypeVar("Part")


class SizeUnknown(Refusal):
    """The file does not say how large it is printed, and nobody else did."""


@dataclass(frozen=True)
class ArtworkSize:
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
    check_margin(Path(path).name, sheet_margin)
    found = measured_ink(Path(path), page=page, mirrored=mirrored, whole=whole)
    scale = _pixels_per_mm(found, ArtworkSize(width, height, sheet_width), usual)
    return _artwork(found, scale, sheet_margin, mirrored, centre)


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
    picture = as_seen(read_picture(Path(path), page), mirrored)
    check_margin(picture.name, sheet_margin)
    scale, inks = ganged_inks(picture, sheet_width, gap)
    margin = gap / 2 if sheet_margin is None else sheet_margin
    artworks = [
        _artwork(measure_picture(picture, ink), scale, margin, mirrored, centre) for ink in inks
    ]
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
            f"{picture.name} does not say how large its sheet is printed: ",
            Remedy(RemedyKind.SHEET_WIDTH, "give the width of the whole sheet"),
            ", such as 22in.",
        )
    scale = _pixels_per_mm(measure_picture(picture, ink), ArtworkSize(sheet_width=sheet_width))
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


def _pixels_per_mm(
    found: InkMeasures, size: ArtworkSize, usual: Callable[[float, float], float] | None = None
) -> float:
    width, height = found.size
    if not found.drawn and max(width, height) < FEWEST_PIXELS:
        raise Refusal(
            f"{found.name} has ink only {width:.0f} x {height:.0f} pixels large: export the "
            "artwork at 300 dpi."
        )
    given = [
        (pixels, length)
        for pixels, length in (
            (width, size.width),
            (height, size.height),
            (found.canvas[0], size.sheet_width),
        )
        if length is not None
    ]
    for _, length in given:
        if not (math.isfinite(length) and length > 0):
            raise Refusal(f"{found.name}: the artwork's size must be larger than zero.")
    if not given:
        scale = found.pixels_per_mm
        if scale is None and usual is not None:
            scale = 1 / usual(width, height)
        if scale is None:
            raise SizeUnknown(
                f"{found.name} does not say how large it is printed: ",
                Remedy(RemedyKind.WIDTH, "give its width"),
                ", such as 10in.",
            )
    else:
        scales = [pixels / length for pixels, length in given]
        if max(scales) > min(scales) * (1 + SAME_SHAPE):
            raise Refusal(
                f"{found.name} has ink {width:.0f} x {height:.0f} pixels large, which does "
                "not have the proportions of the sizes given: give one of them."
            )
        scale = sum(scales) / len(scales)
    check_size(found.name, width / scale, height / scale)
    return scale


def _artwork(
    found: InkMeasures,
    scale: float,
    sheet_margin: float | None,
    mirrored: bool,
    centre: CentreRule,
) -> Artwork:
    left, top, right, bottom = found.edges
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    def in_frame(points: Points) -> Points:
        return np.asarray((points - middle) / scale, dtype=np.float64)

    box = Box.around(in_frame(np.array([[left, top], [right, bottom]], dtype=np.float64)))
    canvas = Box.around(in_frame(np.array([[0, 0], found.canvas], dtype=np.float64)))
    corner = in_frame(np.array(found.bounds[:2], dtype=np.float64))
    weighed_x, weighed_y = in_frame(np.array(found.centroid))
    weighed = (float(weighed_x), float(weighed_y))
    return Artwork(
        name=Path(found.name).stem,
        ink=box,
        sheet=canvas if sheet_margin is None else box.grown(sheet_margin),
        optical_centre=optical_centre(box, weighed, centre),
        centroid=weighed,
        baseline=None if found.baseline is None else (found.baseline - middle[1]) / scale,
        outline=tuple(xy_tuple(np.array(ring) + corner) for ring in outline(found.mask(), scale)),
        hull=convex_hull(in_frame(found.rim)),
        mirrored=mirrored,
        notes=_notes(mirrored),
        remarks=_remarks(found),
        dots=None if found.drawn else scale,
    )


def _notes(mirrored: bool) -> tuple[Sentence, ...]:
    words = "The sheet is printed in mirror image: shown here as seen from its back."
    return (Sentence(words),) if mirrored else ()


def _remarks(found: InkMeasures) -> tuple[Sentence, ...]:
    remarks = list(found.remarks)
    if found.source == "background":
        words = (
            f"The picture has no transparency: its rim's colour, {found.paper}, counts as bare "
            "carrier, and what differs from it as ink. If the background is printed too, {remedy}."
        )
        remarks.append(Sentence(words, remedy=Remedy(RemedyKind.WHOLE, "let all of it count")))
    if found.source == "whole":
        words = (
            "The picture has neither transparency nor an even rim: all of it counts as ink. If "
            "the background is not printed, make it transparent."
        )
        remarks.append(Sentence(words))
    if found.specks:
        specks = "1 lonely speck was" if found.specks == 1 else f"{found.specks} lonely specks were"
        remarks.append(Sentence(f"{specks} left out."))
    return tuple(remarks)


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
