"""An order seen: every imprint on its garment, as worn, at true size, and its proofs."""

from __future__ import annotations

from http import HTTPStatus

from starlette.responses import Response

from calibration.refusal import Refusal
from calibration.rig import library
from chalkbeam.basics.toml_files import folder_state
from chalkbeam.garments import charts_folder
from chalkbeam.locations import presets_folder
from chalkbeam.paper.worn import View
from chalkbeam.presses.places import settings_file
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.kept import Kept
from chalkbeam.web.orders.checking import faults_of, pick_lists
from chalkbeam.web.orders.folders import OrderFolder, order_named
from chalkbeam.web.orders.looks import ArtLook, Overview, look_over, proof_of, worn_pictures
from chalkbeam.web.pages import failed, page
from chalkbeam.web.words import t
from chalkbeam.web.worker import run_apart

SECONDS = 600.0
"""An order of many artworks takes long to be placed the first time, on a slow computer."""

_OVERVIEWS = Kept(12)
_PICTURES = Kept(48)

PAPERS = ("a4", "letter")

SEEN_FROM: tuple[View, ...] = ("straight", "three_quarter")


def doors() -> list[Door]:
    """Return the doors of what an order looks like."""
    return [
        Door("/orders/{name}/pictures", _shell, Right.SEE),
        Door("/orders/{name}/placed", _placed, Right.SEE),
        Door("/orders/{name}/looks", _looks, Right.SEE),
        Door("/orders/{name}/look/{key}", _look_page, Right.SEE),
        Door("/orders/{name}/ink/{art}.png", _ink, Right.SEE),
        Door("/orders/{name}/worn/{key}/{view}.png", _worn, Right.SEE),
        Door("/orders/{name}/proofs.pdf", _proofs, Right.SEE),
        Door("/orders/{name}/proof/{key}.pdf", _proof, Right.SEE),
    ]


def _state(folder: OrderFolder) -> tuple[object, ...]:
    """Return what an overview depends on."""
    shops = folder_state(charts_folder()), folder_state(presets_folder())
    asked = (*sorted(library.folder().glob("*")), settings_file())
    press = tuple((str(each), each.stat().st_mtime_ns) for each in asked if each.is_file())
    return str(folder.path), folder.state(), shops, press


def overview_kept(folder: OrderFolder) -> Overview | None:
    """Return the order looked over, if that was done since it changed."""
    found: Overview | None = _OVERVIEWS.get(_state(folder))
    return found


def _overview(folder: OrderFolder) -> Overview:
    return _OVERVIEWS.of(
        _state(folder), lambda: run_apart(look_over, folder.sheet, seconds=SECONDS)
    )


def _folder(visit: Visit) -> OrderFolder:
    return order_named(visit.shop.orders, str(visit.path["name"]))


def _shell(visit: Visit) -> Response:
    """Answer at once; what takes long is asked for by the page, or by its link."""
    folder = _folder(visit)
    return page(visit, "orders/pictures.html", folder=folder, about=folder.about)


def _looks(visit: Visit) -> Response:
    """Answer with the pictures: a part of a page for its script, or a page of its own."""
    folder = _folder(visit)
    part = visit.query.get("part", "")
    template = "orders/looks_part.html" if part else "orders/looks.html"
    return page(
        visit, template, folder=folder, about=folder.about, overview=_overview(folder),
        papers=PAPERS,
    )  # fmt: skip


def _placed(visit: Visit) -> Response:
    """Answer with what placing the order found, to be put into its table."""
    folder = _folder(visit)
    overview = _overview(folder)
    taken = folder.taken()
    faults = faults_of(overview.problems, folder, taken, pick_lists(folder))
    part = visit.query.get("part", "")
    template = "orders/placed_part.html" if part else "orders/placed.html"
    return page(
        visit,
        template,
        folder=folder,
        about=folder.about,
        overview=overview,
        faults=faults,
        numbers=taken.numbers,
    )


def _one(folder: OrderFolder, key: str) -> ArtLook:
    for look in _overview(folder).looks:
        if look.key == key:
            return look
    raise Refusal(t("orders.no_look"))


def _look_page(visit: Visit) -> Response:
    folder = _folder(visit)
    look = _one(folder, str(visit.path["key"]))
    return page(
        visit, "orders/look.html", folder=folder, about=folder.about, look=look, views=SEEN_FROM,
        papers=PAPERS,
    )  # fmt: skip


def _ink(visit: Visit) -> Response:
    content = (_overview(_folder(visit)).inks or {}).get(str(visit.path["art"]))
    if content is None:
        return failed(visit, HTTPStatus.NOT_FOUND)
    return _picture(content)


def _picture(content: bytes) -> Response:
    return Response(content, media_type="image/png")


def _worn(visit: Visit) -> Response:
    folder, key, view = _folder(visit), str(visit.path["key"]), str(visit.path["view"])
    if view not in SEEN_FROM:
        return failed(visit, HTTPStatus.NOT_FOUND)
    _one(folder, key)
    made = _PICTURES.of(
        (*_state(folder), key), lambda: run_apart(worn_pictures, folder.sheet, key, SEEN_FROM)
    )
    return _picture(made[view])


def _proof(visit: Visit) -> Response:
    folder, key = _folder(visit), str(visit.path["key"])
    _one(folder, key)
    return _pdf(visit, folder, (key,), f"{folder.name}-{key[:4]}")


def _proofs(visit: Visit) -> Response:
    folder = _folder(visit)
    keys = tuple(look.key for look in _overview(folder).looks)
    if not keys:
        raise Refusal(t("orders.nothing_placed"))
    return _pdf(visit, folder, keys, f"{folder.name}-proofs")


def _pdf(visit: Visit, folder: OrderFolder, keys: tuple[str, ...], name: str) -> Response:
    paper = visit.query.get("paper", "")
    paper = paper if paper in PAPERS else PAPERS[0]
    about = folder.about
    made = _PICTURES.of(
        (*_state(folder), keys, paper, about.customer, about.title, about.made),
        lambda: run_apart(
            proof_of, folder.sheet, keys, about.customer, about.title, about.made, paper,
            seconds=SECONDS,
        ),
    )  # fmt: skip
    heading = {"content-disposition": f'inline; filename="{name}.pdf"'}
    return Response(made, media_type="application/pdf", headers=heading)
