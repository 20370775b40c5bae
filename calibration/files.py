"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from calibration.refusal import Refusal


def check_can_write(path: Path, *endings: str) -> None:
    """Refuse a place that `write_whole` could not write to, before any work is done.

    Parameters
    ----------
    path : Path
    endings : str
        What the name may end in, such as ".png"; none for any.

    Raises
    ------
    Refusal
        If the name ends otherwise, is a folder's, or its folder takes no file.
    """
    if endings and path.suffix.lower() not in endings:
        raise Refusal(
            f"“{path}” does not end in {' or '.join(endings)}, which is what is written: "
            f"name it {path.with_suffix(endings[0]).name}."
        )
    if not path.name:
        raise Refusal(f"“{path}” is no file to write: name one.")
    folder = path.resolve().parent
    while not folder.exists():
        folder = folder.parent
    if path.is_dir() or not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
        what = "it is a folder" if path.is_dir() else f"{folder} takes no file"
        raise Refusal(f"“{path}” cannot be written ({what}): choose another place.")


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
