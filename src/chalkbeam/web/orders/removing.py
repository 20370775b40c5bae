"""Orders and artwork that are removed: put aside, and put back where that was a mistake."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

from starlette.responses import RedirectResponse, Response

from calibration.refusal import Refusal
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.orders.folders import RESERVED, OrderFolder, order_named
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.words import t

ASIDE = ".removed"
"""Folder beside what was removed."""

MOST = 50
"""So many are kept of each; of more the oldest go."""

_NAMED = re.compile(r"(\d{8}T\d{12})-(.+)")


def doors() -> list[Door]:
    """Return the doors by which things go and come back."""
    change = Right.SET_UP, ("POST",)
    return [
        Door("/orders/{name}/remove", _remove, *change),
        Door("/orders/removed/{aside}/back", _put_back, *change),
        Door("/orders/{name}/artwork/remove", _remove_artwork, *change),
        Door("/orders/{name}/artwork/{aside}/back", _put_back_artwork, *change),
    ]


def put_aside(path: Path) -> Path:
    """Move a file or folder aside; return where it is.

    Raises
    ------
    Refusal
        If it cannot be moved.
    """
    folder = path.parent / ASIDE
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    place = folder / f"{stamp}-{path.name}"
    try:
        folder.mkdir(exist_ok=True)
        path.rename(place)
    except OSError as error:
        raise Refusal(t("orders.not_removed", name=path.name, why=error.strerror or "")) from None
    for old in removed(path.parent)[MOST:]:
        gone = folder / old[0]
        shutil.rmtree(gone, ignore_errors=True) if gone.is_dir() else gone.unlink(missing_ok=True)
    return place


def removed(folder: Path) -> list[tuple[str, str]]:
    """Return what was removed from a folder, the latest first: its name aside, and its own."""
    aside = folder / ASIDE
    found = [_NAMED.fullmatch(each.name) for each in aside.iterdir()] if aside.is_dir() else []
    return sorted(((each[0], each[2]) for each in found if each is not None), reverse=True)


def put_back(folder: Path, aside: str) -> Path:
    """Move what was removed back; what has its name by now stays, and it gets another.

    Raises
    ------
    Refusal
        If it is not there any more.
    """
    own = dict(removed(folder)).get(aside)
    if own is None:
        raise Refusal(t("orders.not_there"))
    stem, dot, ending = own.partition(".")
    place, number = folder / own, 1
    while place.exists() or place.name in RESERVED:
        number += 1
        place = folder / f"{stem}-{number}{dot}{ending}"
    (folder / ASIDE / aside).rename(place)
    return place


def _remove(visit: Visit) -> Response:
    folder = order_named(visit.shop.orders, str(visit.path["name"]))
    link: PressLink = visit.app.press
    if link.running and link.sheet == folder.sheet:
        raise Refusal(t("orders.at_press"))
    aside = put_aside(folder.path)
    return RedirectResponse(f"/orders?removed={aside.name}", 303)


def _put_back(visit: Visit) -> Response:
    place = put_back(visit.shop.orders, str(visit.path["aside"]))
    return RedirectResponse(f"/orders/{place.name}", 303)


def _remove_artwork(visit: Visit) -> Response:
    folder = order_named(visit.shop.orders, str(visit.path["name"]))
    wanted = visit.text("file")
    if wanted not in folder.artwork:
        raise Refusal(t("orders.not_there"))
    aside = put_aside(folder.path / wanted)
    return RedirectResponse(f"/orders/{folder.name}?removed={aside.name}#artwork", 303)


def _put_back_artwork(visit: Visit) -> Response:
    folder: OrderFolder = order_named(visit.shop.orders, str(visit.path["name"]))
    put_back(folder.path, str(visit.path["aside"]))
    return RedirectResponse(f"/orders/{folder.name}#artwork", 303)
