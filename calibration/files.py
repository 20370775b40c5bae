"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from calibration.refusal import Refusal


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside its place and move it there, so that it is never half-written.

    Folders on the way are made.

    Parameters
    ----------
    path : Path
    content : str or bytes
        Text is written as UTF-8.

    Raises
    ------
    Refusal
        If the place cannot be written to.
    """
    if not path.name:
        raise Refusal(f"“{path}” is no file to write: name one.")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with beside.open("wb") as file:
                file.write(content.encode() if isinstance(content, str) else content)
                file.flush()
                os.fsync(file.fileno())  # moved before it is on disk, a power cut leaves it empty
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise Refusal(
            f"“{path}” cannot be written ({error.strerror or error}): choose another place."
        ) from None
