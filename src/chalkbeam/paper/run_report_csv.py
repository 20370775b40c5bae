"""A run's outcomes as CSV (RFC 4180), without anything a spreadsheet would run as a formula."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from typing import Any

from chalkbeam.placement.shift import Shift
from chalkbeam.record.laid import seen_of
from chalkbeam.record.summary import ImprintOutcome, RunSummary

HEADER = (
    "number", "when_utc", "piece", "row", "style", "fit", "size", "colour", "name", "number_worn",
    "location", "artwork", "result", "reason", "replaced", "seconds",
    "planned_x_mm", "planned_y_mm", "planned_turn_deg",
    "correction_x_mm", "correction_y_mm", "correction_turn_deg",
    "operator", "rig", "calibration", "event",
    "garment_seen", "laid_off_x_mm", "laid_off_y_mm", "laid_off_turn_deg", "laid_verdict",
    "picture", "printed_off_x_mm", "printed_off_y_mm", "printed_off_turn_deg",
)  # fmt: skip


def safe(text: str) -> str:
    """Return text that a spreadsheet shows as it is.

    A cell that begins with ``= + - @``, a tab or a line break may be run as a formula when the
    file is opened; an apostrophe in front makes it text (the usual advice against "CSV
    injection"; common practice, no source).
    """
    return f"'{text}" if text.lstrip(" ")[:1] in ("=", "+", "-", "@", "\t", "\r", "\n") else text


def report_csv(report: RunSummary) -> bytes:
    """Return one row for each outcome in force, CRLF line ends, UTF-8 with the mark Excel needs."""
    stops = {stop.imprint.id: stop for stop in report.run.stops}
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    for number, outcome in enumerate(report.outcomes, start=1):
        event, stop = outcome.event, stops.get(outcome.event.imprint)
        if stop is None:
            continue
        piece, imprint = stop.piece, stop.imprint
        writer.writerow(
            (
                number,
                safe(event.wall),
                safe(piece.id),
                piece.row,
                *map(safe, (piece.style, piece.fit, piece.size, piece.colour)),
                *map(safe, (piece.name, piece.number)),
                safe(str(event.data.get("location") or imprint.location)),
                safe(imprint.art.text),
                outcome.result,
                safe(_reason(event.data)),
                {True: "yes", False: "no", None: ""}[event.data.get("replaced")],
                "" if outcome.seconds is None else f"{outcome.seconds:.1f}",
                *_planned(outcome),
                f"{outcome.nudge.x:.2f}",
                f"{outcome.nudge.y:.2f}",
                f"{math.degrees(outcome.nudge.angle):.2f}",
                *map(safe, (event.operator, event.rig, event.calibration, event.id)),
                *_seen(outcome),
            )
        )
    return text.getvalue().encode("utf-8-sig")


def _seen(outcome: ImprintOutcome) -> tuple[str, ...]:
    """Return what the press's camera saw of it, as cells; empty ones without a camera."""
    seen = seen_of(outcome.event)
    sure = {True: "sure", False: "not sure", None: ""}[seen.garment_sure]
    return sure, *_off(seen.off), safe(seen.verdict), safe(seen.picture), *_off(outcome.printed)


def _off(shift: Shift | None) -> tuple[str, str, str]:
    if shift is None:
        return "", "", ""
    return f"{shift.x:.2f}", f"{shift.y:.2f}", f"{math.degrees(shift.angle):.2f}"


def _planned(outcome: ImprintOutcome) -> tuple[str, str, str]:
    pose = outcome.event.data.get("pose")
    if not pose:
        return "", "", ""
    turn = math.degrees(float(pose.get("angle", 0.0)))
    return f"{float(pose['x']):.2f}", f"{float(pose['y']):.2f}", f"{turn:.2f}"


def _reason(data: Mapping[str, Any]) -> str:
    """Return why something was skipped or spoiled, and for want of what it was left out."""
    missing = data.get("missing")
    said = (str(data.get("reason") or ""), f"no {missing} left" if missing else "")
    return "; ".join(part for part in said if part)
