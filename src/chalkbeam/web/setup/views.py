"""What each step's page of the set-up shows, beside what all of them do."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any

from calibration.model.uncertainty import place_in_words, worst
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.verdict import verdict
from chalkbeam.basics.squares import square_words
from chalkbeam.placement.platens import platens
from chalkbeam.setup.camera.advice import Watch, other_direction, sides
from chalkbeam.web.doors import Visit
from chalkbeam.web.setup import crosses
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.setup.guide import ENOUGH, SIDES, Guide, SetupStep
from chalkbeam.web.setup.outline import START
from chalkbeam.web.shop_unit import shop_unit
from chalkbeam.web.words import t

Values = dict[str, Any]


def values_of(visit: Visit, desk: SetupDesk, guide: Guide, step: SetupStep) -> Values:
    """Return what the template of a step's page names."""
    wanted = _VALUES.get(step)
    return {} if wanted is None else wanted(visit, desk, guide)


def _platen_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    found = [each for each in platens().values() if each.pad is None]
    largest = max(max(each.face.width, each.face.depth) for each in found)
    return {"platens": found, "largest": largest, "called": _platen_words}


def _platen_words(name: str) -> str:
    """Return what people call a platen whose name says its size; other names as they are."""
    said = re.fullmatch(r"(?:([a-z]+)-)?([\d.]+)x([\d.]+)in", name)
    if said is None:
        return name
    return f"{f'{said[1]}, ' if said[1] else ''}{said[2]} × {said[3]} in"


def _projector_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    values: Values = {"usual": usual_name(desk), "corners": guide.outline or START}
    try:
        return values | {"displays": desk.light.displays(), "unseen": ""}
    except Refusal as refusal:
        return values | {"displays": (), "unseen": str(refusal)}


def usual_name(desk: SetupDesk) -> str:
    """Return what a press is called that nobody gives a name; no real one for a simulated one."""
    return t("setup.projector.simulated" if desk.light.simulated else "setup.projector.usual")


def _photo_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    flat = [each for each in guide.good if not each.raised]
    seen = tuple(each.towards for each in flat if each.towards is not None)
    more = max(ENOUGH - len(flat), 1 if flat and sides(seen) < SIDES else 0)
    watch = Watch(guide.face, taken=seen, side=guide.wanted)
    return {
        "more": more, "next": other_direction(watch) if seen else t("setup.photos.first"),
        "shared": visit.app.settings.shared, "busy": guide.busy or desk.photos.taking,
    }  # fmt: skip


def _solve_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    working = desk.working
    doing = working.doing if working is not None else ""
    since = round(time.monotonic() - working.began) if working is not None else 0
    return {
        "doing": doing, "seconds": since, "watched": working is not None and working.watched,
        "sight": working.sight if working is not None and not doing else None,
    }  # fmt: skip


def _verdict_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    rig = library.open_rig(guide.rig)
    fit = rig.fit
    found = worst(rig.projector, fit.matrix, fit.freedom, rig.face, (0.0, 4.0, 10.0, 20.0))
    rows = [
        (each.height, each.bound, place_in_words(each.point, rig.face), rig.stated.tolerance)
        for each in found
    ]
    asked = worst(rig.projector, fit.matrix, fit.freedom, rig.face, rig.stated.heights)
    return {
        "rig": rig, "rows": rows, "bound": max(each.bound for each in asked),
        "notes": fit.notes, "good_for": verdict(rig),
    }  # fmt: skip


def _ruler_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    return {"square": square_words(shop_unit())}


def _cross_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    far = visit.query.get("far", "")
    return {"cross": crosses.view_of(desk, guide, SetupStep.CROSSES), "far": far}


def _by_hand_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    view = crosses.view_of(desk, guide, SetupStep.BY_HAND)
    # Until a few are set nobody knows where a cross begins.
    return {"cross": view, "far": visit.query.get("far", "-far" if view.number <= 4 else "")}


def _done_values(visit: Visit, desk: SetupDesk, guide: Guide) -> Values:
    return {"rig": library.open_rig(guide.rig)}


_VALUES: dict[SetupStep, Callable[[Visit, SetupDesk, Guide], Values]] = {
    SetupStep.PLATEN: _platen_values,
    SetupStep.PROJECTOR: _projector_values,
    SetupStep.PHOTOS: _photo_values,
    SetupStep.SOLVE: _solve_values,
    SetupStep.VERDICT: _verdict_values,
    SetupStep.RULER: _ruler_values,
    SetupStep.BY_HAND: _by_hand_values,
    SetupStep.CROSSES: _cross_values,
    SetupStep.DONE: _done_values,
}
