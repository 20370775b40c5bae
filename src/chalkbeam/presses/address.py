"""Where the presses of a shop meet: the address of a database, or a file on one machine."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from calibration.refusal import Refusal

POSTGRESQL = ("postgresql", "postgres")
LONGEST = 1000


@dataclass(frozen=True)
class Address:
    """The address of a queue, without its password.

    Attributes
    ----------
    url : sqlalchemy.URL
        With the driver that is used.
    """

    url: sa.URL

    @property
    def on_server(self) -> bool:
        """Whether a server keeps it; else it is a file."""
        return self.url.get_backend_name() == "postgresql"

    def __str__(self) -> str:
        """Return the address as it is told to people; it holds no password."""
        if not self.on_server:
            return f"the queue {self.url.database}"
        where = self.url.host or self.url.query.get("host") or "this machine"
        port = f":{self.url.port}" if self.url.port else ""
        return f"the database “{self.url.database}” on {where}{port}"


def is_address(text: str) -> bool:
    """Whether a text names a database rather than a file."""
    return "://" in text


def read_address(text: str) -> Address:
    """Return the address that a text says.

    The password never stands in it: the driver takes it from the environment or from the user's
    file of passwords, which it ignores where others may read it.

    Raises
    ------
    Refusal
        If it is no address, or holds a password. The sentence does not repeat the text.
    """
    try:
        url = sa.make_url(text[:LONGEST])
        url.port  # noqa: B018 - read, so that a wrong one is found here
    except (sa.exc.ArgumentError, ValueError):
        raise Refusal(
            "The address of the database cannot be read: write it as "
            "postgresql://name@server/database."
        ) from None
    if url.password is not None or "password" in url.query:
        raise Refusal(
            "The address of the database holds a password, which would stand in lists of what "
            "was typed: take it out, and put it into the environment (PGPASSWORD) or into your "
            "file of passwords (.pgpass), readable by you alone."
        )
    name = url.get_backend_name()
    if name in POSTGRESQL:
        if not url.database:
            raise Refusal(
                "The address of the database does not name the database: write it as "
                "postgresql://name@server/database."
            )
        return Address(url.set(drivername="postgresql+psycopg"))
    if name == "sqlite" and url.database:
        return Address(url.set(drivername="sqlite"))
    raise Refusal(
        f"Presses cannot meet in “{name}”: the address begins with postgresql:// for a server, or "
        "with sqlite:/// for a file on this machine."
    )
