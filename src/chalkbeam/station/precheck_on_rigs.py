"""The order placed ahead on the rigs that are at the press."""

from __future__ import annotations

from dataclasses import replace

from calibration.refusal import Phrase, Refusal
from chalkbeam.orders.pieces import Imprint
from chalkbeam.orders.place_imprint import Lay
from chalkbeam.orders.precheck import on_file
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading
from chalkbeam.station.ready_imprint import ImprintPreparer


def first_rigs(preparer: ImprintPreparer, later: dict[tuple[Phrase, ...], None]) -> Lay:
    """Return how to lay imprints on the rigs at hand, else on any platen on file.

    What only the latter take is added to `later`, a sentence each: it cannot be pressed
    before its platen is on.
    """
    some = on_file(*preparer.lays)

    def lay(placement: Placement, imprint: Imprint) -> Loading:
        try:
            return preparer.lay(placement, imprint)
        except Refusal as refusal:
            loading = some(placement, imprint)
            later[(f"{placement.location.title}: ", *refusal.said)] = None
            return replace(loading, concerns=())

    return lay
