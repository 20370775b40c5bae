"""The board of all presses on the page: who presses what, how far, what waits for what; live."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

import anyio
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response, StreamingResponse

from calibration.refusal import Refusal
from chalkbeam.record.resume import local_time
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import page, part_of_page
from chalkbeam.web.words import t, texts

EVERY = 0.2
"""Seconds between two looks: what is shown is behind by less than one."""
BREATH = 10.0
"""Seconds after which something is sent though nothing is new: so a lost browser is noticed."""
MOST = 6
"""Pieces named one by one."""
SHOWN = 20
"""Orders shown."""


def doors() -> list[Door]:
    """Return the doors of the board."""
    return [
        Door("/board", _page, Right.SEE),
        Door("/board/events", _events, Right.SEE),
        Door("/board/settle", _settle, Right.PRESS, ("POST",)),
    ]


def _page(visit: Visit) -> Response:
    return page(visit, "board.html", part=_drawn(visit))


def _drawn(visit: Visit) -> Markup:
    """Return the board as it is now, as a part of the page."""
    found = visit.app.board.look()
    if isinstance(found, Refusal):
        return part_of_page(visit, "board_part.html", why=str(found), board=None)
    return part_of_page(
        visit, "board_part.html", why="", board=found, some=_some, when=local_time, step=_step,
        shown=SHOWN,
    )  # fmt: skip


def _step(name: str) -> str:
    """Return what a press was at last, in words."""
    key = f"board.step.{name.replace(' ', '_')}"
    return t(key) if key in texts() else name


def _some(pieces: tuple[str, ...]) -> str:
    more = len(pieces) - MOST
    named = ", ".join(pieces[:MOST])
    return t("board.and_more", pieces=named, count=more) if more > 0 else named


async def _events(visit: Visit) -> Response:
    """Answer with the board each time that something on it is new."""
    return StreamingResponse(
        _told(visit), media_type="text/event-stream", headers={"x-accel-buffering": "no"}
    )


async def _told(visit: Visit) -> AsyncIterator[str]:
    digest = visit.device.digest if visit.device else ""
    last, quiet = "", 0.0
    while visit.app.devices.knows(digest) and not visit.app.press.closed:
        drawn = await anyio.to_thread.run_sync(_drawn, visit)
        quiet += EVERY
        if drawn != last or quiet > BREATH:
            last, quiet = drawn, 0.0
            yield f"data: {json.dumps(drawn)}\n\n"
        await asyncio.sleep(EVERY)


def _settle(visit: Visit) -> Response:
    number = visit.text("number")
    if not number.isdecimal():
        raise Refusal(t("board.no_number"))
    visit.app.board.settle(int(number), visit.text("how") == "counts")
    return RedirectResponse("/board", 303)
