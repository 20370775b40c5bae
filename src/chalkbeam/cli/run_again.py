"""How a sheet was read when its run began: in which unit, and with artwork from where."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.orders.pieces import Piece

SAME = 0.05
"""Sizes this near are one, mm."""


def read_as_before(asked: RunOptions, pieces: Iterable[Piece]) -> RunOptions:
    """Return what is asked of a run with unit and artwork's folder as an earlier run had them.

    Parameters
    ----------
    asked : RunOptions
        Without either.
    pieces : iterable of Piece
        The earlier run's.
    """
    before = {imprint.id: imprint for piece in pieces for imprint in piece.imprints}
    folders = [each.art.path.parent for each in before.values() if each.art.path is not None]
    folder = next((each for each in folders if each.is_dir()), None)
    if folder is not None and folder != asked.sheet.parent:
        asked = replace(asked, artwork=folder)
    if _sizes(asked.sheet, None, asked.artwork) is not None:
        return asked

    def alike(unit: Unit) -> int:
        sizes = _sizes(asked.sheet, unit, asked.artwork) or {}
        was = {name: (each.width, each.height) for name, each in before.items()}
        return sum(all(map(_same, was[name], now)) for name, now in sizes.items() if name in was)

    best = max(Unit, key=alike)
    return replace(asked, unit=best) if alike(best) else asked


_Size = tuple[float | None, float | None]


def _sizes(sheet: Path, unit: Unit | None, artwork: Path | None) -> dict[str, _Size] | None:
    """Return the sizes of a sheet's imprints by id, mm; None where it cannot be read so."""
    from chalkbeam.orders.sheet import read_sheet

    with suppress(Refusal):
        order = read_sheet(sheet, unit=unit, artwork_folder=artwork, absent=True)
        imprints = (imprint for piece in order.pieces for imprint in piece.imprints)
        return {each.id: (each.width, each.height) for each in imprints}
    return None


def _same(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= SAME
