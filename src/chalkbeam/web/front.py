"""The first page, pairing, and the files that every page needs."""

from __future__ import annotations

import mimetypes
from http import HTTPStatus
from importlib import resources

from starlette.responses import RedirectResponse, Response

from calibration.rig import library
from chalkbeam.presses.places import settings_file
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import failed, page, static_address
from chalkbeam.web.pairing import Codes, Devices, TooManyTriesError, named
from chalkbeam.web.parts import PARTS
from chalkbeam.web.security import COOKIE
from chalkbeam.web.words import t

YEAR = 365 * 24 * 3600


def doors() -> list[Door]:
    """Return what every shop's page has."""
    return [
        Door("/", _home, Right.SEE),
        Door("/static/{name}", _static, None),
        Door("/pair", _pair_page, None),
        Door("/pair", _pair, None, ("POST",)),
    ]


def missing() -> Door:
    """Return the door behind every address that has none."""
    methods = ("GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT")
    return Door("/{path:path}", _missing, Right.SEE, methods)


def _missing(visit: Visit) -> Response:
    return failed(visit, HTTPStatus.NOT_FOUND)


def _home(visit: Visit) -> Response:
    # With no press set up, that comes first.
    begin = "" if library.default() is not None else "setup"
    parts = [each for each in PARTS if visit.may(each.right)]
    if not settings_file().is_file():  # one press: no other to look at
        parts = [each for each in parts if each.name != "board"]
    parts.sort(key=lambda each: each.name != begin)
    return page(visit, "home.html", parts=parts, begin=begin)


def _static(visit: Visit) -> Response:
    folder = resources.files(__package__) / "static"
    name = str(visit.path["name"])
    if name not in {each.name for each in folder.iterdir() if each.is_file()}:
        return failed(visit, HTTPStatus.NOT_FOUND)
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    asked = str(visit.request.url.query)
    lasting = static_address(name).endswith(f"?{asked}")  # else it is looked at again each time
    kept = {"cache-control": f"public, max-age={YEAR}, immutable" if lasting else "no-cache"}
    return Response((folder / name).read_bytes(), media_type=kind, headers=kept)


def _pair_page(visit: Visit) -> Response:
    return page(visit, "pair.html")


def _pair(visit: Visit) -> Response:
    codes: Codes = visit.app.codes
    devices: Devices = visit.app.devices
    code = "".join(visit.text("code").split())
    client = visit.request.client
    try:
        taken = codes.take(code, client.host if client else "")
    except TooManyTriesError:
        return failed(visit, HTTPStatus.TOO_MANY_REQUESTS)
    if taken is None:
        return page(visit, "pair.html", HTTPStatus.FORBIDDEN, said=t("pair.wrong"))
    right, name = taken
    if not name:  # it was a code's, not this machine's own key
        visit.app.end_code()
    if visit.may(right):  # this browser is in already: it is not listed twice
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    secret = devices.add(name or named(visit.text("name") or t("pair.unnamed")), right)
    inside = RedirectResponse("/", HTTPStatus.SEE_OTHER)
    inside.set_cookie(COOKIE, secret, max_age=YEAR, httponly=True, samesite="strict")
    return inside
