"""Charts of a run's statistics: spoiled garments by cause, time a piece, corrections."""

from __future__ import annotations

from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Rect, String
from reportlab.lib.colors import Color, HexColor

from chalkbeam.orders.times import format_duration
from chalkbeam.paper.fonts import BOLD, FONT, line_of
from chalkbeam.record.summary import RunSummary
from chalkbeam.record.trends import Trend

INK, QUIET, RULE = HexColor("#22303C"), HexColor("#6B7884"), HexColor("#C9CFD4")
BAR, PALE, ALERT = HexColor("#2F6F8F"), HexColor("#D9E5EB"), HexColor("#A3461F")


def _text(
    x: float, y: float, text: str, *, size: float = 8.5, colour: Color = INK,
    font: str = FONT, anchor: str = "start",
) -> String:  # fmt: skip
    return String(x, y, text, fontName=font, fontSize=size, fillColor=colour, textAnchor=anchor)


def spoilage_chart(report: RunSummary, width: float, height: float, most: int = 5) -> Drawing:
    """Return bars of spoiled garments by cause, the rarest causes as one."""
    drawing = Drawing(width, height)
    if not report.causes:
        drawing.add(_text(0, height - 16, "None.", colour=QUIET))
        return drawing
    causes = list(report.causes[:most])
    if len(report.causes) > most:
        causes[-1:] = [("others", sum(count for _, count in report.causes[most - 1 :]))]
    largest = max(count for _, count in causes)
    label = 0.46 * width
    step = min(22.0, height / len(causes))
    for row, (cause, count) in enumerate(causes):
        y = height - (row + 1) * step + 6
        bar = (width - label - 26) * count / largest
        drawing.add(line_of(0, y + 1, cause, 8.5, INK, room=label - 8))
        drawing.add(Rect(label, y - 2, bar, 11, fillColor=ALERT, strokeColor=None))
        drawing.add(_text(label + bar + 5, y + 1, str(count), font=BOLD))
    return drawing


def time_chart(report: RunSummary, width: float, height: float) -> Drawing:
    """Return the typical time a piece, with the light and with measuring added."""
    drawing = Drawing(width, height)
    typical = report.typical
    if typical is None:
        drawing.add(_text(0, height - 16, "No finished piece was timed.", colour=QUIET))
        return drawing
    by_hand = typical + report.measure
    label = 78.0
    scale = (width - label - 48) / by_hand
    rows = (("with the light", typical, 0.0), ("by hand, up to", typical, report.measure))
    for row, (words, base, extra) in enumerate(rows):
        y = height - (row + 1) * 26 + 6
        drawing.add(_text(0, y + 2, words))
        drawing.add(Rect(label, y - 2, base * scale, 14, fillColor=BAR, strokeColor=None))
        if extra:
            drawing.add(
                Rect(label + base * scale, y - 2, extra * scale, 14,
                     fillColor=PALE, strokeColor=BAR, strokeWidth=0.5)
            )  # fmt: skip
        end = label + (base + extra) * scale
        drawing.add(_text(end + 5, y + 2, format_duration(base + extra), font=BOLD))
    timed = len(report.piece_seconds)
    notes = (
        f"Median of {timed} finished piece{'s' if timed != 1 else ''}.",
        f"Not measuring saves up to {format_duration(report.saved)} on this run.",
    )
    for row, note in enumerate(notes):
        drawing.add(_text(0, height - 72 - 12 * row, note, size=8, colour=QUIET))
    return drawing


def trend_chart(trend: Trend, width: float, height: float) -> Drawing:
    """Return the corrections along one axis of the platen, a dot a press, with Theil's line."""
    drawing = Drawing(width, height)
    left, bottom, top = 40.0, 20.0, height - 16
    right = width - 8
    values = trend.total
    reach = max(1.0, *(abs(value) for value in values)) if values else 1.0
    reach = float(next(step for step in (1, 2, 3, 5, 10, 20, 50, 100, 1000) if step >= reach))
    title = {
        "x": "To the right (+) and left (−), mm",
        "y": "Away from the operator (+) and towards (−), mm",
    }[trend.axis]
    drawing.add(_text(left, height - 8, title, size=8.5, colour=QUIET))

    def place_y(value: float) -> float:
        return bottom + (value / reach + 1) / 2 * (top - bottom)

    def place_x(index: float) -> float:
        return left + (index + 0.5) / max(1, len(values)) * (right - left)

    for value in (-reach, -reach / 2, 0.0, reach / 2, reach):
        y = place_y(value)
        drawing.add(
            Line(left, y, right, y, strokeColor=QUIET if value == 0 else RULE,
                 strokeWidth=0.8 if value == 0 else 0.4)
        )  # fmt: skip
        label = f"{value:+g}".replace("-", "−") if value else "0"
        drawing.add(_text(left - 5, y - 3, label, size=7.5, colour=QUIET, anchor="end"))
    dots = Group()
    radius = 2.0 if len(values) <= 150 else 1.2
    for index, value in enumerate(values):
        dots.add(Circle(place_x(index), place_y(value), radius, fillColor=BAR, strokeColor=None))
    drawing.add(dots)
    if trend.judged:
        half = (len(values) - 1) / 2
        ends = [trend.middle - trend.slope * half, trend.middle + trend.slope * half]
        colour = ALERT if trend.sentence() else QUIET
        drawing.add(
            Line(place_x(0), place_y(ends[0]), place_x(len(values) - 1), place_y(ends[1]),
                 strokeColor=colour, strokeWidth=1.4)
        )  # fmt: skip
    for index in _ticks(len(values)):
        drawing.add(
            _text(place_x(index), 8, f"press {index + 1}" if index == 0 else str(index + 1),
                  size=7.5, colour=QUIET, anchor="middle")
        )  # fmt: skip
    return drawing


def _ticks(count: int) -> list[int]:
    """Return the indices of presses to number: the first, and round ones."""
    if count == 0:
        return []
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10**9) if count / s <= 10)
    return [0, *(n - 1 for n in range(step, count + 1, step) if n - 1 >= max(1, step / 2))]
