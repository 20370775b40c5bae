"""The doors of the guided set-up: a page a step, each checked before the next is opened."""

from __future__ import annotations

import shutil
from http import HTTPStatus

from starlette.responses import Response

from calibration.rig import library
from calibration.targets import card_pdf
from calibration.targets.cards import layout
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import failed, page
from chalkbeam.web.rigs import report_of
from chalkbeam.web.setup import crosses, eye_page, photos, steps
from chalkbeam.web.setup.guide import Guide, SetupStep
from chalkbeam.web.setup.shown import darken, desk_of, light_step, page_of, post, to


def doors() -> list[Door]:
    """Return the doors of the set-up."""
    return [
        Door("/setup", _start, Right.SET_UP),
        post("/setup/begin", _begin),
        post("/setup/light", _light),
        Door("/setup/cards.pdf", _cards_pdf, Right.SET_UP),
        Door("/setup/report.png", _report, Right.SET_UP),
        Door("/setup/look.jpg", _look, Right.SET_UP),
        *photos.doors(),
        *eye_page.doors(),
        *steps.doors(),
        Door("/setup/{step}", _step, Right.SET_UP),
    ]


def _start(visit: Visit) -> Response:
    desk = desk_of(visit)
    return page(visit, "setup/start.html", guide=desk.guide(), begun=desk.file.begun)


def _begin(visit: Visit) -> Response:
    """Begin anew: what came in before goes."""
    desk = desk_of(visit)
    desk.stop()
    darken(desk)
    shutil.rmtree(desk.file.photos, ignore_errors=True)
    # Numbers of photos go on: a look that is still under way finds nothing to write to.
    desk.file.change(lambda before: Guide(taken=before.taken))
    return to(SetupStep.PLATEN)


def _step(visit: Visit) -> Response:
    """Answer with a step's page, or with that of the step that comes first."""
    desk = desk_of(visit)
    guide = desk.guide()
    try:
        step = SetupStep(str(visit.path["step"]))
    except ValueError:
        return failed(visit, HTTPStatus.NOT_FOUND)
    solving = desk.working is not None
    if solving and step in (SetupStep.PHOTOS, SetupStep.VERDICT):
        return to(SetupStep.SOLVE)
    if not guide.reached(step) or (step is SetupStep.SOLVE and not solving):
        return to(guide.step if guide.step is not SetupStep.SOLVE or solving else SetupStep.PHOTOS)
    return page_of(visit, desk, guide, step)


def _light(visit: Visit) -> Response:
    """Light what a step wants lit, or end the light."""
    desk = desk_of(visit)
    guide = desk.guide()
    try:
        step = SetupStep(visit.text("step"))
    except ValueError:
        return failed(visit, HTTPStatus.BAD_REQUEST)
    if visit.text("on"):
        light_step(desk, guide, step)
    else:
        darken(desk)
    return to(step)


def _cards_pdf(visit: Visit) -> Response:
    guide = desk_of(visit).guide()
    if not guide.reached(SetupStep.CARDS):
        return failed(visit, HTTPStatus.NOT_FOUND)
    paper = visit.query.get("paper", "")
    drawn = card_pdf.pdf(
        layout(guide.face), guide.face, paper if paper in card_pdf.PAPERS else "letter"
    )
    shown = {"content-disposition": 'inline; filename="cards.pdf"'}
    return Response(drawn, media_type="application/pdf", headers=shown)


def _report(visit: Visit) -> Response:
    guide = desk_of(visit).guide()
    if not guide.reached(SetupStep.VERDICT):
        return failed(visit, HTTPStatus.NOT_FOUND)
    return report_of(library.open_rig(guide.rig))


def _look(visit: Visit) -> Response:
    """Answer with a look at the simulated press."""
    desk = desk_of(visit)
    guide = desk.guide()
    if guide.platen_mm is None or not desk.light.simulated:
        return failed(visit, HTTPStatus.NOT_FOUND)
    seen = desk.light.look(
        guide.face, laid=desk.lit == SetupStep.PHOTOS.value,
        mark=crosses.mark_of(desk, guide), close=not visit.query.get("far"),
    )  # fmt: skip
    kept = {"cache-control": "private, max-age=3600, immutable"}
    return Response(seen, media_type="image/jpeg", headers=kept)
