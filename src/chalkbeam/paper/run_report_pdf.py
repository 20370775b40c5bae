"""A run's report on paper: what people ask after first, the statistics below in small."""

from __future__ import annotations

import io
from collections.abc import Sequence

from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import Color
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from chalkbeam.orders.settings import Degrees
from chalkbeam.orders.times import format_duration
from chalkbeam.paper.fonts import BOLD, FONT, fitted, line_of, write
from chalkbeam.paper.run_report_charts import (
    ALERT,
    INK,
    QUIET,
    RULE,
    spoilage_chart,
    time_chart,
    trend_chart,
)
from chalkbeam.paper.run_report_words import (
    count_words,
    garment_words,
    piece_words,
    setting_words,
    sizes_words,
    spoiled_words,
    to_press_lines,
    when_words,
    who_words,
)
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.record.laid import laid_words, printed_words
from chalkbeam.record.resume import local_time
from chalkbeam.record.step_times import STEP_WORDS
from chalkbeam.record.summary import RunSummary

MARGIN = 48.0
MOST = 24
"""Spoiled pieces, and pieces still to press, that are listed."""
_LINE = 14.0
_FOOT = 28.0
_STATISTICS = 236.0
"""Room that the statistics take, pt."""

_Cell = tuple[float, float, str, Color, str]
"""Where it begins and how wide it is, as shares of the page's inside; text, colour, font."""


def report_pdf(
    report: RunSummary, paper: str = "a4", degrees: Degrees = Degrees.AS_WRITTEN
) -> bytes:
    """Return the report as a PDF, the same bytes for the same run.

    Parameters
    ----------
    report : RunSummary
    paper : {"a4", "letter"}
    degrees : Degrees
        What temperatures are shown in.
    """
    size = PAPERS[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=size, invariant=1)
    canvas.setTitle(f"Run report: {report.run.title}")
    canvas.setCreator("Chalkbeam")
    _Page(canvas, size, report, degrees).draw()
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


class _Page:
    """Lays the parts out from the top; `y` is how far down the page is filled, pt."""

    def __init__(
        self, canvas: Canvas, size: tuple[float, float], report: RunSummary, degrees: Degrees
    ) -> None:
        self.canvas, self.report, self.degrees = canvas, report, degrees
        self.width, self.height = size
        self.inner = self.width - 2 * MARGIN
        self.y = self.height - MARGIN

    def draw(self) -> None:
        self._title()
        self._figures()
        self._styles()
        self._settings()
        self._spoiled()
        self._to_press()
        self._transfers()
        self._steps()
        self._statistics()

    # -- what people ask after ----------------------------------------------------------

    def _title(self) -> None:
        report = self.report
        title = line_of(MARGIN, self.y - 18, report.run.title, 20, INK, BOLD, room=self.inner)
        write(self.canvas, title)
        if heading := report.account.heading:
            whose = line_of(MARGIN, self.y - 36, heading, 12, INK, room=self.inner)
            write(self.canvas, whose)
            self.y -= 18
        said = (when_words(report), who_words(report), f"run {report.run.id[:8]}")
        line = " · ".join(part for part in said if part)
        write(self.canvas, line_of(MARGIN, self.y - 34, line, 9.5, QUIET, room=self.inner))
        self.y -= 52

    def _figures(self) -> None:
        report = self.report
        figures: Sequence[tuple[str, str, Color]] = (
            (f"{report.finished} of {report.pieces}", "pieces finished", INK),
            (f"{report.pressed} of {report.imprints}", "imprints pressed", INK),
            (str(report.skipped), "imprints skipped", INK),
            (
                str(report.spoiled),
                f"spoiled, {report.replaced} replaced",
                ALERT if report.spoiled else INK,
            ),
            (format_duration(report.working), "at the press", INK),
        )
        step = self.inner / len(figures)
        self.canvas.setStrokeColor(RULE)
        self.canvas.setLineWidth(0.6)
        self.canvas.line(MARGIN, self.y, MARGIN + self.inner, self.y)
        for index, (figure, words, colour) in enumerate(figures):
            x = MARGIN + index * step
            self.canvas.setFillColor(colour)
            self.canvas.setFont(BOLD, 17)
            self.canvas.drawString(x, self.y - 26, figure)
            self.canvas.setFillColor(QUIET)
            self.canvas.setFont(FONT, 8)
            self.canvas.drawString(x, self.y - 39, fitted(words, FONT, 8, step - 6))
        self.canvas.line(MARGIN, self.y - 50, MARGIN + self.inner, self.y - 50)
        self.y -= 58

    def _styles(self) -> None:
        self._heading("By style and size")
        for count in self.report.account.styles:
            lines = _filled(sizes_words(count), 0.56 * self.inner - 8)
            done = count.finished == count.ordered
            total = f"{count.finished} of {count.ordered}"
            for row, line in enumerate(lines):
                named = garment_words(count) if row == 0 else ""
                self._row(
                    (0.0, 0.32, named, INK, FONT),
                    (0.32, 0.56, line, INK, FONT),
                    (0.88, 0.12, total if row == 0 else "", INK if done else ALERT, BOLD),
                )

    def _settings(self) -> None:
        used = self.report.account.settings
        if not any(each.setting or each.transfer for each in used):
            return
        self._heading("Pressed with")
        for each in used:
            self._row(
                (0.0, 0.68, setting_words(each, self.degrees), INK, FONT),
                (0.68, 0.32, count_words(each), QUIET, FONT),
            )

    def _spoiled(self) -> None:
        spoiled = self.report.account.spoiled
        if not spoiled:
            return
        self._heading("Spoiled")
        for each in spoiled[:MOST]:
            self._row(
                (0.0, 0.18, local_time(each.wall), QUIET, FONT),
                (0.18, 0.44, piece_words(each.piece), INK, FONT),
                (0.62, 0.38, spoiled_words(each), INK, FONT),
            )
        self._and_more(len(spoiled))

    def _to_press(self) -> None:
        lines = to_press_lines(self.report.account)
        if not lines:
            return
        self._heading("Still to press")
        for piece, prints in lines[:MOST]:
            self._row((0.0, 0.52, piece, INK, FONT), (0.52, 0.48, prints, INK, FONT))
        self._and_more(len(lines))

    def _and_more(self, count: int) -> None:
        if count > MOST:
            self._row((0.0, 1.0, f"… and {count - MOST} more", QUIET, FONT))

    def _transfers(self) -> None:
        if not self.report.transfers:
            return
        self._heading("Transfers left")
        for each in self.report.transfers:
            self._row(
                (0.0, 0.68, each.words, INK, FONT),
                (0.68, 0.32, f"{each.left} of {each.printed}", INK, FONT),
            )

    def _steps(self) -> None:
        if not self.report.steps:
            return
        self._heading("What the steps took, as measured")
        for each in self.report.steps:
            self._row(
                (0.0, 0.32, STEP_WORDS[each.step], INK, FONT),
                (0.32, 0.30, f"{format_duration(each.median)} each, as a rule", INK, FONT),
                (0.62, 0.38, f"{format_duration(each.total)} for all {each.count}", QUIET, FONT),
            )

    # -- the statistics, in small -------------------------------------------------------

    def _statistics(self) -> None:
        half = (self.inner - 24) / 2
        self._room(_STATISTICS)
        self.y -= 12
        self.canvas.setStrokeColor(RULE)
        self.canvas.line(MARGIN, self.y, MARGIN + self.inner, self.y)
        self.y -= 10
        top = self.y
        for column, (words, chart) in enumerate(
            (
                ("Spoiled garments, by cause", spoilage_chart(self.report, half, 66, most=3)),
                ("Time a piece", time_chart(self.report, half, 86)),
            )
        ):
            self.y = top
            self._small_heading(words, MARGIN + column * (half + 24))
            self._place(chart, MARGIN + column * (half + 24))
        self.y -= 4
        self._small_heading("Corrections over the run", MARGIN)
        top = self.y
        for column, trend in enumerate(self.report.trends):
            self.y = top
            self._place(trend_chart(trend, half, 88), MARGIN + column * (half + 24))
        self._findings()
        self._foot()

    def _row(self, *cells: _Cell) -> None:
        """Write one line of a list, on the next page where this one is full."""
        self._room(_LINE)
        for at, wide, text, colour, font in cells:
            x, room = MARGIN + at * self.inner, wide * self.inner - 6
            write(self.canvas, line_of(x, self.y - 9, text, 9.5, colour, font, room=room))
        self.y -= _LINE

    def _room(self, needed: float) -> None:
        """Begin another page where so much, pt, has no room on this one."""
        if self.y - needed < MARGIN + _FOOT:
            self.canvas.showPage()
            self.y = self.height - MARGIN

    def _heading(self, text: str) -> None:
        self._room(30 + 2 * _LINE)
        self.y -= 10
        write(self.canvas, line_of(MARGIN, self.y - 9, text, 11, INK, BOLD))
        self.y -= 18

    def _small_heading(self, text: str, x: float) -> None:
        write(self.canvas, line_of(x, self.y - 8, text, 8.5, QUIET, BOLD))
        self.y -= 14

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
        seen = (
            laid_words(each.event for each in self.report.outcomes),
            printed_words(each.printed for each in self.report.outcomes),
        )
        said = [(sentence, False) for sentence in self.report.taste]
        said += [(sentence, bool(found)) for sentence in found or (nothing,)]
        said += [(words, False) for words in seen if words]
        for sentence, alert in said:
            style = ParagraphStyle(
                "finding", fontName=BOLD if alert else FONT, fontSize=8.5, leading=11,
                textColor=ALERT if alert else INK, alignment=TA_LEFT,
            )  # fmt: skip
            paragraph = Paragraph(_escaped(sentence), style)
            _, height = paragraph.wrap(self.inner, 200)
            self._room(height)
            paragraph.drawOn(self.canvas, MARGIN, self.y - height)
            self.y -= height + 4

    def _foot(self) -> None:
        said = (
            "Times come from the computer's running clock within each session, pauses taken out. "
            "Measuring by hand is an estimate, up to a minute a piece (common practice, no "
            "source). Corrections are tested by Kendall's rank correlation and the sign test at "
            "1 %, shared between four tests, and count from 0.5 mm."
        )
        style = ParagraphStyle("foot", fontName=FONT, fontSize=7.5, leading=9.5, textColor=QUIET)
        paragraph = Paragraph(said, style)
        paragraph.wrap(self.inner, 80)
        paragraph.drawOn(self.canvas, MARGIN, MARGIN - 12)


def _filled(words: Sequence[str], room: float) -> list[str]:
    """Return words three spaces apart, as many to a line as its room, pt, takes."""
    lines = [""]
    for word in words:
        longer = f"{lines[-1]}   {word}" if lines[-1] else word
        if lines[-1] and stringWidth(longer, FONT, 9.5) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
