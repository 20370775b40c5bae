"""A run's report on paper: figures, spoilage, time a piece, corrections over the run."""

from __future__ import annotations

import io
from collections.abc import Sequence

from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Rect, String
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from chalkbeam.orders.times import format_duration
from chalkbeam.paper.fonts import BOLD, FONT, fitted, line_of, write
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.record.laid import laid_words
from chalkbeam.record.step_times import STEP_WORDS
from chalkbeam.record.summary import RunSummary
from chalkbeam.record.trends import Trend

MARGIN = 48.0

_INK, _QUIET, _RULE = HexColor("#22303C"), HexColor("#6B7884"), HexColor("#C9CFD4")
_BAR, _PALE, _ALERT = HexColor("#2F6F8F"), HexColor("#D9E5EB"), HexColor("#A3461F")


def report_pdf(report: RunSummary, paper: str = "a4") -> bytes:
    """Return the report as a PDF of one page, the same bytes for the same run.

    Parameters
    ----------
    report : RunSummary
    paper : {"a4", "letter"}
    """
    size = PAPERS[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=size, invariant=1)
    canvas.setTitle(f"Run report: {report.run.title}")
    canvas.setCreator("Chalkbeam")
    _Page(canvas, size, report).draw()
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


class _Page:
    """Lays the parts out from the top; `y` is how far down the page is filled, pt."""

    def __init__(self, canvas: Canvas, size: tuple[float, float], report: RunSummary) -> None:
        self.canvas, self.report = canvas, report
        self.width, self.height = size
        self.inner = self.width - 2 * MARGIN
        self.y = self.height - MARGIN

    def draw(self) -> None:
        self._title()
        self._figures()
        half = (self.inner - 24) / 2
        top = self.y
        self._heading("Spoiled garments, by cause", MARGIN)
        self._place(spoilage_chart(self.report, half, 100), MARGIN)
        self.y = top
        self._heading("Time a piece", MARGIN + half + 24)
        self._place(time_chart(self.report, half, 100), MARGIN + half + 24)
        self.y -= 14
        self._heading("Corrections over the run", MARGIN)
        for trend in self.report.trends:
            self._place(trend_chart(trend, self.inner, 150), MARGIN)
            self.y -= 6
        self._findings()
        self._foot()

    def _title(self) -> None:
        run = self.report.run
        title = line_of(MARGIN, self.y - 18, run.title, 20, _INK, BOLD, room=self.inner)
        write(self.canvas, title)
        outcomes = self.report.outcomes
        # The computer's date may have been set back meanwhile: then the end is not told.
        ended = max((each.event.wall for each in outcomes), default="")
        last = f" to {ended[:16].replace('T', ' ')}" if ended > run.begun else ""
        events = [each.event for each in outcomes]
        who = ", ".join(dict.fromkeys(each.operator for each in events if each.operator))
        rigs = ", ".join(dict.fromkeys(each.rig for each in events if each.rig))
        said = [f"{run.begun[:16].replace('T', ' ')}{last} UTC", who and f"by {who}"]
        said += [rigs and f"on {rigs}", f"run {run.id[:8]}"]
        line = " · ".join(part for part in said if part)
        write(self.canvas, line_of(MARGIN, self.y - 34, line, 9.5, _QUIET, room=self.inner))
        self.y -= 52

    def _figures(self) -> None:
        report = self.report
        figures: Sequence[tuple[str, str, Color]] = (
            (f"{report.finished} of {report.pieces}", "pieces finished", _INK),
            (f"{report.pressed} of {report.imprints}", "imprints pressed", _INK),
            (str(report.skipped), "imprints skipped", _INK),
            (
                str(report.spoiled),
                f"spoiled, {report.replaced} replaced",
                _ALERT if report.spoiled else _INK,
            ),
            (format_duration(report.working), "at the press", _INK),
        )
        step = self.inner / len(figures)
        self.canvas.setStrokeColor(_RULE)
        self.canvas.setLineWidth(0.6)
        self.canvas.line(MARGIN, self.y, MARGIN + self.inner, self.y)
        for index, (figure, words, colour) in enumerate(figures):
            x = MARGIN + index * step
            self.canvas.setFillColor(colour)
            self.canvas.setFont(BOLD, 17)
            self.canvas.drawString(x, self.y - 26, figure)
            self.canvas.setFillColor(_QUIET)
            self.canvas.setFont(FONT, 8)
            self.canvas.drawString(x, self.y - 39, fitted(words, FONT, 8, step - 6))
        self.canvas.line(MARGIN, self.y - 50, MARGIN + self.inner, self.y - 50)
        self.y -= 72

    def _heading(self, text: str, x: float) -> None:
        self.canvas.setFillColor(_INK)
        self.canvas.setFont(BOLD, 11)
        self.canvas.drawString(x, self.y - 9, text)
        self.y -= 20

    def _place(self, drawing: Drawing, x: float) -> None:
        drawing.drawOn(self.canvas, x, self.y - drawing.height)
        self.y -= drawing.height

    def _findings(self) -> None:
        found = self.report.findings()
        few = len(self.report.trends[0].total)
        nothing = (
            "The corrections show neither a trend nor a lean: no sign that rig or loading is off."
            if self.report.trends[0].judged
            else f"{few} presses are too few to say whether rig or loading is off."
        )
        self.y -= 4
        laid = laid_words(each.event for each in self.report.outcomes)
        said = [(sentence, bool(found)) for sentence in found or (nothing,)]
        said += [(laid, False)] if laid else []
        took = ", ".join(
            f"{STEP_WORDS[each.step]} {format_duration(each.median)}" for each in self.report.steps
        )
        said += [(f"Median time of a step, measured: {took}.", False)] if took else []
        there = "; ".join(
            f"{each.words}: {each.left} of {each.printed}" for each in self.report.transfers
        )
        said += [(f"Transfers left: {there}.", False)] if there else []
        for sentence, alert in said:
            style = ParagraphStyle(
                "finding", fontName=BOLD if alert else FONT, fontSize=9.5, leading=12.5,
                textColor=_ALERT if alert else _INK, alignment=TA_LEFT,
            )  # fmt: skip
            paragraph = Paragraph(_escaped(sentence), style)
            _, height = paragraph.wrap(self.inner, 200)
            paragraph.drawOn(self.canvas, MARGIN, self.y - height)
            self.y -= height + 4

    def _foot(self) -> None:
        said = (
            "Times come from the computer's running clock within each session, pauses taken out. "
            "Measuring by hand is an estimate, up to a minute a piece (common practice, no "
            "source). Corrections are tested by Kendall's rank correlation and the sign test at "
            "1 %, shared between four tests, and count from 0.5 mm."
        )
        style = ParagraphStyle("foot", fontName=FONT, fontSize=7.5, leading=9.5, textColor=_QUIET)
        paragraph = Paragraph(said, style)
        paragraph.wrap(self.inner, 80)
        paragraph.drawOn(self.canvas, MARGIN, MARGIN - 12)


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _text(
    x: float, y: float, text: str, *, size: float = 8.5, colour: Color = _INK,
    font: str = FONT, anchor: str = "start",
) -> String:  # fmt: skip
    return String(x, y, text, fontName=font, fontSize=size, fillColor=colour, textAnchor=anchor)


def spoilage_chart(report: RunSummary, width: float, height: float, most: int = 5) -> Drawing:
    """Return bars of spoiled garments by cause, the rarest causes as one."""
    drawing = Drawing(width, height)
    if not report.causes:
        drawing.add(_text(0, height - 16, "None.", colour=_QUIET))
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
        drawing.add(line_of(0, y + 1, cause, 8.5, _INK, room=label - 8))
        drawing.add(Rect(label, y - 2, bar, 11, fillColor=_ALERT, strokeColor=None))
        drawing.add(_text(label + bar + 5, y + 1, str(count), font=BOLD))
    return drawing


def time_chart(report: RunSummary, width: float, height: float) -> Drawing:
    """Return the typical time a piece, with the light and with measuring added."""
    drawing = Drawing(width, height)
    typical = report.typical
    if typical is None:
        drawing.add(_text(0, height - 16, "No finished piece was timed.", colour=_QUIET))
        return drawing
    by_hand = typical + report.measure
    label = 78.0
    scale = (width - label - 48) / by_hand
    rows = (("with the light", typical, 0.0), ("by hand, up to", typical, report.measure))
    for row, (words, base, extra) in enumerate(rows):
        y = height - (row + 1) * 26 + 6
        drawing.add(_text(0, y + 2, words))
        drawing.add(Rect(label, y - 2, base * scale, 14, fillColor=_BAR, strokeColor=None))
        if extra:
            drawing.add(
                Rect(label + base * scale, y - 2, extra * scale, 14,
                     fillColor=_PALE, strokeColor=_BAR, strokeWidth=0.5)
            )  # fmt: skip
        end = label + (base + extra) * scale
        drawing.add(_text(end + 5, y + 2, format_duration(base + extra), font=BOLD))
    timed = len(report.piece_seconds)
    notes = (
        f"Median of {timed} finished piece{'s' if timed != 1 else ''}.",
        f"Not measuring saves up to {format_duration(report.saved)} on this run.",
    )
    for row, note in enumerate(notes):
        drawing.add(_text(0, height - 72 - 12 * row, note, size=8, colour=_QUIET))
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
    drawing.add(_text(left, height - 8, title, size=8.5, colour=_QUIET))

    def place_y(value: float) -> float:
        return bottom + (value / reach + 1) / 2 * (top - bottom)

    def place_x(index: float) -> float:
        return left + (index + 0.5) / max(1, len(values)) * (right - left)

    for value in (-reach, -reach / 2, 0.0, reach / 2, reach):
        y = place_y(value)
        drawing.add(
            Line(left, y, right, y, strokeColor=_QUIET if value == 0 else _RULE,
                 strokeWidth=0.8 if value == 0 else 0.4)
        )  # fmt: skip
        label = f"{value:+g}".replace("-", "−") if value else "0"
        drawing.add(_text(left - 5, y - 3, label, size=7.5, colour=_QUIET, anchor="end"))
    dots = Group()
    radius = 2.0 if len(values) <= 150 else 1.2
    for index, value in enumerate(values):
        dots.add(Circle(place_x(index), place_y(value), radius, fillColor=_BAR, strokeColor=None))
    drawing.add(dots)
    if trend.judged:
        half = (len(values) - 1) / 2
        ends = [trend.middle - trend.slope * half, trend.middle + trend.slope * half]
        colour = _ALERT if trend.sentence() else _QUIET
        drawing.add(
            Line(place_x(0), place_y(ends[0]), place_x(len(values) - 1), place_y(ends[1]),
                 strokeColor=colour, strokeWidth=1.4)
        )  # fmt: skip
    for index in _ticks(len(values)):
        drawing.add(
            _text(place_x(index), 8, f"press {index + 1}" if index == 0 else str(index + 1),
                  size=7.5, colour=_QUIET, anchor="middle")
        )  # fmt: skip
    return drawing


def _ticks(count: int) -> list[int]:
    """Return the indices of presses to number: the first, and round ones."""
    if count == 0:
        return []
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10**9) if count / s <= 10)
    return [0, *(n - 1 for n in range(step, count + 1, step) if n - 1 >= max(1, step / 2))]
