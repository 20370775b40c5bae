"""What other presses have said of an order, for the one that goes on with its own pieces."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from chalkbeam.placement.shift import Shift


@dataclass(frozen=True)
class Elsewhere:
    """What holds for an order by what was said at other presses.

    Attributes
    ----------
    ended : frozenset of str
        Imprints that ended there, on the garment that counts.
    nudges, batch_nudges : mapping of str to Shift
        Corrections of the lay lines by imprint and by batch, platen frame, mm and rad.
    collars : mapping of str to Shift
        Where real collars are, by the keys of `chalkbeam.record.corrections.Corrections`.
    places : mapping of str to str
        Locations chosen, by imprint.
    used, replaced : mapping of str to int
        Transfers used up there, by `PrintedTransfer.key`, and fresh garments taken, by pile.
    stocked : mapping
        What there is for the order, as a press has listed it (`Kind.STOCKED`); empty for nothing.
    """

    ended: frozenset[str] = frozenset()
    nudges: Mapping[str, Shift] = field(default_factory=dict)
    batch_nudges: Mapping[str, Shift] = field(default_factory=dict)
    collars: Mapping[str, Shift] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    used: Mapping[str, int] = field(default_factory=dict)
    replaced: Mapping[str, int] = field(default_factory=dict)
    stocked: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, presses: Iterable[Elsewhere], ended: Iterable[str]) -> Elsewhere:
        """Return what several presses have said, as one: corrections add up."""
        whole = cls(frozenset(ended))
        for each in presses:
            whole = replace(
                whole,
                nudges=_summed(whole.nudges, each.nudges),
                batch_nudges=_summed(whole.batch_nudges, each.batch_nudges),
                collars={**whole.collars, **each.collars},
                places={**whole.places, **each.places},
                used=Counter(whole.used) + Counter(each.used),
                replaced=Counter(whole.replaced) + Counter(each.replaced),
                stocked=whole.stocked or each.stocked,
            )
        return whole


def _summed(one: Mapping[str, Shift], other: Mapping[str, Shift]) -> dict[str, Shift]:
    return {key: one.get(key, Shift()) + other.get(key, Shift()) for key in {**one, **other}}
