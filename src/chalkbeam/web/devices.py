"""The devices that were let in, and the code that lets another in."""

from __future__ import annotations

from http import HTTPStatus

import anyio
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import drawn_code, page
from chalkbeam.web.pairing import Devices
from chalkbeam.web.settings import HERE
from chalkbeam.web.setup.code_on_platen import offered
from chalkbeam.web.sharing import share


def doors() -> list[Door]:
    """Return the doors of the devices."""
    return [
        Door("/devices", _devices, Right.SEE),
        Door("/devices/code", _offer, Right.SET_UP, ("POST",)),
        Door("/devices/share", _share, Right.SET_UP, ("POST",)),
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
        address=address, shared=visit.app.settings.shared, said=said, here=_is_here(visit),
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


async def _share(visit: Visit) -> Response:
    """Open the page to phones and tablets, and show a code for one; or close it."""
    shared = bool(visit.text("on"))
    await share(visit, shared)
    answer = _offer if shared else _devices
    return await anyio.to_thread.run_sync(answer, visit)


def _is_here(visit: Visit) -> bool:
    client = visit.request.client
    return client is not None and client.host == HERE


def _forget(visit: Visit) -> Response:
    devices: Devices = visit.app.devices
    devices.forget(str(visit.path["id"]))
    return RedirectResponse("/devices", HTTPStatus.SEE_OTHER)
