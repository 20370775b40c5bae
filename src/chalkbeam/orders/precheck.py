"""An order placed imprint by imprint before its run begins: what would stop the press is found.

Everything is done that the station would do for an imprint: its artwork is read and measured,
its place worked out, a platen found that takes it. All that would stop the work is told at
once, by row and column of the sheet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import cast

from calibration.refusal import Refusal
from chalkbeam.artwork import TooLong
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Fit, garment
from chalkbeam.locations import location as find_location
from chalkbeam.orders.headers import Cells, Column
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.orders.place_imprint import Lay, place_imprint, read_ahead, read_artwork
from chalkbeam.orders.problems import Problem, row_words
from chalkbeam.orders.second_heat import heated_anyway
from chalkbeam.orders.sheet import RunSheet
from chalkbeam.orders.under_head import by_where_they_lie
from chalkbeam.placement import Impossible, Placement, Severity
from chalkbeam.placement.loading import Collar, Loading, OffPlaten, against, load
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import padded, parse_pad, platens
from chalkbeam.placement.platens import platen as find_platen

REMEMBERED = 2000
"""Placements in the cache before it is emptied, to bound memory."""

MOST_ROWS = 8
"""More rows with the same caution are only counted: at the press each is shown."""


class _Bad(Exception):
    """A Refusal, with the column that it is about."""

    def __init__(self, column: Column | None, message: str) -> None:
        super().__init__(message)
        self.column, self.message = column, message


def precheck_order(
    order: RunSheet,
    lay: Lay,
    unit: Unit = Unit.MM,
    location_of: Callable[[Imprint], str] = lambda imprint: imprint.location,
    begun: Callable[[int], None] = lambda number: None,
) -> tuple[tuple[Problem, ...], tuple[str, ...]]:
    """Place every different imprint of an order.

    Parameters
    ----------
    order : RunSheet
    lay : callable
        See `Lay`: `on_file` without a rig, the station's `ImprintPreparer.lay` with one.
    unit : Unit
        Unit of the lengths in what is said.
    location_of : callable
        Imprint to the name of the location in force for it; the sheet's without.
    begun : callable
        Is told of each piece, as its turn comes, how many have been gone through before it.

    Returns
    -------
    problems : tuple of Problem
        What would stop the work at the press.
    cautions : tuple of str
        What to look at before pressing, a sentence each, with its rows.
    """
    problems, cautions = cautions_by_piece(order, lay, unit, location_of, begun)
    return problems, caution_lines(cautions)


Cautions = dict[str, dict[tuple[int, str], None]]
"""What to look at before pressing, a sentence each, and the rows and sizes of its pieces."""


def caution_lines(cautions: Cautions) -> tuple[str, ...]:
    """Return cautions with their rows, a line each."""
    return tuple(
        f"{row_words(list(dict.fromkeys(row for row, _ in pieces)), MOST_ROWS)}: {sentence}"
        for sentence, pieces in cautions.items()
    )


def cautions_by_piece(
    order: RunSheet,
    lay: Lay,
    unit: Unit = Unit.MM,
    location_of: Callable[[Imprint], str] = lambda imprint: imprint.location,
    begun: Callable[[int], None] = lambda number: None,
) -> tuple[tuple[Problem, ...], Cautions]:
    """Place every different imprint of an order, as `precheck_order`; tell pieces apart."""
    problems: list[Problem] = []
    cautions: Cautions = {}
    answers: dict[tuple[object, ...], tuple[str, ...] | _Bad] = {}

    def alike(imprint: Imprint | None) -> Imprint | None:
        """Return what of an imprint decides how it comes out."""
        return imprint and replace(imprint, id="", follows=None, location=location_of(imprint))

    checker = _Checker(lay, unit, location_of)
    read_ahead(imprint for piece in order.pieces for imprint in piece.imprints)
    covers = by_where_they_lie(lay, location_of)
    seen: set[tuple[int, str]] = set()
    for number, piece in enumerate(order.pieces):
        begun(number)
        alike_row = (piece.row, piece.size)
        if alike_row in seen:  # the copies of a row are alike
            continue
        seen.add(alike_row)
        for place, imprint in enumerate(piece.imprints, start=1):
            cells = order.cells.get((piece.row, place), Cells(None, None, None, None))
            over = next((each for each in piece.imprints if each.id == imprint.follows), None)
            key = (piece.style, piece.size, piece.fit, cells, *map(alike, (imprint, over)))
            if key not in answers:
                try:
                    answers[key] = tuple(checker.at(piece, imprint, cells))
                except _Bad as bad:
                    answers[key] = bad
            answer = answers[key]
            if isinstance(answer, _Bad):
                at = (answer.column.index, answer.column.title) if answer.column else (-1, "")
                problems.append(Problem(piece.row, *at, answer.message.rstrip(".") + "."))
                continue
            for sentence in answer:
                cautions.setdefault(f"{location_of(imprint)}: {sentence}", {})[alike_row] = None
        for heated in heated_anyway(piece, covers):
            said = heated.words(location_of(heated.print_), location_of(heated.by))
            cautions.setdefault(said, {})[alike_row] = None
    return tuple(problems), cautions


class _Checker:
    """Checks imprints one by one; caches what the next ones may share."""

    def __init__(self, lay: Lay, unit: Unit, location_of: Callable[[Imprint], str]) -> None:
        self._lay, self._unit, self._location_of = lay, unit, location_of
        self._placer = Placer()
        self._laid: dict[tuple[object, ...], Loading | Refusal] = {}

    def at(self, piece: Piece, imprint: Imprint, cells: Cells) -> list[str]:
        """Return what to look at before pressing an imprint.

        Raises
        ------
        _Bad
            If it cannot be pressed, or should not.
        """
        if len(self._placer) > REMEMBERED:
            self._placer = Placer()
            self._laid.clear()
        try:
            worn = garment(piece.style, piece.size, fit=cast(Fit, piece.fit or "regular"))
        except Refusal as refusal:  # such as a chart spoiled since the sheet was read
            raise _Bad(None, str(refusal)) from None
        where = self._location_of(imprint)
        try:
            read_artwork(imprint, worn, find_location(where))
        except Refusal as refusal:
            raise _Bad(cells.artwork or cells.location, self._words(refusal)) from None
        try:
            placement = place_imprint(self._placer, piece, imprint, self._location_of)
        except Refusal as refusal:
            said = self._words(refusal)
            raise _Bad(cells.location, f"{where} cannot be: {said}") from None
        stops = [each for each in placement.warnings if each.severity is Severity.STOP]
        if stops:
            words = " ".join(each.sentence.say(self._unit) for each in stops)
            raise _Bad(cells.location, f"{where} would spoil the garment: {words}")
        loading = self._loading(placement, imprint, cells)
        concerns = [*placement.warnings, *loading.concerns]
        return [
            each.sentence.say(self._unit) for each in concerns if each.severity is Severity.CAUTION
        ]

    def _loading(self, placement: Placement, imprint: Imprint, cells: Cells) -> Loading:
        for text, read, column in (
            (imprint.platen, find_platen, cells.platen),
            (imprint.pad, parse_pad, cells.pad),
        ):
            try:
                if text:
                    read(text)
            except Refusal as refusal:
                raise _Bad(column, str(refusal)) from None
        # By identity: the placer holds the placement as long as it is asked for.
        key = (id(placement), imprint.platen, imprint.padding, imprint.overhang, imprint.aside)
        if key not in self._laid:
            try:
                self._laid[key] = self._lay(placement, imprint)
            except Refusal as refusal:
                self._laid[key] = refusal
        loading = self._laid[key]
        if isinstance(loading, Refusal):
            said = f"{self._location_of(imprint)}: {self._words(loading)}"
            raise _Bad(cells.platen if imprint.platen else cells.location, said)
        return loading

    def _words(self, refusal: Refusal) -> str:
        """Return what a refusal says, its lengths in the unit asked for."""
        if isinstance(refusal, Impossible | OffPlaten | TooLong):
            return refusal.words.say(self._unit)
        return str(refusal)


def on_file(collar: Collar | None = None, threaded: bool = True) -> Lay:
    """Return how to lay imprints where no rig is named: on the sheet's platen, else on any on file.

    The largest platen that nothing speaks `against` is taken; where there is none, the one with the
    least.
    """
    largest_first = sorted(
        platens().values(), key=lambda each: each.face.width * each.face.depth, reverse=True
    )

    def lay(placement: Placement, imprint: Imprint) -> Loading:
        tried = [find_platen(imprint.platen)] if imprint.platen else largest_first
        refused: Refusal | None = None
        best: Loading | None = None
        for plate in tried:
            try:
                loading = load(
                    placement, padded(plate, imprint.pad, imprint.pad_place), collar=collar,
                    threaded=threaded, overhang=imprint.overhang, aside=imprint.aside,
                )  # fmt: skip
            except Refusal as refusal:
                refused = refused or refusal
                continue
            if not any(against(loading)):
                return loading
            if best is None or against(loading) < against(best):
                best = loading
        if best is not None:
            return best
        assert refused is not None
        raise refused

    return lay
