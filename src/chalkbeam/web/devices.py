"""The devices that were let in, and the code that lets another in."""

from __future__ import annotations

from http import HTTPStatus

from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import drawn_code, page
from chalkbeam.web.pairing import Devices
from chalkbeam.web.setup.code_on_platen import offered


def doors() -> list[Door]:
    """Return the doors of the devices."""
    return [
        Door("/devices", _devices, Right.SEE),
        Door("/devices/code", _offer, Right.SET_UP, ("POST",)),
        Door("/devices/{id}/forget", _forget, Right.SET_UP, ("POST",)),
    ]


def _devices(visit: Visit, code: str = "", right: Right = Right.SEE, said: str = "") -> Response:
    devices: Devices = visit.app.devices
    address: str = visit.app.settings.address
    drawn = Markup("")
    if code:
        drawn = drawn_code(f"{address}pair#code={code}")
    return page(
        visit, "devices.html", devices=devices.listed(), code=code, drawn=drawn, right=right,
        address=address, shared=visit.app.settings.shared, said=said,
        platen=visit.app.code_on_platen, simulated=visit.app.setup.light.simulated,
        look=visit.app.setup.look,
    )  # fmt: skip


def _offer(visit: Visit) -> Response:
    try:
        right = Right(visit.text("right"))
    except ValueError:
        right = Right.SEE
    code, said = offered(visit, right)
    return _devices(visit, code, right, said)


def _forget(visit: Visit) -> Response:
    devices: Devices = visit.app.devices
    devices.forget(str(visit.path["id"]))
    return RedirectResponse("/devices", HTTPStatus.SEE_OTHER)
