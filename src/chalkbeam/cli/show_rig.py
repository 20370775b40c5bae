"""What a rig is said to be, on the terminal and as JSON, once it is written and later."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calibration.photo.read import Photo
    from calibration.rig.file import Rig
    from calibration.solve.fit import Solution


def save_new_rig(
    rig: Rig, out: Path | None, report: Path | None, as_json: bool, photos: Sequence[Photo] = ()
) -> None:
    """Write a new rig, to a file or by its name, and its report; tell how sure it is."""
    from calibration.rig import library
    from calibration.rig.file import save
    from calibration.rig.platens import kept_from
    from calibration.rig.report import write_report

    rig = kept_from(out if out is not None else library.place(rig.name), rig)
    if report is not None:
        write_report(report, rig, photos)
    earlier = None
    if out is not None:
        save(rig, out)
    else:
        earlier = library.set_aside(rig.name)
        out = library.keep(rig)
    if as_json:
        print(json.dumps({"written": str(out), **rig_json(rig)}, indent=1))
        return
    print(rig_words(rig))
    print(f"Wrote {out}" + (f" and {report}." if report else "."))
    if earlier is not None:
        print(f"The calibration of that name before it is kept as {earlier}.")


def write_renewed(press: Rig, now: Solution, place: Path, as_json: bool) -> None:
    """Write a rig solved again, and say what is known of it now."""
    from calibration.rig.file import Rig, save
    from calibration.rig.platens import renewed as with_platens_of

    renewed = replace(Rig.of(now, press.name, press.face), plans=press.plans)
    renewed = with_platens_of(press, renewed)
    save(renewed, place)
    if as_json:
        print(json.dumps({"written": str(place), **rig_json(renewed)}, indent=1))
    else:
        print(rig_words(renewed))
        print(f"Wrote {place}.")


def rig_json(rig: Rig) -> dict[str, Any]:
    """Return what there is to know of a rig, as JSON has it."""
    import math

    from calibration.model.uncertainty import place_in_words, worst
    from calibration.rig.verdict import verdict

    fit, found = rig.fit, verdict(rig)
    heights = worst(rig.projector, fit.matrix, fit.freedom, rig.face, _table_heights(rig))
    return {
        "verdict": found.sentence,
        "ready_up_to_mm": found.up_to,
        "name": rig.name,
        "calibration_id": rig.calibration_id,
        "made_at": rig.made_at,
        "platen_mm": [rig.face.width, rig.face.depth],
        "platens": [each.platen for each in rig.platens],
        "size_px": list(rig.projector.size),
        "model": fit.model,
        "height_from": fit.height_from,
        "lens_mm": [round(float(value), 2) for value in rig.projector.pinhole.lens],
        "corner_noise_px": round(fit.noise, 4),
        "print_scale": round(fit.print_scale, 6),
        "tolerance_mm": rig.stated.tolerance,
        "photos": [
            {
                "name": photo.name,
                "raised_mm": photo.raised,
                "card_corners": len(photo.cards),
                "pattern_corners": len(photo.pattern),
            }
            for photo in rig.photos
        ],
        "crosses": len(rig.crosses),
        "cards": [
            {
                "name": card.name,
                "raised_mm": card.raised,
                "shift_mm": [round(value, 4) for value in card.shift],
                "turn_degrees": round(math.degrees(card.turn), 4),
                "residual_mm": round(card.residual, 4),
                "corners": card.corners,
            }
            for card in fit.cards
        ],
        "heights": [
            {
                "height_mm": each.height,
                "within_mm": round(each.bound, 4),
                "standard_error_mm": round(each.typical, 4),
                "worst_point_mm": [round(value, 2) for value in each.point],
                "worst_place": place_in_words(each.point, rig.face),
            }
            for each in heights
        ],
        "basis": BASIS,
        "notes": list(fit.notes),
    }


BASIS = (
    "within_mm holds in at least 95 % of calibrations, at its point: it carries corner noise, how "
    "the cards were laid, print scale, board height, what the photos leave open of the "
    "projector's lens, and waves of the platen as far as the light shows them, but not cloth or a "
    "board of another height than stated, nor a pattern that was shown scaled or in a window."
)


def rig_words(rig: Rig) -> str:
    """Return what there is to know of a rig, for the terminal."""
    from calibration.model.uncertainty import place_in_words, worst
    from calibration.rig.verdict import verdict
    from calibration.solve.acceptance import describe_card_pose

    fit = rig.fit
    found = verdict(rig)
    lines = [
        found.sentence,
        *([found.more] if found.more else []),
        f"{rig.name}: platen {rig.face.width:g} x {rig.face.depth:g} mm, projector "
        f"{rig.projector.size[0]} x {rig.projector.size[1]}, calibration {rig.calibration_id}",
        f"Model: {fit.model}; height from {fit.height_from}.",
    ]
    if rig.photos:
        lines.append(
            f"{len(rig.photos)} photo{'s' if len(rig.photos) > 1 else ''}, "
            f"{sum(len(p.cards) for p in rig.photos)} card corners and "
            f"{sum(len(p.pattern) for p in rig.photos)} pattern corners, scattering by "
            f"{fit.noise:.2f} px; cards printed at {100 * fit.print_scale:.2f} %."
        )
    if rig.crosses:
        lines.append(f"{len(rig.crosses)} crosses set by hand.")
    if rig.platens:
        lines.append(f"Further platens: {', '.join(each.platen for each in rig.platens)}.")
    lines += [f"  {describe_card_pose(card)}." for card in fit.cards]
    lines.append("Light lands within (95 %):")
    for each in worst(rig.projector, fit.matrix, fit.freedom, rig.face, _table_heights(rig)):
        over = "" if each.bound <= rig.stated.tolerance else _over(rig, each.height)
        lines.append(
            f"  {each.bound:5.2f} mm at {each.height:4.1f} mm height, worst at "
            f"{place_in_words(each.point, rig.face)}{over}"
        )
    lines += fit.notes
    return "\n".join(lines)


def _over(rig: Rig, height: float) -> str:
    asked = height <= max(rig.stated.heights)
    return "  over the tolerance" if asked else "  beyond what was asked for"


def _table_heights(rig: Rig) -> tuple[float, ...]:
    """Return the heights a report tells of, mm."""
    return tuple(sorted({0.0, 1.0, 4.0, 10.0, 20.0, *rig.stated.heights}))
