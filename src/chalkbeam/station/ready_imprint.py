"""An imprint made ready to be lit: from the order to where its light goes."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.light.choice import Choice, about
from chalkbeam.orders.pieces import Art, Imprint, Piece
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Collar, Loading
from chalkbeam.placement.many import Placer
from chalkbeam.placement.shift import Shift
from chalkbeam.station.common_loading import Wanted
from chalkbeam.station.laying import Placed, PlatenLayer, called
from overlay.colour.visibility import palette_for
from overlay.palette import DEFAULT_PALETTE, RGB, Palette

REMEMBERED = 400
"""Loadings that are remembered; then all are forgotten, so that an order of ten thousand names
takes no more memory than one of a hundred."""


@dataclass(frozen=True)
class ClothSeen:
    """What was measured of the cloth that lies there, in place of what is stated.

    Attributes
    ----------
    colour : RGB or None
        sRGB codes.
    height : float or None
        Of its face where the print goes, over the bare platen, mm.
    """

    colour: RGB | None = None
    height: float | None = None


LocationOf = Callable[[Imprint], str]
"""Imprint to the name of the location in force for it."""

Place = Callable[[Piece, Imprint, LocationOf], Placement]
"""Places an imprint on its piece; raises a Refusal where it cannot be."""


@dataclass(frozen=True)
class ReadyImprint:
    """An imprint ready to be lit; equal ones look the same.

    Attributes
    ----------
    imprint : str
        Its id.
    rig : Rig
        Which rig lights it.
    choice : Choice
        Its placement and how the garment lies, its collar where the operator found it.
    planned : Loading
        How the garment was planned to lie.
    palette : Palette
        Colours of light that can be told on its cloth.
    """

    imprint: str
    # Hashed by the id alone, which is quick and tells nearly all apart; compared by everything.
    rig: Rig = field(hash=False)
    choice: Choice = field(hash=False)
    planned: Loading = field(hash=False)
    palette: Palette = field(hash=False)

    def lies_as(self, other: ReadyImprint) -> bool:
        """Whether a garment that lies for the other one lies for this one too."""
        here, there = self.choice, other.choice
        return (
            self.rig == other.rig
            and here.loading.platen == there.loading.platen
            and here.placement.location.face == there.placement.location.face
            and here.loading.platen_from_garment == there.loading.platen_from_garment
        )


class ImprintPreparer:
    """Makes imprints ready on the platens there are rigs for, and remembers what it worked out.

    Parameters
    ----------
    rigs : sequence of Rig
        One for each platen; all of one projector. The first is for the platen that is on.
    collar : str, optional
        Where the collar points; as usual for each face without.
    threaded : bool
        Whether the garment is threaded over the platen.
    overhang, aside : float, optional
        How the garment lies, as in `Loading`, mm; chosen for each imprint without.
    place : callable, optional
        How imprints are placed; without, by the order alone.

    Raises
    ------
    Refusal
        If the rigs are for pictures of different sizes.
    """

    def __init__(
        self,
        rigs: Sequence[Rig],
        collar: Collar | None = None,
        threaded: bool = True,
        *,
        overhang: float | None = None,
        aside: float | None = None,
        place: Place | None = None,
    ) -> None:
        sizes = {rig.projector.size for rig in rigs}
        if len(sizes) != 1:
            listed = ", ".join(f"{rig.name}: {rig.projector.size}" for rig in rigs)
            raise Refusal(
                f"The rigs are for projector pictures of different sizes ({listed}): one run needs "
                "one projector."
            )
        self._layer = PlatenLayer(rigs, collar, threaded, overhang, aside)
        self._place = place
        self._placer = Placer()

    @property
    def rigs(self) -> tuple[Rig, ...]:
        """One for each platen; the first is for the platen that is on."""
        return self._layer.rigs

    @property
    def lays(self) -> tuple[Collar | None, bool]:
        """Where the collar points, None for as usual, and whether the garment is threaded."""
        return self._layer.collar, self._layer.threaded

    def expect(self, order: Iterable[Wanted]) -> None:
        """Take what else is pressed in the run: its sizes are laid alike where they can be."""
        self._layer.expect(order)

    def prepare(
        self,
        piece: Piece,
        imprint: Imprint,
        location_of: LocationOf,
        collar: Shift | None = None,
        together: Sequence[Imprint] = (),
        seen: ClothSeen | None = None,
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
        seen : ClothSeen, optional
            What was measured of the cloth.

        Raises
        ------
        Refusal
            If the artwork, the placement or the platen stands in the way; says what to do.
        """
        if len(self._layer) > REMEMBERED:
            self._placer = Placer()
            self._layer.forget()

        def placed_of(piece: Piece, imprint: Imprint) -> Placed:
            return self._placed(piece, imprint, location_of)

        placed = placed_of(piece, imprint)
        rig, _ = self._layer.choose(placed)
        planned = self._layer.as_the_run(piece, placed, rig, placed_of)
        others = [placed_of(piece, other) for other in together if other != imprint]
        if others:
            shared = self._together(piece, placed, rig, planned, others, placed_of)
            planned = planned if shared is None else shared
        planned = self._layer.with_better(placed, planned)
        loading = planned if collar is None else collared(planned, collar)
        palette = palette_on(piece.colour)
        if seen is not None and seen.height is not None:
            loading = replace(loading, height=seen.height)
        if seen is not None and seen.colour is not None:
            palette = palette_for(seen.colour)
        choice = Choice(placed.placement, loading)
        return ReadyImprint(imprint.id, self.rigs[rig], choice, planned, palette)

    def _together(
        self, piece: Piece, placed: Placed, rig: int, planned: Loading, others: Sequence[Placed],
        placed_of: Callable[[Piece, Imprint], Placed],
    ) -> Loading | None:  # fmt: skip
        """Return a loading that presses several imprints of a piece; None where none does."""
        together = [(placed, planned)]
        for other in others:
            try:
                together.append((other, self._layer.as_the_run(piece, other, rig, placed_of)))
            except Refusal:
                return None
        return self._layer.shared(placed, rig, together)

    def _placed(self, piece: Piece, imprint: Imprint, location_of: LocationOf) -> Placed:
        key = _content(piece, imprint, location_of)
        if self._place is not None:
            return Placed(imprint, self._place(piece, imprint, location_of), key)
        return Placed(imprint, place_imprint(self._placer, piece, imprint, location_of), key)

    def platen_for(self, piece: Piece, imprint: Imprint, location_of: LocationOf) -> str:
        """Return what the platen is called on which an imprint is to be pressed.

        Raises
        ------
        Refusal
            If there is a rig for none that takes it.
        """
        rig, _ = self._layer.choose(self._placed(piece, imprint, location_of))
        return called(self.rigs[rig])

    def lay(self, placement: Placement, imprint: Imprint) -> Loading:
        """Return how an imprint lies on the platen that takes it best.

        Raises
        ------
        Refusal
            If none does.
        """
        placed = Placed(imprint, placement)
        return self._layer.with_better(placed, self._layer.choose(placed)[1])


def _content(piece: Piece, imprint: Imprint, location_of: LocationOf) -> Hashable:
    """Return what decides where an imprint is placed: equal content, equal placement."""
    over = next((each for each in piece.imprints if each.id == imprint.follows), None)
    return (
        (piece.style, piece.size, piece.fit),
        location_of(imprint),
        (imprint.art, changed_at(imprint.art)),
        (imprint.width, imprint.height, imprint.common, imprint.turn),
        (imprint.face, imprint.arc, imprint.narrowest, imprint.under),
        None if over is None else _content(piece, over, location_of),
    )


def changed_at(art: Art) -> int:
    """Return when an artwork's file was changed last, ns; 0 if there is none."""
    if art.path is None or not art.path.is_file():
        return 0
    return art.path.stat().st_mtime_ns


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
