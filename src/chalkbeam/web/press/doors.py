"""The doors of the page at the press: the page, its events, its taps."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import suppress
from http import HTTPStatus

from starlette.responses import JSONResponse, Response, StreamingResponse

from chalkbeam.station.taps import Taken, Tap
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import failed, json_of, page
from chalkbeam.web.press.buttons import caps, keys_of
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.words import t

BREATH = 10.0
"""Seconds after which something is sent though nothing is new: so a lost browser is noticed."""


def doors() -> list[Door]:
    """Return the doors of the page at the press."""
    return [
        Door("/press", _page, Right.SEE),
        Door("/press/state", _state, Right.SEE),
        Door("/press/events", _events, Right.SEE),
        Door("/press/art/{name}", _art, Right.SEE),
        Door("/press/tap", _tap, Right.PRESS, ("POST",)),
    ]


def _link(visit: Visit) -> PressLink:
    link: PressLink = visit.app.press
    return link


def _page(visit: Visit) -> Response:
    return page(visit, "press.html", caps=json_of(caps()))


async def _state(visit: Visit) -> Response:
    return JSONResponse(_link(visit).state())


async def _events(visit: Visit) -> Response:
    """Answer with everything that is to be seen, each time that there is something new."""
    return StreamingResponse(
        _told(_link(visit), visit), media_type="text/event-stream",
        headers={"x-accel-buffering": "no"},
    )  # fmt: skip


async def _told(link: PressLink, visit: Visit) -> AsyncIterator[str]:
    event = link.watch()
    digest = visit.device.digest if visit.device else ""
    try:
        while visit.app.devices.knows(digest) and not link.closed:
            event.clear()
            yield f"data: {json.dumps(link.state())}\n\n"
            with suppress(TimeoutError):
                await asyncio.wait_for(event.wait(), BREATH)
    finally:
        link.unwatch(event)


async def _art(visit: Visit) -> Response:
    content = _link(visit).picture(str(visit.path["name"]))
    if content is None:
        return failed(visit, HTTPStatus.NOT_FOUND)
    kept = {"cache-control": "private, max-age=86400, immutable"}
    return Response(content, media_type="image/png", headers=kept)


async def _tap(visit: Visit) -> Response:
    sent, link = visit.sent, _link(visit)
    keys = keys_of(sent)
    named, seen = sent.get("id"), sent.get("seen")
    known = isinstance(named, str) and 8 <= len(named) <= 64 and isinstance(seen, str)
    if keys is None or not known:
        return failed(visit, HTTPStatus.BAD_REQUEST)
    answer = await link.tap(Tap(str(named), str(seen), keys))
    if answer is None:
        return JSONResponse({"said": t("press.no_light")}, HTTPStatus.SERVICE_UNAVAILABLE)
    told = {"number": answer.number}
    if answer.taken is Taken.STALE:
        return JSONResponse(told | {"said": t("press.stale")}, HTTPStatus.CONFLICT)
    return JSONResponse(told)
