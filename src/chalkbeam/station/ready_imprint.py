"""What is at hand at the press: from an imprint of the order to where its light goes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.light.choice import Choice, about
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.orders.place_imprint import (
    place_imprint,
)
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Collar, Loading, load
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import Platen, parse_pad
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.placement.shift import Shift
from overlay.colour.visibility import palette_for
from overlay.palette import DEFAULT_PALETTE, RGB, Palette

SAME_PLATEN = 6.0
"""A rig is for a platen that the sheet names if neither side differs by more than this, mm:
platens are called by whole inches and measured in millimetres."""


REMEMBERED = 400
"""Placements that are remembered; then all are forgotten, so that an order of ten thousand names
takes no more memory than one of a hundred."""


@dataclass(frozen=True, eq=False)
class ReadyImprint:
    """An imprint ready to be lit.

    Attributes
    ----------
    rig : Rig
        Which rig lights it.
    choice : Choice
        Its placement and how the garment lies, its collar where the operator found it.
    planned : Loading
        How the garment was planned to lie.
    palette : Palette
        Colours of light that can be told on its cloth.
    """

    rig: Rig
    choice: Choice
    planned: Loading
    palette: Palette


class ImprintPreparer:
    """Places imprints on the platens there are rigs for, and remembers what it has worked out.

    Parameters
    ----------
    rigs : sequence of Rig
        One for each platen; all of one projector.
    collar : str
        Where the collar points.
    threaded : bool
        Whether the garment is threaded over the platen.

    Raises
    ------
    Refusal
        If the rigs are for pictures of different sizes.
    """

    def __init__(self, rigs: Sequence[Rig], collar: Collar = "away", threaded: bool = True) -> None:
        sizes = {rig.projector.size for rig in rigs}
        if len(sizes) != 1:
            listed = ", ".join(f"{rig.name}: {rig.projector.size}" for rig in rigs)
            raise Refusal(
                f"The rigs are for projector pictures of different sizes ({listed}): one run needs "
                "one projector."
            )
        self.rigs = tuple(rigs)
        self.collar = collar
        self.threaded = threaded
        self._placer = Placer()
        self._loaded: dict[tuple[object, ...], tuple[Placement, Loading]] = {}

    def prepare(
        self,
        piece: Piece,
        imprint: Imprint,
        location_of: Callable[[Imprint], str],
        collar: Shift | None = None,
        together: Sequence[Imprint] = (),
    ) -> ReadyImprint:
        """Return an imprint ready to be lit.

        Parameters
        ----------
        piece : Piece
        imprint : Imprint
        location_of : callable
            Imprint to the name of the location in force for it.
        together : sequence of Imprint
            All that are pressed while the garment stays where it is, this one with
            them: it is loaded so that all their ink is pressed.
        collar : Shift, optional
            How far the real collar lies off the planned one, platen frame.

        Raises
        ------
        Refusal
            If the artwork, the placement or the platen stands in the way; says what to do.
        """
        if len(self._placer) > REMEMBERED:
            self._placer = Placer()
            self._loaded.clear()
        placement = self._place(piece, imprint, location_of)
        rig, planned = self.lay_on(placement, imprint)
        others = [
            self._place(piece, other, location_of) for other in together if other is not imprint
        ]
        if others:
            planned = self._shared(rig, imprint.pad, placement, planned, others)
        loading = planned if collar is None else collared(planned, collar)
        return ReadyImprint(rig, Choice(placement, loading), planned, palette_on(piece.colour))

    def _place(
        self, piece: Piece, imprint: Imprint, location_of: Callable[[Imprint], str]
    ) -> Placement:
        return place_imprint(self._placer, piece, imprint, location_of)

    def lay_on(self, placement: Placement, imprint: Imprint) -> tuple[Rig, Loading]:
        """Return the first rig whose platen is wanted and takes the imprint, and how it lies.

        Raises
        ------
        Refusal
            If none does.
        """
        wanted = find_platen(imprint.platen) if imprint.platen else None
        refused: Refusal | None = None
        for rig in self.rigs:
            if wanted is not None and not is_for(rig, wanted):
                continue
            try:
                return rig, self._load_on(placement, rig, imprint.pad)
            except Refusal as refusal:
                refused = refused or refusal
        if refused is not None:
            raise refused
        have = ", ".join(rig.name or "unnamed" for rig in self.rigs)
        raise Refusal(
            f"This imprint wants platen {imprint.platen} and the rigs at hand are for others "
            f"({have}): put that platen on and add its rig with --rig, or skip the imprint."
        )

    def lay(self, placement: Placement, imprint: Imprint) -> Loading:
        """Return how an imprint lies on the first rig that takes it; raises as `lay_on`."""
        return self.lay_on(placement, imprint)[1]

    def _shared(
        self,
        rig: Rig,
        pad: str,
        placement: Placement,
        planned: Loading,
        others: Sequence[Placement],
    ) -> Loading:
        """Return a loading that presses several imprints without moving the garment.

        Tried are the loadings that each would have alone, first the highest on the
        garment. Where none serves all, this imprint keeps its own.
        """
        everything = sorted((placement, *others), key=lambda each: each.centre[1])
        for leading in everything:
            try:
                alone = self._load_on(leading, rig, pad)
                laid = {id(each): self._load_on(each, rig, pad, alone) for each in everything}
            except Refusal:
                continue
            return laid[id(placement)]
        return planned

    def _load_on(
        self, placement: Placement, rig: Rig, pad: str, like: Loading | None = None
    ) -> Loading:
        """Return how a garment lies on a rig's platen; `like` another loading of the same face."""
        set_at = (None, None) if like is None else (like.overhang, like.aside)
        # By identity; the placement is kept with the answer, so that its identity stays taken.
        key = (id(placement), id(rig), pad, *set_at)
        if key not in self._loaded:
            plate = Platen(rig.name or "this platen", rig.face)
            if pad:
                plate = plate.with_pad(parse_pad(pad))
            loading = load(
                placement, plate, collar=self.collar, threaded=self.threaded,
                overhang=set_at[0], aside=set_at[1],
            )  # fmt: skip
            self._loaded[key] = (placement, loading)
        return self._loaded[key][1]


def is_for(rig: Rig, platen: Platen) -> bool:
    """Whether a rig was made for a platen of this size."""
    return (
        abs(rig.face.width - platen.face.width) <= SAME_PLATEN
        and abs(rig.face.depth - platen.face.depth) <= SAME_PLATEN
    )


def collared(loading: Loading, shift: Shift) -> Loading:
    """Return the loading with the garment moved by a shift, turned about its collar."""
    pose = loading.platen_from_garment
    return replace(loading, platen_from_garment=about(shift, (pose.x, pose.y)) @ pose)


def palette_on(colour: str) -> Palette:
    """Return colours of light for a fabric; the usual ones for a colour nobody knows."""
    if not colour:
        return DEFAULT_PALETTE
    try:
        return palette_for(find_fabric(colour).colour)
    except Refusal:
        return DEFAULT_PALETTE


def cloth_of(colour: str) -> RGB:
    """Return a fabric's colour; a grey for one nobody knows."""
    try:
        return find_fabric(colour).colour
    except Refusal:
        return 128, 128, 128
