"""What the press's camera saw of an imprint before and after the press, as its record has it."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event


@dataclass(frozen=True)
class SeenOnRecord:
    """What was seen of one press.

    Attributes
    ----------
    garment_sure : bool or None
        Whether it was sure where the garment lay; None where that was not looked for.
    off : Shift or None
        Where the transfer lay minus its target, platen frame; None where it was not seen.
    verdict : str
        "good", "move", "wrong" or "cannot see"; empty where no transfer was looked for.
    picture : str
        Name of its picture's file; empty if none was kept.
    """

    garment_sure: bool | None = None
    off: Shift | None = None
    verdict: str = ""
    picture: str = ""


def seen_of(event: Event) -> SeenOnRecord:
    """Return what was seen of a press; nothing of one without a camera, or from before there was.

    What cannot be read is left out: it is no reason to have no report.
    """
    seen = event.data.get("seen")
    if not isinstance(seen, Mapping):
        return SeenOnRecord()
    garment, transfer = (_part(seen, name) for name in ("garment", "transfer"))
    sure = garment.get("sure")
    return SeenOnRecord(
        sure if isinstance(sure, bool) else None,
        _off(transfer),
        str(transfer.get("verdict") or ""),
        str(seen.get("picture") or ""),
    )


def printed_of(event: Event) -> Shift | None:
    """Return where a remark says that a pressed print lies, off its target, platen frame."""
    return _off(_part(event.data, "print"))


def laid_words(events: Iterable[Event]) -> str:
    """Return how far off transfers were laid, in a sentence; empty where none was seen."""
    off = [seen.off.length for event in events if (seen := seen_of(event)).off is not None]
    return _off_words(off, "transfer", "before the press closed")


def printed_words(printed: Iterable[Shift | None]) -> str:
    """Return how far off pressed prints lie, in a sentence; empty where none was seen."""
    return _off_words([off.length for off in printed if off is not None], "print", "as pressed")


def _off_words(off: list[float], what: str, when: str) -> str:
    if not off:
        return ""
    count = f"1 {what}" if len(off) == 1 else f"{len(off)} {what}s"
    return (
        f"The camera saw {count} {when}: {statistics.median(off):.1f} mm off its place at the "
        f"median, {max(off):.1f} mm at most."
    )


def _part(seen: Mapping[str, object], name: str) -> Mapping[str, object]:
    part = seen.get(name)
    return part if isinstance(part, Mapping) else {}


def _off(transfer: Mapping[str, object]) -> Shift | None:
    off, turned = transfer.get("off_mm"), transfer.get("turned_deg")
    if not isinstance(off, list) or len(off) != 2:
        return None
    try:
        x, y, angle = float(off[0]), float(off[1]), math.radians(float(str(turned or 0.0)))
    except (TypeError, ValueError):
        return None
    return Shift(x, y, angle) if all(map(math.isfinite, (x, y, angle))) else None
