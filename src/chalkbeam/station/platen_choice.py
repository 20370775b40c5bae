"""Which of the press's platens each imprint of an order is pressed on."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Imprint, Piece, PressSetup
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.visits import Chooser
from chalkbeam.station.ready_imprint import ImprintPreparer, LocationOf


def on_the_press(
    preparer: ImprintPreparer, location_of: LocationOf = lambda imprint: imprint.location
) -> Chooser:
    """Return what chooses a platen for each imprint, where the press has several.

    It is the one that the sheet names; else that of the first rig, where nothing lies under the
    head to be looked at and it goes into the garment, sleeve or leg; else the one that the least
    speaks against, the largest of several. What is laid together with what it follows (a number
    under its name) lies on the same platen where that takes it.
    """
    if len(preparer.rigs) == 1:
        return fit_on_press
    known: dict[str, str] = {}

    def choose(piece: Piece, imprint: Imprint) -> PressSetup:
        fit = fit_on_press(piece, imprint)
        if imprint.id not in known:
            known[imprint.id] = _platen(preparer, piece, imprint, location_of, known)
        return replace(fit, platen=known[imprint.id])

    return choose


def _platen(
    preparer: ImprintPreparer,
    piece: Piece,
    imprint: Imprint,
    location_of: LocationOf,
    known: dict[str, str],
) -> str:
    shared = "" if imprint.platen else known.get(imprint.follows or "", "")
    for wanted in dict.fromkeys((imprint.platen or shared, imprint.platen)):
        with suppress(Refusal):
            return preparer.platen_for(piece, replace(imprint, platen=wanted), location_of)
    return imprint.platen  # refused when its turn comes: the platen may have its rig by then


def as_planned(stop: Stop) -> Imprint:
    """Return a stop's imprint as it is pressed: on the platen that the plan chose."""
    return replace(stop.imprint, platen=stop.fit.platen or stop.imprint.platen)
