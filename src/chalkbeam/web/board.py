"""The board of all presses on the page: who presses what, how far, what waits for what; live."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path

import anyio
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response, StreamingResponse

from calibration.refusal import Refusal
from chalkbeam.presses.settings import own_name
from chalkbeam.record.resume import local_time
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import page, part_of_page
from chalkbeam.web.press.link import FromOther
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
        Door("/board/{run}/press", _press, Right.PRESS, ("POST",)),
        Door("/board/{run}/over", _ask_over, Right.PRESS),
        Door("/board/{run}/over", _take_over, Right.PRESS, ("POST",)),
    ]


def _page(visit: Visit) -> Response:
    return page(visit, "board.html", part=_drawn(visit))


def _drawn(visit: Visit) -> Markup:
    """Return the board as it is now, as a part of the page."""
    found = visit.app.queue.look()
    if isinstance(found, Refusal):
        return part_of_page(visit, "board_part.html", why=str(found), board=None)
    return part_of_page(
        visit, "board_part.html", why="", board=found, some=_some, when=local_time, step=_step,
        shown=SHOWN, own=own_name(), can_start=visit.app.press.can_start,
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
    visit.app.queue.settle(int(number), visit.text("how") == "counts")
    return RedirectResponse("/board", 303)


def _press(visit: Visit) -> Response:
    """Begin an order of the queue at this press, wherever its sheet is."""
    return _begun(visit)


def _ask_over(visit: Visit) -> Response:
    """Ask whether what another press has not told the end of was pressed."""
    run, other = str(visit.path["run"]), visit.query.get("press", "")
    doubts = visit.app.queue.in_doubt(run, other)
    return page(visit, "take_over.html", run=run, other=other, doubts=doubts, step=_step)


def _take_over(visit: Visit) -> Response:
    """Begin an order with what another press has in hand of it, as a person has seen it."""
    other = visit.text("press")
    doubts = visit.app.queue.in_doubt(str(visit.path["run"]), other)
    said = {imprint: visit.text(f"i-{imprint}") for doubt in doubts for imprint in doubt.imprints}
    if not said or not set(said.values()) <= {"yes", "no"}:
        raise Refusal(t("board.over_unsaid"))
    pressed = tuple(imprint for imprint, word in said.items() if word == "yes")
    return _begun(visit, FromOther(other, pressed))


def _begun(visit: Visit, over: FromOther | None = None) -> Response:
    visit.app.press.start(Path(str(visit.path["run"])), over=over)
    return RedirectResponse("/press", 303)
