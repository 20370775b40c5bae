"""Files read up to a size, and written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from calibration.refusal import Refusal

LARGEST_DATA = 20_000_000
"""Bytes of the largest file of data (presets, rigs, points); real ones take a fiftieth."""


def read_whole(path: Path, largest: int = LARGEST_DATA) -> bytes:
    """Return a file's content; nothing is read of what is no plain file, or has no end.

    Parameters
    ----------
    path : Path
    largest : int
        Bytes beyond which the file is taken for a mistake.

    Raises
    ------
    Refusal
        If it is a device, a pipe or a socket, or larger.
    OSError
        If it is missing, a folder, or may not be read.
    """
    try:
        # Not to wait for the other end of a pipe.
        number = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except ValueError:  # a name with a NUL in it
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path)) from None
    with os.fdopen(number, "rb") as file:
        state = os.fstat(number)
        if stat.S_ISDIR(state.st_mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if not stat.S_ISREG(state.st_mode):
            raise Refusal(f"{path} is a device or a pipe and no file: name a plain file.")
        # Room for what is asked for is made before it is read: ask for no more than there is.
        content = file.read(min(largest, state.st_size) + 1)
    if len(content) > largest:
        raise Refusal(
            f"{path} is larger than {largest // 1_000_000} MB, too large for what it should hold: "
            "check which file it is."
        )
    return content


def below(folder: Path, name: str) -> Path | None:
    """Return the place that a name in a file means; None where it leaves the folder.

    Parameters
    ----------
    folder : Path
    name : str
        As a drawing or a sheet writes it: no absolute path, and no way up out of the folder.
        What a link in the folder points to is the shop's own doing and is followed.
    """
    if "\0" in name or Path(name).is_absolute() or Path(name).drive:
        return None
    inside = Path(os.path.normpath(name))
    return None if inside.parts[:1] == (os.pardir,) else folder / inside


def resolved(path: Path) -> Path:
    """Return a path made absolute, links followed; unlike `Path.resolve` of a ring of links too."""
    return Path(os.path.realpath(path))


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
    if not path.name:
        raise Refusal(f"“{path}” is no file to write: name one.")
    if endings and path.suffix.lower() not in endings:
        raise Refusal(
            f"“{path}” does not end in {' or '.join(endings)}, which is what is written: "
            f"name it {path.with_suffix(endings[0]).name}."
        )
    folder = resolved(path).parent
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
