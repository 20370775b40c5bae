"""`chalkbeam exchange`: the shop's own files, the same on all machines that share a queue.

Exit 0: all alike. 1: a file is at odds. 2: bad input.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.record import RecordOption, queue_address


class GoesFirst(Enum):
    """Whose file goes first."""

    HERE = "here"
    QUEUE = "queue"


def exchange_files(
    record: RecordOption = None,
    press_name: Annotated[
        str, typer.Option(help="This press's name in the shop; the computer's without.")
    ] = "",
    prefer: Annotated[
        GoesFirst | None,
        typer.Option(
            help="Which side's goes first where a file was changed on both; the other's is kept "
            "as an older version there, or beside it here (.before)."
        ),
    ] = None,
) -> None:
    """Exchange settings, rigs, house locations, charts and lists of the shop with the queue.

    What was changed here goes there, what was changed there comes here. What was changed on both
    sides is told and left as it is, until --prefer says which is meant.
    """
    from chalkbeam.cli.shared_files import exchanged

    address = queue_address(record)
    if address is None:
        raise Refusal("Files are exchanged by way of a queue: give its address with --record.")
    done = exchanged(address, press_name, "" if prefer is None else prefer.value)
    for said, names in (
        ("sent", done.sent),
        ("fetched", done.fetched),
        ("removed here, still in the queue", done.removed),
        ("CHANGED ON BOTH SIDES, left as it is", done.at_odds),
    ):
        for each in names:
            typer.echo(f"{said}: {each}")
    if not any((done.sent, done.fetched, done.removed, done.at_odds)):
        typer.echo("Nothing has changed: this machine and the queue have the same files.")
    if done.at_odds:
        raise typer.Exit(1)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("exchange")(exchange_files)
