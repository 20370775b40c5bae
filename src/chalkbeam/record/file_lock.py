"""A lock that programs hold on an open file, let go by the system when one of them dies."""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

_FAR = 1 << 62
"""Where a byte is locked that no file reaches to; some systems lock bytes, not files."""
_PAUSE = 0.005

if sys.platform == "win32":
    import msvcrt

    def _take(file: int) -> None:
        os.lseek(file, _FAR, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

    def _let_go(file: int) -> None:
        os.lseek(file, _FAR, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _take(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _let_go(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_UN)


@contextmanager
def locked(file: int, wait: float) -> Iterator[None]:
    """Hold an open file for this program alone.

    Parameters
    ----------
    file : int
        Its number with the system.
    wait : float
        Seconds to wait for another program.

    Raises
    ------
    OSError
        If another program holds on to it ("locked"), or the file cannot be locked.
    """
    until = time.monotonic() + wait
    while True:
        try:
            _take(file)
            break
        except OSError as error:
            if error.errno not in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
                raise
            if time.monotonic() > until:
                raise OSError(errno.EBUSY, "the file is locked") from None
            time.sleep(_PAUSE)
    try:
        yield
    finally:
        _let_go(file)
