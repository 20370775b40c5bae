"""Pair kerning of a font: from its GPOS table, else from its older `kern` table.

Table layouts: OpenType specification, "GPOS: Glyph Positioning Table" (pair
adjustment, lookup type 2, and extension, type 9) and "kern: Kerning".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

Kerning = Callable[[str, str], float]
"""(glyph name before, glyph name after) to the change of the advance, in font units."""


def read_kerning(font: Any) -> Kerning:
    """Return how a font brings pairs of glyphs nearer or apart.

    Parameters
    ----------
    font : fontTools.ttLib.TTFont

    Returns
    -------
    callable
        Gives 0 for pairs that the font does not name.
    """
    groups = [list(group) for group in _pair_lookups(font)]
    if groups:
        return lambda before, after: sum(_first(group, before, after) for group in groups)
    pairs: dict[tuple[str, str], int] = {}
    if "kern" in font:
        for table in font["kern"].kernTables:
            pairs.update(getattr(table, "kernTable", {}))
    return lambda before, after: float(pairs.get((before, after), 0))


def _pair_lookups(font: Any) -> Iterator[Iterator[Any]]:
    """Yield, for each pair lookup of the kern feature, its subtables."""
    table = font["GPOS"].table if "GPOS" in font else None
    if table is None or table.FeatureList is None or table.LookupList is None:
        return
    wanted = sorted(
        {
            index
            for record in table.FeatureList.FeatureRecord
            if record.FeatureTag == "kern"
            for index in record.Feature.LookupListIndex
        }
    )
    for index in wanted:
        subtables = [getattr(s, "ExtSubTable", s) for s in table.LookupList.Lookup[index].SubTable]
        pairs = [s for s in subtables if s.LookupType == 2]
        if pairs:
            yield iter(pairs)


def _first(subtables: list[Any], before: str, after: str) -> float:
    """Return the change of advance by the first subtable that covers the pair."""
    for subtable in subtables:
        if before not in subtable.Coverage.glyphs:
            continue
        if subtable.Format == 1:
            which = subtable.Coverage.glyphs.index(before)
            for record in subtable.PairSet[which].PairValueRecord:
                if record.SecondGlyph == after:
                    return _advance(record.Value1)
        else:
            first = subtable.ClassDef1.classDefs.get(before, 0)
            second = subtable.ClassDef2.classDefs.get(after, 0)
            return _advance(subtable.Class1Record[first].Class2Record[second].Value1)
    return 0.0


def _advance(value: Any) -> float:
    return float(getattr(value, "XAdvance", 0) or 0) if value is not None else 0.0
