"""The report picture: what was found in the photos and how far off light may land."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from calibration.files import write_whole
from calibration.model.uncertainty import place_in_words, worst
from calibration.photo.read import Photo
from calibration.rig import report_parts as parts
from calibration.rig.by_hand import solve_again
from calibration.rig.file import Rig
from calibration.rig.report_parts import GREY, INK, MARGIN, Sheet
from calibration.rig.verdict import verdict
from calibration.solve.acceptance import describe_card_pose, pixel_on_platen
from calibration.solve.advice import worst_with_cards_exact
from calibration.solve.edges import axes_seen
from calibration.solve.fit import Solution

WIDTH = 1600
PHOTO_AREA = (960, 860)
HEIGHTS = (0.0, 4.0, 10.0, 20.0)
"""Heights that the heat maps show, mm."""


def write_report(
    path: Path, rig: Rig, photos: Sequence[Photo] = (), solution: Solution | None = None
) -> None:
    """Write the report as PNG or JPEG, by the path's suffix.

    Parameters
    ----------
    path : Path
    rig : Rig
    photos : sequence of Photo
        The photos behind `rig.photos`, where they are at hand.
    solution : Solution, optional
        The rig's; solved again from the rig's observations if missing.

    Raises
    ------
    Refusal
        If the file cannot be written.
    """
    picture = draw_report(rig, photos, solution or solve_again(rig))
    kind = "JPEG" if path.suffix.lower() in (".jpg", ".jpeg") else "PNG"
    write_whole(path, coded(picture, kind))


def coded(picture: Image.Image, kind: str = "PNG") -> bytes:
    """Return a report as the bytes of a file, PNG or JPEG."""
    file = io.BytesIO()
    picture.save(file, kind, quality=90, optimize=True)
    return file.getvalue()


def draw_report(rig: Rig, photos: Sequence[Photo], solution: Solution) -> Image.Image:
    """Return the report, 1600 px wide."""
    left, right = MARGIN, MARGIN + PHOTO_AREA[0] + 36
    sheet = Sheet(WIDTH)
    _title(sheet, rig)
    top = _verdict(sheet, rig)
    if solution.photos:
        bottom = parts.photo_panel(sheet, (left, top), PHOTO_AREA, photos, solution, rig.face)
    else:
        bottom = parts.cross_panel(sheet, (left, top), PHOTO_AREA, solution, rig.face)
    peak = parts.heat_panel(sheet, (right, top), WIDTH - MARGIN - right, rig, HEIGHTS)
    _heights(sheet, (right, peak + 26), rig)
    _findings(sheet, (left, bottom + 22), right - left - 30, rig, solution)
    return sheet.finished()


def _title(sheet: Sheet, rig: Rig) -> None:
    sheet.text((MARGIN, 26), rig.name, 34)
    size = rig.projector.size
    said = (
        f"Calibration {rig.calibration_id}, {rig.made_at[:16].replace('T', ' ')}  ·  platen "
        f"{rig.face.width:g} x {rig.face.depth:g} mm  ·  projector {size[0]} x {size[1]}"
    )
    sheet.text((MARGIN, 74), said, 17, GREY)
    sheet.line([(MARGIN, 108), (WIDTH - MARGIN, 108)], INK, 1.5)


def _verdict(sheet: Sheet, rig: Rig) -> float:
    """Say what the rig is good for, before any figure; return the y below it."""
    found = verdict(rig)
    across = WIDTH - 2 * MARGIN - 24
    y = sheet.paragraph((MARGIN + 24, 124), [found.sentence], 30, across)
    said = [f"Up to there light lands within {rig.stated.tolerance:g} mm, wherever on the platen."]
    lines = (said if found.up_to is not None else []) + ([found.more] if found.more else [])
    y = sheet.paragraph((MARGIN + 24, y + 4), lines, 19, across, GREY)
    good = found.up_to is not None
    sheet.line([(MARGIN + 5, 128), (MARGIN + 5, y - 4)], INK if good else parts.ALARM, 5)
    return y + 22


def _heights(sheet: Sheet, place: tuple[float, float], rig: Rig) -> None:
    x, y = place
    fit = rig.fit
    sheet.text((x, y), "How far off light may land (95 %)", 19)
    y += 34
    for each in worst(rig.projector, fit.matrix, fit.freedom, rig.face, HEIGHTS):
        good = each.bound <= rig.stated.tolerance
        asked = each.height <= max(rig.stated.heights)
        judged = "within" if good else "over" if asked else "not asked for"
        sheet.text((x, y), f"{each.height:g} mm up", 16, GREY)
        sheet.text((x + 92, y), f"{each.bound:.2f} mm", 16)
        sheet.text((x + 176, y), f"at {place_in_words(each.point, rig.face)}", 16, GREY)
        sheet.text((x + 385, y), judged, 16, parts.ALARM if asked and not good else INK)
        y += 25
    y += 6
    lens = rig.projector.pinhole.lens
    shift = rig.projector.shift_per_height(np.zeros((1, 2)))[0]
    lines = [
        f"Tolerance {rig.stated.tolerance:g} mm. Model: {fit.model}.",
        f"Height rests on {fit.height_from}.",
        f"Lens {lens[0]:.0f}, {lens[1]:.0f}, {lens[2]:.0f} mm (right, back, up): light moves "
        f"{float(np.hypot(*shift)):.2f} mm for each mm of height at the middle.",
        "The bound carries corner noise, laying, print scale, board height, a slight keystone "
        "correction and waves of the platen that show; not cloth of another height than stated.",
    ]
    sheet.paragraph((x, y), lines, 15, WIDTH - MARGIN - x, GREY)


def _findings(
    sheet: Sheet, place: tuple[float, float], width: float, rig: Rig, solution: Solution
) -> None:
    x, y = place
    for index, photo in enumerate(solution.photos):
        pixel = pixel_on_platen(solution.camera(index))
        cards, light = solution.problem.noise[2 * index : 2 * index + 2]
        raised = f", raised {photo.raised:g} mm" if photo.raised else ""
        sheet.text((x, y), f"{photo.name}{raised}", 15)
        said = (
            f"{len(photo.cards)} card and {len(photo.pattern)} pattern corners, scattering by "
            f"{cards:.2f} and {light:.2f} px ({cards * pixel:.3f} and {light * pixel:.3f} mm)"
        )
        sheet.text((x + 250, y), said, 15, GREY)
        y += 22
    y += 6
    limit = rig.stated.laid
    for card in rig.fit.cards:
        off = float(np.hypot(*card.shift)) > limit
        said = f"{describe_card_pose(card)}; its corners fit to {card.residual:.3f} mm."
        sheet.text((x, y), said, 15, parts.ALARM if off else INK)
        y += 22
    notes = list(rig.fit.notes)
    if solution.photos:
        bare = solution.zones[0]
        notes.append(
            f"From one part of the platen to the next the light is {bare.off:.2f} mm off, one way "
            f"and another, beyond its noise ({bare.ratio:.1f} times what noise alone would leave)."
        )
        exact = worst_with_cards_exact(solution, rig.face)
        notes.append(
            f"The photos alone would place the light to {exact.bound:.2f} mm; the rest is how the "
            "cards were laid"
            + (
                " against the platen's edges."
                if axes_seen(solution.problem.priors) == 2
                else ", and crosses nudged on to marks take it out."
            )
        )
    sheet.paragraph((x, y + 4), notes, 15, width, GREY)
