"""What a press has last heard of the others, kept for when the queue does not answer."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from calibration.files import read_whole, write_whole
from chalkbeam.record.elsewhere import Elsewhere


@cache
def _adapter() -> TypeAdapter[Elsewhere]:
    return TypeAdapter(Elsewhere)


def heard_file(record: Path, run: str) -> Path:
    """Return the file beside a press's record."""
    return record.with_name(f"heard-{run}.json")


def keep(path: Path, elsewhere: Elsewhere) -> None:
    """Keep what was heard."""
    write_whole(path, _adapter().dump_json(elsewhere))


def last_heard(path: Path) -> Elsewhere:
    """Return what was kept; nothing where that cannot be read."""
    try:
        return _adapter().validate_json(read_whole(path))
    except (OSError, ValidationError):
        return Elsewhere()
