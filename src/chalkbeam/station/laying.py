"""How a placed imprint lies on the platens there are rigs for: which of them, and where on it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.file import Rig
from calibration.rig.platens import platen_name
from chalkbeam.locations import location as find_location
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Collar, Loading, against, load, looks_of, with_better
from chalkbeam.placement.platens import Platen, alike, name_of, padded
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.station.common_loading import Wanted, as_good, common, of_a_kind


@dataclass(frozen=True)
class Placed:
    """An imprint with its placement, and what that was made from, by value.

    `content` is None where that is not known; then nothing is remembered of it.
    """

    imprint: Imprint
    placement: Placement
    content: Hashable = None


class PlatenLayer:
    """Lays placed imprints on platens, and remembers how.

    Parameters
    ----------
    rigs : sequence of Rig
        One for each platen; the first is for the platen that is on.
    collar, threaded, overhang, aside
        As `chalkbeam.placement.loading.load` takes them, for every imprint.
    """

    def __init__(
        self,
        rigs: Sequence[Rig],
        collar: Collar | None = None,
        threaded: bool = True,
        overhang: float | None = None,
        aside: float | None = None,
    ) -> None:
        self.rigs = tuple(rigs)
        self.collar, self.threaded = collar, threaded
        self._bare = tuple(Platen(called(rig), rig.face) for rig in rigs)
        self._overhang, self._aside = overhang, aside
        self._loaded: dict[tuple[Hashable, ...], Loading] = {}
        self._order: tuple[Wanted, ...] = ()
        self._common: dict[Hashable, dict[str, Loading]] = {}

    def __len__(self) -> int:
        """How many loadings are remembered."""
        return len(self._loaded)

    def forget(self) -> None:
        """Forget the loadings that are remembered."""
        self._loaded.clear()

    def expect(self, order: Iterable[Wanted]) -> None:
        """Take what is pressed in the run: its sizes are laid alike where they can be."""
        self._order = tuple(order)
        self._common.clear()

    def choose(self, placed: Placed) -> tuple[int, Loading]:
        """Return the place of the rig whose platen is wanted and takes an imprint best, and how.

        That is the first of the rigs where nothing speaks `against` it, else the one with the least
        against it, the largest of several.

        Raises
        ------
        Refusal
            If none does.
        """
        imprint = placed.imprint
        refused: Refusal | None = None
        found: list[tuple[int, Loading]] = []
        for index in self._wanted(imprint.platen):
            try:
                found.append((index, self._load_on(placed, index)))
            except Refusal as refusal:
                refused = refused or refusal
                continue
            if len(found) == 1 and not any(against(found[0][1])):
                break
        if found:
            first = found[0][0]

            def rank(each: tuple[int, Loading]) -> tuple[tuple[int, float], bool, float]:
                index, loading = each
                face = loading.platen.face
                return against(loading), index != first, -face.width * face.depth

            return min(found, key=rank)
        if refused is not None:
            raise refused
        have = ", ".join(rig.name or "unnamed" for rig in self.rigs)
        raise Refusal(
            f"This imprint wants platen {imprint.platen} and the rigs at hand are for others "
            f"({have}): put that platen on and ",
            Remedy(RemedyKind.RIG, "add its rig"),
            ", or skip the imprint.",
        )

    def with_better(self, placed: Placed, loading: Loading) -> Loading:
        """Return a loading on the platen that the sheet names, with one that would spare a look."""
        imprint = placed.imprint
        if not imprint.platen or not looks_of(loading):
            return loading
        named, others = self._wanted(imprint.platen), []
        for index in range(len(self.rigs)):
            if index not in named:
                with suppress(Refusal):
                    others.append(self._load_on(placed, index))
        return with_better(loading, others)

    def as_the_run(
        self, piece: Piece, placed: Placed, rig: int, placed_of: Callable[[Piece, Imprint], Placed]
    ) -> Loading:
        """Return how an imprint lies on a rig's platen: as the run's other sizes where it can.

        Raises
        ------
        Refusal
            If that platen does not take it.
        """
        own, imprint = self._load_on(placed, rig), placed.imprint
        kind = (piece.style, piece.fit, imprint.location, imprint.padding, rig)
        given = (imprint.overhang, imprint.aside, self._overhang, self._aside)
        if not self._order or _elsewhere(placed) or any(each is not None for each in given):
            return own
        if kind not in self._common:
            self._common[kind] = self._commonly(piece, imprint, rig, placed_of)
        like = self._common[kind].get(piece.size)
        if like is None:
            return own
        with suppress(Refusal):
            laid = self._load_on(placed, rig, like)
            if as_good(placed.placement, laid, own):
                return laid
        return own

    def _commonly(
        self, piece: Piece, imprint: Imprint, rig: int,
        placed_of: Callable[[Piece, Imprint], Placed],
    ) -> dict[str, Loading]:  # fmt: skip
        """Return by size how what is of a kind with an imprint is laid on a rig's platen."""
        members: dict[Wanted, Placed] = {}
        own: dict[Wanted, Loading] = {}
        for each in of_a_kind(self._order, piece, imprint):
            if rig in self._wanted(each[1].platen):
                with suppress(Refusal):
                    members[each] = placed_of(*each)
                    if not _elsewhere(members[each]):
                        own[each] = self._load_on(members[each], rig)
        found = common(
            own,
            lambda each: members[each].placement,
            lambda each, like: self._load_on(members[each], rig, like),
        )
        return {other.size: loading for (other, _), loading in found.items()}

    def shared(
        self, placed: Placed, rig: int, together: Sequence[tuple[Placed, Loading]]
    ) -> Loading | None:
        """Return a loading that presses several imprints without moving the garment.

        Tried are the loadings that each would have alone, first the highest on the garment; None
        where none serves all.

        Parameters
        ----------
        placed : Placed
            One of them.
        rig : int
        together : sequence of (Placed, Loading)
            All, and how each would lie alone.
        """
        highest = sorted(together, key=lambda each: each[0].placement.centre[1])
        for _, alone in highest:
            with suppress(Refusal):
                laid = [self._load_on(each, rig, alone) for each, _ in highest]
                return laid[[each for each, _ in highest].index(placed)]
        return None

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

    def _load_on(self, placed: Placed, rig: int, like: Loading | None = None) -> Loading:
        """Return how a garment lies on a rig's platen; `like` another loading of the same face."""
        imprint = placed.imprint
        own = self._overhang if imprint.overhang is None else imprint.overhang
        overhang = own if like is None else like.overhang
        own_aside = self._aside if imprint.aside is None else imprint.aside
        aside = own_aside if like is None else like.aside
        pad = None if like is None else like.platen.pad  # it lies under the garment already
        key = (placed.content, rig, imprint.padding, overhang, aside, pad)
        if placed.content is not None and key in self._loaded:
            return self._loaded[key]
        bare = self._bare[rig]
        plate = padded(bare, imprint.pad, imprint.pad_place)
        if pad is not None:
            plate = bare.with_pad(replace(pad, free=False))
        loading = load(
            placed.placement, plate, collar=self.collar, threaded=self.threaded,
            overhang=overhang, aside=aside,
            among=[each for index, each in enumerate(self._bare) if index != rig],
        )  # fmt: skip
        if placed.content is not None:
            self._loaded[key] = loading
        return loading


def _elsewhere(placed: Placed) -> bool:
    """Whether the operator put an imprint to another location than the sheet's."""
    return placed.placement.location.name != find_location(placed.imprint.location).name


def called(rig: Rig) -> str:
    """Return what a rig's platen is called: its own name, one of its size on file, the rig's."""
    return rig.platen or name_of(rig.face) or rig.name or platen_name(rig)
