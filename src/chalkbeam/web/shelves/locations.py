"""Locations on the page: looked at, and made by dragging artwork on a garment."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from http import HTTPStatus
from pathlib import Path
from urllib.parse import urlencode

from starlette.responses import RedirectResponse, Response

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork
from chalkbeam.basics.toml_files import read_text
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Age, Face, Garment, garment
from chalkbeam.garments.fabrics import fabrics
from chalkbeam.locations import Location, locations, presets_folder
from chalkbeam.locations import location as find_location
from chalkbeam.locations.distances import place_of, with_distance
from chalkbeam.locations.dragged import DraggedPlace, dragged_text
from chalkbeam.locations.library import DATA, read_location
from chalkbeam.locations.schema import Band
from chalkbeam.placement import Placement, place
from chalkbeam.placement.location_words import asked_of, conditions, kind_words, usual_words
from chalkbeam.placement.words import line_words
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.face_drawing import FaceDrawing, drawing_of
from chalkbeam.web.kept import Kept
from chalkbeam.web.orders.folders import orders_in, slug
from chalkbeam.web.orders.looks import ink_of
from chalkbeam.web.pages import page
from chalkbeam.web.shelves.wearing import Wearing, block, three_sizes, wearing
from chalkbeam.web.words import t
from chalkbeam.web.worker import run_apart

WIDE, HIGH = 90.0, 90.0
"""Of a block that is dragged where no artwork is chosen, mm."""

ARTWORKS = 60
"""Artworks of the newest orders that are offered for dragging."""

_INKS = Kept(12)


def doors() -> list[Door]:
    """Return the doors of locations."""
    return [
        Door("/locations", _list, Right.SEE),
        Door("/locations/new", _drag, Right.SET_UP),
        Door("/locations", _save, Right.SET_UP, ("POST",)),
        Door("/locations/ink.png", _ink, Right.SET_UP),
        Door("/locations/{name}", _show, Right.SEE),
        Door("/locations/{name}/own", _own, Right.SET_UP, ("POST",)),
        Door("/locations/{name}", _change, Right.SET_UP, ("POST",)),
    ]


def _list(visit: Visit) -> Response:
    faces: dict[str, list[Location]] = {}
    for each in locations().values():
        faces.setdefault(each.face, []).append(each)
    return page(
        visit, "shelves/locations.html", usual=lambda each: usual_words(each, Unit.MM),
        faces={face: sorted(found, key=lambda each: each.title) for face, found in faces.items()},
    )  # fmt: skip


@dataclass(frozen=True)
class Tried:
    """A location tried on a garment, with a block for the artwork.

    Attributes
    ----------
    label : str
        The garment's.
    drawing : FaceDrawing
    x, y, turn, width, height : float
        The block's middle and size, mm; degrees as SVG counts.
    refused : str
        Why it cannot be placed there; empty if it is.
    """

    label: str
    drawing: FaceDrawing
    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0
    width: float = 0.0
    height: float = 0.0
    refused: str = ""


def _tried(worn: Garment, found: Location) -> Tried:
    drawing = drawing_of(worn.face(found.face))
    try:
        placed = place(worn, found, _usual_block(found, worn.age))
    except Refusal as refusal:
        return Tried(worn.label, drawing, refused=str(refusal))
    return _laid(placed, drawing)


def _laid(placed: Placement, drawing: FaceDrawing) -> Tried:
    pose, ink = placed.garment_from_art, placed.artwork.ink
    turn = math.degrees(pose.angle)
    label = placed.garment.label
    return Tried(label, drawing, pose.x, pose.y, turn, ink.width, ink.height)


def _usual_block(found: Location, age: Age) -> Artwork:
    width, height = found.preset.width.get(age), found.preset.height.get(age)
    wide = width.usual if width else 2 * height.usual if height else WIDE
    return block(wide, height.usual if height else 0.8 * wide, found.title)


@dataclass(frozen=True)
class AskedRule:
    """A rule as it is shown.

    Attributes
    ----------
    number : int
        Its place among the location's rules.
    says, asks, kind : str
    band : Band or None
        Its distance, where it can be changed here.
    """

    number: int
    says: str
    asks: str
    kind: str
    band: Band | None


def _show(visit: Visit) -> Response:
    found = find_location(str(visit.path["name"]))
    worn = wearing(visit.query, found.face)
    fit, style = worn.garment.fit, worn.garment.style
    run = three_sizes(style, fit, worn.garment.size)
    age = worn.garment.age
    text = "" if found.origin is None else read_text(found.origin)
    rules = [
        AskedRule(
            number, rule.says + conditions(rule), asked_of(rule, rule.by[age], Unit.MM),
            kind_words(rule), rule.by[age] if place_of(text, number, age) else None,
        )
        for number, rule in enumerate(found.rules)
        if age in rule.ages and fit in rule.fits
    ]  # fmt: skip
    return page(
        visit, "shelves/location.html", found=found, worn=worn, rules=rules,
        usual=usual_words(found, Unit.MM, age), age=age,
        tried=[_tried(garment(style, size, fit=fit), found) for size in run],
    )  # fmt: skip


def _own(visit: Visit) -> Response:
    """Copy a location of the program's into the shop's, to be changed there."""
    found = find_location(str(visit.path["name"]))
    source = DATA / f"{found.name}.toml"
    if found.origin is None:
        if not source.is_file():
            raise Refusal(t("locations.twin", title=found.title))
        write_whole(presets_folder() / source.name, read_text(source))
    return _shown(visit, found.name)


def _change(visit: Visit) -> Response:
    """Change the distances of a location of the shop's; nothing is kept that cannot be placed."""
    found = find_location(str(visit.path["name"]))
    if found.origin is None:
        raise Refusal(t("locations.not_own", title=found.title))
    worn = wearing({key: visit.text(key) for key in visit.form}, found.face)
    age, text = worn.garment.age, read_text(found.origin)
    for number, rule in enumerate(found.rules):
        names = [f"{part}-{number}" for part in ("low", "usual", "high")]
        if not any(name in visit.form for name in names) or not place_of(text, number, age):
            continue
        band, before = rule.by[age], {}
        for name, value in zip(names, (band.low, band.usual, band.high), strict=True):
            before[name] = _number({name: visit.text(name)}, name, value, -1500.0, 1500.0)
        low, usual, high = before.values()
        if not low <= usual <= high:
            raise Refusal(t("locations.no_order", says=rule.says))
        now = Band(low, usual, high)
        if any(abs(a - b) >= 0.05 for a, b in zip(
            (band.low, band.usual, band.high), (low, usual, high), strict=True
        )):  # fmt: skip
            text = with_distance(text, number, age, now)
    _try_out(found.origin.stem, text, worn)
    write_whole(found.origin, text)
    return _shown(visit, found.name)


def _shown(visit: Visit, name: str) -> Response:
    worn = {key: visit.text(key) for key in ("style", "size") if visit.text(key)}
    return RedirectResponse(f"/locations/{name}?{urlencode(worn)}#rules", HTTPStatus.SEE_OTHER)


# -- dragging ------------------------------------------------------------------------------


def _artworks(visit: Visit) -> dict[str, Path]:
    """Return artworks of the newest orders, by what they are called."""
    found: dict[str, Path] = {}
    for order in orders_in(visit.shop.orders):
        for name in order.artwork:
            found[f"{order.about.title}: {name}"] = order.path / name
        if len(found) >= ARTWORKS:
            break
    return found


def _seen(path: Path) -> tuple[bytes, float]:
    """Return an artwork's ink as PNG, and how high it is for its width."""
    key = str(path), path.stat().st_mtime_ns
    return _INKS.of(key, lambda: run_apart(ink_of, path))


def _ink(visit: Visit) -> Response:
    path = _artworks(visit).get(visit.query.get("art", ""))
    if path is None:
        raise Refusal(t("locations.no_art"))
    return Response(_seen(path)[0], media_type="image/png")


def _drag(visit: Visit) -> Response:
    arts = _artworks(visit)
    art = visit.query.get("art", "")
    share = _seen(arts[art])[1] if art in arts else HIGH / WIDE
    worn = wearing(visit.query)
    width = _number(visit.query, "width", WIDE, 5.0, 600.0)
    along, across = _lines(worn.face)
    return page(
        visit, "shelves/drag.html", worn=worn, arts=tuple(arts), art=art if art in arts else "",
        width=width, height=width * share, share=share, drawing=drawing_of(worn.face),
        along=along, across=across, colours=fabrics(), words=line_words,
        colour=_colour(visit.query.get("colour", "")),
    )  # fmt: skip


def _colour(name: str) -> str:
    found = fabrics().get(name)
    return found.hex if found else "#eceef0"


def _lines(face: Face) -> tuple[dict[str, float], dict[str, float]]:
    """Return the lines to measure from: across the face by y, down the face by x, mm."""
    along = sorted(face.along.items(), key=lambda each: each[1].value)
    across = sorted(face.across.items(), key=lambda each: each[1].value)
    return {name: mark.value for name, mark in along}, {name: mark.value for name, mark in across}


def _number(given: Mapping[str, str], name: str, usual: float, least: float, most: float) -> float:
    text = given.get(name, "").replace(",", ".").strip()
    try:
        value = float(text) if text else usual
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise Refusal(t("locations.no_length", text=text, least=f"{least:g}", most=f"{most:g}"))
    return value


def _save(visit: Visit) -> Response:
    sent = {key: visit.text(key) for key in visit.form}
    worn = wearing(sent)
    title = visit.text("title", 60)
    along, across = _lines(worn.face)
    if len(title) < 5:
        raise Refusal(t("locations.no_title"))
    if sent.get("along") not in along or sent.get("across") not in across:
        raise Refusal(t("locations.no_line"))
    made = DraggedPlace(
        title=title,
        face=worn.face.name,
        basis=f"dragged on {worn.garment.label}, {date.today().isoformat()}",
        along=sent["along"],
        down=_number(sent, "down", 0.0, -1500.0, 1500.0),
        across=sent["across"],
        right=_number(sent, "right", 0.0, -1500.0, 1500.0),
        width=_number(sent, "width", WIDE, 5.0, 600.0),
    )
    name, text = slug(title), dragged_text(made)
    target = presets_folder() / f"{name}.toml"
    known = any(name == each or title.casefold() == found.title.casefold()
                for each, found in locations().items())  # fmt: skip
    if (known or target.exists()) and not visit.text("replace"):
        raise Refusal(t("locations.there", title=title))
    _try_out(name, text, worn)
    write_whole(target, text)
    return RedirectResponse(f"/locations/{name}?style={worn.garment.style}", HTTPStatus.SEE_OTHER)


def _try_out(name: str, text: str, worn: Wearing) -> None:
    """Pass if the file can be read and its location placed on the garment it was dragged on."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        found = read_location(path)[0]  # its twin is like it
        place(worn.garment, found, _usual_block(found, worn.garment.age))
