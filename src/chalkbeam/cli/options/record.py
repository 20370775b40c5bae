"""The record: a file, or the address of the queue that several presses share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal

if TYPE_CHECKING:
    from chalkbeam.presses.address import Address

RecordOption = Annotated[
    str | None,
    typer.Option(
        "--record",
        metavar="FILE|ADDRESS",
        help="The record: a file, or the address of several presses' queue "
        "(postgresql://name@server/database); the shop's own without.",
    ),
]
RecordFileOption = Annotated[
    Path | None, typer.Option("--record", help="The record; the shop's own without.")
]


def queue_address(record: str | None) -> Address | None:
    """Return the address of the queue that is meant; None for a record in a file.

    Raises
    ------
    Refusal
        If it is no address that can be used.
    """
    if record is not None and "://" not in record:
        return None
    from chalkbeam.presses.address import read_address
    from chalkbeam.presses.places import settings_file

    if record is None:
        if not settings_file().is_file():  # most shops: nothing more is loaded
            return None
        from chalkbeam.presses.settings import shop_settings

        record = shop_settings().record
    return read_address(record) if record else None


def record_path(record: str | None) -> Path:
    """Return the file of a record that is no address."""
    from chalkbeam.record.store import record_file

    if record is None:
        return record_file()
    if not record.strip():
        raise Refusal("--record names no file: write one, or leave it out.")
    return Path(record)
