"""An imprint made ready to be lit: from the order to where its light goes."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace

from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.file import Rig
from calibration.rig.platens import platen_name
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.light.choice import Choice, about
from chalkbeam.orders.pieces import Art, Imprint, Piece
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Collar, Loading, load, looks_of
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import Platen, alike, name_of, padded
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.placement.shift import Shift
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
        self.rigs = tuple(rigs)
        self.collar = collar
        self.threaded = threaded
        self._overhang, self._aside = overhang, aside
        self._place = place
        self._placer = Placer()
        self._loaded: dict[tuple[Hashable, ...], Loading] = {}

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
        if len(self._loaded) > REMEMBERED:
            self._placer = Placer()
            self._loaded.clear()
        placed = self._placed(piece, imprint, location_of)
        rig, planned = self._lay_on(placed, imprint)
        others = [self._placed(piece, other, location_of) for other in together if other != imprint]
        if others:
            planned = self._shared(rig, imprint, placed, planned, others)
        loading = planned if collar is None else collared(planned, collar)
        palette = palette_on(piece.colour)
        if seen is not None and seen.height is not None:
            loading = replace(loading, height=seen.height)
        if seen is not None and seen.colour is not None:
            palette = palette_for(seen.colour)
        choice = Choice(placed.placement, loading)
        return ReadyImprint(imprint.id, self.rigs[rig], choice, planned, palette)

    def _placed(self, piece: Piece, imprint: Imprint, location_of: LocationOf) -> _Placed:
        key = _content(piece, imprint, location_of)
        if self._place is not None:
            return _Placed(self._place(piece, imprint, location_of), key)
        return _Placed(place_imprint(self._placer, piece, imprint, location_of), key)

    def platen_for(self, piece: Piece, imprint: Imprint, location_of: LocationOf) -> str:
        """Return what the platen is called on which an imprint is to be pressed.

        Raises
        ------
        Refusal
            If there is a rig for none that takes it.
        """
        rig, _ = self._lay_on(self._placed(piece, imprint, location_of), imprint)
        return called(self.rigs[rig])

    def lay_on(self, placement: Placement, imprint: Imprint) -> tuple[Rig, Loading]:
        """Return the rig whose platen is wanted and takes the imprint best, and how it lies.

        That is the first on which nothing asks for a look, else the one with the fewest.

        Raises
        ------
        Refusal
            If none does.
        """
        rig, loading = self._lay_on(_Placed(placement), imprint)
        return self.rigs[rig], loading

    def lay(self, placement: Placement, imprint: Imprint) -> Loading:
        """Return how an imprint lies on the first rig that takes it; raises as `lay_on`."""
        return self.lay_on(placement, imprint)[1]

    def _lay_on(self, placed: _Placed, imprint: Imprint) -> tuple[int, Loading]:
        """Return the same as `lay_on`, the rig by its place among the rigs."""
        refused: Refusal | None = None
        best: tuple[int, int, Loading] | None = None
        for index in self._wanted(imprint.platen):
            try:
                loading = self._load_on(placed, index, imprint)
            except Refusal as refusal:
                refused = refused or refusal
                continue
            looks = looks_of(loading)
            if best is None or looks < best[0]:
                best = (looks, index, loading)
            if not looks:
                break
        if best is not None:
            return best[1:]
        if refused is not None:
            raise refused
        have = ", ".join(rig.name or "unnamed" for rig in self.rigs)
        raise Refusal(
            f"This imprint wants platen {imprint.platen} and the rigs at hand are for others "
            f"({have}): put that platen on and ",
            Remedy(RemedyKind.RIG, "add its rig"),
            ", or skip the imprint.",
        )

    def _wanted(self, platen: str) -> list[int]:
        """Return the places of the rigs that are for a platen as the sheet names it; else all."""
        if not platen:
            return list(range(len(self.rigs)))
        name = platen.strip().casefold()
        named = [k for k, rig in enumerate(self.rigs) if called(rig).casefold() == name]
        if named:
            return named
        wanted = find_platen(platen).face
        return [k for k, rig in enumerate(self.rigs) if alike(rig.face, wanted)]

    def _shared(
        self,
        rig: int,
        imprint: Imprint,
        placed: _Placed,
        planned: Loading,
        others: Sequence[_Placed],
    ) -> Loading:
        """Return a loading that presses several imprints without moving the garment.

        Tried are the loadings that each would have alone, first the highest on the
        garment. Where none serves all, this imprint keeps its own.
        """
        everything = sorted((placed, *others), key=lambda each: each.placement.centre[1])
        for leading in everything:
            try:
                alone = self._load_on(leading, rig, imprint)
                laid = [self._load_on(each, rig, imprint, alone) for each in everything]
            except Refusal:
                continue
            return laid[everything.index(placed)]
        return planned

    def _load_on(
        self, placed: _Placed, rig: int, imprint: Imprint, like: Loading | None = None
    ) -> Loading:
        """Return how a garment lies on a rig's platen; `like` another loading of the same face."""
        own = self._overhang if imprint.overhang is None else imprint.overhang
        overhang = own if like is None else like.overhang
        own_aside = self._aside if imprint.aside is None else imprint.aside
        aside = own_aside if like is None else like.aside
        pad = None if like is None else like.platen.pad  # it lies under the garment already
        key = (placed.content, rig, imprint.padding, overhang, aside, pad)
        if placed.content is not None and key in self._loaded:
            return self._loaded[key]
        bare = Platen(called(self.rigs[rig]), self.rigs[rig].face)
        plate = padded(bare, imprint.pad, imprint.pad_place)
        if pad is not None:
            plate = bare.with_pad(replace(pad, free=False))
        loading = load(
            placed.placement, plate, collar=self.collar, threaded=self.threaded,
            overhang=overhang, aside=aside,
        )  # fmt: skip
        if placed.content is not None:
            self._loaded[key] = loading
        return loading


@dataclass(frozen=True)
class _Placed:
    """A placement with what it was made from, by value; None where that is not known."""

    placement: Placement
    content: Hashable = None


def _content(piece: Piece, imprint: Imprint, location_of: LocationOf) -> Hashable:
    """Return what decides where an imprint is placed: equal content, equal placement."""
    over = next((each for each in piece.imprints if each.id == imprint.follows), None)
    return (
        (piece.style, piece.size, piece.fit),
        location_of(imprint),
        (imprint.art, changed_at(imprint.art)),
        (imprint.width, imprint.height, imprint.common, imprint.turn),
        (imprint.face, imprint.arc, imprint.under),
        None if over is None else _content(piece, over, location_of),
    )


def changed_at(art: Art) -> int:
    """Return when an artwork's file was changed last, ns; 0 if there is none."""
    if art.path is None or not art.path.is_file():
        return 0
    return art.path.stat().st_mtime_ns


def called(rig: Rig) -> str:
    """Return what a rig's platen is called: its own name, one of its size on file, the rig's."""
    return rig.platen or name_of(rig.face) or rig.name or platen_name(rig)


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
