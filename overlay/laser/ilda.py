"""The bytes of frames in ILDA's Image Data Transfer Format, revision 011 (2014).

Formats 4 (x, y, z) and 5 (x, y), both in true colour, big-endian. Every section has a header of
32 bytes: ``ILDA``, three zeros, the format, a name and a company of 8 bytes each, the number of
records, this frame's number, the number of frames, the projector, a zero. A record holds the
coordinates as signed 16-bit numbers, a status byte (0x40 the beam is off, 0x80 the last point)
and **blue, green, red**. A header without records ends the file.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Literal

import numpy as np

from overlay.laser.paths import BeamPath
from overlay.palette import RGB

FULL = 32767
"""Full scale; −32768 is left alone, as readers disagree about it."""
MOST = 65535
"""Records of a frame."""
OFF, LAST = 0x40, 0x80

_HEADER = struct.Struct(">4s3xB8s8sHHHBx")
_RECORDS = {
    4: np.dtype([("x", ">i2"), ("y", ">i2"), ("z", ">i2"), ("status", "u1"), ("bgr", "u1", 3)]),
    5: np.dtype([("x", ">i2"), ("y", ">i2"), ("status", "u1"), ("bgr", "u1", 3)]),
}


def ilda_bytes(
    frames: Sequence[tuple[str, BeamPath]],
    colour: RGB = (255, 255, 255),
    form: Literal[4, 5] = 5,
    company: str = "Chalkbm",
) -> bytes:
    """Return a file of frames.

    Parameters
    ----------
    frames : sequence of (str, BeamPath)
        Each with a name, of which the first 8 letters are kept.
    colour : RGB
        Of the lit beam.
    form : {5, 4}
        Without or with a depth, which is zero.
    company : str

    Raises
    ------
    ValueError
        If a frame has no or too many points, or leaves full scale.
    """
    whole = b""
    for number, (name, path) in enumerate(frames):
        whole += _head(form, name, company, len(path.signals), number, len(frames))
        whole += _records(path, colour, form)
    return whole + _head(form, "", company, 0, 0, len(frames))


def _head(form: int, name: str, company: str, records: int, number: int, total: int) -> bytes:
    eight = (text.encode("ascii", "replace")[:8] for text in (name, company))
    return _HEADER.pack(b"ILDA", form, *eight, records, number, total, 0)


def _records(path: BeamPath, colour: RGB, form: int) -> bytes:
    count = len(path.signals)
    if not 0 < count <= MOST or np.abs(path.signals).max() > 1.0:
        raise ValueError(f"no frame of {count} points within full scale")
    records = np.zeros(count, dtype=_RECORDS[form])
    at = np.rint(path.signals * FULL).astype(np.int16)
    records["x"], records["y"] = at[:, 0], at[:, 1]
    records["status"] = np.where(path.lit, 0, OFF)
    records["status"][-1] |= LAST
    records["bgr"] = np.where(path.lit[:, None], colour[::-1], 0)
    return records.tobytes()
