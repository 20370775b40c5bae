"""Reports on the page: a run's figures and charts, to be read, and as PDF and CSV."""

from __future__ import annotations

import math
from collections.abc import Callable

from reportlab.graphics.shapes import Drawing
from starlette.responses import Response

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.times import format_duration
from chalkbeam.paper import run_report_words
from chalkbeam.paper.drawing_files import svg_bytes
from chalkbeam.paper.run_report_charts import spoilage_chart, time_chart, trend_chart
from chalkbeam.paper.run_report_csv import report_csv
from chalkbeam.paper.run_report_pdf import report_pdf
from chalkbeam.record.resume import local_time
from chalkbeam.record.step_times import STEP_WORDS
from chalkbeam.record.store import Store
from chalkbeam.record.summary import MEASURE, RunSummary, summarise
from chalkbeam.record.taste import with_taste
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import page
from chalkbeam.web.words import t

PAPERS = ("a4", "letter")

SHOWN = 60
"""Runs that are listed, and pieces of one that are still to press."""

SVG_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""A chart's own: its colours stand in attributes, and it loads and runs nothing."""

CHARTS: dict[str, Callable[[RunSummary], Drawing]] = {
    "spoiled": lambda found: spoilage_chart(found, 320, 120),
    "times": lambda found: time_chart(found, 320, 120),
    "right": lambda found: trend_chart(found.trends[0], 520, 170),
    "away": lambda found: trend_chart(found.trends[1], 520, 170),
}
"""By the name of their text."""


def doors() -> list[Door]:
    """Return the doors of reports."""
    return [
        Door("/reports", _list, Right.SEE),
        Door("/reports/{run}", _show, Right.SEE),
        Door("/reports/{run}/report.pdf", _pdf, Right.SEE),
        Door("/reports/{run}/presses.csv", _csv, Right.SEE),
        Door("/reports/{run}/{chart}.svg", _chart, Right.SEE),
    ]


def _list(visit: Visit) -> Response:
    with visit.app.queue.runs(visit.shop) as source:
        runs = sorted(source.runs(), key=lambda each: each.begun, reverse=True)
    return page(
        visit,
        "reports/list.html",
        runs=runs[:SHOWN],
        more=max(0, len(runs) - SHOWN),
        when=local_time,
    )


def _summary(visit: Visit) -> RunSummary:
    with visit.app.queue.runs(visit.shop) as source:
        run = source.run(str(visit.path["run"]))
        found = summarise(run, source.everything(run), _measure(visit))
        return with_taste(source, found, Unit.MM) if isinstance(source, Store) else found


def _measure(visit: Visit) -> float:
    """Return the seconds that measuring a piece by hand takes, as asked for."""
    text = visit.query.get("measure", "")
    try:
        seconds = float(text.replace(",", ".")) if text else MEASURE
    except ValueError:
        seconds = math.nan
    if not 0 <= seconds < 3600:
        raise Refusal(t("reports.no_time"))
    return seconds


def _show(visit: Visit) -> Response:
    found = _summary(visit)
    return page(
        visit, "reports/report.html", found=found, run=found.run, charts=tuple(CHARTS),
        papers=PAPERS, told=format_duration, words=run_report_words, step_words=STEP_WORDS,
        most=SHOWN,
    )  # fmt: skip


def _attached(content: bytes, kind: str, name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=kind, headers=headers)


def _pdf(visit: Visit) -> Response:
    found = _summary(visit)
    paper = visit.query.get("paper", "")
    content = report_pdf(found, paper if paper in PAPERS else PAPERS[0])
    return _attached(content, "application/pdf", f"report-{found.run.id[:8]}.pdf")


def _csv(visit: Visit) -> Response:
    found = _summary(visit)
    return _attached(report_csv(found), "text/csv", f"presses-{found.run.id[:8]}.csv")


def _chart(visit: Visit) -> Response:
    draw = CHARTS.get(str(visit.path["chart"]))
    if draw is None:
        raise Refusal(t("reports.no_chart"))
    headers = {"content-security-policy": SVG_POLICY}
    return Response(svg_bytes(draw(_summary(visit))), media_type="image/svg+xml", headers=headers)
