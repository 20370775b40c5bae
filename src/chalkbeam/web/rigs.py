"""The shelf of rigs: presses that are set up, how sure each is, which one is taken by default."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus

from starlette.responses import RedirectResponse, Response

from calibration.files import read_whole, write_whole
from calibration.model.uncertainty import worst
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.file import Rig, load
from calibration.rig.verdict import verdict
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import page
from chalkbeam.web.worker import run_apart


@dataclass(frozen=True)
class Shelved:
    """A rig on the shelf.

    Attributes
    ----------
    name : str
    default : bool
        Whether all use it who name none.
    rig : Rig or None
        None if its file cannot be read.
    bound : float
        How far off light may land within what was asked of it, mm.
    problem : str
        Why it cannot be read.
    good_for : str
        What it is good for, in words.
    """

    name: str
    default: bool
    rig: Rig | None = None
    bound: float = 0.0
    problem: str = ""
    good_for: str = ""


def doors() -> list[Door]:
    """Return the doors of the shelf."""
    return [
        Door("/rigs", _shelf, Right.SEE),
        Door("/rigs/{name}/report.png", _report, Right.SEE),
        Door("/rigs/{name}/default", _default, Right.SET_UP, ("POST",)),
        Door("/rigs/{name}/name", _rename, Right.SET_UP, ("POST",)),
    ]


def _shelf(visit: Visit, said: str = "") -> Response:
    chosen = library.default()
    listed = [_shelved(name, name == chosen) for name in library.names()]
    status = HTTPStatus.BAD_REQUEST if said else HTTPStatus.OK
    return page(visit, "rigs.html", status, listed=listed, said=said)


def _shelved(name: str, default: bool) -> Shelved:
    try:
        rig = load(library.place(name))
    except Refusal as refusal:
        return Shelved(name, default, problem=str(refusal))
    fit = rig.fit
    found = worst(rig.projector, fit.matrix, fit.freedom, rig.face, rig.stated.heights)
    bound = max(each.bound for each in found)
    return Shelved(name, default, rig, bound, good_for=verdict(rig).sentence)


def _default(visit: Visit) -> Response:
    library.set_default(str(visit.path["name"]))
    return RedirectResponse("/rigs", HTTPStatus.SEE_OTHER)


def _rename(visit: Visit) -> Response:
    old, new = str(visit.path["name"]), visit.text("name", 60)
    try:
        library.rename(old, new)
    except Refusal as refusal:
        return _shelf(visit, str(refusal))
    visit.app.setup.renamed(old, new)
    return RedirectResponse("/rigs", HTTPStatus.SEE_OTHER)


def _report(visit: Visit) -> Response:
    return report_of(library.open_rig(str(visit.path["name"])))


def report_of(rig: Rig) -> Response:
    """Return the picture of how sure a rig is; drawn where none is kept."""
    place = library.report_place(rig)
    if not place.is_file():
        write_whole(place, run_apart(drawn_report, rig))
    return Response(read_whole(place), media_type="image/png")


def drawn_report(rig: Rig) -> bytes:
    """Return the report of a rig whose photos are no longer at hand, PNG."""
    from calibration.rig.by_hand import solve_again
    from calibration.rig.report import coded, draw_report

    return coded(draw_report(rig, (), solve_again(rig)))
