"""The photos of the set-up: sent, taken, judged, and solved."""

from __future__ import annotations

import mimetypes
import re
from http import HTTPStatus

import anyio
from starlette.datastructures import UploadFile
from starlette.responses import Response

from calibration.files import read_whole
from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import failed
from chalkbeam.web.setup import apart
from chalkbeam.web.setup.code_on_platen import offered
from chalkbeam.web.setup.guide import SetupStep
from chalkbeam.web.setup.photo_desk import MOST_BYTES
from chalkbeam.web.setup.shown import darken, desk_of, light_step, page_of, post, to
from chalkbeam.web.sharing import share

MOST_AT_ONCE = 8
"""Photos that are taken in by one visit."""

MOST_CAMERAS = 10


def doors() -> list[Door]:
    """Return the doors of the photos."""
    return [
        Door("/setup/photos/{name}", _photo, Right.SET_UP),
        Door("/setup/sight.jpg", _sight, Right.SET_UP),
        Door("/setup/photos", _photos, Right.SET_UP, ("POST",), MOST_AT_ONCE * MOST_BYTES),
        post("/setup/photos/phone", _phone),
        post("/setup/photos/take", _take),
        post("/setup/photos/watch", _watch),
        post("/setup/photos/{name}/away", _away),
        post("/setup/solve", _solve),
        post("/setup/stop", _stop),
    ]


def _photos(visit: Visit) -> Response:
    """Take photos in: each is kept, and looked at in turn."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS):
        return to(guide.step)
    wrong = ""
    for each in visit.form.getlist("photos")[:MOST_AT_ONCE]:
        if isinstance(each, UploadFile) and each.size:
            try:
                desk.photos.take_in(each.file.read(), _raised(visit))
            except Refusal as refusal:
                wrong = str(refusal)
    if wrong:
        return page_of(visit, desk, desk.guide(), SetupStep.PHOTOS, wrong)
    return to(SetupStep.PHOTOS)


async def _phone(visit: Visit) -> Response:
    """Show a code that lets a phone in to take the photos; the page is opened to it first."""
    await share(visit, True)
    return await anyio.to_thread.run_sync(_code_for_phone, visit)


def _code_for_phone(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS):
        return to(guide.step)
    code, said = offered(visit, Right.SET_UP)
    return page_of(visit, desk, desk.guide(), SetupStep.PHOTOS, said, code)


def _raised(visit: Visit) -> float:
    """Return the height of the board under the cards, mm, as typed; 0 for none."""
    text = visit.text("raised")
    value = parse_length(text, Unit.MM) if text else 0.0
    if not 0 <= value <= 100:
        raise Refusal(f"A board of {text} is too high: give 5 mm to 100 mm.")
    return value


def _take(visit: Visit) -> Response:
    """Have the simulated press photographed."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS):
        return to(guide.step)
    desk.photos.photograph(guide)
    return to(SetupStep.PHOTOS)


def _watch(visit: Visit) -> Response:
    """Have a camera of this computer take the photos."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS) or desk.working is not None:
        return to(guide.step)
    try:
        raised = _raised(visit)
    except Refusal as refusal:
        return page_of(visit, desk, guide, SetupStep.PHOTOS, str(refusal))
    light_step(desk, guide, SetupStep.PHOTOS)
    if desk.trouble:
        return to(SetupStep.PHOTOS)
    guide = desk.file.change(lambda now: now.at(SetupStep.SOLVE, refused=""))
    desk.watch(guide, camera_of(visit), raised)
    return to(SetupStep.SOLVE)


def camera_of(visit: Visit) -> int:
    """Return the number of the camera that is asked for; the first where it is none."""
    text = visit.text("camera", 4)
    return min(int(text), MOST_CAMERAS) if text.isdecimal() else 0


def _sight(visit: Visit) -> Response:
    """Answer with what the camera that is carried round sees."""
    working = desk_of(visit).working
    if working is None or working.sight is None:
        return failed(visit, HTTPStatus.NOT_FOUND)
    return Response(working.sight.picture, media_type=mimetypes.types_map[".jpg"])


def _away(visit: Visit) -> Response:
    desk_of(visit).photos.take_away(str(visit.path["name"]))
    return to(SetupStep.PHOTOS)


def _solve(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS) or not guide.good or guide.busy:
        return to(SetupStep.PHOTOS)
    thin = visit.text("cloth") == "thin"
    guide = desk.file.change(
        lambda now: now.at(SetupStep.SOLVE, refused="", up_to=1.0 if thin else 4.0)
    )
    darken(desk)
    desk.work_out(guide)
    return to(SetupStep.SOLVE)


def _stop(visit: Visit) -> Response:
    desk_of(visit).stop()
    return to(SetupStep.PHOTOS)


def _photo(visit: Visit) -> Response:
    """Answer with a small picture of a photo."""
    desk = desk_of(visit)
    name = str(visit.path["name"])
    photo = desk.guide().photo(name) if re.fullmatch(r"photo-\d+\.\w+", name) else None
    small = None if photo is None else apart.small_place(desk.file.photos / photo.name)
    if small is None or not small.is_file():
        return failed(visit, HTTPStatus.NOT_FOUND)
    return Response(read_whole(small), media_type=mimetypes.types_map[".jpg"])
