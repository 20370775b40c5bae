"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
from pathlib import Path

from calibration.refusal import Refusal


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it there, so that it is never half-written.

    Raises
    ------
    Refusal
        If the folder cannot be written to.
    """
    if not path.name:
        raise Refusal(f"“{path}” is no file to write: name one.")
    beside = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise Refusal(
            f"{path} cannot be written: {error.strerror or error}; choose another place."
        ) from None
