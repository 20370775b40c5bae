"""The eye's page: a camera fixed at the press is shown the light, and says where it stands."""

from __future__ import annotations

from http import HTTPStatus
from urllib.parse import quote

from starlette.responses import Response

from calibration.refusal import Refusal
from calibration.rig import library
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import failed, page
from chalkbeam.web.setup.eye import EYE, EyeDesk
from chalkbeam.web.setup.photos import camera_of
from chalkbeam.web.setup.shown import desk_of, post, to
from chalkbeam.web.words import t

GOOD = 2.0
"""A point must be measured within this for a shift to go by the eye, mm: how far off a transfer
may lie and be right, if nothing else is said."""


def doors() -> list[Door]:
    """Return the doors of the eye."""
    return [
        Door("/setup/eye", _page, Right.SET_UP),
        Door("/setup/eye.png", _report, Right.SET_UP),
        post("/setup/eye", _begin),
        post("/setup/eye/stop", _stop),
    ]


def _eye(visit: Visit) -> EyeDesk:
    eye: EyeDesk = visit.app.eye
    return eye


def _page(visit: Visit, said: str = "") -> Response:
    eye, desk = _eye(visit), desk_of(visit)
    name = visit.query.get("rig") or visit.text("rig") or library.default() or ""
    rig = library.open_rig(name) if name else None
    fitted = eye.fitted if eye.fitted is not None and eye.fitted.rig.name == name else None
    return page(
        visit, "setup/eye.html", HTTPStatus.BAD_REQUEST if said else HTTPStatus.OK, rig=rig,
        looking=eye.looking, refused=said or eye.refused, fitted=fitted, good=GOOD,
        simulated=desk.light.simulated, look=desk.look, lit=desk.lit == EYE,
    )  # fmt: skip


def _begin(visit: Visit) -> Response:
    if desk_of(visit).working is not None:
        raise Refusal(t("setup.eye.busy"))
    rig = library.open_rig(visit.text("rig") or None)
    try:
        view = _view(visit.text("view", 12))
        raised = _raised(visit.text("raised", 20))
    except Refusal as refusal:
        return _page(visit, str(refusal))
    _eye(visit).begin(rig, camera_of(visit), view, raised)
    return to(f"eye?rig={quote(rig.name)}")


def _view(text: str) -> float | None:
    """Return the view across the picture as typed, degrees; None where nothing is typed."""
    try:
        value = float(text.replace(",", ".").rstrip("° ")) if text else None
    except ValueError:
        value = 0.0
    if value is not None and not 10 <= value <= 150:
        raise Refusal(t("setup.eye.no_view"))
    return value


def _raised(text: str) -> float:
    value = parse_length(text, Unit.MM) if text else 0.0
    if not 0 <= value <= 100:
        raise Refusal(t("setup.eye.no_board"))
    return value


def _stop(visit: Visit) -> Response:
    _eye(visit).stop()
    return to(f"eye?rig={quote(visit.text('rig'))}")


def _report(visit: Visit) -> Response:
    report = _eye(visit).report
    if report is None:
        return failed(visit, HTTPStatus.NOT_FOUND)
    return Response(report, media_type="image/png")
