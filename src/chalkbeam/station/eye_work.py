"""What the order asks of the press's camera now: where the run stands, what should lie where."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from calibration.geometry import Points
from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.eye.instead import instead_of
from chalkbeam.eye.sights import RunAt
from chalkbeam.eye.transfer import Tolerance
from chalkbeam.orders.pieces import Imprint
from chalkbeam.placement import Placement
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_reader import OrderedPiece, PrintLaid
from chalkbeam.station.following import wanted_print
from chalkbeam.station.ready_imprint import ReadyImprint
from chalkbeam.station.values import Showing


def run_at(controller: StationController, rig: Rig, proposed: Shift | None) -> RunAt:
    """Return where the run stands, for the eye of a rig that may have proposed something."""
    progress, state = controller.session.progress, controller.state
    if progress.stop is None:
        return RunAt()
    moving = state.moving is not None and state.moving != proposed
    step = _EYE_STEPS.get(progress.at.step, progress.at.step)
    idle = (
        step is not progress.at.step or progress.paused
        or state.asking is not None or moving or state.dark or bool(state.trouble)
        or state.showing is not Showing.WORK
        or progress.to_fit(progress.at) is not None or progress.to_set(progress.at) is not None
        or controller.readiness.ready is None or controller.readiness.rig is not rig
    )  # fmt: skip
    imprint = progress.stop.imprint
    return RunAt(imprint.id, step.value, imprint.press.dwell, idle)


_EYE_STEPS = {Step.PREPRESS: Step.LOAD, Step.PEEL: Step.PRESS, Step.SECOND: Step.PRESS}
"""What the eye takes steps for that it does not know: there it waits for a key."""


def collared(controller: StationController) -> str:
    """Return the id of the last act if it said where a collar is."""
    event = controller.session.progress.undoable
    return event.id if event is not None and event.kind is Kind.COLLARED else ""


def ordered_piece(ready: ReadyImprint, tolerance: Tolerance) -> OrderedPiece:
    """Return the piece that should lie on the platen."""
    placement = ready.choice.placement
    garment, face = placement.garment, placement.location.face
    usual = ready.planned.platen_from_garment
    return OrderedPiece(garment, face, usual, instead_of(garment, face), tolerance)


def laid_print(controller: StationController) -> PrintLaid | None:
    """Return the print that is being laid, as it is lit; None where it cannot be told."""
    ready, stop = controller.readiness.ready, controller.session.progress.stop
    if ready is None or stop is None:
        return None
    try:
        laid = ready.choice.laid(controller.scene().nudge)
        return PrintLaid(wanted_print(laid, stop.imprint), ready.choice.loading.platen_from_garment)
    except Refusal:
        return None


def know_print(placement: Placement, imprint: Imprint) -> None:
    """Work out how a print looks, so that it is known once a transfer is looked for."""
    with suppress(Refusal):  # it is told where the print is placed
        wanted_print(placement, imprint)


def target_corners(ready: ReadyImprint) -> Points:
    """Return the corners of where ink and sheet are to lie, platen frame, mm, shape (8, 2)."""
    choice = ready.choice
    pose = choice.loading.platen_from_garment @ choice.placement.garment_from_art
    artwork = choice.placement.artwork
    return pose.apply(np.vstack([artwork.ink.corners(), artwork.sheet.corners()]))


def printed_before(controller: StationController) -> tuple[Points, ...]:
    """Return the corners of what was pressed or laid already on the garment as it lies."""
    progress, found = controller.session.progress, []
    index = progress.at.index
    try:
        together = controller.readiness.together()
    except Refusal:
        return ()
    for place, each in zip(controller.readiness.places_together(), together, strict=True):
        name = progress.stops[place].imprint.id
        there = name in progress.outcomes or name == controller.state.laid
        if index is not None and place < index and there:
            found.append(target_corners(each))
    return tuple(found)
