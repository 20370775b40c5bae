"""Fabrics on the page: colours of cloth, how well light shows on them, and new ones."""

from __future__ import annotations

import re
from http import HTTPStatus

from starlette.responses import RedirectResponse, Response

from calibration.refusal import Refusal
from chalkbeam.garments.fabrics import Fabric, fabrics, find_fabric, save_fabric
from chalkbeam.paper.light_on_cloth import LADDER, draw_ladder
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.kept import Kept
from chalkbeam.web.pages import page
from chalkbeam.web.words import t
from overlay.colour.visibility import (
    CLOTH_DIFFERENCE,
    CLOTH_LIGHTNESS,
    Lighting,
    palette_for,
    role_visibilities,
)
from overlay.marks import Role

FAINT = 0.5
"""A line that reaches less than this share of what is plain to see is faint."""

_SEEN = Kept(200)
_LADDERS = Kept(16)


def doors() -> list[Door]:
    """Return the doors of fabrics."""
    return [
        Door("/fabrics", _list, Right.SEE),
        Door("/fabrics", _add, Right.SET_UP, ("POST",)),
        Door("/fabrics/ladder.png", _ladder, Right.SEE),
    ]


def _list(visit: Visit) -> Response:
    light = Lighting()
    rows = [(each, _faint(each, light)) for each in fabrics().values()]
    return page(visit, "shelves/fabrics.html", rows=rows, light=light)


def _faint(cloth: Fabric, light: Lighting) -> bool:
    def work() -> bool:
        seen = role_visibilities(palette_for(cloth.colour, light), cloth.colour, light)
        worst = min(
            min(each.difference / CLOTH_DIFFERENCE, each.lightness / CLOTH_LIGHTNESS)
            for role, each in seen.items()
            if role is not Role.CHECK
        )
        return worst < FAINT

    return _SEEN.of((cloth.colour, light), work)


def _add(visit: Visit) -> Response:
    name, colour = visit.text("name", 40), visit.text("colour", 7).lower()
    if not name or not re.fullmatch(r"#[0-9a-f]{6}", colour):
        raise Refusal(t("fabrics.odd"))
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    save_fabric(Fabric(name, (red, green, blue)))
    return RedirectResponse("/fabrics", HTTPStatus.SEE_OTHER)


def _ladder(visit: Visit) -> Response:
    name = visit.query.get("cloth", "")
    cloths = [find_fabric(name)] if name else [find_fabric(each) for each in LADDER]
    key = tuple(each.colour for each in cloths), name
    return Response(_LADDERS.of(key, lambda: draw_ladder(cloths)), media_type="image/png")
