"""SQLite's write-ahead log, in which readers and the writer do not wait for each other."""

from __future__ import annotations

import sqlite3
import time

_PAUSE = 0.01


def use_write_ahead(connection: sqlite3.Connection, wait: float) -> None:
    """Switch a database to the write-ahead log; one that is switched stays so.

    While another program is just making the file this fails at once, whatever time-out the
    connection has: the switch begins as a reader and then asks to write, and SQLite lets nobody
    wait who holds a lock already.

    Parameters
    ----------
    connection : sqlite3.Connection
        Outside a transaction.
    wait : float
        Seconds to wait for other programs.

    Raises
    ------
    sqlite3.OperationalError
        If they go on for longer, or the file cannot be used.
    """
    until = time.monotonic() + wait
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > until:
                raise
        time.sleep(_PAUSE)
