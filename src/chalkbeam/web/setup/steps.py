"""What the steps of the set-up ask: each is checked, kept, and the next is lit."""

from __future__ import annotations

from http import HTTPStatus

from starlette.responses import JSONResponse, RedirectResponse, Response

from calibration.refusal import Refusal
from calibration.rig import library
from calibration.targets import card_pdf
from chalkbeam.basics.units import Unit, parse_platen, parse_resolution
from chalkbeam.placement.platens import platens
from chalkbeam.setup.bar import parse_bar
from chalkbeam.web.doors import Door, Visit
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.setup import crosses, frames, trial
from chalkbeam.web.setup.guide import Guide, SetupStep
from chalkbeam.web.setup.outline import corners_of, covered
from chalkbeam.web.setup.shown import desk_of, go_on, page_of, post, to
from chalkbeam.web.setup.views import usual_name
from chalkbeam.web.words import t

FAR = ("-fine", "-far")
"""Steps of a cross that are not the usual one."""


def doors() -> list[Door]:
    """Return the doors of the steps but for the photos."""
    return [
        post("/setup/platen", _platen),
        post("/setup/display", _display),
        post("/setup/outline", _outline),
        post("/setup/projector", _projector),
        post("/setup/cards", _cards),
        post("/setup/verdict", _verdict),
        post("/setup/by_hand", _by_hand),
        post("/setup/crosses", _crosses),
        post("/setup/ruler", _ruler),
        post("/setup/done", _done),
    ]


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
        return page_of(visit, desk, desk.guide(), SetupStep.PLATEN, str(refusal))

    def change(guide: Guide) -> Guide:
        same = guide.platen_mm == size
        kept = guide if same else guide.without_photos()
        return kept.at(SetupStep.PROJECTOR, platen=name, platen_mm=size)

    return go_on(desk, change)


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
        return page_of(visit, desk, desk.guide(), SetupStep.PROJECTOR, str(refusal))
    if not desk.guide().reached(SetupStep.PROJECTOR):
        return to(SetupStep.PLATEN)

    def change(guide: Guide) -> Guide:
        kept = guide if guide.size == size else guide.without_photos()
        return kept.at(SetupStep.PROJECTOR, display=found.number, size=size)

    return go_on(desk, change)


def _outline(visit: Visit) -> Response:
    """Light the outline where it was dragged to, and say whether the picture covers the platen."""
    desk = desk_of(visit)
    guide = desk.guide()
    corners = corners_of(visit.sent.get("corners"))
    if corners is None or guide.size is None or not guide.reached(SetupStep.PROJECTOR):
        raise Refusal(t("failed.other"))
    held = visit.sent.get("held")
    lit = frames.outline(corners, guide.size, held if isinstance(held, int) else None)
    desk.show(SetupStep.PROJECTOR.value, lit, guide)
    if held is None:
        desk.file.change(lambda now: now.with_(outline=corners))
    found = covered(corners, guide.face, guide.size)
    words = t(
        f"setup.outline.{found.cover.value}", corner=found.corner, element=f"{found.element:.1f}"
    )
    return JSONResponse({"words": words, "cover": found.cover.value, "look": desk.look})


def _projector(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    name = visit.text("name", 60) or usual_name(desk)
    if guide.display is None or not guide.reached(SetupStep.PROJECTOR):
        return to(SetupStep.PROJECTOR)
    try:
        library.place(name)  # refuses what can be no name
        if not all(visit.text(each) for each in ("number", "keystone", "covers")):
            raise Refusal(t("setup.projector.unchecked"))
    except Refusal as refusal:
        return page_of(visit, desk, guide, SetupStep.PROJECTOR, str(refusal))
    return go_on(desk, lambda now: now.at(SetupStep.CARDS, rig=name))


def _cards(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.CARDS):
        return to(guide.step)
    try:
        bar = {"exact": card_pdf.BAR, "unmeasured": None}.get(visit.text("bar"), 0.0)
        if bar == 0.0:
            bar = parse_bar(visit.text("length"), Unit.MM)
    except Refusal as refusal:
        return page_of(visit, desk, guide, SetupStep.CARDS, str(refusal))
    return go_on(desk, lambda now: now.at(SetupStep.PHOTOS, bar=bar))


def _verdict(visit: Visit) -> Response:
    desk = desk_of(visit)
    if not desk.guide().reached(SetupStep.VERDICT):
        return to(SetupStep.PHOTOS)
    then = SetupStep.CROSSES if visit.text("crosses") else SetupStep.RULER
    crosses.forget(desk)
    return go_on(desk, lambda now: now.at(then))


def _crosses(visit: Visit) -> Response:
    return _moved(visit, SetupStep.CROSSES, SetupStep.RULER)


def _by_hand(visit: Visit) -> Response:
    """Begin crosses by hand in place of photos, or move them."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.CARDS):
        return to(guide.step)
    if not visit.text("begin"):
        return _moved(visit, SetupStep.BY_HAND, SetupStep.VERDICT)
    typed = visit.text("throw", 12).replace(",", ".")
    try:
        throw = float(typed) if typed else None
    except ValueError:
        throw = 0.0
    if throw is not None and not 0.2 <= throw <= 5:
        return page_of(visit, desk, guide, SetupStep.CARDS, t("setup.by_hand.no_throw"))
    crosses.forget(desk)
    return go_on(desk, lambda now: now.at(SetupStep.BY_HAND, throw=throw, refused=""))


def _moved(visit: Visit, step: SetupStep, then: SetupStep) -> Response:
    """Do what a button of the crosses asks; go on once a rig is made of them."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(step):
        return to(guide.step)
    key, far = visit.text("key"), visit.text("far")
    steps = far if key in ("left", "right", "up", "down") else ""
    left = bool(visit.text("leave"))
    if left or crosses.take(desk, guide, step, key + steps):
        crosses.forget(desk)
        if left and step is SetupStep.BY_HAND:
            then = SetupStep.CARDS
        return go_on(desk, lambda now: now.at(then))
    return to(f"{step.value}?far={far}" if far in FAR else step)


def _ruler(visit: Visit) -> Response:
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.RULER):
        return to(guide.step)
    if not all(visit.text(each) for each in ("edges", "squares")):
        return page_of(visit, desk, guide, SetupStep.RULER, t("setup.ruler.unchecked"))
    library.set_default(guide.rig)  # not before: it was not tried
    return go_on(desk, lambda now: now.at(SetupStep.DONE))


def _done(visit: Visit) -> Response:
    """Begin the trial piece at the press, or say where orders are."""
    desk = desk_of(visit)
    guide = desk.guide()
    if not guide.reached(SetupStep.DONE):
        return to(guide.step)
    link: PressLink = visit.app.press
    desk.dark()
    if link.can_start:
        link.start(trial.written(trial.place(visit.shop.data)))
    return RedirectResponse("/press", HTTPStatus.SEE_OTHER)
