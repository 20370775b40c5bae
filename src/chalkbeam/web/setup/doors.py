"""The doors of the guided set-up: a page a step, each checked before the next is opened."""

from __future__ import annotations

import mimetypes
import re
import shutil
from collections.abc import Callable
from http import HTTPStatus

from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from calibration.files import read_whole
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.targets import card_pdf
from calibration.targets.cards import layout
from chalkbeam.basics.units import Unit, parse_platen, parse_resolution
from chalkbeam.placement.platens import platens
from chalkbeam.setup.bar import parse_bar
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import drawn_code, failed, page
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.rigs import report_of
from chalkbeam.web.setup import apart, crosses, frames, trial
from chalkbeam.web.setup.desk import MOST_BYTES, SetupDesk
from chalkbeam.web.setup.guide import Guide, SetupStep
from chalkbeam.web.setup.views import usual_name, values_of
from chalkbeam.web.words import t

FAR = ("-fine", "-far")
"""Steps of a cross that are not the usual one."""

MOST_AT_ONCE = 8
"""Photos that are taken in by one visit."""


def doors() -> list[Door]:
    """Return the doors of the set-up."""
    return [
        Door("/setup", _start, Right.SET_UP, menu="setup"),
        _post("/setup/begin", _begin),
        Door("/setup/cards.pdf", _cards_pdf, Right.SET_UP),
        Door("/setup/report.png", _report, Right.SET_UP),
        Door("/setup/look.jpg", _look, Right.SET_UP),
        Door("/setup/photos/{name}", _photo, Right.SET_UP),
        Door("/setup/{step}", _step, Right.SET_UP),
        _post("/setup/light", _light),
        _post("/setup/platen", _platen),
        _post("/setup/display", _display),
        _post("/setup/projector", _projector),
        _post("/setup/cards", _cards),
        Door("/setup/photos", _photos, Right.SET_UP, ("POST",), MOST_AT_ONCE * MOST_BYTES),
        _post("/setup/photos/phone", _phone),
        _post("/setup/photos/take", _take),
        _post("/setup/photos/{name}/away", _away),
        _post("/setup/solve", _solve),
        _post("/setup/stop", _stop),
        _post("/setup/verdict", _verdict),
        _post("/setup/by_hand", _by_hand),
        _post("/setup/crosses", _crosses),
        _post("/setup/ruler", _ruler),
        _post("/setup/done", _done),
    ]


def _post(path: str, answer: Callable[[Visit], Response]) -> Door:
    return Door(path, answer, Right.SET_UP, ("POST",))


def desk_of(visit: Visit) -> SetupDesk:
    """Return what the set-up has in hand."""
    desk: SetupDesk = visit.app.setup
    return desk


def _to(step: SetupStep | str) -> Response:
    return RedirectResponse(
        f"/setup/{step.value if isinstance(step, SetupStep) else step}", HTTPStatus.SEE_OTHER
    )


# -- pages ---------------------------------------------------------------------------------------


def _start(visit: Visit) -> Response:
    desk = desk_of(visit)
    return page(visit, "setup/start.html", guide=desk.guide(), begun=desk.file.begun)


def _begin(visit: Visit) -> Response:
    """Begin anew: what came in before goes."""
    desk = desk_of(visit)
    desk.stop()
    _dark(desk)
    shutil.rmtree(desk.file.photos, ignore_errors=True)
    # Numbers of photos go on: a look that is still under way finds nothing to write to.
    desk.file.change(lambda before: Guide(taken=before.taken))
    return _to(SetupStep.PLATEN)


def _step(visit: Visit) -> Response:
    """Answer with a step's page, or with that of the step that comes first."""
    desk = desk_of(visit)
    guide = desk.guide()
    try:
        step = SetupStep(str(visit.path["step"]))
    except ValueError:
        return failed(visit, HTTPStatus.NOT_FOUND)
    solving = desk.working is not None
    if solving and step in (SetupStep.PHOTOS, SetupStep.VERDICT):
        return _to(SetupStep.SOLVE)
    if not guide.reached(step) or (step is SetupStep.SOLVE and not solving):
        return _to(guide.step if guide.step is not SetupStep.SOLVE or solving else SetupStep.PHOTOS)
    return _page(visit, desk, guide, step)


def _page(
    visit: Visit, desk: SetupDesk, guide: Guide, step: SetupStep, said: str = "", code: str = ""
) -> Response:
    """Return a step's page; `said` is what is wrong with what was sent to it."""
    values = values_of(visit, desk, guide, step)
    address = visit.app.settings.address
    return page(
        visit, f"setup/{step.value}.html", HTTPStatus.BAD_REQUEST if said else HTTPStatus.OK,
        guide=guide, step=step, steps=list(SetupStep), said=said, lit=desk.lit, look=desk.look,
        code=code, address=address, drawn=drawn_code(f"{address}pair#code={code}") if code else "",
        trouble=desk.trouble or desk.light.trouble(), simulated=desk.light.simulated, **values,
    )  # fmt: skip


# -- light ---------------------------------------------------------------------------------------


def _light(visit: Visit) -> Response:
    """Light what a step wants lit, or end the light."""
    desk = desk_of(visit)
    guide = desk.guide()
    try:
        step = SetupStep(visit.text("step"))
    except ValueError:
        return failed(visit, HTTPStatus.BAD_REQUEST)
    if visit.text("on"):
        _light_step(desk, guide, step)
    else:
        _dark(desk)
    return _to(step)


def _light_step(desk: SetupDesk, guide: Guide, step: SetupStep) -> None:
    """Light what a step wants lit; where that fails its page says why."""
    desk.trouble = ""
    try:
        match step:
            case SetupStep.PROJECTOR if guide.display is not None and guide.size is not None:
                desk.show(step.value, frames.naming(guide.display, guide.size), guide)
            case SetupStep.PHOTOS if guide.size is not None:
                desk.show(step.value, frames.pattern(guide.face, guide.size), guide)
            case SetupStep.CROSSES | SetupStep.BY_HAND:
                crosses.light(desk, guide, step)
            case SetupStep.RULER:
                desk.show(step.value, frames.squares(library.open_rig(guide.rig)), guide)
            case _:
                _dark(desk)
    except Refusal as refusal:
        desk.trouble = str(refusal)


def _dark(desk: SetupDesk) -> None:
    desk.trouble = ""
    desk.dark()


def _go(desk: SetupDesk, change: Callable[[Guide], Guide]) -> Response:
    """Keep a guide that goes on to another step, light what that wants, and show it."""
    guide = desk.file.change(change)
    _light_step(desk, guide, guide.step)
    return _to(guide.step)


# -- steps ---------------------------------------------------------------------------------------


def _platen(visit: Visit) -> Response:
    desk = desk_of(visit)
    known = platens().get(visit.text("platen"))
    try:
        if known is not None:
            name, size = known.name, (known.face.width, known.face.depth)
        else:
            unit = Unit.MM if visit.text("unit") == "mm" else Unit.INCH
            name = f"{visit.text('width')} x {visit.text('depth')} {unit.value}"
            size = parse_platen(name)
    except Refusal as refusal:
        return _page(visit, desk, desk.guide(), SetupStep.PLATEN, str(refusal))

    def change(guide: Guide) -> Guide:
        same = guide.platen_mm == size
        kept = guide if same else guide.without_photos()
        return kept.at(SetupStep.PROJECTOR, platen=name, platen_mm=size)

    return _go(desk, change)


def _display(visit: Visit) -> Response:
    """Choose the projector's display, and light its number there."""
    desk = desk_of(visit)
    try:
        found = next(
            (each for each in desk.light.displays() if str(each.number) == visit.text("number")),
            None,
        )
        if found is None:
            raise Refusal("That display is no longer there: check its cable and choose again.")
        size = parse_resolution("x".join(map(str, found.size)))
    except Refusal as refusal:
        return _page(visit, desk, desk.guide(), SetupStep.PROJECTOR, str(refusal))
    if not desk.guide().reached(SetupStep.PROJECTOR):
        return _to(SetupStep.PLATEN)

    def change(guide: Guide) -> Guide:
        kept = guide if guide.size == size else guide.without_photos()
        return kept.at(SetupStep.PROJECTOR, display=found.number, size=size)

    return _go(desk, change)


def _projector(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    name = visit.text("name", 60) or usual_name(desk)
    if guide.display is None or not guide.reached(SetupStep.PROJECTOR):
        return _to(SetupStep.PROJECTOR)
    try:
        library.place(name)  # refuses what can be no name
        if not all(visit.text(each) for each in ("number", "keystone", "covers")):
            raise Refusal(t("setup.projector.unchecked"))
    except Refusal as refusal:
        return _page(visit, desk, guide, SetupStep.PROJECTOR, str(refusal))
    return _go(desk, lambda now: now.at(SetupStep.CARDS, rig=name))


def _cards(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.CARDS):
        return _to(guide.step)
    try:
        bar = {"exact": card_pdf.BAR, "unmeasured": None}.get(visit.text("bar"), 0.0)
        if bar == 0.0:
            bar = parse_bar(visit.text("length"), Unit.MM)
    except Refusal as refusal:
        return _page(visit, desk, guide, SetupStep.CARDS, str(refusal))
    return _go(desk, lambda now: now.at(SetupStep.PHOTOS, bar=bar))


def _photos(visit: Visit) -> Response:
    """Take photos in: each is kept, and looked at in turn."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS):
        return _to(guide.step)
    wrong = ""
    for each in visit.form.getlist("photos")[:MOST_AT_ONCE]:
        if isinstance(each, UploadFile) and each.size:
            try:
                desk.take_in(each.file.read(), _raised(visit))
            except Refusal as refusal:
                wrong = str(refusal)
    if wrong:
        return _page(visit, desk, desk.guide(), SetupStep.PHOTOS, wrong)
    return _to(SetupStep.PHOTOS)


def _phone(visit: Visit) -> Response:
    """Show a code that lets a phone in to take the photos."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS):
        return _to(guide.step)
    return _page(visit, desk, guide, SetupStep.PHOTOS, code=visit.app.codes.offer(Right.SET_UP))


def _raised(visit: Visit) -> float:
    """Return the height of the board under the cards, mm, as typed; 0 for none."""
    from chalkbeam.basics.units import parse_length

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
        return _to(guide.step)
    desk.photograph(guide)
    return _to(SetupStep.PHOTOS)


def _away(visit: Visit) -> Response:
    desk_of(visit).take_away(str(visit.path["name"]))
    return _to(SetupStep.PHOTOS)


def _solve(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.PHOTOS) or not guide.good or guide.busy:
        return _to(SetupStep.PHOTOS)
    thin = visit.text("cloth") == "thin"
    guide = desk.file.change(
        lambda now: now.at(SetupStep.SOLVE, refused="", up_to=1.0 if thin else 4.0)
    )
    _dark(desk)
    desk.work_out(guide)
    return _to(SetupStep.SOLVE)


def _stop(visit: Visit) -> Response:
    desk_of(visit).stop()
    return _to(SetupStep.PHOTOS)


def _verdict(visit: Visit) -> Response:
    desk = desk_of(visit)
    if not desk.guide().reached(SetupStep.VERDICT):
        return _to(SetupStep.PHOTOS)
    to = SetupStep.CROSSES if visit.text("crosses") else SetupStep.RULER
    crosses.forget(desk)
    return _go(desk, lambda now: now.at(to))


def _crosses(visit: Visit) -> Response:
    return _moved(visit, SetupStep.CROSSES, SetupStep.RULER)


def _by_hand(visit: Visit) -> Response:
    """Begin crosses by hand in place of photos, or move them."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.CARDS):
        return _to(guide.step)
    if not visit.text("begin"):
        return _moved(visit, SetupStep.BY_HAND, SetupStep.VERDICT)
    typed = visit.text("throw", 12).replace(",", ".")
    try:
        throw = float(typed) if typed else None
    except ValueError:
        throw = 0.0
    if throw is not None and not 0.2 <= throw <= 5:
        return _page(visit, desk, guide, SetupStep.CARDS, t("setup.by_hand.no_throw"))
    crosses.forget(desk)
    return _go(desk, lambda now: now.at(SetupStep.BY_HAND, throw=throw, refused=""))


def _moved(visit: Visit, step: SetupStep, then: SetupStep) -> Response:
    """Do what a button of the crosses asks; go on once a rig is made of them."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(step):
        return _to(guide.step)
    key, far = visit.text("key"), visit.text("far")
    steps = far if key in ("left", "right", "up", "down") else ""
    left = bool(visit.text("leave"))
    if left or crosses.take(desk, guide, step, key + steps):
        crosses.forget(desk)
        if left and step is SetupStep.BY_HAND:
            then = SetupStep.CARDS
        return _go(desk, lambda now: now.at(then))
    return _to(f"{step.value}?far={far}" if far in FAR else step)


def _ruler(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.RULER):
        return _to(guide.step)
    if not all(visit.text(each) for each in ("edges", "squares")):
        return _page(visit, desk, guide, SetupStep.RULER, t("setup.ruler.unchecked"))
    library.set_default(guide.rig)  # not before: it was not tried
    return _go(desk, lambda now: now.at(SetupStep.DONE))


def _done(visit: Visit) -> Response:
    """Begin the trial piece at the press, or say where orders are."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.DONE):
        return _to(guide.step)
    link: PressLink = visit.app.press
    desk.dark()
    if link.can_start:
        link.start(trial.written(desk.file.folder / "trial"))
    return RedirectResponse("/press", HTTPStatus.SEE_OTHER)


# -- files ---------------------------------------------------------------------------------------


def _cards_pdf(visit: Visit) -> Response:
    guide = desk_of(visit).guide()
    if not guide.reached(SetupStep.CARDS):
        return failed(visit, HTTPStatus.NOT_FOUND)
    paper = visit.query.get("paper", "")
    drawn = card_pdf.pdf(
        layout(guide.face), guide.face, paper if paper in card_pdf.PAPERS else "letter"
    )
    shown = {"content-disposition": 'inline; filename="cards.pdf"'}
    return Response(drawn, media_type="application/pdf", headers=shown)


def _report(visit: Visit) -> Response:
    guide = desk_of(visit).guide()
    if not guide.reached(SetupStep.VERDICT):
        return failed(visit, HTTPStatus.NOT_FOUND)
    return report_of(library.open_rig(guide.rig))


def _photo(visit: Visit) -> Response:
    """Answer with a small picture of a photo."""
    desk = desk_of(visit)
    name = str(visit.path["name"])
    photo = desk.guide().photo(name) if re.fullmatch(r"photo-\d+\.\w+", name) else None
    small = None if photo is None else apart.small_place(desk.file.photos / photo.name)
    if small is None or not small.is_file():
        return failed(visit, HTTPStatus.NOT_FOUND)
    return Response(read_whole(small), media_type=mimetypes.types_map[".jpg"])


def _look(visit: Visit) -> Response:
    """Answer with a look at the simulated press."""
    desk = desk_of(visit)
    guide = desk.guide()
    if guide.platen_mm is None or not desk.light.simulated:
        return failed(visit, HTTPStatus.NOT_FOUND)
    seen = desk.light.look(
        guide.face, laid=desk.lit == SetupStep.PHOTOS.value,
        mark=crosses.mark_of(desk, guide), close=not visit.query.get("far"),
    )  # fmt: skip
    kept = {"cache-control": "private, max-age=3600, immutable"}
    return Response(seen, media_type="image/jpeg", headers=kept)
