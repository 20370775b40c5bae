"""Pictures of what was pressed, kept beside the record as JPEG, within a limit."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import write_whole

WIDEST = 960
"""Of a kept picture, px."""

LARGEST = 120_000
"""Bytes of a kept picture."""

LIMIT = 500_000_000
"""Bytes of all pictures of a record; then the oldest go."""


class PictureFolder:
    """Where a record's pictures lie.

    Parameters
    ----------
    folder : Path
        Made with the first picture.
    limit : int
        Bytes.
    """

    def __init__(self, folder: Path, limit: int = LIMIT) -> None:
        self.folder, self._limit = folder, limit

    @classmethod
    def of(cls, record: Path) -> PictureFolder:
        """Return the folder beside a record."""
        return cls(record.with_name(f"{record.stem}-pictures"))

    def keep(self, name: str, picture: NDArray[np.uint8]) -> str:
        """Keep a picture; return the name of its file, empty if it cannot be written.

        A picture is worth no stopped press: what cannot be kept is left out.

        Parameters
        ----------
        name : str
            Of what it shows; what no file's name may hold is left out.
        picture : ndarray, shape (height, width, 3), uint8, BGR
        """
        file = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") + ".jpg"
        try:
            data = _packed(picture)
            write_whole(self.folder / file, data)
            self._tidy()
        except Exception:  # a full disk, a picture that is none: told by its absence
            return ""
        return file

    def _tidy(self) -> None:
        files = sorted(self.folder.glob("*.jpg"), key=lambda path: path.stat().st_mtime_ns)
        total = sum(path.stat().st_size for path in files)
        for path in files[:-1]:
            if total <= self._limit:
                return
            total -= path.stat().st_size
            with suppress(OSError):
                path.unlink()


def _packed(picture: NDArray[np.uint8]) -> bytes:
    scale = min(1.0, WIDEST / picture.shape[1])
    if scale < 1:
        picture = np.asarray(
            cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8
        )
    for quality in (82, 65, 45, 25):
        done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if done and len(data) <= LARGEST:
            break
    return bytes(data.tobytes())
