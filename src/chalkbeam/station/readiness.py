"""What is ready to be lit: the current imprint, and the one to come."""

from __future__ import annotations

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.orders.pieces import Imprint
from chalkbeam.placement.shift import Shift
from chalkbeam.record.progress import Progress
from chalkbeam.station.platen_choice import as_planned
from chalkbeam.station.ready_imprint import ClothSeen, ImprintPreparer, ReadyImprint
from overlay.palette import RGB

Request = tuple[int, Shift | None, tuple[str, ...], ClothSeen | None]
"""What one ready imprint is made for: the stop, the garment's correction, the locations in force
for all imprints of the piece, and what was measured of its cloth."""


class Readiness:
    """Keeps the current imprint ready, worked out once for every request.

    Parameters
    ----------
    preparer : ImprintPreparer
        It remembers placements and loadings, so that to ask it again costs little.
    progress : Progress
        Of the run; read only.

    Attributes
    ----------
    ready : ReadyImprint or None
        The current imprint; None if there is none, or something stands in its way.
    refused : str
        What stands in its way.
    """

    def __init__(self, preparer: ImprintPreparer, progress: Progress) -> None:
        self._preparer, self._progress = preparer, progress
        preparer.expect((stop.piece, as_planned(stop)) for stop in progress.stops)
        self.ready: ReadyImprint | None = None
        self.refused = ""
        self._made_for: Request | None = None
        self._seen: dict[str, ClothSeen] = {}

    @property
    def rig(self) -> Rig:
        """Which rig lights the current imprint; the first one where none can be lit."""
        return self.ready.rig if self.ready is not None else self._preparer.rigs[0]

    def saw(self, seen: ClothSeen | None) -> None:
        """Take what was measured of the cloth on the platen for the current piece and side."""
        if self._progress.at.index is None:
            return
        self._seen.clear()  # another piece lies there
        if seen is not None:
            self._seen[self._lying(self._progress.at.index)] = seen

    @property
    def colour(self) -> tuple[str, RGB] | None:
        """The current piece's colour as the sheet names it, with its codes; None if unknown."""
        stop = self._progress.stop
        if stop is None or not stop.piece.colour:
            return None
        try:
            return stop.piece.colour, find_fabric(stop.piece.colour).colour
        except Refusal:
            return None

    def together(self) -> tuple[ReadyImprint, ...]:
        """Return the current imprint and all that are pressed while the garment stays so.

        Raises
        ------
        Refusal
            If something stands in the way of one.
        """
        index = self._progress.at.index
        if index is None:
            return ()
        return tuple(self.prepared(each) for each in self.places_together())

    def look_again(self) -> None:
        """Let what stands in the way be looked for again: the file may have been put back."""
        if self.refused:
            self._made_for = None

    def update(self) -> bool:
        """Make the current imprint ready, unless it is; return whether that was to be done."""
        index = self._progress.at.index
        if index is None:
            self.ready, self.refused, self._made_for = None, "", None
            return False
        wanted = self._request(index)
        if wanted == self._made_for:
            return False
        self._made_for = wanted
        try:
            self.ready, self.refused = self.prepared(index), ""
        except Refusal as refusal:
            self.ready, self.refused = None, str(refusal)
        return True

    def prepared(self, index: int) -> ReadyImprint:
        """Return an imprint of the order ready to be lit.

        Raises
        ------
        Refusal
            If something stands in its way.
        """
        stop, collar = self._progress.stops[index], self._progress.collar(index)
        together = [as_planned(self._progress.stops[each]) for each in self._together(index)]
        return self._preparer.prepare(
            stop.piece, as_planned(stop), self._location, collar, together,
            self._seen.get(self._lying(index)),
        )  # fmt: skip

    def try_at(self, location: str) -> None:
        """Pass if the current imprint can be lit at another location.

        Raises
        ------
        Refusal
            If it cannot: the location in force, its light and the record stay as they are.
        """
        progress, stop = self._progress, self._progress.stop
        if stop is None or progress.at.index is None:
            return

        def elsewhere(imprint: Imprint) -> str:
            return location if imprint.id == stop.imprint.id else self._location(imprint)

        # By itself: there the garment is laid again.
        self._preparer.prepare(
            stop.piece, as_planned(stop), elsewhere, progress.collar(progress.at.index)
        )

    def lies_alike(self, one: int, other: int) -> bool:
        """Whether the garment stays as it lies from one stop to another.

        The plan may let it stay where no loading presses both: then each has its own.
        """
        if not self._progress.lies_alike(one, other):
            return False
        try:
            return self.prepared(one).lies_as(self.prepared(other))
        except Refusal:
            return False

    def places_together(self) -> range:
        """Return the stops of `together`."""
        index = self._progress.at.index
        return range(0) if index is None else self._together(index)

    def _together(self, index: int) -> range:
        """Return the stops that are pressed while the garment stays where it is."""
        stays, first, last = self._progress.stays, index, index
        while first > 0 and stays(first):
            first -= 1
        while last + 1 < len(self._progress.stops) and stays(last + 1):
            last += 1
        return range(first, last + 1)

    def _request(self, index: int) -> Request:
        piece = self._progress.stops[index].piece
        places = tuple(map(self._location, piece.imprints))
        return index, self._progress.collar(index), places, self._seen.get(self._lying(index))

    def _lying(self, index: int) -> str:
        """Return what tells one way of lying on the platen from another: the piece and its side."""
        stop = self._progress.stops[index]
        return f"{stop.piece.id}/{stop.fit.loading}"

    def _location(self, imprint: Imprint) -> str:
        return self._progress.placed_at(imprint.id)
