"""Garments on the page: styles and sizes drawn, and a supplier's chart taken in."""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path
from typing import TypeVar

from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments import FITS, charts_folder, sizes, styles
from chalkbeam.garments.library import builtin_styles, shop_charts
from chalkbeam.paper.drawing import draw_garment
from chalkbeam.paper.drawing_files import pdf_bytes
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.face_drawing import drawing_of
from chalkbeam.web.kept import Kept
from chalkbeam.web.orders.folders import file_name
from chalkbeam.web.pages import page
from chalkbeam.web.shelves.charts import ChartAsked, ChartUnderstood, keep_chart, understand
from chalkbeam.web.shelves.wearing import wearing
from chalkbeam.web.words import t
from chalkbeam.web.worker import run_apart

LARGEST_CHART = 5 * 1024 * 1024
UNITS = ("", "in", "cm", "mm")
ENDINGS = (".csv", ".tsv", ".txt", ".xlsx")

T = TypeVar("T")

_CHARTS = Kept(8)
"""Charts that were understood and wait to be kept."""


def doors() -> list[Door]:
    """Return the doors of garments."""
    return [
        Door("/garments", _list, Right.SEE),
        Door("/garments/chart", _chart, Right.SET_UP),
        Door("/garments/chart", _understood, Right.SET_UP, ("POST",), most=LARGEST_CHART),
        Door("/garments/chart/{key}", _keep, Right.SET_UP, ("POST",)),
        Door("/garments/{style}", _show, Right.SEE),
        Door("/garments/{style}/drawing.pdf", _drawing, Right.SEE),
    ]


def _list(visit: Visit) -> Response:
    charts = shop_charts()
    rows = [
        (each, _label(each), [(fit, sizes(each, fit=fit)) for fit in FITS], charts.found.get(each))
        for each in styles()
    ]
    broken = [str(refusal) for refusal in charts.broken.values()]
    return page(visit, "shelves/garments.html", rows=rows, broken=broken, folder=charts_folder())


def _label(style: str) -> str:
    shop = shop_charts().found.get(style)
    return shop.label if shop else builtin_styles()[style].label


def _show(visit: Visit) -> Response:
    style = str(visit.path["style"])
    if style not in styles():
        raise Refusal(t("garments.none", name=style))
    worn = wearing({**visit.query, "style": style})
    piece = worn.garment
    return page(
        visit, "shelves/garment.html", worn=worn, piece=piece, label=_label(style),
        fits=tuple(fit for fit in FITS if sizes(style, fit=fit)),
        faces=[(name, drawing_of(piece.face(name))) for name in _shown(piece.faces)],
        told=lambda length: f"{format_length(length, Unit.MM)} "
        f"({format_length(length, Unit.INCH)})",
    )  # fmt: skip


def _shown(faces: tuple[str, ...]) -> tuple[str, ...]:
    """Return the faces that differ: a right sleeve mirrors the left one."""
    return tuple(each for each in faces if not each.startswith("right_"))


def _drawing(visit: Visit) -> Response:
    style = str(visit.path["style"])
    if style not in styles():
        raise Refusal(t("garments.none", name=style))
    piece = wearing({**visit.query, "style": style}).garment
    headers = {"content-disposition": f'inline; filename="{piece.style}-{piece.size[:8]}.pdf"'}
    content = pdf_bytes(draw_garment(piece, Unit.MM), piece.label)
    return Response(content, media_type="application/pdf", headers=headers)


# -- charts --------------------------------------------------------------------------------


def _chart(visit: Visit) -> Response:
    return page(visit, "shelves/chart.html", styles=tuple(builtin_styles()), units=UNITS, fits=FITS)


def _asked(visit: Visit) -> ChartAsked:
    file = visit.form.get("chart")
    if not isinstance(file, UploadFile) or not file.filename:
        raise Refusal(t("garments.no_chart"))
    if not file.filename.lower().endswith(ENDINGS):
        raise Refusal(t("garments.other_kind", name=file.filename))
    style, unit = visit.text("style"), visit.text("unit")
    fit = next((each for each in FITS if each == visit.text("fit")), None)
    if style not in builtin_styles() or unit not in UNITS or fit is None:
        raise Refusal(t("garments.no_choice"))
    content = file.file.read()
    return ChartAsked(
        file.filename, content, style, visit.text("name", 40), unit, fit,
        visit.text("maker", 40), visit.text("number", 40),
    )  # fmt: skip


def _on_disk(asked: ChartAsked, work: Callable[[Path], T]) -> T:
    """Do work with a chart as a file; refusals call it what its user does."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / file_name(asked.file)
        path.write_bytes(asked.content)
        try:
            return work(path)
        except Refusal as refusal:
            raise Refusal(str(refusal).replace(str(path), asked.file)) from None


def _understood(visit: Visit) -> Response:
    asked, key = _asked(visit), secrets.token_urlsafe(12)
    answer = _understood_page(visit, asked, key)
    _CHARTS.of(key, lambda: asked)
    return answer


def _understood_page(visit: Visit, asked: ChartAsked, key: str, said: str = "") -> Response:
    """Return what was understood of a chart; `said` is why it was not kept."""
    found: ChartUnderstood = _on_disk(asked, lambda path: run_apart(understand, path, asked))
    return page(
        visit, "shelves/chart_understood.html", HTTPStatus.BAD_REQUEST if said else HTTPStatus.OK,
        found=found, asked=asked, key=key, said=said,
    )  # fmt: skip


def _keep(visit: Visit) -> Response:
    asked: ChartAsked | None = _CHARTS.get(str(visit.path["key"]))
    if asked is None:
        raise Refusal(t("garments.chart_gone"))
    again = bool(visit.text("replace"))
    try:
        style = _on_disk(asked, lambda path: run_apart(keep_chart, path, asked, again))
    except Refusal as refusal:
        return _understood_page(visit, asked, str(visit.path["key"]), str(refusal))
    return RedirectResponse(f"/garments/{style}", HTTPStatus.SEE_OTHER)
