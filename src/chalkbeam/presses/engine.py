"""An open queue: one database, PostgreSQL or SQLite, by the same statements."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable
from typing import Any, TypeVar

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.presses.address import Address
from chalkbeam.presses.faults import capital, queue_fault
from chalkbeam.presses.migrations import migrate
from chalkbeam.record.write_ahead import use_write_ahead

T = TypeVar("T")

WAIT = 5
"""Seconds after which a server that does not answer, or a lock of it, is given up."""
FILE_WAIT = 20
"""Seconds after which a file that other programs write is given up: they take turns, each with its
disk's own time."""
TRIES = 6
"""How often what two presses did in each other's way is done again."""
OLDEST_SERVER = 12


class Queue:
    """The queue of a shop.

    A connection that breaks is made anew with the next transaction; nothing is kept in it.

    Parameters
    ----------
    address : Address

    Raises
    ------
    Refusal
        If it cannot be opened; `chalkbeam.presses.faults.Unreachable` where it may be later.
    """

    def __init__(self, address: Address) -> None:
        self.address = address
        self._engine = _engine(address)
        try:
            self.transact(self._check_server)
            self.transact(migrate)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close its connections."""
        self._engine.dispose()

    def __enter__(self) -> Queue:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def transact(self, act: Callable[[sa.Connection], T]) -> T:
        """Return what an act gives, in one transaction: all of it is kept, or nothing.

        An act that met another press in the middle is done again from its beginning.

        Raises
        ------
        Refusal
            If it is not known to be kept. It may be kept all the same, where the connection broke
            over the answer: every act bears an id and can be done again.
        """
        for tried in range(1, TRIES + 1):
            try:
                with self._engine.begin() as connection:
                    return act(connection)
            except sa.exc.IntegrityError as error:
                # Another press was first: seen as it stands now, there is another thing to do.
                if tried == TRIES:
                    raise Refusal(
                        f"{capital(self.address)} refuses what would be claimed or pressed twice: "
                        "nothing was changed. Begin this press again."
                    ) from error
            except sa.exc.NoResultFound as error:
                raise Refusal(
                    f"{capital(self.address)} lacks what this press knows of it: an old copy was "
                    "put back, or another queue goes by its name. Leave the run and begin it again."
                ) from error
            except (sa.exc.DBAPIError, sqlite3.Error, OSError) as error:
                state = getattr(getattr(error, "orig", None), "sqlstate", None)
                if state not in ("40001", "40P01") or tried == TRIES:
                    raise queue_fault(self.address, error) from error
            time.sleep(0.01 * tried)
        raise AssertionError("unreachable")

    def _check_server(self, connection: sa.Connection) -> None:
        if not self.address.on_server:
            return
        version = connection.dialect.server_version_info
        if version is not None and int(version[0]) < OLDEST_SERVER:
            raise Refusal(
                f"PostgreSQL {version[0]} is too old for {self.address}: {OLDEST_SERVER} or newer "
                "is wanted."
            )


def _engine(address: Address) -> sa.Engine:
    if not address.on_server:
        engine = sa.create_engine(
            address.url, connect_args={"timeout": FILE_WAIT, "check_same_thread": False}
        )
        sa.event.listen(engine, "connect", _on_connect)
        sa.event.listen(engine, "begin", _on_begin)
        return engine
    settings: dict[str, Any] = {
        "connect_timeout": WAIT,
        "application_name": "chalkbeam",
        # A cable that was pulled is noticed in seconds, not in the two hours of the system.
        "keepalives_idle": WAIT,
        "keepalives_interval": 2,
        "keepalives_count": 3,
        "tcp_user_timeout": WAIT * 1000,
        "options": f"-c statement_timeout={4 * WAIT}s -c lock_timeout={WAIT}s "
        f"-c idle_in_transaction_session_timeout={6 * WAIT}s",
    }
    settings = {name: value for name, value in settings.items() if name not in address.url.query}
    # Of a line that broke the driver tells the log, too: it is told as a sentence.
    logging.getLogger("psycopg").setLevel(logging.CRITICAL)
    try:
        return sa.create_engine(address.url, connect_args=settings, pool_size=1, max_overflow=1)
    except ImportError:
        raise Refusal(
            "What talks to a database server is not installed here: install psycopg (its package "
            "with the binary part), or Chalkbeam with its part “presses”."
        ) from None


def _on_connect(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = None  # transactions begin where _on_begin says so
    use_write_ahead(connection, FILE_WAIT)
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def _on_begin(connection: sa.Connection) -> None:
    # Take the write lock at once: asked for half-way through, it can fail without any wait.
    connection.exec_driver_sql("BEGIN IMMEDIATE")
