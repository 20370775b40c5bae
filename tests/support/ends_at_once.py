"""An order at the press that is over as soon as it is begun, in a process of its own."""

from __future__ import annotations


def ends_at_once(connection, sheet, choice, over):
    """Begin, and end."""
    del sheet, choice, over
    connection.close()
