"""How a step of the set-up is shown, lit, and gone on to."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

from starlette.responses import RedirectResponse, Response

from calibration.refusal import Refusal
from calibration.rig import library
from chalkbeam.web.doors import Answer, Door, Right, Visit
from chalkbeam.web.pages import drawn_code, page
from chalkbeam.web.setup import crosses, frames
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.setup.guide import Guide, SetupStep
from chalkbeam.web.setup.views import values_of
from chalkbeam.web.shop_unit import shop_unit


def desk_of(visit: Visit) -> SetupDesk:
    """Return what the set-up has in hand."""
    desk: SetupDesk = visit.app.setup
    return desk


def post(path: str, answer: Answer) -> Door:
    """Return a door of the set-up that changes something."""
    return Door(path, answer, Right.SET_UP, ("POST",))


def to(step: SetupStep | str) -> Response:
    """Return the way to a step's page."""
    return RedirectResponse(
        f"/setup/{step.value if isinstance(step, SetupStep) else step}", HTTPStatus.SEE_OTHER
    )


def page_of(
    visit: Visit, desk: SetupDesk, guide: Guide, step: SetupStep, said: str = "", code: str = ""
) -> Response:
    """Return a step's page; `said` is what is wrong with what was sent to it."""
    values = values_of(visit, desk, guide, step)
    address = visit.app.settings.address
    return page(
        visit, f"setup/{step.value}.html", HTTPStatus.BAD_REQUEST if said else HTTPStatus.OK,
        guide=guide, step=step, steps=list(SetupStep), said=said, lit=desk.lit, look=desk.look,
        code=code, address=address, drawn=drawn_code(f"{address}pair#code={code}") if code else "",
        trouble=desk.trouble or desk.light.trouble(), simulated=desk.light.simulated,
        on_platen=visit.app.code_on_platen.lit, **values,
    )  # fmt: skip


def light_step(desk: SetupDesk, guide: Guide, step: SetupStep) -> None:
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
                rig = library.open_rig(guide.rig)
                desk.show(step.value, frames.squares(rig, shop_unit()), guide)
            case _:
                darken(desk)
    except Refusal as refusal:
        desk.trouble = str(refusal)


def darken(desk: SetupDesk) -> None:
    """End the light, and forget what was wrong with it."""
    desk.trouble = ""
    desk.dark()


def go_on(desk: SetupDesk, change: Callable[[Guide], Guide]) -> Response:
    """Keep a guide that goes on to another step, light what that wants, and show it."""
    guide = desk.file.change(change)
    light_step(desk, guide, guide.step)
    return to(guide.step)
