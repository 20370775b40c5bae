"""What of an order's transfers is short and what is spare, as commands tell it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chalkbeam.basics.units import Unit
    from chalkbeam.orders.cut_list import CutList


def spare_words(found: CutList, unit: Unit) -> list[str]:
    """Return which transfers are short and which are spare, a sentence each."""
    said = []
    kinds = (("Short", found.short), ("Spare", found.spares), ("Not listed", found.unlisted))
    for title, rows in kinds:
        if rows:
            told = "; ".join(f"{count} of {each.words(unit)}" for each, count in rows)
            said.append(f"{title}: {told}.")
    return said
